//! Every field of every body, replaced in turn.

use crate::answered::Found;
use crate::bodies::all;
use crate::harness::TestApp;
use crate::places::{places, with, without};
use serde_json::{Value, json};

/// The least denormal, a denormal, the ends of what physics could mean, nearly the largest number, and both zeros.
const HARD_NUMBERS: [f64; 18] = [
    0.0,
    -0.0,
    -1.0,
    5e-324,
    1e-310,
    1e-300,
    1e-100,
    1e-50,
    1e-9,
    1.000_000_000_1,
    1e9,
    1e15,
    1e50,
    1e100,
    1e300,
    1.7e308,
    -1e100,
    -1.7e308,
];

#[tokio::test]
async fn every_number_at_the_edge_is_answered_soundly_or_refused() {
    let app = TestApp::spawn().await;
    let client = app.as_role("corporate");
    let mut found = Found::default();
    for asked in all() {
        for body in &asked.bodies {
            if found.ask(&client, &asked, body).await.is_none() {
                found.note(asked.name, body, "a body that is right was not answered");
            }
            for at in places(body, Value::is_number) {
                for number in HARD_NUMBERS {
                    found.ask(&client, &asked, &with(body, &at, json!(number))).await;
                }
            }
        }
    }
    found.nothing(2000);
}

#[tokio::test]
async fn a_number_beyond_any_quantity_is_refused_at_its_place() {
    let app = TestApp::spawn().await;
    let client = app.as_role("corporate");
    for asked in all() {
        for body in &asked.bodies {
            for at in places(body, Value::is_number) {
                for number in [json!(5e-324), json!(-1e-310), json!(1e101), json!(1.7e308)] {
                    let answer =
                        client.post(&format!("/calculations/{}", asked.name), &with(body, &at, number)).await;
                    assert_eq!(
                        (answer.status, answer.pointers()),
                        (422, vec![at.as_str()]),
                        "{}",
                        answer.text
                    );
                }
            }
        }
    }
}

#[tokio::test]
async fn what_is_no_number_is_refused_or_answered_soundly() {
    let app = TestApp::spawn().await;
    let client = app.as_role("corporate");
    let mut found = Found::default();
    let others = [
        json!(null),
        json!(""),
        json!("NaN"),
        json!("inf"),
        json!("1e400"),
        json!([]),
        json!({}),
        json!(true),
    ];
    for asked in all() {
        for body in &asked.bodies {
            for at in places(body, |_| true) {
                for other in &others {
                    let answer = found.ask(&client, &asked, &with(body, &at, other.clone())).await;
                    let number = body.pointer(&at).is_some_and(Value::is_number);
                    if number && !other.is_null() && answer.is_some() {
                        found.note(asked.name, &with(body, &at, other.clone()), "was taken for a number");
                    }
                }
                if !at.is_empty() {
                    found.ask(&client, &asked, &without(body, &at)).await;
                }
            }
        }
    }
    found.nothing(2000);
}

#[tokio::test]
async fn every_number_of_a_body_at_the_same_edge_is_answered_soundly_or_refused() {
    let app = TestApp::spawn().await;
    let client = app.as_role("corporate");
    let mut found = Found::default();
    for asked in all() {
        for body in &asked.bodies {
            let numbers = places(body, Value::is_number);
            for number in HARD_NUMBERS {
                let whole = numbers.iter().fold(body.clone(), |body, at| with(&body, at, json!(number)));
                found.ask(&client, &asked, &whole).await;
            }
            // Concentrations alone, so that minutes and shares do not refuse before they are reached.
            let values: Vec<&String> = numbers.iter().filter(|at| at.ends_with("/value")).collect();
            for number in HARD_NUMBERS {
                let whole = values.iter().fold(body.clone(), |body, at| with(&body, at, json!(number)));
                found.ask(&client, &asked, &whole).await;
            }
            for (one, first) in values.iter().enumerate() {
                for second in &values[one + 1..] {
                    for (low, high) in
                        [(5e-324, 1.7e308), (1e-100, 1e100), (1e100, 1e-100), (1e-30, 1e30), (1e30, 1e-30)]
                    {
                        let body = with(&with(body, first, json!(low)), second, json!(high));
                        found.ask(&client, &asked, &body).await;
                    }
                }
            }
        }
    }
    found.nothing(1000);
}

#[tokio::test]
async fn a_number_too_large_to_be_written_is_not_json() {
    let app = TestApp::spawn().await;
    let client = app.as_role("corporate");
    for asked in all() {
        let text = asked.bodies[0].to_string();
        let at = places(&asked.bodies[0], Value::is_number).remove(0);
        let marked = with(&asked.bodies[0], &at, json!(987_654_321)).to_string();
        assert_ne!(text, marked);
        for word in ["1e400", "-1e400", "NaN", "Infinity", "1e", "0x10", "1,5"] {
            let body = marked.replace("987654321", word);
            let answer =
                client.post_text(&format!("/calculations/{}", asked.name), "application/json", body).await;
            assert!([400, 422].contains(&answer.status), "{} with {word}: {}", asked.name, answer.text);
            assert_eq!(answer.header("content-type"), "application/problem+json");
        }
    }
}
