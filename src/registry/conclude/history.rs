//! `GET /workers/{id}/history`.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::history::conclude::history as conclude;
use crate::conclusions::history::evidence::{GroupExposure, HistoryEvidence, OwnShift, Window};
use crate::conclusions::history::respirator::{ConfirmedRespirator, confirmed};
use crate::conclusions::history::view::HistoryView;
use crate::conclusions::limits::AgentEvidence;
use crate::model::facts::control::Control;
use crate::model::facts::worker::{RespiratorConfirmation, Worker};
use crate::model::identifiers::WorkerId;
use crate::model::shape::Shape;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::{derive, exposure};
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::gather::workers::WorkerEvidence;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Where};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::Value;
use std::sync::Arc;
use uuid::Uuid;

/// What is asked of a history.
#[derive(Debug, Clone)]
pub struct Question {
    /// Of which agent.
    pub agent_code: String,
    /// The first day.
    pub from: Option<NaiveDate>,
    /// The first day no longer.
    pub to: Option<NaiveDate>,
    /// Years by the calendar taken off the end.
    pub lag_years: u32,
    /// Whether it is asked as of now.
    pub now: bool,
}

/// Everything known of one worker and one agent.
#[derive(Debug)]
pub struct Everything {
    /// The agent.
    pub agent: Arc<AgentEvidence>,
    /// The worker.
    pub worker: WorkerEvidence,
    /// The groups of assignments, recorded days and own shifts.
    pub groups: Vec<GroupExposure>,
    /// The worker's own shifts.
    pub own: Vec<OwnShift>,
    /// Times for which a respirator's fit and programme are confirmed.
    pub respirators: Vec<ConfirmedRespirator>,
    /// The latest local date over the worker's sites.
    pub today: NaiveDate,
}

impl Everything {
    /// The same as the history takes it.
    pub fn evidence(&self) -> HistoryEvidence<'_> {
        HistoryEvidence {
            agent: &self.agent,
            employments: &self.worker.employments,
            assignments: &self.worker.assignments,
            recorded: &self.worker.worked_days,
            absences: &self.worker.absences,
            groups: &self.groups,
            own: &self.own,
            respirators: &self.respirators,
        }
    }
}

/// Gathers everything known of the person behind an entry and an agent; with a scope, only what happened on its sites, and was
/// recorded under entries that are in its sight.
///
/// # Errors
/// Only when storage fails.
pub async fn everything(
    sight: &mut Sight<'_>,
    now: DateTime<Utc>,
    worker: Uuid,
    code: &str,
    within: &Scope,
    asked: Asked,
) -> Result<Option<Everything>, Refusal> {
    let Some(agent) = sight.agent(code).await? else { return Ok(None) };
    let whole = sight.person(worker).await?;
    let known = if within.is_all() || whole.others.is_empty() {
        None
    } else {
        let all = persons(sight.tx, sight.as_of, &[worker]).await?;
        Some(all.in_sight(sight.tx, within, sight.as_of).await?)
    };
    let person = known.as_ref().map_or_else(|| whole.clone(), |known| known.person(worker));
    let part = known.filter(|_| person != whole);
    let Some(mut found) = gather::workers::of_person(sight.tx, sight.as_of, person).await? else {
        return Ok(None);
    };
    if !within.is_all() {
        let here = |site: Option<crate::model::identifiers::SiteId>| {
            site.is_some_and(|site| within.sites.holds(site))
        };
        found.assignments.retain(|assignment| here(assignment.site));
        found.worked_days.retain(|day| here(day.site));
        found.sites.retain(|site| within.sites.holds(site.id.into()));
    }
    let mut ids: Vec<Uuid> = found.assignments.iter().map(|assignment| assignment.fact.group_id.0).collect();
    ids.extend(found.worked_days.iter().map(|day| day.fact.group_id.0));
    let mut own = match &part {
        None => exposure::own(sight, worker, &agent, asked).await?,
        Some(known) => exposure::own_in_sight(sight, known, &found.person, &agent, asked).await?,
    };
    own.retain(|shift| within.sites.holds(shift.site));
    // Whoever was measured in a group worked there that day, whether an assignment says so or not.
    ids.extend(own.iter().map(|shift| shift.group.0));
    ids.sort_unstable();
    ids.dedup();
    let mut groups = Vec::with_capacity(ids.len());
    for id in ids {
        groups.extend(exposure::of_group(sight, id, &agent, asked).await?);
    }
    let respirators = confirmed_respirators(sight, &found).await?;
    let horizon = found.horizon(now);
    let today = horizon.pred_opt().unwrap_or(horizon);
    Ok(Some(Everything { agent, worker: found, groups, own, respirators, today }))
}

async fn confirmed_respirators(
    sight: &mut Sight<'_>,
    worker: &WorkerEvidence,
) -> Result<Vec<ConfirmedRespirator>, Refusal> {
    let worn = || worker.assignments.iter().filter(|one| one.fact.respirator_worn_share.is_some());
    let controls: Vec<Uuid> =
        worn().filter_map(|one| one.fact.respirator_control_id).map(|control| control.0).collect();
    if controls.is_empty() {
        return Ok(Vec::new());
    }
    let controls = gather::many::<Control>(sight.tx, sight.as_of, &controls, Where::Ids).await?;
    let assignments: Vec<Uuid> = worn().map(|one| one.id).collect();
    let confirmations =
        gather::many::<RespiratorConfirmation>(sight.tx, sight.as_of, &assignments, Where::Parents).await?;
    Ok(confirmed(&worker.assignments, &controls, &confirmations))
}

/// A worker's history as far as the caller sees it, and over which sites that is.
///
/// # Errors
/// [`Refusal::Unknown`] where the worker is not in sight; a fault for an agent that is not known.
pub async fn in_sight(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    now: DateTime<Utc>,
    worker: Uuid,
    question: &Question,
    asked: Asked,
) -> Result<(HistoryView, Scope), Refusal> {
    let scope = caller.may(Action::ReadHistories)?;
    recording::read::<Worker>(tx, caller, as_of, worker).await?;
    derive::must_be_agent(tx, as_of, &question.agent_code).await?;
    if let (Some(from), Some(to)) = (question.from, question.to)
        && to <= from
    {
        return Err(Refusal::fault("/to", "must be after from"));
    }
    let mut sight = if question.now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
    let view = concluded(&mut sight, &scope, now, worker, question, asked).await?;
    Ok((view.ok_or(Refusal::Unknown)?, scope))
}

/// A worker's history over the sites of a scope, whoever asks; nothing where worker or agent is not known.
///
/// # Errors
/// Only when storage fails.
pub async fn concluded(
    sight: &mut Sight<'_>,
    scope: &Scope,
    now: DateTime<Utc>,
    worker: Uuid,
    question: &Question,
    asked: Asked,
) -> Result<Option<HistoryView>, Refusal> {
    let found = everything(sight, now, worker, &question.agent_code, scope, asked).await?;
    let Some(found) = found else { return Ok(None) };
    let window =
        Window { from: question.from, to: question.to, lag_years: question.lag_years, today: found.today };
    let mut view = conclude(&found.evidence(), window, asked);
    view.worker_id = Some(WorkerId(found.worker.person.id));
    view.also_known_as = found.worker.person.also_known_as();
    Ok(Some(view))
}

/// The same as it is handed out.
///
/// # Errors
/// As [`in_sight`].
pub async fn history(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    now: DateTime<Utc>,
    worker: Uuid,
    question: &Question,
    asked: Asked,
) -> Result<Value, Refusal> {
    let (view, scope) = in_sight(tx, caller, as_of, now, worker, question, asked).await?;
    Ok(handed_out(&view, &scope))
}

/// A history over the sites of a scope, for whoever sees these.
pub fn handed_out(view: &HistoryView, scope: &Scope) -> Value {
    let mut body = view.to_json();
    if !scope.is_all() {
        // Said plainly, so that nobody takes a part for the whole.
        body["flags"] = with_flag(body.get("flags"), "only_sites_in_sight");
        for gap in body.get_mut("gaps").and_then(Value::as_array_mut).into_iter().flatten() {
            // Out of sight is not unassigned: he may have worked at another site.
            if gap["kind"] == "no_assignment" {
                gap["kind"] = "not_in_sight".into();
            }
        }
    }
    body
}

fn with_flag(flags: Option<&Value>, flag: &str) -> Value {
    let mut flags: Vec<Value> = flags.and_then(Value::as_array).cloned().unwrap_or_default();
    flags.push(flag.into());
    Value::Array(flags)
}
