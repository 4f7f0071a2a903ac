//! Results of samples as pages tell them: quantities, flags, the working.

use crate::conclusions::flag::Flag;
use crate::model::printed::{Printing, Resolution, exact};
use crate::model::quantity::Quantity;
use crate::model::shape::Shape as _;
use crate::pages::names::Names;
use crate::pages::told;
use serde_json::Value;

/// How finely a concentration is told; a calculator needs more of what goes into it.
const FIGURES: u32 = 3;
const FIGURES_OF_WORKING: u32 = 6;

/// A flag with what it means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FlagTold {
    /// The flag in words.
    pub word: String,
    /// What it means.
    pub meaning: String,
}

/// A step of a working.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StepTold {
    /// What it computes.
    pub step: String,
    /// The formula.
    pub formula: String,
    /// What went in.
    pub inputs: String,
    /// What came out.
    pub result: String,
    /// Where the formula is published.
    pub source: String,
}

/// A quantity of an answer; empty where there is none.
pub fn quantity(answer: &Value) -> String {
    told_in(answer, FIGURES)
}

fn told_in(answer: &Value, figures: u32) -> String {
    let Ok(mut quantity) = Quantity::parse(answer) else { return String::new() };
    // The digits of what was computed are the computer's, not the laboratory's.
    if answer.get("reported").is_none() && !answer["value"].is_string() {
        quantity.reported = None;
    }
    Printing::of(Resolution::of(quantity.unit, figures)).quantity(&quantity)
}

/// The flags of an answer.
pub fn flags(answer: &Value) -> Vec<FlagTold> {
    let words = answer.as_array().into_iter().flatten().filter_map(Value::as_str);
    words
        .map(|word| FlagTold {
            word: told::words(word),
            meaning: Flag::from_word(word).map_or_else(String::new, |flag| flag.meaning().to_owned()),
        })
        .collect()
}

/// The working of an answer: the steps that are about an agent, or with `None` those about the sample as a whole.
pub fn working(answer: &Value, agent: Option<&str>, agents: &[String], names: &Names) -> Vec<StepTold> {
    let steps = answer.as_array().into_iter().flatten();
    let of = |step: &str| agents.iter().find(|code| step.ends_with(&format!(" of {code}"))).cloned();
    steps
        .filter(|step| of(step["step"].as_str().unwrap_or_default()).as_deref() == agent)
        .map(|step| {
            let text = |field: &str| step[field].as_str().unwrap_or_default().to_owned();
            let name = match agent {
                Some(code) => {
                    text("step").replace(&format!(" of {code}"), &format!(" of {}", names.agent(code)))
                }
                None => text("step"),
            };
            StepTold {
                step: told::heading(&name),
                formula: text("formula"),
                inputs: value(&step["inputs"]),
                result: value(&step["result"]),
                source: text("source"),
            }
        })
        .collect()
}

/// A value of a working, or of a fact, in plain letters.
pub fn value(of: &Value) -> String {
    match of {
        Value::Null => "—".to_owned(),
        Value::Bool(true) => "yes".to_owned(),
        Value::Bool(false) => "no".to_owned(),
        Value::Number(number) => number.as_f64().map_or_else(|| number.to_string(), exact),
        Value::String(text) => text.clone(),
        Value::Array(items) if items.is_empty() => "none".to_owned(),
        Value::Array(items) => items.iter().map(value).collect::<Vec<_>>().join("; "),
        Value::Object(fields) if fields.contains_key("unit") => {
            let told = told_in(of, FIGURES_OF_WORKING);
            if told.is_empty() { of.to_string() } else { told }
        }
        Value::Object(fields) => {
            let parts = fields.iter().map(|(name, of)| format!("{} {}", told::words(name), value(of)));
            parts.collect::<Vec<_>>().join(", ")
        }
    }
}
