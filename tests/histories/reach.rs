//! What facts say they reach is what the table says of their fields.

use doseward::model::facts::agent::{Agent, Limit};
use doseward::model::facts::clause::Clause;
use doseward::model::facts::control::{Control, ControlPeriod, Task};
use doseward::model::facts::group::{Condition, ExpectedAgent, Group, GroupChange, JoinedEra, Judgement};
use doseward::model::facts::laboratory::{LabReport, LabResult};
use doseward::model::facts::rules::{ComparedWith, MixtureSet};
use doseward::model::facts::sampling::{DirectReadings, Sample, SamplingEvent};
use doseward::model::facts::site::{Holiday, MonitoringOption, Release, RuleSetChange};
use doseward::model::facts::worker::{
    Absence, Alias, Assignment, EarlierExposure, Employment, MedicalGround, WorkedDay, Worker,
};
use doseward::model::identifiers::SiteId;
use doseward::registry::place::Place;
use doseward::registry::reach::Reach;
use doseward::registry::reach_table::{Reached, TABLE};
use doseward::registry::recording::Recorded;
use serde_json::{Value, json};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

const ID: &str = "01900000-0000-7000-8000-0000000000aa";

/// What a fact says it reaches, under a parent and under its site.
fn says<F: Recorded>(said: &mut BTreeMap<&'static str, BTreeSet<Reached>>, body: &Value) {
    let fact = F::parse(body).unwrap_or_else(|faults| panic!("{}: {faults:?}", F::TABLE.kind));
    let site = Uuid::from_u128(1);
    for parent in [site, Uuid::from_u128(2)] {
        let place = Place { parent: Some(parent), site: Some(SiteId(site)), void: false };
        said.entry(F::TABLE.kind).or_default().extend(fact.reach(&place).iter().map(Reach::word));
    }
}

/// The same under something that belongs to no site.
fn of_no_site<F: Recorded>(said: &mut BTreeMap<&'static str, BTreeSet<Reached>>, body: &Value) {
    let fact = F::parse(body).unwrap_or_else(|faults| panic!("{}: {faults:?}", F::TABLE.kind));
    let place = Place { parent: Some(Uuid::from_u128(2)), site: None, void: false };
    said.entry(F::TABLE.kind).or_default().extend(fact.reach(&place).iter().map(Reach::word));
}

fn of_agents(said: &mut BTreeMap<&'static str, BTreeSet<Reached>>) {
    says::<Agent>(said, &json!({"code": "dust", "name": "Dust", "state": "particulate"}));
    says::<Limit>(
        said,
        &json!({"authority": "company", "kind": "twa", "value": {"value": 1, "unit": "mg/m3"}, "source": "-"}),
    );
    of_no_site::<Limit>(
        said,
        &json!({"authority": "company", "kind": "twa", "value": {"value": 1, "unit": "mg/m3"}, "source": "-"}),
    );
    let clause = json!({"code": "C", "authority": "company", "agent_code": "dust", "source": "-"});
    says::<Clause>(said, &clause);
    of_no_site::<Clause>(said, &clause);
    says::<ComparedWith>(said, &json!({"limit_ids": [ID], "reason": "-"}));
    says::<MixtureSet>(said, &json!({"name": "-", "agent_codes": ["dust"], "reason": "-"}));
}

fn of_sites_and_groups(said: &mut BTreeMap<&'static str, BTreeSet<Reached>>) {
    let day = "2026-03-02";
    says::<RuleSetChange>(said, &json!({"rule_set": "us_construction", "from": day, "reason": "-"}));
    says::<MonitoringOption>(said, &json!({"agent_code": "dust", "option": "scheduled", "from": day}));
    says::<Holiday>(said, &json!({"date": day, "name": "-"}));
    says::<Release>(
        said,
        &json!({"at": "2026-03-02T08:00:00Z", "agent_codes": ["dust"], "group_ids": [ID], "worker_ids": [ID],
            "description": "-"}),
    );
    says::<Group>(said, &json!({"code": "G", "title": "-"}));
    says::<Condition>(
        said,
        &json!({"agent_code": "dust", "kind": "skin_contact", "from": day, "source": "-"}),
    );
    says::<GroupChange>(
        said,
        &json!({"from": day, "kind": "process", "description": "-", "may_raise": true}),
    );
    says::<ExpectedAgent>(said, &json!({"agent_code": "dust", "from": day, "source": "-"}));
    says::<JoinedEra>(said, &json!({"at": day, "reason": "-"}));
    says::<Judgement>(
        said,
        &json!({"group_id": ID, "agent_code": "dust", "from": day, "kind": "professional", "rating": 2,
            "rationale": "-"}),
    );
    says::<Task>(said, &json!({"code": "T", "title": "-", "group_id": ID}));
    says::<Control>(said, &json!({"code": "C", "title": "-", "kind": "engineering"}));
    says::<ControlPeriod>(said, &json!({"control_id": ID, "from": day}));
}

fn of_workers(said: &mut BTreeMap<&'static str, BTreeSet<Reached>>) {
    let day = "2026-03-02";
    says::<Worker>(said, &json!({"given_name": "A", "family_name": "B", "entered_by": ID}));
    says::<Employment>(
        said,
        &json!({"employer": "A", "employee_number": "1", "relation": "own", "from": day}),
    );
    says::<EarlierExposure>(
        said,
        &json!({"employer": "A", "agent_code": "dust", "from": day, "to": day, "source": "-"}),
    );
    says::<Assignment>(
        said,
        &json!({"group_id": ID, "from": day, "shifts_per_week": 5, "hours_per_shift": 8}),
    );
    says::<WorkedDay>(said, &json!({"date": day, "group_id": ID, "hours": 8}));
    says::<Alias>(said, &json!({"of_worker_id": ID, "reason": "-"}));
    says::<Absence>(said, &json!({"from": day, "to": day}));
    says::<MedicalGround>(said, &json!({"kind": "removal", "on": day, "agent_code": "dust"}));
}

fn of_samples(said: &mut BTreeMap<&'static str, BTreeSet<Reached>>) {
    let day = "2026-03-02";
    says::<SamplingEvent>(
        said,
        &json!({"reference": "E", "purpose": ["routine"], "sampled_by": "A", "shift_minutes": 480}),
    );
    for position in ["area", "field_blank"] {
        says::<Sample>(said, &json!({"number": "S", "position": position, "shift_date": day}));
    }
    says::<LabReport>(said, &json!({"report_number": "L", "laboratory": "A", "received_on": day}));
    says::<LabResult>(
        said,
        &json!({"sample_id": ID, "agent_code": "dust", "status": "submitted", "stands": true,
            "blank_corrected": "no", "estimated": false}),
    );
    says::<DirectReadings>(
        said,
        &json!({"instrument": "A", "position": "area", "task_id": ID, "shift_date": day, "unit": "/m3",
            "readings": []}),
    );
}

#[test]
fn a_fact_reaches_what_the_table_says_of_its_kind() {
    let mut said = BTreeMap::new();
    of_agents(&mut said);
    of_sites_and_groups(&mut said);
    of_workers(&mut said);
    of_samples(&mut said);
    for row in TABLE {
        let reaches: BTreeSet<Reached> = row.reaches.iter().copied().collect();
        match (row.kind, said.get(row.kind)) {
            // Nothing refers to a site that is new, and a void one keeps its zone and rule set; a correction reaches it.
            ("site", None) => assert_eq!(reaches, BTreeSet::from([Reached::Site])),
            // Entered by the registry itself, which then marks everything.
            ("pack_row", None) => assert_eq!(reaches, BTreeSet::from([Reached::Registry])),
            // Acted on through its duty: the next examination of that worker is counted from it.
            ("duty_action", None) => assert_eq!(reaches, BTreeSet::from([Reached::Worker])),
            (kind, None) => assert_eq!(reaches, BTreeSet::new(), "{kind} says nothing here"),
            (kind, Some(said)) => assert_eq!(&reaches, said, "{kind}"),
        }
    }
}
