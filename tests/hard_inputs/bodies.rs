//! Bodies that together use every field of every calculation.

use doseward::calculations::{Calculation, WithEach, with_each};
use doseward::model::shape::Shape as _;
use serde_json::{Value, json};

/// A calculation with what is sent to it.
pub(crate) struct Asked {
    /// Its name in the address.
    pub name: &'static str,
    /// The example of the API document and further bodies that are right.
    pub bodies: Vec<Value>,
    /// Reads an answer; gives what is missing or of a wrong kind in it.
    pub faults_of: fn(&Value) -> Vec<String>,
}

/// Every calculation.
pub(crate) fn all() -> Vec<Asked> {
    let mut all = All(Vec::new());
    with_each(&mut all);
    all.0
}

struct All(Vec<Asked>);

impl WithEach for All {
    fn with<C: Calculation + 'static>(&mut self) {
        let mut bodies = vec![C::example()];
        bodies.extend(further(C::NAME));
        let faults_of = |answer: &Value| match C::Answer::parse(answer) {
            Ok(_) => Vec::new(),
            Err(faults) => faults.iter().map(|fault| format!("{} {}", fault.pointer, fault.detail)).collect(),
        };
        self.0.push(Asked { name: C::NAME, bodies, faults_of });
    }
}

/// Bodies with the fields that the example leaves out.
fn further(name: &str) -> Vec<Value> {
    let air = |celsius: i64, pressure: i64| json!({"temperature": {"value": celsius, "unit": "Cel"}, "pressure": {"value": pressure, "unit": "mm[Hg]"}});
    let ug = |value: f64| json!({"value": value, "unit": "ug/m3"});
    let many = |values: &[f64]| values.iter().copied().map(ug).collect::<Vec<_>>();
    let prior =
        json!({"gm_lower": 0.01, "gm_upper": 50, "gsd_lower": 1.1, "gsd_upper": 3.5, "unit": "ug/m3"});
    match name {
        "air-volume" => vec![json!({"flow_before": {"value": 2.05, "unit": "L/min"},
            "flow_after": {"value": 1.8, "unit": "L/min"}, "minutes": 465,
            "rotameter": {"calibrated_at": air(25, 760), "used_at": air(5, 630)},
            "further_runs": [{"flow_before": {"value": 1990, "unit": "mL/min"},
                "flow_after": {"value": 2, "unit": "L/min"}, "minutes": 12}]})],
        "concentration" => vec![json!({"mass": {"comparator": "<", "value": 2.4, "unit": "ug"},
            "volume": {"value": 0.96, "unit": "m3"}, "molar_mass": {"value": 52, "unit": "g/mol"},
            "temperature": {"value": 20, "unit": "Cel"}, "pressure": {"value": 99, "unit": "kPa"}})],
        "unit-conversion" => vec![
            json!({"quantity": {"lower": 0.1, "upper": 0.75, "unit": "mg/m3"}, "to": "[ppb]",
                "molar_mass": {"value": 30.03, "unit": "g/mol"}, "temperature": {"value": 20, "unit": "Cel"},
                "pressure": {"value": 630, "unit": "mm[Hg]"}}),
            json!({"quantity": {"comparator": ">", "value": 3, "unit": "g/m3"}, "to": "ng/m3"}),
            json!({"quantity": {"value": 25, "unit": "Cel"}, "to": "K"}),
        ],
        "shift-average" => vec![
            json!({"segments": [{"concentration": ug(3.1), "minutes": 240}],
            "unsampled_minutes": 200, "unsampled": {"concentration": ug(0.5)}}),
            json!({"segments": [{"concentration": ug(3.1), "minutes": 10}, {"concentration": ug(7.2), "minutes": 10},
                {"concentration": {"comparator": "<", "value": 0.4, "unit": "ug/m3"}, "minutes": 15}],
                "short_term_limits": [{"kind": "stel", "value": ug(5.0)}, {"kind": "excursion", "value": ug(4.0)},
                    {"kind": "ceiling", "value": ug(9.0), "averaging_minutes": 5}]}),
        ],
        "severity" => ["niosh_uniform", "niosh_nonuniform"]
            .map(|procedure| {
                json!({"segments": [{"concentration": ug(6.26), "minutes": 240},
                    {"concentration": {"lower": 0.5, "upper": 1, "unit": "ug/m3"}, "minutes": 200}],
                    "limit": ug(5.0), "sampling_analytical_error": 0.23, "procedure": procedure})
            })
            .to_vec(),
        "extended-shift" => vec![
            json!({"model": "equal_dose_weekly", "hours_per_week": 48, "limit": ug(5.0)}),
            json!({"model": "lead_daily", "hours_per_shift": 10, "limit": ug(50.0)}),
        ],
        "group-profile" => vec![
            json!({"results": many(&[0.8, 1.9, 0.5, 1.1, 2.2, 0.7]), "workers": ["a", "a", "b", "b", "c", "c"],
                "limit": ug(5.0), "action_level": ug(2.5), "prior": prior}),
            json!({"results": [ug(1.9), {"comparator": "<", "value": 1, "unit": "ug/m3"},
                {"lower": 0.2, "upper": 0.6, "unit": "ug/m3"}, {"comparator": ">", "value": 0.3, "unit": "ug/m3"},
                ug(0.9)], "limit": ug(5.0)}),
        ],
        "control-effect" => vec![
            json!({"without": many(&[4.2, 6.8, 5.1]), "with": many(&[1.1, 2.0, 0.9]), "paired": true,
                "target_reduction_percent": 40, "limit": ug(5.0), "action_level": ug(2.5), "prior": prior,
                "covariates": [{"name": "arc minutes", "without": [30, 41, 35], "with": [29, 44, 31]}]}),
            json!({"without": many(&[4.2, 6.8, 5.1, 6.0]), "with": many(&[1.1, 2.0, 0.9, 1.3]), "paired": false}),
            json!({"without": [ug(4.2)], "with": [{"comparator": "<", "value": 1, "unit": "ug/m3"}],
                "paired": false, "limit": ug(5.0), "action_level": ug(2.5)}),
        ],
        "removal-efficiency" => {
            vec![json!({"inlet": many(&[820.0, 640.0, 700.0]), "outlet": many(&[9.1, 8.0, 5.0])})]
        }
        "noise-dose" => vec![json!({"segments": [
            {"level": {"value": 92, "unit": "dB[A]"}, "minutes": 240},
            {"level": {"comparator": "<", "value": 80, "unit": "dB[A]"}, "minutes": 210}], "criterion": "niosh"})],
        "sample-plan" => vec![
            json!({"limit": ug(5.0), "reporting_limit_mass": {"value": 0.05, "unit": "ug"},
                "flow": {"value": 2, "unit": "L/min"}, "fraction_of_limit": 0.5}),
            json!({"group_size": 20, "confidence": 0.95, "top_fraction": 0.1}),
        ],
        "surveillance" => vec![json!({"agent_code": "lead", "rule_set": "us_general_industry", "days": [
            {"date": "2026-01-05", "eight_hour_twa": ug(31.0), "stel": ug(40.0), "respirator": true},
            {"date": "2026-01-06", "eight_hour_twa": {"comparator": "<", "value": 1, "unit": "ug/m3"}}]})],
        _ => Vec::new(),
    }
}
