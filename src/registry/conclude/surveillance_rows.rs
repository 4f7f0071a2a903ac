//! The register of surveillance as rows of a table: one for each examination to be offered.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::worker::{Employment, Worker};
use crate::model::identifiers::{DutyId, WorkerId};
use crate::model::text::Line;
use crate::model::version::Version;
use crate::record;
use crate::registry::duty_list::{self, Question};
use crate::registry::duty_view::DutyView;
use crate::registry::duty_view::is_examination;
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Page, Where};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use uuid::Uuid;

record! {
    /// An examination that a worker is to be offered.
    pub struct SurveillanceRow {
        /// The duty.
        duty_id: DutyId,
        /// The worker.
        worker_id: Option<WorkerId>,
        /// The worker's name.
        worker_name: Option<String>,
        /// The employer who owes it.
        employer: Option<String>,
        /// The worker's number there.
        employee_number: Option<String>,
        /// What is to be done.
        kind: String,
        /// The agent.
        agent_code: Option<String>,
        /// Whose clause asks for it.
        authority: Option<String>,
        /// Row of the pack, or the code of another authority's clause.
        trigger_id: Option<String>,
        /// Section and paragraph.
        clause: Option<String>,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Option<String>,
        /// Days counted in the worst window.
        days_counted: Option<i64>,
        /// The first day of that window.
        window_from: Option<NaiveDate>,
        /// The first day no longer of it.
        window_to: Option<NaiveDate>,
        /// By when the clause asks.
        due_on: NaiveDate,
        /// When the registry learned of it.
        learned_on: Option<NaiveDate>,
        /// How it stands.
        status: String,
        /// By how many days it was met late.
        days_late: Option<i64>,
        /// What is to be known of it.
        flags: Vec<String>,
        /// What it amounts to, and who decides.
        words: String,
    }
}

/// Every examination to be offered in sight, in order of due date, name and clause.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn rows(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Vec<SurveillanceRow>, Refusal> {
    caller.may(Action::Export)?;
    let everything = Page { after: None, limit: i64::MAX };
    let mut duties = duty_list::duties(tx, caller, as_of, &Question::default(), everything).await?;
    duties.retain(|duty| is_examination(duty.kind));
    let ids: Vec<Uuid> = duties.iter().filter_map(|duty| duty.subject.worker_id).map(|id| id.0).collect();
    let workers: BTreeMap<Uuid, _> = gather::many::<Worker>(tx, as_of, &ids, Where::Ids)
        .await?
        .into_iter()
        .map(|worker| (worker.id, worker))
        .collect();
    let scope = caller.may(Action::ReadDuties)?;
    let persons = persons(tx, as_of, &ids).await?.in_sight(tx, &scope, as_of).await?;
    let mut employments =
        gather::many::<Employment>(tx, as_of, &persons.entries(ids), Where::Parents).await?;
    employments.retain(Version::stands);
    employments.sort_by_key(|employment| (employment.fact.from, employment.position));
    let mut of_worker: BTreeMap<Uuid, Vec<Employment>> = BTreeMap::new();
    for employment in employments {
        let worker = persons.stands_under(employment.parent.unwrap_or_default());
        of_worker.entry(worker).or_default().push(employment.fact);
    }
    let mut rows: Vec<SurveillanceRow> =
        duties.into_iter().map(|duty| row(duty, &workers, &of_worker)).collect();
    rows.sort_by(|a, b| {
        let key = |row: &SurveillanceRow| {
            (row.due_on, row.worker_name.clone(), row.trigger_id.clone(), row.duty_id)
        };
        key(a).cmp(&key(b))
    });
    Ok(rows)
}

fn row(
    duty: DutyView,
    workers: &BTreeMap<Uuid, Version<Worker>>,
    employments: &BTreeMap<Uuid, Vec<Employment>>,
) -> SurveillanceRow {
    let worker_id = duty.subject.worker_id;
    let worker = worker_id.and_then(|id| workers.get(&id.0));
    let number =
        worker_id.and_then(|id| number_at(employments.get(&id.0)?, duty.employer.as_ref().map(Line::as_str)));
    SurveillanceRow {
        duty_id: duty.id,
        worker_id,
        worker_name: worker.map(|worker| format!("{} {}", worker.fact.given_name, worker.fact.family_name)),
        employer: duty.employer.map(|employer| employer.to_string()),
        employee_number: number,
        kind: duty.kind.to_string(),
        agent_code: duty.agent_code.map(|code| code.to_string()),
        authority: duty.authority.map(|whose| whose.to_string()),
        trigger_id: duty.trigger_id.map(|id| id.to_string()),
        clause: duty.clause,
        edition: duty.edition,
        verification: duty.verification.map(|how| how.to_string()),
        days_counted: duty.days_counted,
        window_from: duty.window.as_ref().map(|window| window.from),
        window_to: duty.window.as_ref().map(|window| window.to),
        due_on: duty.due_on,
        learned_on: duty.learned_on,
        status: duty.status.to_string(),
        days_late: duty.days_late,
        flags: duty.flags,
        words: duty.words,
    }
}

/// The number of a worker at the employer who owes the examination; at the last one where none is named.
fn number_at(employments: &[Employment], employer: Option<&str>) -> Option<String> {
    let there = |one: &&Employment| employer.is_none_or(|employer| one.employer.as_str() == employer);
    employments.iter().rev().find(there).map(|one| one.employee_number.to_string())
}
