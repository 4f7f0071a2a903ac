//! What holds of the figures of every answer, whatever was asked.

use crate::places::walk;
use serde_json::Value;

/// Fields from 0 to 1 wherever they stand.
const SHARES: [&str; 8] = [
    "p_value",
    "probability_lowered",
    "probability_target_met",
    "action_level_exceedance",
    "intraclass_correlation",
    "share_above_limit",
    "r_squared",
    "w",
];
/// Figures that are a share with their limits.
const OF_SHARES: [&str; 1] = ["exceedance_fraction"];
/// Figures above zero, or absent.
const ABOVE_ZERO: [&str; 4] =
    ["geometric_mean", "geometric_standard_deviation", "minimum_minutes", "workers_to_sample"];
/// What may not be absent of the answer that computes without a flag saying why.
const FLAGGED_WHERE_ABSENT: [(&str, &[&str]); 9] = [
    ("air-volume", &["mean_flow", "volume", "flow_change_percent"]),
    ("concentration", &["concentration"]),
    ("severity", &["severity", "upper_95"]),
    ("mixture", &["equivalent_exposure", "exceeds", "mixture_error", "control_limit"]),
    (
        "group-profile",
        &["geometric_mean", "arithmetic_mean", "percentile_95", "posterior", "en_689", "kaplan_meier"],
    ),
    ("control-effect", &["method", "ratio_of_geometric_means", "verdict", "target"]),
    ("removal-efficiency", &["efficiency_percent", "penetration_percent"]),
    ("air-clearing", &["air_changes_per_hour", "half_life_minutes", "minutes_to_99_percent", "r_squared"]),
    ("noise-dose", &["dose_percent", "eight_hour_twa"]),
];

/// What is wrong with the figures.
pub(crate) fn relations(name: &str, body: &Value, answer: &Value) -> Vec<String> {
    let mut wrong = Vec::new();
    let mut figures = answer.clone();
    figures.as_object_mut().unwrap().remove("working");
    walk(&figures, "", &mut |at, value| {
        // Here the flag says that the order is lost.
        let said = at == "/arithmetic_mean" && flags(answer).any(|flag| flag == "mean_below_its_limit");
        wrong.extend(in_order(value).filter(|_| !said).map(|fault| format!("{at}: {fault} in {value}")));
        let field = at.rsplit('/').next().unwrap_or_default();
        if SHARES.contains(&field) && !share(value) {
            wrong.push(format!("{at} is no share: {value}"));
        }
        if OF_SHARES.contains(&field) {
            let limits = value.as_object().unwrap();
            wrong.extend(
                limits
                    .iter()
                    .filter(|(_, one)| !share(one))
                    .map(|(limit, one)| format!("{at}/{limit} is {one}")),
            );
        }
        if ABOVE_ZERO.contains(&field) && value.as_f64().is_some_and(|number| number <= 0.0) {
            wrong.push(format!("{at} is {value}"));
        }
        if field == "geometric_standard_deviation" && value.as_f64().is_some_and(|number| number < 1.0) {
            wrong.push(format!("{at} is {value}"));
        }
        if field == "rating_probabilities" {
            let all: Vec<f64> = value.as_array().unwrap().iter().map(|one| one.as_f64().unwrap()).collect();
            if all.iter().any(|one| !(0.0..=1.0).contains(one))
                || (all.iter().sum::<f64>() - 1.0).abs() > 1e-9
            {
                wrong.push(format!("{at} is {value}"));
            }
        }
    });
    let flagged = flags(answer).next().is_some();
    let needed =
        FLAGGED_WHERE_ABSENT.iter().find(|(of, _)| *of == name).map_or(&[] as &[_], |(_, fields)| *fields);
    for field in needed.iter().filter(|field| answer.get(**field).is_none() && !flagged) {
        wrong.push(format!("{field} is absent without a flag"));
    }
    match name {
        "group-profile" => wrong.extend(means_within(body, answer)),
        "shift-average" => wrong.extend(average_within(body, answer)),
        _ => {}
    }
    wrong
}

fn flags(answer: &Value) -> impl Iterator<Item = &Value> {
    answer["flags"].as_array().into_iter().flatten()
}

fn share(value: &Value) -> bool {
    value.as_f64().is_some_and(|share| (0.0..=1.0).contains(&share))
}

/// The limits of a figure around its estimate.
fn in_order(value: &Value) -> Option<String> {
    // What stands in both columns must be in the order of this list, equal ones apart.
    const ORDERS: [&[&str]; 5] = [
        &["lower_95", "estimate", "upper_95"],
        &["lower_95", "upper_70", "upper_95"],
        &["median", "upper_95"],
        &["lower_95", "severity", "upper_95"],
        &["lower", "value", "upper"],
    ];
    for order in ORDERS {
        let there: Vec<(&str, f64)> =
            order.iter().filter_map(|field| Some((*field, value.get(field)?.as_f64()?))).collect();
        for pair in there.windows(2) {
            // The last of twelve digits may differ between two ways to the same figure.
            let slack = 1e-10 * pair[0].1.abs().max(pair[1].1.abs());
            if pair[0].1 > pair[1].1 + slack {
                return Some(format!("{} is above {}", pair[0].0, pair[1].0));
            }
        }
    }
    None
}

/// The least and the most that is known of quantities; no most where one is without an upper end.
pub(crate) fn ends(quantities: &[Value]) -> (f64, Option<f64>) {
    let number = |value: &Value| value.as_f64().or_else(|| value.as_str()?.parse().ok());
    let (mut least, mut most) = (f64::INFINITY, Some(f64::NEG_INFINITY));
    for quantity in quantities {
        let value = number(&quantity["value"]);
        let (lower, upper) = match quantity["comparator"].as_str() {
            Some("<") => (Some(0.0), value),
            Some(_) => (value, None),
            None => {
                (value.or_else(|| number(&quantity["lower"])), value.or_else(|| number(&quantity["upper"])))
            }
        };
        least = least.min(lower.unwrap_or(0.0));
        most = most.zip(upper).map(|(most, upper)| most.max(upper));
    }
    (least, most)
}

fn same_unit<'v>(mut quantities: impl Iterator<Item = &'v Value>) -> bool {
    let first = quantities.next().map(|quantity| &quantity["unit"]);
    quantities.all(|quantity| Some(&quantity["unit"]) == first)
}

/// A mean of any kind that is taken of the results themselves lies between the least and the greatest that is known.
fn means_within(body: &Value, answer: &Value) -> Vec<String> {
    const MEANS: [&str; 7] = [
        "/geometric_mean",
        "/order_statistics/geometric_mean",
        "/kaplan_meier/mean",
        "/substitution/half/geometric_mean",
        "/substitution/half/arithmetic_mean",
        "/substitution/root_two/geometric_mean",
        "/substitution/root_two/arithmetic_mean",
    ];
    let results = body["results"].as_array().map_or(&[] as &[_], Vec::as_slice);
    if !same_unit(results.iter()) {
        return Vec::new();
    }
    let (least, most) = ends(results);
    let outside =
        |mean: f64| mean < least * (1.0 - 1e-10) || most.is_some_and(|most| mean > most * (1.0 + 1e-10));
    let of = |at: &&str| {
        let mean = answer.pointer(&format!("{at}/value"))?.as_f64()?;
        outside(mean).then(|| format!("{at} {mean:e} outside {least:e} to {most:?}"))
    };
    MEANS.iter().filter_map(of).collect()
}

/// An average over the sampled time lies between the least and the greatest segment.
fn average_within(body: &Value, answer: &Value) -> Option<String> {
    let segments: Vec<Value> =
        body["segments"].as_array()?.iter().map(|segment| segment["concentration"].clone()).collect();
    let (least, most) = ends(&segments);
    let (low, high) = ends(&[answer["sampled_average"].clone()]);
    let outside =
        low < least * (1.0 - 1e-10) || most.zip(high).is_some_and(|(most, high)| high > most * (1.0 + 1e-10));
    (same_unit(segments.iter()) && outside)
        .then(|| format!("average {low} to {high:?} outside {least} to {most:?}"))
}
