//! Invented facts for the tests of this floor; every number is made up.

use crate::conclusions::evidence::{Blank, GroupEvidence, SampleEvidence};
use crate::conclusions::limits::AgentEvidence;
use crate::model::facts::agent::Limit;
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::shape::Shape;
use crate::model::version::Version;
use crate::surveillance::pack::Pack;
use chrono::NaiveDate;
use serde_json::{Value, json};
use std::sync::Arc;
use uuid::Uuid;

/// An identifier of its own for a small number.
pub(crate) fn id(number: u128) -> Uuid {
    Uuid::from_u128(number)
}

/// The site, group, task and control of the tests.
pub(crate) const SITE: u128 = 1;
pub(crate) const GROUP: u128 = 2;
pub(crate) const TASK: u128 = 3;
pub(crate) const ARM: u128 = 4;
pub(crate) const WORKER: u128 = 5;
pub(crate) const EVENT: u128 = 6;

pub(crate) fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// A version of a fact, as first entered.
pub(crate) fn version<F: Shape>(number: u128, parent: Option<u128>, fact: &Value) -> Version<F> {
    Version {
        id: id(number),
        revision: 1,
        position: i64::try_from(number).unwrap(),
        site: Some(id(SITE).into()),
        parent: parent.map(id),
        voided: None,
        fact: F::parse(fact).unwrap_or_else(|faults| panic!("{faults:?}")),
    }
}

/// Overwrites members of an object.
pub(crate) fn with(mut base: Value, change: &Value) -> Value {
    for (name, value) in change.as_object().unwrap() {
        base[name] = value.clone();
    }
    base
}

/// A limit that holds at every site.
pub(crate) fn limit_of_all(number: u128, limit: &Value) -> Version<Limit> {
    Version { site: None, ..version(number, Some(999), limit) }
}

/// An agent of the built-in pack with its limits.
pub(crate) fn agent(code: &str) -> AgentEvidence {
    let known = Pack::built_in().agent(code).unwrap();
    let limits = known.limits.iter().zip(1000..);
    AgentEvidence::new(
        version(999, None, &known.agent.to_json()),
        limits.map(|(limit, number)| limit_of_all(number, &limit.to_json())).collect(),
    )
}

/// A group with one task and, from the dates given, an arm on it.
pub(crate) fn group(arm_from: Option<&str>) -> GroupEvidence {
    GroupEvidence {
        site: version(
            SITE,
            None,
            &json!({"code": "N", "name": "Northern works", "time_zone": "America/Denver",
            "rule_set": "us_general_industry"}),
        ),
        group: version(GROUP, Some(SITE), &json!({"code": "G", "title": "Welders"})),
        tasks: vec![version(
            TASK,
            Some(SITE),
            &json!({"code": "T", "title": "Welding", "group_id": id(GROUP)}),
        )],
        periods: arm_from
            .map(|from| version(40, Some(TASK), &json!({"control_id": id(ARM), "from": from})))
            .into_iter()
            .collect(),
        controls: vec![
            version(ARM, Some(SITE), &json!({"code": "A", "title": "Arm", "kind": "engineering"})),
            version(41, Some(SITE), &json!({"code": "R", "title": "Hood", "kind": "respirator"})),
        ],
        changes: Vec::new(),
        joined: Vec::new(),
        site_rule_sets: Vec::new(),
        group_rule_sets: Vec::new(),
    }
}

/// An event with changes to its fields.
pub(crate) fn event(number: u128, change: &Value) -> Version<SamplingEvent> {
    let base = json!({"reference": format!("E{number}"), "purpose": ["routine"], "sampled_by": "An invented sampler",
        "shift_minutes": 480});
    version(number, Some(SITE), &with(base, change))
}

/// A whole-shift breathing-zone sample of 2 L/min over 480 minutes, with changes to its fields.
pub(crate) fn sample(number: u128, change: &Value) -> Version<Sample> {
    let base = json!({"number": format!("S{number}"), "position": "breathing_zone", "shift_date": "2026-03-02",
        "worker_id": id(WORKER), "group_id": id(GROUP), "task_id": id(TASK), "minutes_run": 480,
        "flow_before": {"value": 2, "unit": "L/min"}, "flow_after": {"value": 2, "unit": "L/min"},
        "calibrated_on": "2026-01-10", "medium": "PVC 37 mm", "medium_lot": "L1", "control_ids_running": []});
    version(number, Some(EVENT), &with(base, change))
}

/// An accepted result of 2.4 ug chromium(VI) not yet blank-corrected, with changes to its fields.
pub(crate) fn result(number: u128, of_sample: u128, change: &Value) -> Version<LabResult> {
    let base = json!({"sample_id": id(of_sample), "agent_code": "chromium_vi", "status": "accepted", "stands": true,
        "mass": {"value": "2.40", "unit": "ug"}, "reporting_limit": {"value": "0.02", "unit": "ug"},
        "blank_corrected": "yes", "estimated": false});
    version(number, None, &with(base, change))
}

/// A sample with its results in an event.
pub(crate) fn evidence(
    event: &Version<SamplingEvent>,
    sample: Version<Sample>,
    results: Vec<Version<LabResult>>,
    blanks: Vec<Blank>,
) -> SampleEvidence {
    SampleEvidence { sample, event: Arc::new(event.clone()), results, blanks: Arc::new(blanks) }
}

/// A whole-shift sample whose laboratory reports this many ug/m3 of chromium(VI) in the air.
pub(crate) fn shift(
    number: u128,
    event: &Version<SamplingEvent>,
    change: &Value,
    concentration: &Value,
) -> SampleEvidence {
    let quantity = with(json!({"unit": "ug/m3"}), concentration);
    let found =
        json!({"mass": null, "concentration": quantity, "reporting_limit": {"value": 0.05, "unit": "ug/m3"}});
    evidence(event, sample(number, change), vec![result(number + 500, number, &found)], Vec::new())
}
