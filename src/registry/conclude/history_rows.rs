//! Histories of many workers, a few at a time: each as it is handed out alone, and its intervals as rows of a table.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::history::basis::Basis;
use crate::conclusions::history::noise_levels::LevelBand;
use crate::conclusions::history::view::{HistoryFlag, HistoryInterval, HistoryView};
use crate::model::facts::group::ExpectedAgent;
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::sampling::{NoiseCriterion, Sample};
use crate::model::facts::worker::{Assignment, EarlierExposure, WorkedDay, Worker};
use crate::model::identifiers::{GroupId, SiteId, WorkerId};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::record;
use crate::registry::conclude::history::{self, Question};
use crate::registry::conclude::sight::Sight;
use crate::registry::gather;
use crate::registry::gather::persons::{Person, persons};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::samples::agents_of_group;
use crate::store::tables::Stored as _;
use crate::store::versions::{self, AsOf, Where};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::Value;
use std::collections::BTreeSet;
use uuid::Uuid;

record! {
    /// A time in one group with one mean, of one worker and one agent.
    pub struct HistoryRow {
        /// The worker.
        worker_id: WorkerId,
        /// The name.
        worker_name: String,
        /// The other entries of the same person whose facts it holds.
        also_known_as: Option<Vec<WorkerId>>,
        /// The agent.
        agent_code: Code,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
        /// The site.
        site_id: Option<SiteId>,
        /// The group.
        group_id: GroupId,
        /// Whose mean it is.
        basis: Basis,
        /// The mean, of noise the mean level; absent without an estimate.
        mean: Option<f64>,
        /// Its one-sided lower 95 % limit; of a judgement its lower end.
        mean_lower: Option<f64>,
        /// Its one-sided upper 95 % limit; of a judgement its upper end.
        mean_upper: Option<f64>,
        /// Their unit.
        unit: Option<Unit>,
        /// The mean scaled to the hours of the assignment, where these differ.
        mean_scaled: Option<f64>,
        /// By which criterion the mean level of noise is.
        criterion: Option<NoiseCriterion>,
        /// The band of the level of noise.
        level_band: Option<LevelBand>,
        /// The share of full time worked (five shifts a week are 1).
        weight: f64,
        /// Shifts behind the mean.
        n: Option<i64>,
        /// Workers behind it.
        worker_count: Option<i64>,
        /// Dates behind it.
        date_count: Option<i64>,
        /// The first of these dates.
        first: Option<NaiveDate>,
        /// The last of them.
        last: Option<NaiveDate>,
        /// What is to be known of it.
        flags: Vec<HistoryFlag>,
    }
}

/// One history of those that are taken out.
#[derive(Debug)]
pub struct TakenHistory {
    /// Its intervals.
    pub rows: Vec<HistoryRow>,
    /// The whole, with the dose and the gaps.
    pub body: Value,
}

/// As of when histories are taken out.
#[derive(Debug, Clone, Copy)]
pub struct Moment {
    /// What is known.
    pub as_of: AsOf,
    /// The instant from which it is seen.
    pub now: DateTime<Utc>,
    /// Whether that is now, so that stored conclusions may answer.
    pub of_now: bool,
}

/// The entries of workers in sight, in the order in which they were entered.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn entries_in_sight(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Vec<Uuid>, Refusal> {
    caller.may(Action::Export)?;
    let scope = caller.may(Action::ReadHistories)?;
    Ok(versions::ids(tx, &scope, Worker::TABLE, as_of.position).await?)
}

/// The histories of some workers for every agent that concerns them, as far as the caller sees them; whoever has several entries
/// once, where the one under which he is told is among them.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn histories(
    tx: &mut Tx,
    caller: &Caller,
    moment: Moment,
    entries: &[Uuid],
) -> Result<Vec<TakenHistory>, Refusal> {
    caller.may(Action::Export)?;
    let scope = caller.may(Action::ReadHistories)?;
    let as_of = moment.as_of;
    let known = persons(tx, as_of, entries).await?.in_sight(tx, &scope, as_of).await?;
    let workers = gather::many::<Worker>(tx, as_of, entries, Where::Ids).await?;
    let mut sight = if moment.of_now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
    let mut taken = Vec::new();
    for worker in workers.iter().filter(|worker| known.stands_under(worker.id) == worker.id) {
        let person = known.person(worker.id);
        for agent_code in agents(&mut sight, &scope, &person).await? {
            let question = Question { agent_code, from: None, to: None, lag_years: 0, now: moment.of_now };
            let (asked, now) = (Asked::default(), moment.now);
            let view = history::concluded(&mut sight, &scope, now, worker.id, &question, asked).await?;
            let Some(view) = view else { continue };
            taken.push(TakenHistory {
                rows: rows(worker, &view),
                body: with_name(history::handed_out(&view, &scope), worker),
            });
        }
    }
    Ok(taken)
}

fn name(worker: &Version<Worker>) -> String {
    format!("{} {}", worker.fact.given_name, worker.fact.family_name)
}

fn with_name(mut body: Value, worker: &Version<Worker>) -> Value {
    body["worker_name"] = name(worker).into();
    body
}

fn rows(worker: &Version<Worker>, view: &HistoryView) -> Vec<HistoryRow> {
    let row = |interval: &HistoryInterval| {
        let mean = interval.mean.as_ref();
        HistoryRow {
            worker_id: WorkerId(worker.id),
            worker_name: name(worker),
            also_known_as: view.also_known_as.clone(),
            agent_code: view.agent_code.clone(),
            from: interval.from,
            to: interval.to,
            site_id: interval.site_id,
            group_id: interval.group_id,
            basis: interval.basis,
            mean: mean.map(|mean| mean.estimate),
            mean_lower: mean.and_then(|mean| mean.lower),
            mean_upper: mean.and_then(|mean| mean.upper),
            unit: mean.map(|mean| mean.unit),
            mean_scaled: mean.and_then(|mean| mean.scaled_estimate),
            criterion: interval.criterion,
            level_band: interval.level_band,
            weight: interval.weight,
            n: interval.n,
            worker_count: interval.worker_count,
            date_count: interval.date_count,
            first: interval.first,
            last: interval.last,
            flags: interval.flags.clone(),
        }
    };
    view.intervals.iter().map(row).collect()
}

/// The agents that concern a person; for a reader of some sites those that do so there.
///
/// # Errors
/// Only when storage fails.
pub async fn agents(sight: &mut Sight<'_>, scope: &Scope, person: &Person) -> Result<Vec<String>, Refusal> {
    let (tx, as_of) = (&mut *sight.tx, sight.as_of);
    if scope.is_all() {
        return Ok(gather::surveilled::agents_of_worker(tx, as_of, person).await?);
    }
    let entries = person.entries();
    let of_person = [Where::Parents(entries.clone())];
    let mut groups: BTreeSet<Uuid> = BTreeSet::new();
    for assignment in versions::list::<Assignment>(tx, scope, as_of, &of_person, None).await? {
        groups.insert(assignment.fact.group_id.0);
    }
    for day in versions::list::<WorkedDay>(tx, scope, as_of, &of_person, None).await? {
        groups.insert(day.fact.group_id.0);
    }
    let mut agents: BTreeSet<String> = BTreeSet::new();
    for group in groups {
        agents.extend(agents_of_group(tx, group, as_of.position).await?);
        let expected = gather::all::<ExpectedAgent>(tx, as_of, &[Where::Parent(group)]).await?;
        agents.extend(expected.iter().map(|one| one.fact.agent_code.to_string()));
    }
    for earlier in versions::list::<EarlierExposure>(tx, scope, as_of, &of_person, None).await? {
        agents.insert(earlier.fact.agent_code.to_string());
    }
    let own = [Where::IsOneOf("worker_id", entries)];
    let samples = versions::list::<Sample>(tx, scope, as_of, &own, None).await?;
    let samples: Vec<Uuid> = samples.iter().map(|sample| sample.id).collect();
    for result in
        gather::many::<LabResult>(tx, as_of, &samples, |ids| Where::IsOneOf("sample_id", ids)).await?
    {
        agents.insert(result.fact.agent_code.to_string());
    }
    Ok(agents.into_iter().collect())
}
