//! Requests for a worker's records, and the duty to answer each, written with it.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::duty::{Duty, DutyAction, DutyKind, Subject};
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::site::{Holiday, Site};
use crate::model::facts::worker::{Assignment, RecordRequest, RequestedBy};
use crate::model::identifiers::WorkerId;
use crate::model::shape::Faults;
use crate::model::text::{Code, Line, Text};
use crate::model::version::Version;
use crate::registry::enter_pack::registry_itself;
use crate::registry::facts::worker::employments;
use crate::registry::gather;
use crate::registry::gather::citations::{citations, cited};
use crate::registry::place::{Place, Under};
use crate::registry::recording::{self, Recorded};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::tables::Key;
use crate::store::versions::Where;
use crate::surveillance::calendar::WorkingDays;
use chrono::NaiveDate;
use serde_json::Value;
use std::collections::BTreeMap;
use uuid::Uuid;

impl Recorded for RecordRequest {
    const UNDER: Under = Under::Worker;
    const RECORD: Action = Action::RecordWorkers;
    const READ: Action = Action::ReadWorkers;
    const FIXED: &'static [(&'static str, &'static str)] = &[(
        "received_on",
        "is the day from which its duty runs: void the request and record it with the right day",
    )];

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        if self.received_on > change.as_of().date {
            faults.note("/received_on", "must not lie in the future");
        }
        note_consent(self, change.as_of().date, faults);
        Ok(())
    }

    /// The duty is withdrawn with the request, and stands again with it.
    async fn follow_voiding(version: &Version<Self>, _: i64, change: &mut Change) -> Result<(), Refusal> {
        let (scope, as_of) = (change.everything(), change.as_of());
        let of_it = [
            Where::Is("worker_id", Key::Id(version.parent)),
            Where::Is("occasion", Key::Text(Some(version.id.to_string()))),
        ];
        for old in gather::all::<Duty>(&mut change.tx, as_of, &of_it).await? {
            // What somebody has answered is history.
            if !gather::all::<DutyAction>(&mut change.tx, as_of, &[Where::Parent(old.id)]).await?.is_empty() {
                continue;
            }
            let withdrawn = version.voided.as_ref().and_then(|_| Text::new("the request was voided"));
            let deed = if withdrawn.is_some() { "withdrawn" } else { "raised again" };
            let fact = Duty { withdrawn, ..old.fact.clone() };
            let caller = std::mem::replace(&mut change.caller, registry_itself());
            let altered = change.alter(&scope, &old, fact, None, deed, None).await;
            change.caller = caller;
            altered?;
        }
        Ok(())
    }
}

fn note_consent(request: &RecordRequest, today: NaiveDate, faults: &mut Faults) {
    let of_worker = request.from == RequestedBy::Worker;
    if of_worker && (request.consented_on.is_some() || request.health_need.is_some()) {
        let at = if request.consented_on.is_some() { "/consented_on" } else { "/health_need" };
        faults.note(at, "is for others than the worker");
    }
    if request.consented_on.is_some_and(|signed| signed > today) {
        faults.note("/consented_on", "must not lie in the future");
    }
    let Some(until) = request.consent_until else { return };
    match request.consented_on {
        None => faults.note("/consent_until", "needs the day on which the worker signed: consented_on"),
        Some(signed) if until < signed => faults.note("/consent_until", "must not lie before consented_on"),
        Some(_) if request.consent_ends() != Some(until) => {
            faults.note("/consent_until", "must lie within a year of consented_on (29 CFR 1910.1020(c)(12))");
        }
        Some(_) => {}
    }
}

/// Records a request with the duty to answer it.
///
/// # Errors
/// Every fault in it; [`Refusal::Unknown`] where the worker is not in sight.
pub async fn record(
    change: &mut Change,
    worker: Uuid,
    body: &Value,
) -> Result<Version<RecordRequest>, Refusal> {
    let request = recording::record::<RecordRequest>(change, Under::Worker, Some(worker), body).await?;
    if let Some(duty) = duty_to_answer(change, worker, &request).await? {
        // What follows from a fact is written by the registry, whoever recorded the fact.
        let scope = change.everything();
        let caller = std::mem::replace(&mut change.caller, registry_itself());
        let added = change.add(&scope, None, None, duty).await;
        change.caller = caller;
        added?;
    }
    Ok(request)
}

async fn duty_to_answer(
    change: &mut Change,
    worker: Uuid,
    request: &Version<RecordRequest>,
) -> Result<Option<Duty>, Refusal> {
    let (as_of, received_on) = (change.as_of(), request.fact.received_on);
    let Some((trigger_id, clause, due_on)) = deadline(change, worker, received_on).await? else {
        return Ok(None);
    };
    let Some(occasion) = Code::new(&request.id.to_string()) else { return Ok(None) };
    let duty = Duty {
        kind: DutyKind::AnswerRecordRequest,
        subject: Subject { worker_id: Some(WorkerId(worker)), group_id: None, site_id: None },
        agent_code: None,
        authority: None,
        trigger_id: Code::new(&trigger_id),
        occasion,
        clause: Some(clause),
        edition: None,
        verification: None,
        due_on,
        learned_on: as_of.date,
        met_on: None,
        days_counted: None,
        window: None,
        basis: vec![request.position],
        employer: employer_on(change, worker, received_on).await?,
        withdrawn: None,
        recorded_under: None,
        flags: Vec::new(),
        site_ids: Vec::new(),
        rests_on_medical_ground: None,
    };
    let citations = citations(&mut change.tx, as_of, [trigger_id].into()).await?;
    Ok(Some(cited(duty, &citations)))
}

/// Row, clause and last day for the answer: by the working days of the worker's sites; the earliest of several.
async fn deadline(
    change: &mut Change,
    worker: Uuid,
    received_on: NaiveDate,
) -> Result<Option<(String, String, NaiveDate)>, Refusal> {
    let as_of = change.as_of();
    let pack = gather::agents::pack(&mut change.tx, as_of).await?;
    let of_worker = [Where::Parents(change.person(worker).await?.entries())];
    let assignments = gather::all::<Assignment>(&mut change.tx, as_of, &of_worker).await?;
    let ids: Vec<Uuid> = assignments.iter().filter_map(|one| one.site).map(|site| site.0).collect();
    let sites = gather::many::<Site>(&mut change.tx, as_of, &ids, Where::Ids).await?;
    let mut holidays: BTreeMap<Uuid, Vec<NaiveDate>> = BTreeMap::new();
    for holiday in gather::many::<Holiday>(&mut change.tx, as_of, &ids, Where::Parents).await? {
        if holiday.stands() {
            holidays.entry(holiday.parent.unwrap_or_default()).or_default().push(holiday.fact.date);
        }
    }
    let mut calendars: Vec<_> = sites
        .iter()
        .map(|site| {
            let own = holidays.remove(&site.id).unwrap_or_default();
            (site.fact.rule_set, WorkingDays::new(own))
        })
        .collect();
    if calendars.is_empty() {
        // Nobody has assigned the worker yet: no site adds holidays of its own.
        calendars.push((RuleSet::UsGeneralIndustry, WorkingDays::default()));
    }
    let due = calendars.iter().filter_map(|(rule_set, days)| {
        let rule = pack.access_deadline(*rule_set)?;
        let due_on = days.add(received_on, rule.working_days_to_answer()?);
        Some((rule.record_id.clone(), rule.clause(), due_on))
    });
    Ok(due.min_by_key(|(_, _, due_on)| *due_on))
}

/// The employer on a day; else the last one before it.
async fn employer_on(change: &mut Change, worker: Uuid, day: NaiveDate) -> Result<Option<Line>, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let entries = change.person(worker).await?.entries();
    let known = employments(&mut change.tx, &scope, as_of, entries).await?;
    let begun = || known.iter().filter(|one| one.fact.from <= day);
    let current = begun().rfind(|one| one.fact.to.is_none_or(|to| day < to));
    Ok(current.or_else(|| begun().next_back()).map(|one| one.fact.employer.clone()))
}
