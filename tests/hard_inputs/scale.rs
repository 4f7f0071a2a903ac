//! Another size of every value and limit leaves what has no unit as it is.

use crate::bodies::{Asked, all};
use crate::harness::{Client, TestApp};
use serde_json::{Value, json};

/// Factors that leave every number among those that may come in.
const FACTORS: [f64; 4] = [1e-90, 1e-30, 1e30, 1e90];

async fn ask(client: &Client<'_>, asked: &Asked, body: &Value) -> Value {
    let answer = client.post(&format!("/calculations/{}", asked.name), body).await;
    assert_eq!(answer.status, 200, "{} of {body}: {}", asked.name, answer.text);
    answer.json
}

/// The body with every quantity of these units so many times as large.
fn scaled(value: &Value, factor: f64) -> Value {
    match value {
        Value::Array(items) => items.iter().map(|item| scaled(item, factor)).collect(),
        Value::Object(members) => {
            let concentration = members.get("unit").is_some_and(|unit| unit == "ug/m3" || unit == "mg/m3");
            let own = ["value", "lower", "upper", "gm_lower", "gm_upper"];
            let of = |name: &str, value: &Value| match value.as_f64() {
                Some(number) if concentration && own.contains(&name) => json!(number * factor),
                _ => scaled(value, factor),
            };
            members.iter().map(|(name, value)| (name.clone(), of(name, value))).collect()
        }
        other => other.clone(),
    }
}

/// Every place where the figures differ, a quantity's own numbers by the factor.
fn differences(one: &Value, other: &Value, at: &str, (factor, own): (f64, bool), wrong: &mut Vec<String>) {
    match (one, other) {
        (Value::Object(first), Value::Object(second)) => {
            let has_unit = first.get("unit").is_some_and(Value::is_string);
            for name in first.keys().chain(second.keys().filter(|name| !first.contains_key(*name))) {
                // The digits as they were sent.
                if name == "reported" {
                    continue;
                }
                let at = format!("{at}/{name}");
                let own = has_unit && !["gsd_lower", "gsd_upper"].contains(&name.as_str());
                match (first.get(name), second.get(name)) {
                    (Some(one), Some(other)) => differences(one, other, &at, (factor, own), wrong),
                    (one, other) => wrong.push(format!("{at}: {one:?} and {other:?}")),
                }
            }
        }
        (Value::Array(first), Value::Array(second)) if first.len() == second.len() => {
            for (n, (one, other)) in first.iter().zip(second).enumerate() {
                differences(one, other, &format!("{at}/{n}"), (factor, own), wrong);
            }
        }
        (Value::Number(first), Value::Number(second)) => {
            let (first, second) = (first.as_f64().unwrap(), second.as_f64().unwrap());
            let (first, scale) = if own { (first * factor, factor) } else { (first, 1.0) };
            if (first - second).abs() > 1e-7 * first.abs().max(second.abs()) + 1e-12 * scale {
                wrong.push(format!("{at}: {first} and {second}"));
            }
        }
        (one, other) if one == other => {}
        (one, other) => wrong.push(format!("{at}: {one} and {other}")),
    }
}

#[tokio::test]
async fn another_size_of_values_and_limits_leaves_ratios_as_they_are() {
    let app = TestApp::spawn().await;
    let client = app.as_role("corporate");
    let mut wrong = Vec::new();
    let names = [
        "group-profile",
        "control-effect",
        "severity",
        "removal-efficiency",
        "shift-average",
        "extended-shift",
    ];
    for asked in all().iter().filter(|asked| names.contains(&asked.name)) {
        for body in &asked.bodies {
            let plain = ask(&client, asked, body).await;
            for factor in FACTORS {
                let mut found = Vec::new();
                let other = ask(&client, asked, &scaled(body, factor)).await;
                differences(&plain, &other, "", (factor, false), &mut found);
                wrong.extend(found.into_iter().map(|fault| format!("{} x {factor:e} {fault}", asked.name)));
            }
        }
    }
    assert!(wrong.is_empty(), "{} faults:\n{}", wrong.len(), wrong.join("\n"));
}
