//! The examples of the page, put to the code.
//!
//! An example is a block of JSON: `calculation` (one of the API) or `figure` (one that the registry gives beside them),
//! `input`, and of the `answer` the figures that the page speaks of. A whole number must be met exactly, another one to
//! half a unit of its last digit.

use crate::asked::all;
use crate::beside;
use crate::page;
use serde_json::Value;

/// The examples in their order.
pub(crate) fn examples() -> Vec<Value> {
    let page = page::text();
    let blocks =
        page.split("```json").skip(1).map(|part| part.split_once("```").expect("a block has an end").0);
    blocks
        .map(|block| {
            serde_json::from_str(block).unwrap_or_else(|fault| panic!("{fault} in the block {block}"))
        })
        .collect()
}

/// Half a unit of the last digit that is written; next to nothing for a whole number.
fn tolerance(number: f64) -> f64 {
    let text = number.to_string();
    let decimals = text.split_once('.').map_or(0, |(_, decimals)| decimals.len());
    if decimals == 0 {
        return 1e-9 * number.abs().max(1.0);
    }
    let decimals = i32::try_from(decimals).unwrap();
    0.500_001 * 10f64.powi(-decimals)
}

/// Where `found` is not what the page says.
fn differences(said: &Value, found: &Value, at: &str, faults: &mut Vec<String>) {
    match (said, found) {
        (Value::Object(fields), _) => {
            for (name, said) in fields {
                differences(said, found.get(name).unwrap_or(&Value::Null), &format!("{at}/{name}"), faults);
            }
        }
        (Value::Array(items), Value::Array(others)) if items.len() == others.len() => {
            for (n, (said, found)) in items.iter().zip(others).enumerate() {
                differences(said, found, &format!("{at}/{n}"), faults);
            }
        }
        (Value::Number(said), Value::Number(found)) => {
            let (said, found) = (said.as_f64().unwrap(), found.as_f64().unwrap());
            if (said - found).abs() > tolerance(said) {
                faults.push(format!("{at}: the page says {said}, the code {found}"));
            }
        }
        _ if said == found => {}
        _ => faults.push(format!("{at}: the page says {said}, the code {found}")),
    }
}

#[test]
fn every_example_of_the_page_is_what_the_code_answers() {
    let mut faults = Vec::new();
    for (n, example) in examples().iter().enumerate() {
        let known = ["calculation", "figure", "input", "answer"];
        let fields = example.as_object().unwrap();
        assert!(fields.keys().all(|field| known.contains(&field.as_str())), "{example}");
        let input = &example["input"];
        let (name, found) = match (example["calculation"].as_str(), example["figure"].as_str()) {
            (Some(name), None) => {
                let asked = all().into_iter().find(|asked| asked.name == name);
                (name, (asked.unwrap_or_else(|| panic!("no calculation {name}")).answer)(input))
            }
            (None, Some(name)) => (name, beside::answer(name, input)),
            _ => panic!("an example is of a calculation or of a figure: {example}"),
        };
        assert!(example["answer"].is_object(), "{example}");
        differences(&example["answer"], &found, &format!("example {} ({name})", n + 1), &mut faults);
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
}

#[test]
fn every_calculation_has_an_example_on_the_page() {
    let examples = examples();
    for asked in all() {
        assert!(examples.iter().any(|example| example["calculation"] == asked.name), "{}", asked.name);
    }
}

#[test]
fn a_wrong_figure_is_seen() {
    let mut faults = Vec::new();
    let said = serde_json::json!({"a": 2.50, "b": [1, 2.25], "c": "below", "d": 3});
    let found = serde_json::json!({"a": 2.549, "b": [1, 2.254], "c": "below", "d": 3.0, "e": 1});
    differences(&said, &found, "", &mut faults);
    assert_eq!(faults, Vec::<String>::new());
    let found = serde_json::json!({"a": 2.56, "b": [1], "c": "above", "d": 3.000_001});
    differences(&said, &found, "", &mut faults);
    assert_eq!(faults.len(), 4, "{faults:?}");
}
