//! The steps of a working for people: what went in, by which formula, what came out, and where the formula is written.

use crate::model::measured::Measured;
use crate::model::printed::{Printing, Resolution, exact};
use crate::model::quantity::Quantity;
use crate::model::shape::{Shape as _, parse_date};
use crate::model::working::Step;
use crate::pages::told;
use chrono::{DateTime, Utc};
use serde_json::Value;

/// As many figures as somebody needs who works it out again.
const FIGURES: u32 = 5;

/// A step as it is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StepTold {
    /// What it computes.
    pub name: String,
    /// The formula.
    pub formula: String,
    /// What went in.
    pub inputs: String,
    /// What came out.
    pub result: String,
    /// Where the formula is written.
    pub source: String,
}

/// Every step.
pub fn working(steps: Option<&[Step]>) -> Vec<StepTold> {
    steps
        .unwrap_or_default()
        .iter()
        .map(|step| StepTold {
            name: told::heading(&step.step),
            formula: step.formula.clone(),
            inputs: value(&step.inputs),
            result: value(&step.result),
            source: step.source.clone(),
        })
        .collect()
}

/// A number in as many figures as are needed, and no zeros behind what it is exactly.
fn figures(number: f64) -> String {
    let (exact, rounded) = (exact(number), Printing::of(Resolution::Figures(FIGURES)).number(number));
    if exact.chars().count() <= rounded.chars().count() { exact } else { rounded }
}

/// A day, an instant, or a word.
fn text_told(text: &str) -> String {
    if let Some(day) = parse_date(text) {
        return told::day(day);
    }
    match text.parse::<DateTime<Utc>>() {
        Ok(at) if text.contains('T') => told::instant(at),
        _ => told::words(text),
    }
}

/// A value in words: quantities with their unit, lists with commas, members by their names.
pub fn value(of: &Value) -> String {
    let printing = Printing::of(Resolution::Figures(FIGURES));
    match of {
        Value::Null => String::new(),
        Value::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Value::Number(number) => match (number.as_i64(), number.as_f64()) {
            (Some(whole), _) => told::count(whole),
            (None, Some(number)) => figures(number),
            (None, None) => number.to_string(),
        },
        Value::String(text) => text_told(text),
        Value::Array(items) => items.iter().map(value).collect::<Vec<_>>().join(", "),
        Value::Object(members) => match Quantity::parse(of) {
            // What somebody reported is written as text and keeps its digits.
            Ok(Quantity { measured: Measured::Value(value), unit, .. }) if of["value"].is_number() => {
                format!("{} {}", figures(value), unit.symbol())
            }
            Ok(quantity) => printing.quantity(&quantity),
            Err(_) => members
                .iter()
                .map(|(name, member)| format!("{}: {}", told::words(name), value(member)))
                .collect::<Vec<_>>()
                .join("; "),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn values_are_told_with_their_units_and_names() {
        let inputs = json!({
            "without": [{"value": 12.0, "unit": "ug/m3"}, {"comparator": "<", "value": 3.1, "unit": "ug/m3"}],
            "paired": true, "n": 2, "sigma": 0.123_456_7,
        });
        let told = value(&inputs);
        assert!(told.contains("without: 12 µg/m³, < 3.1 µg/m³"), "{told}");
        assert!(
            told.contains("paired: yes") && told.contains("n: 2") && told.contains("sigma: 0.12346"),
            "{told}"
        );
    }
    #[test]
    fn days_and_instants_are_told_as_people_write_them() {
        assert_eq!(value(&json!({"from": "2026-03-02"})), "from: 2 Mar 2026");
        assert_eq!(value(&json!("2026-03-02T12:00:00Z")), "2 Mar 2026, 12:00 UTC");
        assert_eq!(value(&json!("breathing_zone")), "breathing zone");
    }
}
