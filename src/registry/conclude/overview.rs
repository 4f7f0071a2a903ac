//! `GET /overview`: sites and agents, from the stored conclusions of groups, tasks and workers.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::conclusions::history::assessed_days::AssessedDays;
use crate::hygiene::control_effect::{TargetAnswer, Verdict};
use crate::hygiene::sufficiency::Sufficiency;
use crate::model::facts::control::Task;
use crate::model::facts::duty::DutyStatus;
use crate::model::facts::group::Group;
use crate::model::facts::sampling::Position;
use crate::model::facts::worker::{Assignment, Worker};
use crate::model::identifiers::{ControlId, SiteId, TaskId};
use crate::model::shape::{Faults, Shape};
use crate::model::text::Code;
use crate::record;
use crate::registry::conclude::derive;
use crate::registry::conclude::sight::Sight;
use crate::registry::duty_list;
use crate::registry::duty_view::DutyView;
use crate::registry::gather;
use crate::registry::gather::persons::{Persons, persons};
use crate::registry::refusal::Refusal;
use crate::store::marks::{self, MarkKind};
use crate::store::versions::{AsOf, Page, Where};
use crate::store::{derived, samples};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How many stored rows are held at once.
const CHUNK: i64 = 500;

record! {
    /// Days of workers at a site, each worker's date once, over the twelve months that end today.
    pub struct WorkerDaysView {
        /// All of them.
        total: i64,
        /// Below the action level (agents without one: at or below the limit).
        settled_below: i64,
        /// At or above it (above the limit).
        settled_at_or_above: i64,
        /// Measured, and the results do not tell.
        cannot_tell: i64,
        /// Neither the worker nor the group was measured.
        not_assessed: i64,
    }
}

record! {
    /// A control that does not do what it is there for.
    pub struct FailingControlView {
        /// The control.
        control_id: ControlId,
        /// The task.
        task_id: TaskId,
        /// Where the air was taken.
        position: Position,
        /// The verdict, where it is `raised` or `no_difference_shown`.
        verdict: Option<Verdict>,
        /// The answer to the target, where it is `not_met`.
        target: Option<TargetAnswer>,
        /// What remains, where it is `above_limit`.
        sufficiency: Option<Sufficiency>,
        /// Whether something else differed between the states too, so that this does not show that the control failed.
        confounded: bool,
    }
}

record! {
    /// A site and an agent.
    pub struct OverviewView {
        /// The site.
        site_id: SiteId,
        /// The agent; absent for duties of no agent, or whose agent the reader is not told.
        agent_code: Option<Code>,
        /// Days of workers by what is settled of them; absent without any.
        worker_days: Option<WorkerDaysView>,
        /// Controls that fail.
        failing_controls: Vec<FailingControlView>,
        /// Duties that are overdue.
        overdue_duties: i64,
        /// The shift date of the newest result in a profile of the site's groups.
        newest_result_on: Option<NaiveDate>,
    }
}

type Cells = BTreeMap<(SiteId, Option<String>), Cell>;

#[derive(Default)]
struct Cell {
    days: Option<AssessedDays>,
    failing: Vec<FailingControlView>,
    overdue: i64,
    newest: Option<NaiveDate>,
}

/// The sites in sight with the agents that anything is known of there, in order of site and agent.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn overview(
    sight: &mut Sight<'_>,
    caller: &Caller,
    now: DateTime<Utc>,
) -> Result<Vec<OverviewView>, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    let as_of = sight.as_of;
    let mut cells = Cells::new();
    for (_, agent, body) in bodies(sight, now, MarkKind::Summary).await? {
        for days in read_all::<AssessedDays>(&body, "assessed") {
            if scope.sites.holds(days.site_id) {
                let cell = cells.entry((days.site_id, Some(agent.clone()))).or_default();
                match &mut cell.days {
                    Some(sum) => sum.add(&days),
                    none => *none = Some(days),
                }
            }
        }
    }
    let groups = sites_of::<Group>(sight, as_of).await?;
    for (group, agent, body) in bodies(sight, now, MarkKind::Profile).await? {
        let Some(site) = groups.get(&group).filter(|site| scope.sites.holds(**site)) else { continue };
        let last = items(&body).filter_map(|era| era["last"].as_str()?.parse::<NaiveDate>().ok()).max();
        let cell = cells.entry((*site, Some(agent))).or_default();
        cell.newest = cell.newest.max(last);
    }
    let tasks = sites_of::<Task>(sight, as_of).await?;
    for (task, agent, body) in bodies(sight, now, MarkKind::Verdict).await? {
        let Some(site) = tasks.get(&task).filter(|site| scope.sites.holds(**site)) else { continue };
        let failing: Vec<_> = items(&body).filter_map(|verdict| failing(TaskId(task), verdict)).collect();
        if !failing.is_empty() {
            cells.entry((*site, Some(agent))).or_default().failing.extend(failing);
        }
    }
    for (site, duty) in overdue(sight, caller, &groups).await? {
        if scope.sites.holds(site) {
            let agent = duty.agent_code.map(|code| code.to_string());
            cells.entry((site, agent)).or_default().overdue += 1;
        }
    }
    Ok(cells.into_iter().map(|((site, agent), cell)| view(site, agent.as_deref(), cell)).collect())
}

fn view(site: SiteId, agent: Option<&str>, cell: Cell) -> OverviewView {
    OverviewView {
        site_id: site,
        agent_code: agent.and_then(Code::new),
        worker_days: cell.days.map(|days| WorkerDaysView {
            total: days.total(),
            settled_below: days.settled_below,
            settled_at_or_above: days.settled_at_or_above,
            cannot_tell: days.cannot_tell,
            not_assessed: days.not_assessed,
        }),
        failing_controls: cell.failing,
        overdue_duties: cell.overdue,
        newest_result_on: cell.newest,
    }
}

fn items(body: &Value) -> impl Iterator<Item = &Value> {
    body["items"].as_array().into_iter().flatten()
}

fn read_all<T: Shape>(body: &Value, field: &str) -> Vec<T> {
    let items = body[field].as_array().into_iter().flatten();
    items.filter_map(|item| T::read(item, "", &mut Faults::default())).collect()
}

/// What of a verdict says that its control fails, if anything does.
fn failing(task: TaskId, verdict: &Value) -> Option<FailingControlView> {
    fn word<T: Shape>(value: &Value) -> Option<T> {
        T::read(value, "", &mut Faults::default())
    }
    let said = word::<Verdict>(&verdict["verdict"])
        .filter(|one| matches!(one, Verdict::Raised | Verdict::NoDifferenceShown));
    let target = word::<TargetAnswer>(&verdict["target"]).filter(|one| *one == TargetAnswer::NotMet);
    let sufficiency =
        word::<Sufficiency>(&verdict["sufficiency"]).filter(|one| *one == Sufficiency::AboveLimit);
    if said.is_none() && target.is_none() && sufficiency.is_none() {
        return None;
    }
    Some(FailingControlView {
        control_id: word(&verdict["control_id"])?,
        task_id: task,
        position: word(&verdict["position"])?,
        verdict: said,
        target,
        sufficiency,
        confounded: verdict["confounded"] == true,
    })
}

/// The site of every fact of a kind.
async fn sites_of<F: crate::store::tables::Stored>(
    sight: &mut Sight<'_>,
    as_of: AsOf,
) -> Result<BTreeMap<Uuid, SiteId>, Refusal> {
    let found = gather::all::<F>(sight.tx, as_of, &[]).await?;
    Ok(found.into_iter().filter_map(|version| Some((version.id, version.site?))).collect())
}

/// The overdue duties that the caller sees, each at the sites where its worker is now, or was last.
async fn overdue(
    sight: &mut Sight<'_>,
    caller: &Caller,
    groups: &BTreeMap<Uuid, SiteId>,
) -> Result<Vec<(SiteId, DutyView)>, Refusal> {
    let as_of = sight.as_of;
    let question =
        duty_list::Question { status: Some(DutyStatus::Overdue), ..duty_list::Question::default() };
    let everything = Page { after: None, limit: i64::MAX };
    let found = duty_list::duties(sight.tx, caller, as_of, &question, everything).await?;
    let workers: Vec<Uuid> = found.iter().filter_map(|duty| duty.subject.worker_id).map(|id| id.0).collect();
    let persons = persons(sight.tx, as_of, &workers).await?;
    let entries = persons.entries(workers);
    let mut assignments: BTreeMap<Uuid, Vec<(Assignment, SiteId)>> = BTreeMap::new();
    for one in gather::many::<Assignment>(sight.tx, as_of, &entries, Where::Parents).await? {
        if let (true, Some(worker), Some(site)) = (one.stands(), one.parent, one.site) {
            assignments.entry(persons.stands_under(worker)).or_default().push((one.fact, site));
        }
    }
    let mut placed = Vec::new();
    for duty in found {
        let subject = &duty.subject;
        let sites = if let Some(worker) = subject.worker_id {
            assignments
                .get(&persons.stands_under(worker.0))
                .map_or_else(BTreeSet::new, |of| now_at(of, as_of.date))
        } else {
            let of_group = subject.group_id.and_then(|group| groups.get(&group.0).copied());
            of_group.or(subject.site_id).into_iter().collect()
        };
        placed.extend(sites.into_iter().map(|site| (site, duty.clone())));
    }
    Ok(placed)
}

/// The sites of the assignments of a day; else that of the one that ended last.
fn now_at(assignments: &[(Assignment, SiteId)], day: NaiveDate) -> BTreeSet<SiteId> {
    let holds = |one: &Assignment| one.from <= day && one.to.is_none_or(|to| day < to);
    let current: BTreeSet<SiteId> =
        assignments.iter().filter(|(one, _)| holds(one)).map(|(_, site)| *site).collect();
    if !current.is_empty() {
        return current;
    }
    assignments.iter().max_by_key(|(one, _)| one.to).map(|(_, site)| *site).into_iter().collect()
}

/// Every conclusion of a kind with its subject and agent: as stored where nothing is stale, else from the facts.
async fn bodies(
    sight: &mut Sight<'_>,
    now: DateTime<Utc>,
    kind: MarkKind,
) -> Result<Vec<(Uuid, String, Value)>, Refusal> {
    let mut found = Vec::new();
    if sight.is_of_now() && marks::count(sight.tx).await? == 0 {
        let mut after = None;
        loop {
            let chunk = derived::page(sight.tx, kind, after, CHUNK).await?;
            let Some(last) = chunk.last() else { return Ok(found) };
            after = Some((last.subject, last.agent.clone()));
            for kept in chunk {
                let fresh = kept.derived.changes_on.is_none_or(|day| sight.as_of.date < day);
                let body = serde_json::from_str::<Value>(&kept.derived.body).ok();
                // A summary of an earlier release does not say yet what is settled of its days.
                let whole = |body: &Value| kind != MarkKind::Summary || body.get("assessed").is_some();
                let body = match body.filter(|body| fresh && whole(body)) {
                    Some(body) => body,
                    None => afresh(sight, now, kind, kept.subject, &kept.agent).await?,
                };
                found.push((kept.subject, kept.agent, body));
            }
        }
    }
    let as_of = sight.as_of;
    let subjects: Vec<Uuid> = match kind {
        MarkKind::Profile => ids(gather::all::<Group>(sight.tx, as_of, &[]).await?),
        MarkKind::Verdict => ids(gather::all::<Task>(sight.tx, as_of, &[]).await?),
        MarkKind::Shifts | MarkKind::Summary => ids(gather::all::<Worker>(sight.tx, as_of, &[]).await?),
    };
    let persons = match kind {
        MarkKind::Profile | MarkKind::Verdict => Persons::default(),
        MarkKind::Shifts | MarkKind::Summary => persons(sight.tx, as_of, &subjects).await?,
    };
    // Whoever has several entries is concluded once.
    for subject in subjects.into_iter().filter(|subject| persons.stands_under(*subject) == *subject) {
        let agents = match kind {
            MarkKind::Profile => samples::agents_of_group(sight.tx, subject, as_of.position).await?,
            MarkKind::Verdict => samples::agents_of_task(sight.tx, subject, as_of.position).await?,
            MarkKind::Shifts => {
                gather::surveilled::agents_measured_on(sight.tx, as_of, &persons.person(subject)).await?
            }
            // Those of which a row is kept.
            MarkKind::Summary => {
                gather::surveilled::agents_of_worker(sight.tx, as_of, &persons.person(subject)).await?
            }
        };
        for agent in agents {
            let body = match sight.stored(kind, subject, &agent, Asked::default()).await? {
                Some(body) if kind != MarkKind::Summary || body.get("assessed").is_some() => body,
                _ => afresh(sight, now, kind, subject, &agent).await?,
            };
            found.push((subject, agent, body));
        }
    }
    Ok(found)
}

fn ids<F>(versions: Vec<crate::model::version::Version<F>>) -> Vec<Uuid> {
    versions.into_iter().map(|version| version.id).collect()
}

async fn afresh(
    sight: &mut Sight<'_>,
    now: DateTime<Utc>,
    kind: MarkKind,
    subject: Uuid,
    agent: &str,
) -> Result<Value, Refusal> {
    match kind {
        MarkKind::Profile => derive::profile(sight, subject, agent).await,
        MarkKind::Verdict => derive::verdict(sight, subject, agent).await,
        MarkKind::Shifts => derive::shifts(sight, subject, agent).await,
        MarkKind::Summary => Ok(derive::summary(sight, now, subject, agent).await?.body),
    }
}
