//! The kinds of fact that need nothing but to be recorded, listed, read and voided.

use crate::api::endpoint::{Endpoint, Schema, reference};
use crate::api::facts::{Naming, answer, collection, either_item, item};
use crate::model::facts::agent::{Agent, Limit};
use crate::model::facts::clause::Clause;
use crate::model::facts::control::{Control, ControlPeriod, Task};
use crate::model::facts::group::{Condition, ExpectedAgent, Group, GroupChange, JoinedEra, Judgement};
use crate::model::facts::rules::{ComparedWith, MixtureSet};
use crate::model::facts::site::{Holiday, MonitoringOption, Release, RuleSetChange, Site};
use crate::model::facts::worker::{
    Absence, Assignment, EarlierExposure, Employment, RespiratorConfirmation, WorkedDay,
};
use crate::registry::place::Under;
use crate::registry::recording::Recorded;
use serde_json::{Value, json};

/// An identifier for examples.
pub(crate) const SOME_ID: &str = "01900000-0000-7000-8000-0000000000aa";

const fn naming(
    tag: &'static str,
    one: &'static str,
    many: &'static str,
    last: &'static str,
    component: &'static str,
) -> Naming {
    Naming { tag, one, many, last, component }
}

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let mut all = Vec::new();
    sites(&mut all);
    agents(&mut all);
    groups(&mut all);
    tasks(&mut all);
    of_workers(&mut all);
    all
}

/// A kind recorded at one path.
fn kind<F: Recorded>(all: &mut Vec<Endpoint>, path: &str, naming: Naming, example: Value) {
    all.extend(collection::<F>(path, F::UNDER, naming, example));
    all.extend(item::<F>(naming));
}

fn sites(all: &mut Vec<Endpoint>) {
    kind::<Site>(
        all,
        "/sites",
        naming("sites", "a site", "sites", "sites", "Site"),
        json!({"code": "LYN", "name": "Lynhead works", "time_zone": "America/Denver", "rule_set": "us_general_industry"}),
    );
    let rule_sets = naming(
        "sites",
        "a dated rule set of a site or group",
        "dated rule sets",
        "rule-sets",
        "RuleSetChange",
    );
    let example =
        || json!({"rule_set": "us_construction", "from": "2026-04-01", "reason": "Work moved outdoors."});
    all.extend(collection::<RuleSetChange>("/sites/{id}/rule-sets", Under::Site, rule_sets, example()));
    all.extend(collection::<RuleSetChange>(
        "/groups/{id}/rule-sets",
        Under::SiteOrGroup,
        rule_sets,
        example(),
    ));
    all.extend(item::<RuleSetChange>(rule_sets));
    kind::<MonitoringOption>(
        all,
        "/sites/{id}/monitoring-options",
        naming(
            "sites",
            "a monitoring option",
            "monitoring options",
            "monitoring-options",
            "MonitoringOption",
        ),
        json!({"agent_code": "lead", "option": "scheduled", "from": "2026-01-01"}),
    );
    kind::<Holiday>(
        all,
        "/sites/{id}/holidays",
        naming("sites", "a holiday", "holidays", "holidays", "Holiday"),
        json!({"date": "2026-07-03", "name": "Independence Day, observed"}),
    );
    kind::<Release>(
        all,
        "/sites/{id}/releases",
        naming("sites", "a release", "releases", "releases", "Release"),
        json!({
            "at": "2026-02-27T07:30:00Z", "agent_codes": ["chromium_vi"], "group_ids": [SOME_ID],
            "worker_ids": [], "description": "A drum of plating solution was knocked over."
        }),
    );
    kind::<Judgement>(
        all,
        "/sites/{id}/judgements",
        naming("sites", "a judgement", "judgements", "judgements", "Judgement"),
        json!({
            "group_id": SOME_ID, "agent_code": "lead", "from": "2019-01-01", "to": "2020-01-01",
            "kind": "professional", "rating": 2, "rationale": "Same process and extraction as in 2020."
        }),
    );
}

fn agents(all: &mut Vec<Endpoint>) {
    let agents = naming("agents", "an agent", "agents", "agents", "Agent");
    all.extend(collection::<Agent>(
        "/agents",
        Under::Nothing,
        agents,
        json!({
            "code": "sample_dust", "name": "Sample dust", "state": "particulate", "measured_as": "as dust",
            "fraction": "inhalable"
        }),
    ));
    let expected = naming("groups", "an expected agent", "expected agents", "agents", "ExpectedAgent");
    all.extend(collection::<ExpectedAgent>(
        "/groups/{id}/agents",
        Under::Group,
        expected,
        json!({"agent_code": "lead", "from": "2026-01-01", "source": "Safety data sheet of the alloy"}),
    ));
    let parts = [answer::<Agent>(agents), answer::<ExpectedAgent>(expected)];
    let both = parts.each_ref().map(|part| reference(&part.name));
    all.extend(either_item::<Agent, ExpectedAgent>(
        naming("agents", "an agent, or an expected agent of a group", "agents", "agents", "Agent"),
        Schema::named("AgentOrExpectedAgentAnswer", json!({"anyOf": both})).with_parts(parts),
    ));
    let limits = naming("agents", "a limit", "limits", "limits", "Limit");
    let mut limit = json!({
        "authority": "company", "kind": "twa", "value": {"value": "0.5", "unit": "mg/m3"},
        "averaging_minutes": 480, "from": "2026-01-01", "source": "Works standard 12, section 3"
    });
    all.extend(collection::<Limit>("/agents/{id}/limits", Under::Agent, limits, limit.clone()));
    limit["agent_code"] = json!("lead");
    all.extend(collection::<Limit>("/sites/{id}/limits", Under::Site, limits, limit));
    all.extend(item::<Limit>(limits));
    let clauses = naming(
        "agents",
        "a clause of an authority other than the law that comes with the program",
        "clauses of authorities other than the law that comes with the program",
        "clauses",
        "Clause",
    );
    let mut clause = json!({
        "code": "W12-4", "authority": "company", "agent_code": "lead", "source": "Works standard 12, section 4",
        "edition": "2026", "verification": "verified", "from": "2026-01-01",
        "worker": {
            "counts": "respirator_required", "days": 10,
            "first_within": {"amount": 30, "unit": "days", "from": "days_reached"}, "repeat_months": 12
        }
    });
    all.extend(collection::<Clause>("/clauses", Under::Nothing, clauses, clause.clone()));
    clause["code"] = json!("W12-5");
    all.extend(collection::<Clause>("/sites/{id}/clauses", Under::Site, clauses, clause));
    all.extend(item::<Clause>(clauses));
    kind::<ComparedWith>(
        all,
        "/agents/{id}/compared-with",
        naming(
            "agents",
            "which limits a total is compared with",
            "choices of limits that a total is compared with",
            "compared-with",
            "ComparedWith",
        ),
        json!({"limit_ids": [SOME_ID], "reason": "The laboratory reports the total only."}),
    );
    kind::<MixtureSet>(
        all,
        "/mixture-sets",
        naming("agents", "a mixture set", "mixture sets", "mixture-sets", "MixtureSet"),
        json!({"name": "Solvents of line 3", "agent_codes": ["toluene", "xylene"], "reason": "Both act on the nerves."}),
    );
}

fn groups(all: &mut Vec<Endpoint>) {
    kind::<Group>(
        all,
        "/sites/{id}/groups",
        naming("groups", "a similar exposure group", "similar exposure groups", "groups", "Group"),
        json!({
            "code": "WELD-1", "title": "Stainless welders, bay 1", "job_classification": "welder",
            "work_area": "Bay 1", "shift_pattern": "days, Monday to Friday"
        }),
    );
    kind::<Condition>(
        all,
        "/groups/{id}/conditions",
        naming("groups", "a condition of a group", "conditions of a group", "conditions", "Condition"),
        json!({
            "agent_code": "lead", "kind": "respirator_required", "days_per_week": 2, "from": "2026-01-01",
            "source": "Respirator programme, page 4"
        }),
    );
    kind::<GroupChange>(
        all,
        "/groups/{id}/changes",
        naming("groups", "a change in a group's work", "changes in a group's work", "changes", "GroupChange"),
        json!({"from": "2026-02-01", "kind": "material", "description": "New filler wire.", "may_raise": true}),
    );
    kind::<JoinedEra>(
        all,
        "/groups/{id}/joined-eras",
        naming("groups", "a cut taken out between two eras", "cuts taken out", "joined-eras", "JoinedEra"),
        json!({"agent_code": "lead", "at": "2026-02-01", "reason": "The new wire has the same lead content."}),
    );
}

fn tasks(all: &mut Vec<Endpoint>) {
    kind::<Task>(
        all,
        "/sites/{id}/tasks",
        naming("tasks", "a task", "tasks", "tasks", "Task"),
        json!({
            "code": "T-07", "title": "Root pass", "group_id": SOME_ID, "usual_minutes_per_shift": 180,
            "shifts_per_week": 4
        }),
    );
    kind::<Control>(
        all,
        "/sites/{id}/controls",
        naming("tasks", "a control", "controls", "controls", "Control"),
        json!({
            "code": "LEV-2", "title": "Extraction arm, bay 1", "kind": "engineering", "form": "movable hood",
            "target_reduction_percent": 50
        }),
    );
    kind::<ControlPeriod>(
        all,
        "/tasks/{id}/control-periods",
        naming("tasks", "a control period", "control periods", "control-periods", "ControlPeriod"),
        json!({"control_id": SOME_ID, "from": "2026-02-01"}),
    );
}

fn of_workers(all: &mut Vec<Endpoint>) {
    kind::<Employment>(
        all,
        "/workers/{id}/employments",
        naming("workers", "an employment", "employments", "employments", "Employment"),
        json!({"employer": "Lynhead Works", "employee_number": "10442", "relation": "own", "from": "2026-01-05"}),
    );
    kind::<EarlierExposure>(
        all,
        "/workers/{id}/earlier-exposures",
        naming("workers", "an earlier exposure", "earlier exposures", "earlier-exposures", "EarlierExposure"),
        json!({
            "employer": "an earlier employer", "agent_code": "lead", "from": "2010-01-01", "to": "2014-01-01",
            "days_per_year": 200, "mean": {"value": "12", "unit": "ug/m3"}, "source": "Told by the worker"
        }),
    );
    kind::<Assignment>(
        all,
        "/workers/{id}/assignments",
        naming("workers", "an assignment", "assignments", "assignments", "Assignment"),
        json!({"group_id": SOME_ID, "from": "2026-01-05", "shifts_per_week": 5, "hours_per_shift": 8, "job_title": "Welder"}),
    );
    kind::<RespiratorConfirmation>(
        all,
        "/assignments/{id}/respirator-confirmations",
        naming(
            "workers",
            "a confirmation of a respirator",
            "confirmations of respirators",
            "respirator-confirmations",
            "RespiratorConfirmation",
        ),
        json!({"from": "2026-01-05", "to": "2026-07-01", "fit": true, "programme": true}),
    );
    kind::<WorkedDay>(
        all,
        "/workers/{id}/worked-days",
        naming("workers", "a worked day", "worked days", "worked-days", "WorkedDay"),
        json!({"date": "2026-03-02", "group_id": SOME_ID, "hours": 8}),
    );
    kind::<Absence>(
        all,
        "/workers/{id}/absences",
        naming("workers", "an absence", "absences", "absences", "Absence"),
        json!({"from": "2026-03-02", "to": "2026-03-09"}),
    );
}
