//! Every example of the file by function, and every one that a calculation has the fields for over HTTP.

use crate::case::{Case, Tally, cases, check_area, document};
use crate::harness::TestApp;
use crate::over_http::{Calculations, ask};
use crate::{area_a, area_b, area_c, area_d, area_e, area_f, area_g, area_h, area_i, area_j, area_k};
use std::collections::BTreeSet;

/// How many examples the file holds.
const EXAMPLES: usize = 79;

/// What checks the functions of an area.
type Check = fn(&mut Case);

/// Every area with its check.
const AREAS: [(&str, Check); 11] = [
    ("A", area_a::check),
    ("B", area_b::check),
    ("C", area_c::check),
    ("D", area_d::check),
    ("E", area_e::check),
    ("F", area_f::check),
    ("G", area_g::check),
    ("H", area_h::check),
    ("I", area_i::check),
    ("J", area_j::check),
    ("K", area_k::check),
];

/// Examples whose question or answer no calculation has a field for, with what is missing.
const FUNCTION_ONLY: &[(&str, &str)] = &[
    ("A-08", "no calculation takes the bias and precision of a method"),
    ("A-09", "no calculation expresses a compound as one of its elements"),
    ("C-05", "severity takes the segments of an average, not short samples of which the highest counts"),
    ("C-07", "no calculation places grab samples on a chart"),
    ("C-08", "no calculation puts limits around a plain mean of grab samples"),
    ("D-03", "no calculation gives a tolerance factor for any share and confidence"),
    ("D-04", "no calculation gives a tolerance factor without results"),
    ("D-05", "no calculation gives a tolerance factor without results"),
    ("D-10", "group-profile takes results, not their summary"),
    ("D-11", "no calculation gives the factor of Land's limits without results"),
    ("E-06", "no calculation recommends a substitution"),
    ("F-01", "the variances of group-profile are those of logarithms"),
    ("H-03", "control-effect takes results, not a ratio with its interval"),
    ("H-04", "no calculation takes an efficiency"),
    ("H-05", "air-clearing takes readings, not air changes, and knows perfect mixing only"),
    ("H-08", "no calculation takes a fold reduction"),
    ("I-01", "noise-dose gives no reference duration"),
    ("I-03", "noise-dose takes levels, not a dose"),
    ("I-04", "no calculation gives an action level for a longer shift"),
    ("J-01", "cumulative-exposure takes dates, not a number of years"),
    ("J-04", "cumulative-exposure takes dates, not a number of years"),
    ("J-05", "no calculation spreads a limit over the whole week"),
    ("J-06", "no calculation gives a limit by the quartz in the dust"),
    ("K-01", "sample-plan gives no working range"),
    ("K-03", "sample-plan gives no working range"),
    ("K-05", "sample-plan takes a mass that can be told, not a concentration"),
    ("K-06", "sample-plan takes no loading of a filter"),
];

#[tokio::test]
async fn every_worked_example_holds_by_function_and_over_http() {
    let document = document();
    let ids: BTreeSet<&str> = cases(&document).iter().map(|case| case.id).collect();
    assert_eq!(ids.len(), EXAMPLES, "the file holds another number of examples, or one twice");
    let mut by_function = Tally::default();
    for (letter, check) in AREAS {
        by_function.add(check_area(letter, check));
    }
    let app = TestApp::spawn().await;
    let calculations = Calculations::of(&app);
    let (mut over_http, mut function_only) = (Tally::default(), 0);
    for mut case in cases(&document) {
        if let Some((id, reason)) = FUNCTION_ONLY.iter().find(|(id, _)| *id == case.id) {
            println!("{id} by function only: {reason}");
            function_only += 1;
        } else {
            ask(&mut case, &calculations).await;
            over_http.add(case.finish());
        }
    }
    println!(
        "{EXAMPLES} worked examples: {} by function with {} figures ({} left); {} over HTTP with {} figures ({} without a \
         field); {function_only} by function only",
        by_function.examples,
        by_function.figures,
        by_function.left,
        over_http.examples,
        over_http.figures,
        over_http.left,
    );
    assert_eq!((by_function.examples, by_function.left), (EXAMPLES, 0));
    assert_eq!(function_only, FUNCTION_ONLY.len(), "an example listed as by function only does not exist");
    assert_eq!(over_http.examples + function_only, EXAMPLES);
}
