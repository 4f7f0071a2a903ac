//! Results of samples as pages tell them: quantities, flags, the working, and what was changed.

use crate::access::caller::Caller;
use crate::conclusions::flag::Flag;
use crate::model::printed::{Printing, Resolution, exact};
use crate::model::quantity::Quantity;
use crate::model::shape::Shape as _;
use crate::pages::account_names::AccountNames;
use crate::pages::names::Names;
use crate::pages::stopped::Stopped;
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::registry::changes_of::{ChangeOf, changes_of};
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use serde_json::Value;
use uuid::Uuid;

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

/// A change of a fact.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChangeTold {
    /// When, and by whom.
    pub head: String,
    /// What was changed, from what to what.
    pub what: String,
    /// Why.
    pub reason: String,
    /// Whether it is a correction: the value was always the new one.
    pub corrects: bool,
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
fn value(of: &Value) -> String {
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

/// The changes of a fact, each with what it changed and who made it, as far as the reader may know him.
///
/// # Errors
/// Only when storage fails.
pub async fn changes(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    subject: Uuid,
    texts: &Texts,
) -> Result<Vec<ChangeTold>, Stopped> {
    let found = changes_of(tx, caller, as_of, subject).await?;
    let accounts = found.iter().map(|change| change.account).collect();
    let names = AccountNames::of(tx, caller, as_of, accounts).await?;
    Ok(told_of(&found, &names, texts))
}

fn told_of(found: &[ChangeOf], names: &AccountNames, texts: &Texts) -> Vec<ChangeTold> {
    let mut before: Option<&Value> = None;
    found
        .iter()
        .map(|change| {
            let what = before.map(|before| differences(before, &change.fact, texts)).unwrap_or_default();
            before = Some(&change.fact);
            let put_in = [
                ("what", texts.word("deed", &change.deed.replace(' ', "_"))),
                ("day", told::instant(change.at)),
                ("by", names.told(texts, change.account)),
            ];
            let put_in: Vec<(&str, &str)> =
                put_in.iter().map(|(name, text)| (*name, text.as_str())).collect();
            ChangeTold {
                head: told::heading(&texts.with("changes-head", &put_in)),
                what,
                reason: change.reason.clone().unwrap_or_default(),
                corrects: change.deed == "corrected",
            }
        })
        .collect()
}

/// What the registry writes itself is no news of a change.
const OF_THE_REGISTRY: &[&str] = &["labels", "marks", "changed_after_result", "reason", "status", "stands"];

fn differences(before: &Value, after: &Value, texts: &Texts) -> String {
    let empty = serde_json::Map::new();
    let (before, after) = (before.as_object().unwrap_or(&empty), after.as_object().unwrap_or(&empty));
    let mut names: Vec<&String> = before.keys().chain(after.keys()).collect();
    names.sort_unstable();
    names.dedup();
    let of = |fields: &serde_json::Map<String, Value>, name: &str| {
        fields.get(name).map_or_else(|| "—".to_owned(), value)
    };
    let changed = names
        .into_iter()
        .filter(|name| before.get(*name) != after.get(*name) && !OF_THE_REGISTRY.contains(&name.as_str()));
    changed
        .map(|name| {
            let (old, new) = (of(before, name), of(after, name));
            texts.with("changes-from-to", &[("what", &told::words(name)), ("by", &old), ("who", &new)])
        })
        .collect::<Vec<_>>()
        .join("; ")
}
