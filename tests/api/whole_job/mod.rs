//! The whole job over HTTP, as five roles do it: from an empty database to the examinations that are owed.
//!
//! One invented plate works with two sites. Every number is checked against a calculation by hand that stands beside
//! it; what no pocket calculator does (quantiles, likelihoods) was computed with scipy 1.17.1, a program of its own.
//! Manuals and papers are cited from memory; the paragraphs of 29 CFR stand in the registry's own tables of rules.

mod conclusions_of_samples;
mod corrections;
mod days;
mod filters;
mod papers;
mod plant;
mod profiles;
mod record;
mod shifts;
mod trials;

use crate::harness::TestApp;
use plant::Plant;
use serde_json::Value;

/// Whether a number is the one of the hand calculation, to nine digits.
#[track_caller]
fn near(found: &Value, expected: f64) {
    within(found, expected, 1e-9);
}

/// The same to six digits, for numbers found step by step (quantiles, likelihoods).
#[track_caller]
fn close(found: &Value, expected: f64) {
    within(found, expected, 1e-6);
}

#[track_caller]
fn within(found: &Value, expected: f64, share: f64) {
    let number = found.as_f64().unwrap_or_else(|| panic!("{found} is no number; {expected} was expected"));
    assert!((number - expected).abs() <= share * expected.abs(), "{number} is not {expected}");
}

/// The items of a list's answer.
fn items(answer: &Value) -> &[Value] {
    answer["items"].as_array().unwrap_or_else(|| panic!("no list: {answer}"))
}

/// The list in a field of an answer.
fn items_of<'v>(answer: &'v Value, field: &str) -> &'v [Value] {
    answer[field].as_array().unwrap_or_else(|| panic!("no list in {field}: {answer}"))
}

/// The one item that satisfies something.
#[track_caller]
fn only(items: &[Value], which: impl Fn(&Value) -> bool) -> &Value {
    let found: Vec<&Value> = items.iter().filter(|item| which(item)).collect();
    assert_eq!(found.len(), 1, "{} of {} items fit", found.len(), items.len());
    found[0]
}

/// Words of a list, in order.
fn words(list: &Value) -> Vec<&str> {
    list.as_array().into_iter().flatten().filter_map(Value::as_str).collect()
}

/// Every step of a working says by which formula it came about, and from where that is.
#[track_caller]
fn sourced(conclusion: &Value) {
    let steps = conclusion["working"].as_array().unwrap_or_else(|| panic!("no working: {conclusion}"));
    for step in steps {
        for part in ["step", "formula", "source"] {
            assert!(step[part].as_str().is_some_and(|text| !text.is_empty()), "{step}");
        }
        assert!(step["inputs"].is_object() || step["inputs"].is_array(), "{step}");
        assert!(!step["result"].is_null(), "{step}");
    }
}

#[tokio::test]
async fn five_roles_take_filters_to_the_examinations_that_are_owed() {
    let app = TestApp::spawn().await;
    let mut plant = Plant::found(&app).await;
    plant.set_up_work().await;
    plant.bring_in_workers().await;

    conclusions_of_samples::a_first_round(&mut plant).await;
    profiles::of_uncensored_results(&plant).await;
    profiles::two_rounds_lower_the_standing(&mut plant).await;
    profiles::of_censored_results(&plant).await;
    shifts::averages_of_shifts(&mut plant).await;
    shifts::at_night_while_the_clock_goes_back(&mut plant).await;
    shifts::a_non_detect_too_coarse(&mut plant).await;
    shifts::lead(&mut plant).await;
    let before = corrections::reports_are_corrected(&mut plant).await;
    trials::verdicts_on_a_hood(&mut plant).await;
    plant.accept_everything().await;

    days::histories(&plant).await;
    days::examinations(&plant).await;
    papers::for_the_examiner(&plant).await;
    corrections::what_was_known_before(&plant, &before).await;
    record::exports(&plant).await;
    record::replays(&plant).await;
    record::journal(&plant).await;
    record::calendar(&plant).await;
}
