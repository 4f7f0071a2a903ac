//! Shift averages of a worker or a group.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::averaging::shift_averages;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::shift_average_view::{ShiftAverageView, shift_average_view};
use crate::model::facts::group::Group;
use crate::model::facts::sampling::Sample;
use crate::model::facts::worker::Worker;
use crate::model::identifiers::{GroupId, WorkerId};
use crate::registry::conclude::samples::agent_codes;
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Where};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What is asked of `GET /shift-averages`.
#[derive(Debug, Clone, Default)]
pub struct Question {
    /// Of this worker.
    pub worker: Option<WorkerId>,
    /// Of this group.
    pub group: Option<GroupId>,
    /// Of this agent.
    pub agent_code: Option<String>,
    /// Shift dates from this day.
    pub from: Option<NaiveDate>,
    /// Shift dates before this day.
    pub to: Option<NaiveDate>,
}

/// Shift averages in order of date, worker, group and agent; those of sites that the caller sees.
///
/// # Errors
/// A fault when neither worker nor group is named; [`Refusal::Unknown`] where they are not in sight.
pub async fn averages(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    question: &Question,
    asked: Asked,
) -> Result<Vec<ShiftAverageView>, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    if let Some(worker) = question.worker {
        recording::read::<Worker>(tx, caller, as_of, worker.0).await?;
    }
    if let Some(group) = question.group {
        recording::read::<Group>(tx, caller, as_of, group.0).await?;
    }
    let samples = match (question.worker, question.group) {
        (Some(worker), _) => gather::samples::of_workers(tx, as_of, &[worker.0]).await?,
        (None, Some(group)) => {
            let (own, elsewhere) = gather::samples::of_group(tx, as_of, group.0).await?;
            own.into_iter().chain(elsewhere).collect()
        }
        (None, None) => return Err(Refusal::fault("/worker_id", "must be given, or group_id")),
    };
    let codes = match &question.agent_code {
        Some(code) => [code.clone()].into(),
        None => agent_codes(&samples),
    };
    let mut shifts = Vec::new();
    for code in codes {
        shifts.extend(of_agent(tx, as_of, &samples, &code, asked).await?);
    }
    shifts.retain(|shift| {
        question.group.is_none_or(|group| shift.group == Some(group))
            && question.from.is_none_or(|from| from <= shift.shift_date)
            && question.to.is_none_or(|to| shift.shift_date < to)
            && shift.site.is_some_and(|site| scope.sites.holds(site))
    });
    if !scope.is_all() {
        name_as_told(tx, &scope, as_of, question.worker, &samples, &mut shifts).await?;
    }
    shifts.sort_by(|a, b| {
        (a.shift_date, a.worker, a.group, &a.agent_code).cmp(&(
            b.shift_date,
            b.worker,
            b.group,
            &b.agent_code,
        ))
    });
    Ok(shifts.iter().map(|shift| shift_average_view(shift, asked)).collect())
}

/// For a reader of some sites: each shift under an entry that he may know for it. Asked by an entry, what was recorded under
/// another one is left out where he does not see that they are one person.
async fn name_as_told(
    tx: &mut Tx,
    scope: &Scope,
    as_of: AsOf,
    asked: Option<WorkerId>,
    samples: &[SampleEvidence],
    shifts: &mut Vec<ShiftTwa>,
) -> Result<(), Refusal> {
    let workers: BTreeSet<Uuid> = shifts.iter().map(|shift| shift.worker.0).collect();
    let workers: Vec<Uuid> = workers.into_iter().collect();
    let all = persons(tx, as_of, &workers).await?;
    if all.is_empty() {
        return Ok(());
    }
    let known = all.in_sight(tx, scope, as_of).await?;
    let ids: Vec<Uuid> = samples.iter().map(|found| found.sample.id).collect();
    let recorded = gather::many::<Sample>(tx, as_of, &ids, Where::Ids).await?;
    let recorded: BTreeMap<Uuid, WorkerId> =
        recorded.into_iter().filter_map(|sample| Some((sample.id, sample.fact.worker_id?))).collect();
    for shift in shifts.iter_mut() {
        let entries: BTreeSet<WorkerId> = shift
            .samples
            .iter()
            .filter_map(|sample| recorded.get(&sample.sample_id.0))
            .map(|entry| known.worker(*entry))
            .collect();
        let of_asked = asked.map(|asked| known.worker(asked)).filter(|asked| entries.contains(asked));
        shift.worker = of_asked.or(entries.first().copied()).unwrap_or(shift.worker);
    }
    if let Some(asked) = asked {
        shifts.retain(|shift| shift.worker == known.worker(asked));
    }
    Ok(())
}

/// The shift averages of one agent over samples that were gathered, with the groups they name.
///
/// # Errors
/// Only when storage fails.
pub async fn of_agent(
    tx: &mut Tx,
    as_of: AsOf,
    samples: &[SampleEvidence],
    agent_code: &str,
    asked: Asked,
) -> Result<Vec<ShiftTwa>, Refusal> {
    let Some(agent) = gather::agents::agent(tx, as_of, agent_code).await? else { return Ok(Vec::new()) };
    let groups = samples.iter().filter_map(|found| found.sample.fact.group_id).map(|group| group.0);
    let groups = gather::groups::groups(tx, as_of, groups).await?;
    let groups: Vec<_> = groups.iter().collect();
    Ok(shift_averages(samples, &agent, &groups, asked))
}
