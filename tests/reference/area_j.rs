//! Cumulative exposure.

use crate::case::{Case, check_area};
use chrono::NaiveDate;
use doseward::hygiene::cumulative::{Interval, MeanWithLimits, cumulative, dose};
use doseward::hygiene::extended_shift::continuous_equivalent;
use doseward::hygiene::silica::formula_limit;
use serde_json::Value;

#[test]
fn worked_examples_of_cumulative_exposure() {
    check_area("J", check);
}

fn day(value: &Value) -> NaiveDate {
    value.as_str().unwrap().parse().unwrap()
}

fn history(inputs: &Value) -> Vec<Interval> {
    inputs["jobs"]
        .as_array()
        .unwrap()
        .iter()
        .map(|job| Interval {
            from: day(&job["start"]),
            to: day(&job["end_exclusive"]),
            mean: MeanWithLimits {
                estimate: job["mean_concentration"]["value"].as_f64().unwrap(),
                lower: None,
                upper: None,
            },
            share_of_full_time: 1.0,
        })
        .collect()
}

pub(crate) fn check(case: &mut Case) {
    match case.id {
        "J-01" => {
            let years = case.number("duration");
            let found: Vec<_> =
                case.numbers("concentration").into_iter().map(|mean| dose([(mean, years)])).collect();
            case.are("cumulative_exposure", &found);
        }
        "J-02" => {
            let history = history(case.inputs());
            let total = cumulative(&history, None, 0);
            let single: Vec<_> = history.iter().map(|job| cumulative(&[*job], None, 0).value).collect();
            let highest = (0..single.len()).max_by(|&one, &two| single[one].total_cmp(&single[two])).unwrap();
            case.are("cumulative_by_job", &single);
            case.is("cumulative", total.value);
            case.is("duration", total.years_exposed);
            case.is("average_intensity", total.average_intensity.unwrap());
            case.says("highest_job", case.inputs()["jobs"][highest]["job"].as_str().unwrap());
        }
        "J-03" => {
            let history = history(case.inputs_of(case.inputs()["jobs_as_in"].as_str().unwrap()));
            let reference = Some(day(&case.inputs()["reference_date"]));
            let lag = u32::try_from(case.inputs()["lag"]["value"].as_u64().unwrap()).unwrap();
            case.is("lagged_cumulative", cumulative(&history, reference, lag).value);
            case.is("unlagged_cumulative", cumulative(&history, reference, 0).value);
        }
        "J-04" => {
            let parts: Vec<_> = case
                .numbers("shift_weighted_exposure")
                .into_iter()
                .zip(case.numbers("working_years"))
                .collect();
            let single: Vec<_> = parts.iter().map(|part| dose([*part])).collect();
            case.are("dose_by_period", &single);
            case.is("total", dose(parts));
        }
        "J-05" => case.is(
            "continuous_equivalent",
            continuous_equivalent(
                case.number("limit"),
                case.number("hours_per_day"),
                case.number("days_per_week"),
            ),
        ),
        "J-06" => {
            let found: Vec<_> = case
                .numbers("percent_quartz")
                .into_iter()
                .map(|quartz| formula_limit(quartz, 0.0, 0.0))
                .collect();
            case.are("limit", &found);
        }
        _ => case.unknown(),
    }
}
