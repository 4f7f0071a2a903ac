//! Severity, limits with sampling and analytical error, and the rules of NIOSH 77-173.

use crate::case::{Case, check_area, plain};
use doseward::hygiene::lognormal::moments;
use doseward::hygiene::mixture::{Component, mixture};
use doseward::hygiene::sample_plan::{workers_of_many, workers_to_sample};
use doseward::hygiene::severity::{
    Classification, Procedure, Severity, Z_95, grab_samples, many_grab_samples, severity,
};
use doseward::hygiene::shift::{Segment, window_average};
use doseward::model::measured::{Answer, Measured};

#[test]
fn worked_examples_of_severity() {
    check_area("C", check);
}

/// The word of the source that an example quotes for ours.
pub(crate) fn word(id: &str, classification: Classification) -> &'static str {
    match (classification, id) {
        (Classification::AboveLimit, _) => "violation",
        (Classification::PossiblyAboveLimit, _) => "possible overexposure",
        (Classification::NotAboveLimit, "C-05") => "compliance for the sampled periods",
        (Classification::NotAboveLimit, _) => "compliance",
    }
}

/// One sample over any time.
fn single(result: f64, limit: f64, error: f64) -> Severity {
    severity(&[(Measured::Value(result), 15.0)], limit, error, Procedure::Osha).unwrap()
}

/// Agents of an example, each with its error.
fn components(case: &Case) -> Vec<Component> {
    let (limits, errors) = (case.numbers("limit"), case.numbers("sae"));
    case.values("concentration")
        .into_iter()
        .zip(limits.into_iter().zip(errors))
        .map(|(concentration, (limit, error))| Component {
            concentration,
            limit,
            sampling_analytical_error: Some(error),
        })
        .collect()
}

pub(crate) fn check(case: &mut Case) {
    match case.id {
        "C-01" => {
            let found = single(case.number("result"), case.number("limit"), case.number("sae"));
            case.is("severity", found.severity.unwrap());
            case.is("lcl", found.lower_95);
            case.is("ucl", found.upper_95.unwrap());
            case.says("classification", word(case.id, found.classification));
        }
        "C-02" => {
            let (limit, error) = (case.number("limit"), case.number("sae"));
            let pairs: Vec<_> =
                case.values("concentration").into_iter().zip(case.numbers("duration")).collect();
            let segments: Vec<_> =
                pairs.iter().map(|&(concentration, minutes)| Segment { concentration, minutes }).collect();
            let average = plain(window_average(&segments).unwrap());
            let found = severity(&pairs, limit, error, Procedure::Osha).unwrap();
            case.is("twa", average);
            case.is("severity", found.severity.unwrap());
            case.is("lcl_simple", single(average, limit, error).lower_95);
            case.is("lcl_exact", found.lower_95);
            case.says("classification", word(case.id, found.classification));
        }
        "C-03" => {
            let error = case.number("z") * case.number("cv_total");
            let found = single(case.number("result"), case.number("limit"), error);
            case.is("severity", found.severity.unwrap());
            case.is("ucl", found.upper_95.unwrap());
            case.says("classification", word(case.id, found.classification));
        }
        "C-04" => {
            let components = components(case);
            let of = |components: &[Component]| plain(mixture(components).unwrap().equivalent_exposure);
            let found = mixture(&components).unwrap();
            let shares: Vec<_> = components.iter().map(|one| of(&[*one]) / of(&components)).collect();
            let control = found.control_limit.unwrap();
            case.is("equivalent_exposure", of(&components));
            case.are("component_share", &shares);
            case.is("mixture_sae", found.mixture_error.unwrap());
            case.is("control_limit", control);
            assert_eq!(found.equivalent_exposure.exceeds(control), Answer::AtOrAbove);
            case.says("classification", "overexposure established at 95 %");
        }
        "C-05" => {
            let highest = case.numbers("result").into_iter().reduce(f64::max).unwrap();
            let found = single(highest, case.number("ceiling"), Z_95 * case.number("cv_total"));
            case.is("severity_of_highest", found.severity.unwrap());
            case.is("ucl", found.upper_95.unwrap());
            case.is("lcl", found.lower_95);
            case.says("classification", word(case.id, found.classification));
        }
        "C-06" => {
            let (confidence, top) = (case.number("confidence"), case.number("top_fraction"));
            let sizes = case.inputs()["group_size"]["value"].as_array().unwrap();
            let exact: Vec<_> = sizes
                .iter()
                .map(|size| u32::try_from(size.as_u64().unwrap()).unwrap())
                .map(|size| f64::from(workers_to_sample(size, confidence, top).unwrap().exact))
                .collect();
            case.are("sample_size_exact", &exact);
            case.is("sample_size_infinite_group", workers_of_many(confidence, top).unwrap());
        }
        "C-07" => {
            let found = grab_samples(&case.numbers("result"), case.number("limit")).unwrap();
            case.is("mean_log10_standardised", found.mean_log10);
            case.is("sd_log10_standardised", found.deviation_log10);
            case.is("estimated_arithmetic_mean_mvue", found.arithmetic_mean);
        }
        "C-08" => {
            let results = case.numbers("result");
            let (_, mean, deviation) = moments(&results).unwrap();
            let found = many_grab_samples(&results, case.number("limit")).unwrap();
            case.is("mean", mean);
            case.is("sd", deviation);
            case.is("lcl", found.lower_95);
            case.is("ucl", found.upper_95.unwrap());
            case.says("classification", word(case.id, found.classification));
        }
        _ => case.unknown(),
    }
}
