//! Variance between and within workers.

use crate::case::{Case, check_area};
use doseward::hygiene::variance::components;

#[test]
fn worked_examples_of_variance_components() {
    check_area("F", check);
}

/// The values of each group, as logarithms where the example asks for them.
fn grouped(case: &Case) -> Vec<Vec<f64>> {
    let inputs = case.inputs();
    let logs = inputs["log_transform"] == true;
    let scale = |value: f64| if logs { value.ln() } else { value };
    let groups = inputs["groups"].as_array().or(inputs["workers"].as_array()).unwrap();
    let values = |group: &serde_json::Value| {
        group["values"].as_array().unwrap().iter().map(|value| scale(value.as_f64().unwrap())).collect()
    };
    groups.iter().map(values).collect()
}

pub(crate) fn check(case: &mut Case) {
    let found = components(&grouped(case)).unwrap();
    case.is("groups", found.groups);
    case.is("observations", found.observations);
    case.is("mean_square_between", found.mean_square_between);
    case.is("mean_square_within", found.mean_square_within);
    case.is("n0", found.n0);
    case.is("variance_within", found.within);
    case.is("variance_between_untruncated", found.between_untruncated);
    case.is("variance_between", found.between);
    case.is("F", found.f_ratio.unwrap());
    case.is("p", found.p_value.unwrap());
    case.is("intraclass_correlation", found.intraclass_correlation.unwrap());
    match case.id {
        "F-01" => case.is("reml_variance_between", found.reml.unwrap().between),
        "F-02" => {
            case.is("reml_variance_between", found.reml.unwrap().between);
            case.is("reml_variance_within", found.reml.unwrap().within);
            case.is("between_worker_fold_range_95pct", found.fold_range());
        }
        "F-03" => case.holds("truncated_to_zero", found.between_untruncated < 0.0),
        _ => case.unknown(),
    }
}
