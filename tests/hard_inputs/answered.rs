//! Sending a body, and what must hold of whatever comes back.

use crate::bodies::Asked;
use crate::consistent::contradictions;
use crate::harness::{Answer, Client};
use crate::places::{places, walk};
use crate::relations::relations;
use serde_json::Value;

/// What is found wrong, with the body it was found with.
#[derive(Default)]
pub(crate) struct Found {
    asked: usize,
    wrong: Vec<String>,
}

impl Found {
    /// Sends a body; notes what is wrong with the answer. Gives it where it is one.
    pub(crate) async fn ask(&mut self, client: &Client<'_>, asked: &Asked, body: &Value) -> Option<Value> {
        self.asked += 1;
        let answer = client.post(&format!("/calculations/{}?working=true", asked.name), body).await;
        let mut wrong = Vec::new();
        match answer.status {
            200 => {
                wrong.extend((asked.faults_of)(&answer.json));
                wrong.extend(unsound(&answer.json, &body.to_string()));
                wrong.extend(relations(asked.name, body, &answer.json));
                wrong.extend(contradictions(asked.name, body, &answer.json));
            }
            400 | 413 | 422 => wrong.extend(unsaid(&answer)),
            status => wrong.push(format!("answered {status}: {}", answer.text)),
        }
        let ok = wrong.is_empty() && answer.status == 200;
        for fault in wrong {
            self.note(asked.name, body, &fault);
        }
        ok.then_some(answer.json)
    }

    /// Notes a fault.
    pub(crate) fn note(&mut self, name: &str, body: &Value, fault: &str) {
        let mut body = body.to_string();
        if body.len() > 600 {
            body = format!("{} …", body.chars().take(600).collect::<String>());
        }
        self.wrong.push(format!("{name} of {body}:\n    {fault}"));
    }

    /// The test ends here where anything was wrong, or too little was asked.
    pub(crate) fn nothing(self, fewest: usize) {
        assert!(self.wrong.is_empty(), "{} faults:\n{}", self.wrong.len(), self.wrong.join("\n"));
        assert!(self.asked >= fewest, "only {} bodies were sent", self.asked);
    }
}

/// What no answer may hold: null, or a number that is none written as text, but for what was sent.
fn unsound(answer: &Value, sent: &str) -> Vec<String> {
    let mut wrong: Vec<String> =
        places(answer, Value::is_null).iter().map(|at| format!("{at} is null")).collect();
    walk(answer, "", &mut |at, value| {
        let words = |text: &str| {
            text.split(|c: char| !c.is_alphanumeric())
                .any(|word| ["NaN", "nan", "inf", "Infinity"].contains(&word))
        };
        if value.as_str().is_some_and(|text| words(text) && !sent.contains(&format!("\"{text}\""))) {
            wrong.push(format!("{at} is {value}"));
        }
    });
    wrong
}

/// What a refusal must say (RFC 9457, and the contract's `errors` with pointers).
fn unsaid(answer: &Answer) -> Vec<String> {
    let mut wrong = Vec::new();
    if answer.header("content-type") != "application/problem+json" {
        wrong.push(format!("refused as {}", answer.header("content-type")));
    }
    for field in ["type", "title", "detail"] {
        if !answer.json[field].is_string() {
            wrong.push(format!("refused without {field}: {}", answer.text));
        }
    }
    if answer.status == 422 && answer.pointers().is_empty() {
        wrong.push(format!("refused without a pointer: {}", answer.text));
    }
    wrong
}
