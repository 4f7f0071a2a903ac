//! What letters about an event ought to say: to everybody whom its samples measured or represent.

use crate::conclusions::asked::Asked;
use crate::conclusions::letter::{must_say_more, results};
use crate::conclusions::limits::rule_set_on;
use crate::conclusions::shift_average::ShiftTwa;
use crate::model::facts::letter::{Letter, LetterResult, LetterSays};
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::facts::site::Site;
use crate::model::facts::worker::{Assignment, Worker};
use crate::model::identifiers::{EventId, GroupId, WorkerId};
use crate::model::printed::precision::figures_of;
use crate::model::version::Version;
use crate::registry::conclude::represents::assigned_on;
use crate::registry::conclude::shift_averages::of_agent;
use crate::registry::gather;
use crate::registry::gather::persons::{Person, persons};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Where};
use crate::surveillance::monitoring::notice::SaysMore;
use crate::surveillance::pack::monitoring_rule::{MonitoringRule, MonitoringRuleType};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What one letter ought to say, and the facts behind it.
#[derive(Debug, Clone)]
pub struct ToSay {
    /// To whom: a person with several entries under the one by which the event knows him.
    pub worker: WorkerId,
    /// The person.
    pub person: Person,
    /// What, without what its writer adds.
    pub says: LetterSays,
    /// Journal positions.
    pub basis: BTreeSet<i64>,
}

#[derive(Debug, Default)]
struct Reader {
    job_title: Option<String>,
    own: Vec<LetterResult>,
    others: Vec<LetterResult>,
    basis: BTreeSet<i64>,
    rule: Option<MonitoringRule>,
}

/// What the letters of an event about an agent ought to say, by worker; `also` those who got one before, whether or not
/// the event still speaks of them.
///
/// # Errors
/// A fault where there is no such agent.
pub async fn to_say(
    tx: &mut Tx,
    as_of: AsOf,
    event: &Version<SamplingEvent>,
    code: &str,
    also: &BTreeSet<WorkerId>,
) -> Result<Vec<ToSay>, Refusal> {
    let Some(agent) = gather::agents::agent(tx, as_of, code).await? else {
        return Err(Refusal::fault("/agent_code", "is not an agent of the registry"));
    };
    let Some(site) =
        gather::one::<Site>(tx, as_of, event.site.map(|site| site.0).unwrap_or_default()).await?
    else {
        return Err(Refusal::Unknown);
    };
    let pack = gather::agents::pack(tx, as_of).await?;
    let shifts = if event.stands() { shifts(tx, as_of, event, code).await? } else { Vec::new() };
    let groups = shifts.iter().filter_map(|(shift, ..)| shift.group).map(|group| group.0);
    let groups = gather::groups::groups(tx, as_of, groups).await?;
    let mut readers: BTreeMap<Uuid, Reader> = BTreeMap::new();
    let mut entries: BTreeSet<Uuid> = also.iter().map(|worker| worker.0).collect();
    let of_event = gather::many::<Sample>(tx, as_of, &[event.id], Where::Parents).await?;
    entries.extend(of_event.iter().filter_map(|sample| sample.fact.worker_id).map(|worker| worker.0));
    let assigned_to = assigned_to(tx, as_of, shifts.iter().map(|(shift, ..)| shift)).await?;
    entries.extend(assigned_to.values().flatten().filter_map(|assignment| assignment.parent));
    let known: Vec<Uuid> = entries.iter().copied().collect();
    let persons = persons(tx, as_of, &known).await?;
    for (shift, basis, figures) in &shifts {
        let group = groups.iter().find(|group| shift.group.is_some_and(|id| id.0 == group.group.id));
        let rule_set = group.map_or(site.fact.rule_set, |group| rule_set_on(group, shift.shift_date));
        let rule = pack
            .monitoring_of(code, rule_set)
            .find(|rule| rule.rule_type == MonitoringRuleType::Notification);
        let mut who: BTreeMap<Uuid, (Option<String>, BTreeSet<i64>)> = BTreeMap::new();
        if let Some(group) = shift.group {
            for assignment in assigned_to.get(&(group, shift.shift_date)).into_iter().flatten() {
                let title = assignment.fact.job_title.as_ref().map(ToString::to_string);
                let worker = persons.stands_under(assignment.parent.unwrap_or_default());
                who.insert(worker, (title, [assignment.position].into()));
            }
        }
        who.entry(shift.worker.0).or_default();
        for (worker, (title, assigned)) in who {
            let own = worker == shift.worker.0;
            let reader = readers.entry(worker).or_default();
            reader.job_title = reader.job_title.take().or(title);
            reader.basis.extend(basis.iter().chain(&assigned));
            reader.rule = reader.rule.take().or_else(|| rule.cloned());
            let told = results(shift, own, *figures, &agent);
            if own { reader.own.extend(told) } else { reader.others.extend(told) }
        }
    }
    for worker in also {
        readers.entry(persons.stands_under(worker.0)).or_default();
    }
    // Each under the entry by which the event knows him, the one that stays where that is among them.
    let addressed = |reader: &Uuid| {
        let of_reader = persons.person(*reader).entries();
        of_reader.into_iter().find(|entry| entries.contains(entry)).unwrap_or(*reader)
    };
    let ids: Vec<Uuid> = readers.keys().map(addressed).collect();
    let workers = gather::many::<Worker>(tx, as_of, &ids, Where::Ids).await?;
    let here = agent.limits.iter().filter(|limit| limit.site.is_none_or(|of| of.0 == site.id));
    let limits: Vec<i64> = here.map(|limit| limit.position).collect();
    Ok(workers
        .into_iter()
        .map(|worker| {
            let person = persons.person(worker.id);
            let reader = readers.remove(&person.id).unwrap_or_default();
            let mut basis = reader.basis;
            basis.extend([worker.position, event.position, site.position, agent.agent.position]);
            basis.extend(&limits);
            let own_days: BTreeSet<_> = reader.own.iter().map(|result| result.shift_date).collect();
            // On a day on which the reader was measured, what others breathed says nothing more of him.
            let others = reader.others.into_iter().filter(|result| !own_days.contains(&result.shift_date));
            let results: Vec<LetterResult> = reader.own.into_iter().chain(others).collect();
            let rule = reader.rule.as_ref();
            let more = rule.filter(|rule| must_say_more(&results, SaysMore::of(rule)));
            ToSay {
                worker: WorkerId(worker.id),
                person,
                says: LetterSays {
                    name: format!("{} {}", worker.fact.given_name, worker.fact.family_name),
                    job_title: reader
                        .job_title
                        .or_else(|| worker.fact.job_title.as_ref().map(ToString::to_string)),
                    site_name: site.fact.name.clone(),
                    agent_name: agent.agent.fact.name.clone(),
                    results,
                    clause: rule.map(MonitoringRule::clause),
                    must_state: more.and_then(|rule| rule.over_limit_notice_contents.clone()),
                    corrective_action: None,
                    contact: None,
                },
                basis,
            }
        })
        .collect())
}

/// Who was assigned to the groups of shifts on their dates.
async fn assigned_to(
    tx: &mut Tx,
    as_of: AsOf,
    shifts: impl Iterator<Item = &ShiftTwa>,
) -> Result<BTreeMap<(GroupId, NaiveDate), Vec<Version<Assignment>>>, Refusal> {
    let places: BTreeSet<_> = shifts.filter_map(|shift| Some((shift.group?, shift.shift_date))).collect();
    let mut found = BTreeMap::new();
    for (group, date) in places {
        found.insert((group, date), assigned_on(tx, as_of, group, date).await?);
    }
    Ok(found)
}

/// The shifts of an event that give results of an agent, each with the positions behind it and the figures of its data.
async fn shifts(
    tx: &mut Tx,
    as_of: AsOf,
    event: &Version<SamplingEvent>,
    code: &str,
) -> Result<Vec<(ShiftTwa, BTreeSet<i64>, u32)>, Refusal> {
    let of_event = gather::many::<Sample>(tx, as_of, &[event.id], Where::Parents).await?;
    let workers: Vec<Uuid> =
        of_event.iter().filter_map(|sample| sample.fact.worker_id).map(|worker| worker.0).collect();
    let persons = persons(tx, as_of, &workers).await?;
    let days: BTreeSet<_> = of_event
        .iter()
        .filter_map(|sample| Some((persons.worker(sample.fact.worker_id?), sample.fact.shift_date)))
        .collect();
    let mut samples = gather::samples::of_workers(tx, as_of, &workers).await?;
    // How long a shift was is seen over all events of its date.
    samples.retain(|found| {
        let sample = &found.sample.fact;
        sample.worker_id.is_some_and(|worker| days.contains(&(worker, sample.shift_date)))
    });
    let found = of_agent(tx, as_of, &samples, code, Asked::default()).await?;
    let mut shifts: Vec<_> = found
        .into_iter()
        .filter(|shift| shift.event == EventId(event.id) && shift.uses.own_record)
        .filter(|shift| shift.twa.is_some() || !shift.peaks.is_empty())
        .map(|shift| {
            let behind = samples
                .iter()
                .filter(|found| shift.samples.iter().any(|sample| sample.sample_id.0 == found.sample.id));
            let (mut basis, mut written) = (BTreeSet::new(), Vec::new());
            for found in behind {
                basis.insert(found.sample.position);
                let standing = found.results.iter().filter(|result| result.stands() && result.fact.stands);
                for result in standing.filter(|result| result.fact.agent_code == shift.agent_code) {
                    basis.insert(result.position);
                    let given = [&result.fact.concentration, &result.fact.mass].into_iter().flatten();
                    written.extend(given.filter_map(|quantity| quantity.reported.as_deref()));
                }
            }
            let figures = figures_of(written);
            (shift, basis, figures)
        })
        .collect();
    shifts.sort_by_key(|(shift, ..)| (shift.shift_date, shift.worker, shift.group, shift.criterion));
    Ok(shifts)
}

/// Which of an event's letters no longer tell what is known, and no other has taken their place yet.
///
/// # Errors
/// Only when storage fails.
pub async fn overtaken(
    tx: &mut Tx,
    as_of: AsOf,
    event: Uuid,
    letters: &[Version<Letter>],
) -> Result<BTreeSet<Uuid>, Refusal> {
    let holding: Vec<_> = letters.iter().filter(|letter| letter.fact.amended_by.is_none()).collect();
    let mut overtaken = BTreeSet::new();
    let Some(event) = gather::one::<SamplingEvent>(tx, as_of, event).await? else { return Ok(overtaken) };
    let codes: BTreeSet<_> = holding.iter().map(|letter| &letter.fact.agent_code).collect();
    for code in codes {
        let of_agent: Vec<_> = holding.iter().filter(|letter| letter.fact.agent_code == *code).collect();
        let readers = of_agent.iter().map(|letter| letter.fact.worker_id).collect();
        let now = to_say(tx, as_of, &event, code.as_str(), &readers).await?;
        let told =
            |letter: &Letter| now.iter().find(|one| one.person.entries().contains(&letter.worker_id.0));
        let changed = of_agent.iter().filter(|letter| {
            told(&letter.fact).is_none_or(|one| !one.says.tells_the_same(&letter.fact.says))
        });
        overtaken.extend(changed.map(|letter| letter.id));
    }
    Ok(overtaken)
}
