//! The examples as requests to the calculations of a running service.
//!
//! A figure is read from the answer where it has a field. Some are one step from it (the logarithm of a geometric mean,
//! an average against a level): then the step stands here. Whatever needs more than the answer holds is left, with the
//! reason.

mod air;
mod controls;
mod doses;
mod plans;
mod profiles;
mod severity;
mod shifts;

use crate::case::Case;
use crate::harness::{Client, TestApp};
use serde_json::{Value, json};

/// Sends the requests of an example and compares what comes back.
pub(crate) async fn ask(case: &mut Case<'_>, calculations: &Calculations<'_>) {
    match &case.id[..1] {
        "A" => air::ask(case, calculations).await,
        "B" => shifts::ask(case, calculations).await,
        "C" => severity::ask(case, calculations).await,
        "D" | "E" | "F" | "G" => profiles::ask(case, calculations).await,
        "H" => controls::ask(case, calculations).await,
        "I" | "J" => doses::ask(case, calculations).await,
        "K" => plans::ask(case, calculations).await,
        _ => case.unknown(),
    }
}

/// The calculations of a running service.
pub(crate) struct Calculations<'a> {
    client: Client<'a>,
}

impl<'a> Calculations<'a> {
    /// As an account that may change nothing: any may calculate.
    pub(crate) fn of(app: &'a TestApp) -> Self {
        Self { client: app.as_role("corporate") }
    }

    /// `POST /api/v1/calculations/<name>`, which must answer and show where its figures come from.
    pub(crate) async fn ask(&self, name: &str, body: Value) -> Answered {
        let answer = self.client.post(&format!("/calculations/{name}?working=true"), &body).await;
        assert_eq!(answer.status, 200, "{name} of {body}: {}", answer.text);
        let steps = answer.json["working"].as_array().map_or(&[] as &[_], Vec::as_slice);
        let sourced = |step: &Value| ["formula", "source"].iter().all(|field| step[*field].is_string());
        assert!(!steps.is_empty() && steps.iter().all(sourced), "{name} of {body}: no working with sources");
        Answered(answer.json)
    }
}

/// What a calculation answered.
pub(crate) struct Answered(Value);

impl Answered {
    /// A part of it, such as a quantity to go on with.
    pub(crate) fn part(&self, pointer: &str) -> &Value {
        self.0.pointer(pointer).unwrap_or_else(|| panic!("no {pointer} in {}", self.0))
    }

    /// A number: bare, or that of a quantity without comparator.
    pub(crate) fn number(&self, pointer: &str) -> f64 {
        let part = self.part(pointer);
        assert!(part.get("comparator").is_none(), "{pointer} is a bound: {part}");
        part.get("value").unwrap_or(part).as_f64().unwrap_or_else(|| panic!("{pointer} is no number: {part}"))
    }

    /// A word.
    pub(crate) fn word(&self, pointer: &str) -> &str {
        self.part(pointer).as_str().unwrap_or_else(|| panic!("{pointer} is no word"))
    }

    /// A yes or no.
    pub(crate) fn holds(&self, pointer: &str) -> bool {
        self.part(pointer).as_bool().unwrap_or_else(|| panic!("{pointer} is no yes or no"))
    }

    /// Whether it carries a flag.
    pub(crate) fn flagged(&self, flag: &str) -> bool {
        self.part("/flags").as_array().unwrap().iter().any(|one| one == flag)
    }

    /// The unit of a figure: its own, or that of the object it stands in.
    fn unit(&self, pointer: &str) -> Option<&str> {
        let (around, _) = pointer.rsplit_once('/').unwrap_or_default();
        let of = |part: &'_ str| self.0.pointer(part)?.get("unit")?.as_str();
        of(pointer).or_else(|| of(around))
    }

    /// A number in the unit that the example expects.
    fn expected(&self, case: &Case, name: &str, pointer: &str) -> f64 {
        if let Some(unit) = self.unit(pointer) {
            assert_eq!(unit, ucum(case.unit_of(name)), "{} {name}: another unit", case.id);
        }
        self.number(pointer)
    }

    /// Compares a figure and its unit.
    pub(crate) fn is(&self, case: &mut Case, name: &str, pointer: &str) {
        let found = self.expected(case, name, pointer);
        case.is(name, found);
    }
}

/// Compares the same figure of several answers.
pub(crate) fn are(case: &mut Case, name: &str, answers: &[Answered], pointer: &str) {
    let found: Vec<_> = answers.iter().map(|answered| answered.expected(case, name, pointer)).collect();
    case.are(name, &found);
}

/// The contract's unit for one of the file.
fn ucum(unit: &str) -> &str {
    match unit {
        "ppm" => "[ppm]",
        "ppb" | "ppb (treated as concentration)" => "[ppb]",
        "ug Cr(VI)" => "ug",
        "dBA" => "dB[A]",
        "C" => "Cel",
        "mmHg" => "mm[Hg]",
        "particles/L" => "/L",
        "mg/m3-years" => "mg/m3.a",
        same => same,
    }
}

/// An input as a quantity.
pub(crate) fn quantity(input: &Value) -> Value {
    quantities(input).remove(0)
}

/// An input as quantities, one for each number.
pub(crate) fn quantities(input: &Value) -> Vec<Value> {
    let unit = ucum(input["unit"].as_str().unwrap());
    let of = |value: &Value| json!({"value": value, "unit": unit});
    match &input["value"] {
        Value::Array(values) => values.iter().map(of).collect(),
        value => vec![of(value)],
    }
}

/// Values and non-detects as quantities.
pub(crate) fn results(input: &Value) -> Vec<Value> {
    let below = input["non_detect"].as_array().unwrap();
    let mut results = quantities(&input["value_or_detection_limit"]);
    for (result, _) in results.iter_mut().zip(below).filter(|(_, below)| **below == true) {
        result["comparator"] = "<".into();
    }
    results
}

/// Concentrations with their minutes, the durations of the file being in units of so many.
pub(crate) fn segments(concentrations: &[Value], durations: &[f64], minutes: f64) -> Vec<Value> {
    concentrations
        .iter()
        .zip(durations)
        .map(|(concentration, duration)| json!({"concentration": concentration, "minutes": minutes * duration}))
        .collect()
}
