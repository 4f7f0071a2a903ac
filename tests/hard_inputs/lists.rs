//! Every list of quantities in every hard shape.

use crate::answered::Found;
use crate::bodies::all;
use crate::harness::TestApp;
use crate::places::{places, with};
use serde_json::{Value, json};

/// A list that fills a place, by its name in a fault.
struct Filling {
    name: &'static str,
    values: Vec<Value>,
}

/// Results in each shape that leaves a statistic without an answer, or nearly.
fn fillings(unit: &Value) -> Vec<Filling> {
    let of = |value: f64| json!({"value": value, "unit": unit});
    let below = |value: f64| json!({"comparator": "<", "value": value, "unit": unit});
    let above = |value: f64| json!({"comparator": ">", "value": value, "unit": unit});
    let between = |lower: f64, upper: f64| json!({"lower": lower, "upper": upper, "unit": unit});
    let values = |values: &[f64]| values.iter().copied().map(of).collect::<Vec<_>>();
    let fill = |name, values| Filling { name, values };
    vec![
        fill("none", vec![]),
        fill("one", values(&[2.0])),
        fill("one at zero", values(&[0.0])),
        fill("one below", vec![below(2.0)]),
        fill("one below zero", vec![below(0.0)]),
        fill("one above", vec![above(2.0)]),
        fill("one between", vec![between(1.0, 2.0)]),
        fill("one between zeros", vec![between(0.0, 0.0)]),
        fill("one between equal ends", vec![between(2.0, 2.0)]),
        fill("one between negative ends", vec![between(-2.0, -1.0)]),
        fill("one between negative and positive", vec![between(-2.0, 1.0)]),
        fill("two", values(&[1.0, 2.0])),
        fill("two equal", values(&[2.0, 2.0])),
        fill("all equal", values(&[2.0; 8])),
        fill("all equal but the last digit", values(&[2.0, 2.0, 2.0 + f64::EPSILON, 2.0])),
        fill("a spread next to none", values(&[2.0, 2.0 + 1e-12, 2.0 - 1e-12, 2.0])),
        fill("a small spread", values(&[2.0, 2.000_000_1, 1.999_999_9, 2.0, 2.0, 2.0])),
        fill(
            "a small spread with one below",
            [values(&[2.0, 2.000_000_1, 1.999_999_9]), vec![below(2.0)]].concat(),
        ),
        fill("all below", vec![below(1.0); 6]),
        fill("all below different limits", vec![below(1.0), below(0.5), below(3.0)]),
        fill("all above", vec![above(1.0); 6]),
        fill("all between", vec![between(0.5, 1.0); 6]),
        fill("all between nothing and something", vec![between(0.0, 1.0); 6]),
        fill("one detected", [vec![below(1.0); 5], values(&[1.5])].concat()),
        fill("one detected below every limit", [vec![below(1.0); 5], values(&[0.1])].concat()),
        fill("two equal detected", [vec![below(1.0); 5], values(&[1.5, 1.5])].concat()),
        fill("two detected nearly equal", [vec![below(1.0); 5], values(&[1.5, 1.5 + 1e-9])].concat()),
        fill("limits above every value", [vec![below(100.0); 3], values(&[0.5, 1.5, 1.0])].concat()),
        fill("limits far above every value", [vec![below(1e12); 3], values(&[0.5, 1.5, 1.0])].concat()),
        fill("limits far below every value", [vec![below(1e-12); 3], values(&[0.5, 1.5, 1.0])].concat()),
        fill("limits of next to nothing", [vec![below(5e-324); 3], values(&[0.5, 1.5, 1.0])].concat()),
        fill("below, above and between", vec![below(1.0), above(3.0), between(1.0, 3.0), of(2.0), of(2.5)]),
        fill("overloaded below what is detected", vec![above(0.1), of(2.0), of(2.5), of(3.0)]),
        fill("with a zero", values(&[0.0, 1.0, 2.0])),
        fill("with a negative value", values(&[-1.0, 1.0, 2.0])),
        fill("below a negative limit", [vec![below(-1.0)], values(&[1.0, 2.0])].concat()),
        fill("denormals", values(&[5e-324, 1e-310, 2e-310, 3e-308])),
        fill("next to nothing", values(&[1e-300, 2e-300, 5e-300])),
        fill("next to the largest", values(&[1.7e308, 1e308, 5e307])),
        fill("very large", values(&[1e300, 2e300, 5e300])),
        fill("from the least to the largest", values(&[5e-324, 1.0, 1.7e308])),
        fill("a very wide spread", values(&[1e-100, 1.0, 1e100, 3.0])),
        fill(
            "a very wide spread with one below",
            [values(&[1e-100, 1.0, 1e100]), vec![below(1e50)]].concat(),
        ),
        fill("the least that may come in", values(&[1e-100, 2e-100, 5e-100])),
        fill("the largest that may come in", values(&[1e100, 5e99, 2e99, 1e99])),
        fill("all of the largest that may come in", values(&[1e100; 4])),
        fill("ranges as wide as may come in", vec![between(1e-100, 1e100); 4]),
        fill("below the largest that may come in", [vec![below(1e100)], values(&[1.0, 2.0])].concat()),
        fill("below the least that may come in", [vec![below(1e-100)], values(&[1.0, 2.0])].concat()),
        fill("below the largest", [vec![below(1.7e308)], values(&[1.0, 2.0])].concat()),
        fill("above the least", [vec![above(5e-324)], values(&[1.0, 2.0])].concat()),
        fill("from the least to the largest as ranges", vec![between(5e-324, 1.7e308); 4]),
    ]
}

/// Where lists stand that hold quantities, or things with one, with the first thing and the unit.
fn lists(body: &Value) -> Vec<(String, Value, Value)> {
    places(body, Value::is_array)
        .into_iter()
        .filter_map(|at| {
            let first = body.pointer(&at)?.get(0)?.clone();
            let unit = quantity_of(&first)?.1;
            Some((at, first, unit))
        })
        .collect()
}

/// The member of a thing that is a quantity (the thing itself: no member), and its unit.
fn quantity_of(thing: &Value) -> Option<(Option<String>, Value)> {
    if let Some(unit) = thing.get("unit") {
        return Some((None, unit.clone()));
    }
    let members = thing.as_object()?;
    let of_member =
        members.iter().find_map(|(name, member)| Some((Some(name.clone()), member.get("unit")?.clone())));
    // Readings are bare numbers of any one unit.
    of_member.or_else(|| members.contains_key("value").then(|| (None, Value::Null)))
}

/// Things like the first, one for each quantity.
fn like(first: &Value, quantities: &[Value]) -> Vec<Value> {
    let member = quantity_of(first).and_then(|(member, _)| member);
    let of = |(n, quantity): (usize, &Value)| {
        let mut thing = first.clone();
        match &member {
            Some(member) => thing[member] = quantity.clone(),
            None if thing.get("unit").is_some() => thing = quantity.clone(),
            None => {
                thing["value"] = quantity["value"].clone();
                thing["minutes"] = json!(5 * n);
            }
        }
        thing
    };
    quantities.iter().enumerate().map(of).collect()
}

/// Lists that go with another, as long as it is: workers, pairs and conditions.
fn fitted(body: &Value, at: &str, values: &[Value]) -> Value {
    let mut body = with(body, at, json!(values));
    if let Some(workers) = body.get_mut("workers") {
        *workers = (0..values.len()).map(|n| json!(format!("w{}", n % 3))).collect();
    }
    if let Some(covariates) = body.get_mut("covariates") {
        let side = at.trim_start_matches('/');
        covariates[0][side] = (0..values.len()).map(|n| json!(n % 7)).collect();
    }
    body
}

#[tokio::test]
async fn every_list_in_every_hard_shape_is_answered_soundly_or_refused() {
    let app = TestApp::spawn().await;
    let client = app.as_role("corporate");
    let mut found = Found::default();
    for asked in all() {
        for body in &asked.bodies {
            let lists = lists(body);
            for (at, first, unit) in &lists {
                for filling in fillings(unit) {
                    let one = fitted(body, at, &like(first, &filling.values));
                    let answer = found.ask(&client, &asked, &one).await;
                    if let Some(answer) = answer.filter(|_| asked.name == "group-profile") {
                        said_of_a_group(&filling, &one, &answer, &mut found);
                    }
                    if lists.len() == 1 {
                        continue;
                    }
                    // Both sides of a comparison in the same shape.
                    let both = lists
                        .iter()
                        .fold(one, |body, (at, first, _)| fitted(&body, at, &like(first, &filling.values)));
                    found.ask(&client, &asked, &both).await;
                }
            }
        }
    }
    found.nothing(1000);
}

/// Where a figure cannot be, it is absent and the reason is flagged.
fn said_of_a_group(filling: &Filling, body: &Value, answer: &Value, found: &mut Found) {
    let flag = match filling.name {
        "none" => "no_results",
        "one" | "one below" | "one above" | "one between" => "single_result",
        "two equal" | "all equal" => "all_equal",
        "all below" | "all below different limits" => "no_detected_results",
        "one detected" | "one detected below every limit" | "two equal detected" => {
            "fewer_than_two_distinct_detected"
        }
        "one at zero"
        | "with a zero"
        | "with a negative value"
        | "one below zero"
        | "below a negative limit" => "value_not_positive",
        _ => return,
    };
    let flags = answer["flags"].as_array().unwrap();
    if !flags.iter().any(|one| one == flag) {
        found.note("group-profile", body, &format!("{}: no flag {flag} in {flags:?}", filling.name));
    }
    for figure in
        ["geometric_mean", "arithmetic_mean", "percentile_95", "exceedance_fraction", "lognormal_fit"]
    {
        if answer.get(figure).is_some() {
            found.note("group-profile", body, &format!("{}: {figure} is there", filling.name));
        }
    }
}

/// The same a little higher, so that no two values or limits are alike.
fn raised(quantity: &Value, n: usize) -> Value {
    let mut quantity = quantity.clone();
    let value = quantity["value"].as_f64().unwrap();
    quantity["value"] = json!(value * (1.0 + f64::from(u32::try_from(n).unwrap()) / 1e4));
    quantity
}

#[tokio::test]
async fn ten_thousand_of_anything_are_answered_soundly_or_refused() {
    let app = TestApp::spawn().await;
    let client = app.as_role("corporate");
    let mut found = Found::default();
    for asked in all() {
        let body = &asked.bodies[0];
        for at in places(body, Value::is_array) {
            let list = body.pointer(&at).unwrap().as_array().unwrap().clone();
            let many: Vec<Value> = list.iter().cloned().cycle().take(10_000).collect();
            found.ask(&client, &asked, &fitted(body, &at, &many)).await;
            if list[0].get("unit").is_some() {
                let different: Vec<Value> = many.iter().enumerate().map(|(n, one)| raised(one, n)).collect();
                found.ask(&client, &asked, &fitted(body, &at, &different)).await;
            }
        }
    }
    found.nothing(10);
}
