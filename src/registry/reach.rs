//! What a fact reaches: which stored conclusions it makes stale. Never the registry as a whole.

use crate::model::facts::agent::Agent;
use crate::model::facts::control::{Control, ControlPeriod, Task};
use crate::model::facts::group::{Condition, ExpectedAgent, Group};
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::sampling::Sample;
use crate::model::identifiers::{EventId, GroupId, SampleId, SiteId, TaskId, WorkerId};
use crate::registry::gather::persons::persons;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::marks::{EVERY_AGENT, Mark, MarkKind};
use crate::store::samples;
use crate::store::tables::Key;
use crate::store::versions::{self, Where};
use std::collections::BTreeSet;
use uuid::Uuid;

/// What a fact reaches.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reach {
    /// The profiles of a group (and, where they change, its members) and the verdicts of its tasks.
    Group(GroupId),
    /// The members of a group.
    Members(GroupId),
    /// What is concluded of a task's group.
    Task(TaskId),
    /// What is concluded of every group in which the control just recorded stands on a task, or samples name it.
    ControlItself,
    /// What is concluded of a worker.
    Worker(WorkerId),
    /// What is concluded of two entries that became one person, or two again: of them, and of groups in which both were
    /// sampled, or on the same days.
    Joined(WorkerId, WorkerId),
    /// Everything concluded from a sample.
    Sample(SampleId),
    /// Everything concluded from the sample just recorded.
    SampleItself,
    /// The same for a result: of a blank it bears on its whole event.
    SampleOrItsEvent(SampleId),
    /// Everything concluded from the results of the report just recorded.
    ReportItself,
    /// Everything concluded from an event's samples: a blank bears on all of them.
    Event(EventId),
    /// The same for the event just recorded.
    EventItself,
    /// Every group of a site: its rule set decides which limits hold.
    Site(SiteId),
    /// The same of the site just recorded: of a new one there is nothing yet.
    SiteItself,
    /// Every group in which an agent was measured.
    Agent(String),
    /// The same, by the agent's identifier.
    AgentOf(Uuid),
    /// The same, and every group in which the agent is expected or a condition names it, and the members of all of them.
    AgentAndMembers(String),
}

fn mark_of(kind: MarkKind, subject: Uuid, agent: &str) -> Mark {
    Mark { kind, subject, agent: agent.into() }
}

/// Sets the marks of what a fact reaches.
///
/// # Errors
/// Only when storage fails.
pub async fn mark(change: &mut Change, id: Uuid, reach: &[Reach]) -> Result<(), Refusal> {
    for reached in reach {
        match reached {
            Reach::Group(group) => mark_group(change, group.0, &[EVERY_AGENT]).await?,
            Reach::Members(group) => mark_members(change, *group).await?,
            Reach::Task(task) => mark_task(change, *task).await?,
            Reach::ControlItself => mark_control(change, id).await?,
            Reach::Worker(worker) => change.mark(mark_of(MarkKind::Summary, worker.0, EVERY_AGENT)),
            Reach::Joined(entry, stays) => mark_joined(change, *entry, *stays).await?,
            Reach::Sample(SampleId(sample)) => mark_stored_sample(change, *sample).await?,
            Reach::SampleItself => mark_stored_sample(change, id).await?,
            Reach::SampleOrItsEvent(SampleId(sample)) => mark_sample_or_event(change, *sample).await?,
            Reach::ReportItself => {
                let (scope, as_of) = (change.everything(), change.as_of());
                let of_it = [Where::Parent(id)];
                for result in versions::list::<LabResult>(&mut change.tx, &scope, as_of, &of_it, None).await?
                {
                    mark_sample_or_event(change, result.fact.sample_id.0).await?;
                }
            }
            Reach::Event(EventId(event)) => mark_event(change, *event).await?,
            Reach::EventItself => mark_event(change, id).await?,
            Reach::Site(site) => mark_site(change, *site).await?,
            Reach::SiteItself => mark_site(change, SiteId(id)).await?,
            Reach::AgentOf(agent) => {
                let (scope, as_of) = (change.everything(), change.as_of());
                if let Some(found) = versions::find::<Agent>(&mut change.tx, &scope, as_of, *agent).await? {
                    mark_agent(change, found.fact.code.as_str()).await?;
                }
            }
            Reach::Agent(code) => mark_agent(change, code).await?,
            Reach::AgentAndMembers(code) => mark_agent_and_members(change, code).await?,
        }
    }
    Ok(())
}

async fn mark_site(change: &mut Change, site: SiteId) -> Result<(), Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_it = [Where::Site(site)];
    for group in versions::list::<Group>(&mut change.tx, &scope, as_of, &of_it, None).await? {
        mark_group(change, group.id, &[EVERY_AGENT]).await?;
        mark_members(change, GroupId(group.id)).await?;
    }
    Ok(())
}

async fn mark_agent(change: &mut Change, code: &str) -> Result<(), Refusal> {
    let measured = samples::measured_with(&mut change.tx, code, change.position).await?;
    let groups: BTreeSet<Uuid> = measured.iter().filter_map(|(group, _, _)| *group).collect();
    for group in groups {
        mark_group(change, group, &[code]).await?;
    }
    for (_, task, worker) in measured {
        let reached = [(MarkKind::Verdict, task), (MarkKind::Shifts, worker), (MarkKind::Summary, worker)];
        for (kind, subject) in reached {
            if let Some(subject) = subject {
                change.mark(mark_of(kind, subject, code));
            }
        }
    }
    Ok(())
}

async fn mark_agent_and_members(change: &mut Change, code: &str) -> Result<(), Refusal> {
    mark_agent(change, code).await?;
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_agent = [Where::Is("agent_code", Key::Text(Some(code.to_owned())))];
    let measured = samples::measured_with(&mut change.tx, code, change.position).await?;
    let mut groups: BTreeSet<Uuid> = measured.iter().filter_map(|(group, _, _)| *group).collect();
    let expected = versions::list::<ExpectedAgent>(&mut change.tx, &scope, as_of, &of_agent, None).await?;
    groups.extend(expected.iter().filter_map(|one| one.parent));
    let conditions = versions::list::<Condition>(&mut change.tx, &scope, as_of, &of_agent, None).await?;
    groups.extend(conditions.iter().filter_map(|one| one.parent));
    for group in groups {
        change.mark(mark_of(MarkKind::Profile, group, code));
        for worker in samples::workers_of_group(&mut change.tx, group, change.position).await? {
            change.mark(mark_of(MarkKind::Summary, worker, code));
        }
    }
    Ok(())
}

/// A verdict sees the whole shifts and the backgrounds of its group: what changes a group's profile may change those of
/// its tasks.
async fn mark_group(change: &mut Change, group: Uuid, agents: &[&str]) -> Result<(), Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_group = [Where::Is("group_id", Key::Id(Some(group)))];
    let tasks = versions::list::<Task>(&mut change.tx, &scope, as_of, &of_group, None).await?;
    for agent in agents {
        change.mark(mark_of(MarkKind::Profile, group, agent));
        for task in &tasks {
            change.mark(mark_of(MarkKind::Verdict, task.id, agent));
        }
    }
    Ok(())
}

/// The marks of one sample for some agents (or for [`EVERY_AGENT`]).
///
/// How long a shift was is seen over all groups in which its worker was sampled that day.
///
/// # Errors
/// Only when storage fails.
pub async fn mark_sample(change: &mut Change, sample: &Sample, agents: &[&str]) -> Result<(), Refusal> {
    let mut groups: BTreeSet<Uuid> = sample.group_id.iter().map(|group| group.0).collect();
    if let Some(WorkerId(worker)) = sample.worker_id {
        let date = sample.shift_date;
        for entry in change.person(worker).await?.entries() {
            groups.extend(samples::groups_of_shift(&mut change.tx, entry, date, change.position).await?);
        }
    }
    for group in groups {
        mark_group(change, group, agents).await?;
    }
    for agent in agents {
        if let Some(TaskId(task)) = sample.task_id {
            change.mark(mark_of(MarkKind::Verdict, task, agent));
        }
        if let Some(WorkerId(worker)) = sample.worker_id {
            change.mark(mark_of(MarkKind::Shifts, worker, agent));
            change.mark(mark_of(MarkKind::Summary, worker, agent));
        }
    }
    Ok(())
}

/// How many workers a profile or a verdict counts, and how long a shift was, changes only where both entries were sampled in
/// one group, on one task or on one day.
async fn mark_joined(change: &mut Change, entry: WorkerId, stays: WorkerId) -> Result<(), Refusal> {
    for worker in [entry, stays] {
        for kind in [MarkKind::Shifts, MarkKind::Summary] {
            change.mark(mark_of(kind, worker.0, EVERY_AGENT));
        }
    }
    let as_of = change.as_of();
    let person = persons(&mut change.tx, as_of, &[stays.0]).await?.person(stays.0);
    let others: Vec<Uuid> = person.entries().into_iter().filter(|other| *other != entry.0).collect();
    let own = sampled(change, vec![entry.0]).await?;
    let theirs = sampled(change, others).await?;
    let both = |of: fn(&Sample) -> Option<Uuid>| -> BTreeSet<Uuid> {
        let theirs: BTreeSet<Uuid> = theirs.iter().filter_map(of).collect();
        own.iter().filter_map(of).filter(|id| theirs.contains(id)).collect()
    };
    let mut groups = both(|sample| sample.group_id.map(|id| id.0));
    for task in both(|sample| sample.task_id.map(|id| id.0)) {
        change.mark(mark_of(MarkKind::Verdict, task, EVERY_AGENT));
    }
    let days: BTreeSet<_> = own.iter().map(|sample| sample.shift_date).collect();
    let same_days: BTreeSet<_> =
        theirs.iter().map(|sample| sample.shift_date).filter(|day| days.contains(day)).collect();
    let on_them = own.iter().chain(&theirs).filter(|sample| same_days.contains(&sample.shift_date));
    groups.extend(on_them.filter_map(|sample| sample.group_id.map(|id| id.0)));
    for group in groups {
        mark_group(change, group, &[EVERY_AGENT]).await?;
    }
    Ok(())
}

async fn sampled(change: &mut Change, entries: Vec<Uuid>) -> Result<Vec<Sample>, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_them = [Where::IsOneOf("worker_id", entries)];
    let found = versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_them, None).await?;
    Ok(found.into_iter().map(|sample| sample.fact).collect())
}

async fn mark_control(change: &mut Change, control: Uuid) -> Result<(), Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let found = versions::find::<Control>(&mut change.tx, &scope, as_of, control).await?;
    // Of one that is new nothing speaks yet.
    let Some(found) = found.filter(|found| found.revision > 1) else { return Ok(()) };
    let of_it = [Where::Is("control_id", Key::Id(Some(control)))];
    let periods = versions::list::<ControlPeriod>(&mut change.tx, &scope, as_of, &of_it, None).await?;
    for task in periods.iter().filter_map(|period| period.parent) {
        mark_task(change, TaskId(task)).await?;
    }
    let site = found.site.map(|site| site.0).unwrap_or_default();
    for group in samples::groups_naming_control(&mut change.tx, site, control, as_of.position).await? {
        mark_group(change, group, &[EVERY_AGENT]).await?;
    }
    Ok(())
}

async fn mark_sample_or_event(change: &mut Change, sample: Uuid) -> Result<(), Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    match versions::find::<Sample>(&mut change.tx, &scope, as_of, sample).await? {
        Some(found) if found.fact.is_blank() => mark_event(change, found.parent.unwrap_or_default()).await?,
        Some(found) => mark_sample(change, &found.fact, &[EVERY_AGENT]).await?,
        None => {}
    }
    Ok(())
}

async fn mark_event(change: &mut Change, event: Uuid) -> Result<(), Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_event = [Where::Parent(event)];
    for sample in versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_event, None).await? {
        mark_sample(change, &sample.fact, &[EVERY_AGENT]).await?;
    }
    Ok(())
}

async fn mark_stored_sample(change: &mut Change, sample: Uuid) -> Result<(), Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    if let Some(found) = versions::find::<Sample>(&mut change.tx, &scope, as_of, sample).await? {
        mark_sample(change, &found.fact, &[EVERY_AGENT]).await?;
    }
    Ok(())
}

async fn mark_task(change: &mut Change, task: TaskId) -> Result<(), Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    change.mark(mark_of(MarkKind::Verdict, task.0, EVERY_AGENT));
    if let Some(found) = versions::find::<Task>(&mut change.tx, &scope, as_of, task.0).await? {
        mark_group(change, found.fact.group_id.0, &[EVERY_AGENT]).await?;
    }
    Ok(())
}

async fn mark_members(change: &mut Change, group: GroupId) -> Result<(), Refusal> {
    for worker in samples::workers_of_group(&mut change.tx, group.0, change.position).await? {
        change.mark(mark_of(MarkKind::Summary, worker, EVERY_AGENT));
    }
    Ok(())
}
