//! What the clauses look at beside measured days: conditions, earlier exposures, releases, and examinations so far.

use crate::conclusions::limits::AgentEvidence;
use crate::hygiene::shift::EIGHT_HOURS_MINUTES;
use crate::model::facts::duty::{Duty, DutyAction, DutyActionKind, DutyKind};
use crate::model::facts::group::Condition;
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::facts::site::{Release, Site};
use crate::model::facts::worker::{EarlierExposure, MedicalGround};
use crate::model::identifiers::{GroupId, SiteId, WorkerId};
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::registry::gather;
use crate::registry::gather::persons::Person;
use crate::registry::gather::workers::WorkerEvidence;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use crate::store::{concerned, samples};
use crate::surveillance::case::{
    self, Act, Behind, ConditionDates, Earlier, Employed, Examination, Presence,
};
use crate::surveillance::condition_days::{ConditionPeriod, condition_days};
use crate::surveillance::presence::{Belonging, KnownShift, ReleasedOn, was_present};
use crate::surveillance::work_days;
use chrono::NaiveDate;
use std::collections::BTreeSet;
use uuid::Uuid;

/// What is known of a worker and an agent beside days.
#[derive(Debug, Clone, Default)]
pub struct Surveilled {
    /// Conditions of the worker's groups on the days he works there.
    pub conditions: Vec<ConditionDates>,
    /// Exposures at earlier employers.
    pub earlier: Vec<Earlier>,
    /// Releases at which he was present.
    pub releases: Vec<Presence>,
    /// Examinations on which somebody acted.
    pub examinations: Vec<Examination>,
    /// Employments.
    pub employments: Vec<Employed>,
}

impl Surveilled {
    /// The same with the conditions and releases of one site alone; examinations, employments and earlier exposures are the
    /// worker's own.
    #[must_use]
    pub fn at(&self, site: SiteId) -> Self {
        let mut here = self.clone();
        here.conditions.retain(|condition| condition.behind.site == Some(site));
        here.releases.retain(|release| release.behind.site == Some(site));
        here
    }
}

/// Every agent measured on a person's own samples, in order of their codes.
pub async fn agents_measured_on(
    tx: &mut Tx,
    as_of: AsOf,
    person: &Person,
) -> Result<Vec<String>, StoreError> {
    let mut agents = BTreeSet::new();
    for entry in person.entries() {
        agents.extend(samples::agents_on_worker(tx, entry, as_of.position).await?);
    }
    Ok(agents.into_iter().collect())
}

/// Every agent that a person was measured for, or that a condition of his groups, a release or an earlier exposure names.
pub async fn agents_of_worker(tx: &mut Tx, as_of: AsOf, person: &Person) -> Result<Vec<String>, StoreError> {
    let entries = person.entries();
    let (mut agents, mut groups) = (BTreeSet::new(), BTreeSet::new());
    for &entry in &entries {
        agents.extend(samples::agents_of_worker(tx, entry, as_of.position).await?);
        agents.extend(concerned::agents_of_conditions(tx, entry, as_of.position).await?);
        groups.extend(concerned::groups_of_worker(tx, entry, as_of.position).await?);
    }
    let earlier = gather::all::<EarlierExposure>(tx, as_of, &[Where::Parents(entries.clone())]).await?;
    agents.extend(earlier.iter().map(|entry| entry.fact.agent_code.to_string()));
    for release in releases(tx, as_of, &entries).await? {
        let fact = &release.fact;
        let may_be_present = fact.worker_ids.iter().any(|named| entries.contains(&named.0))
            || fact.group_ids.iter().any(|group| groups.contains(&group.0));
        if may_be_present {
            agents.extend(fact.agent_codes.iter().map(ToString::to_string));
        }
    }
    Ok(agents.into_iter().collect())
}

/// The agents that a person's medical grounds are about, voided ones too, whose duties are to be withdrawn: known to whoever
/// writes duties, and to no stored conclusion.
pub async fn agents_of_grounds(tx: &mut Tx, as_of: AsOf, person: &Person) -> Result<Vec<String>, StoreError> {
    let found = gather::many::<MedicalGround>(tx, as_of, &person.entries(), Where::Parents).await?;
    Ok(found.iter().map(|ground| ground.fact.agent_code.to_string()).collect())
}

/// A person's medical grounds about an agent, in order of date.
pub async fn grounds(
    tx: &mut Tx,
    as_of: AsOf,
    person: &Person,
    agent_code: &str,
) -> Result<Vec<case::MedicalGround>, StoreError> {
    let mut found = gather::all::<MedicalGround>(tx, as_of, &[Where::Parents(person.entries())]).await?;
    found.retain(|ground| ground.fact.agent_code.as_str() == agent_code);
    found.sort_by_key(|ground| (ground.fact.on, ground.id));
    let ground = |found: &Version<MedicalGround>| case::MedicalGround {
        kind: found.fact.kind,
        trigger_id: found.fact.trigger_id.as_ref().map(ToString::to_string),
        on: found.fact.on,
        agent_code: found.fact.agent_code.to_string(),
        behind: behind(found),
    };
    Ok(found.iter().map(ground).collect())
}

async fn releases(tx: &mut Tx, as_of: AsOf, entries: &[Uuid]) -> Result<Vec<Version<Release>>, StoreError> {
    let mut ids = Vec::new();
    for entry in entries {
        ids.extend(concerned::releases_of_worker(tx, *entry, as_of.position).await?);
    }
    let mut found = gather::many::<Release>(tx, as_of, &ids, Where::Ids).await?;
    found.retain(Version::stands);
    Ok(found)
}

fn behind<F>(version: &Version<F>) -> Behind {
    Behind { position: version.position, site: version.site }
}

/// Gathers what is known of a worker and an agent; `worked` are his days and the groups he works in, `unit` that of the
/// days.
pub async fn surveilled(
    tx: &mut Tx,
    as_of: AsOf,
    worker: &WorkerEvidence,
    agent: &AgentEvidence,
    worked: &[(NaiveDate, GroupId)],
    unit: Unit,
) -> Result<Surveilled, StoreError> {
    let entries = worker.person.entries();
    let employed = worker.employments.iter().filter(|one| one.stands());
    Ok(Surveilled {
        conditions: conditions(tx, as_of, worker, agent, worked).await?,
        earlier: earlier(tx, as_of, &entries, agent, unit).await?,
        releases: presences(tx, as_of, worker, agent).await?,
        examinations: examinations(tx, as_of, &entries, agent).await?,
        employments: employed
            .map(|one| Employed { from: one.fact.from, to: one.fact.to, behind: behind(one) })
            .collect(),
    })
}

async fn conditions(
    tx: &mut Tx,
    as_of: AsOf,
    worker: &WorkerEvidence,
    agent: &AgentEvidence,
    worked: &[(NaiveDate, GroupId)],
) -> Result<Vec<ConditionDates>, StoreError> {
    let assigned = worker.assignments.iter().map(|assignment| assignment.fact.group_id.0);
    let on_days = worked.iter().map(|(_, group)| group.0);
    let groups: BTreeSet<Uuid> = assigned.chain(on_days).collect();
    let mut found = Vec::new();
    for group in groups {
        let of_group =
            [Where::Parent(group), Where::Is("agent_code", Key::Text(Some(agent.code().to_string())))];
        for condition in gather::all::<Condition>(tx, as_of, &of_group).await? {
            let period = ConditionPeriod {
                group: GroupId(group),
                from: condition.fact.from,
                to: condition.fact.to,
                days_per_week: condition.fact.days_per_week,
            };
            found.push(ConditionDates {
                kind: condition.fact.kind,
                trigger_id: condition.fact.trigger_id.as_ref().map(ToString::to_string),
                dates: condition_days(&period, worked.iter().copied()),
                behind: behind(&condition),
            });
        }
    }
    Ok(found)
}

async fn earlier(
    tx: &mut Tx,
    as_of: AsOf,
    entries: &[Uuid],
    agent: &AgentEvidence,
    unit: Unit,
) -> Result<Vec<Earlier>, StoreError> {
    let all = gather::all::<EarlierExposure>(tx, as_of, &[Where::Parents(entries.to_vec())]).await?;
    let of_agent = all.iter().filter(|entry| entry.fact.agent_code == *agent.code());
    Ok(of_agent
        .map(|entry| Earlier {
            from: entry.fact.from,
            to: entry.fact.to,
            days_per_year: entry.fact.days_per_year,
            mean: entry.fact.mean.as_ref().and_then(|mean| agent.convert(mean.measured, mean.unit, unit)),
            behind: behind(entry),
        })
        .collect())
}

async fn presences(
    tx: &mut Tx,
    as_of: AsOf,
    worker: &WorkerEvidence,
    agent: &AgentEvidence,
) -> Result<Vec<Presence>, StoreError> {
    let assigned: Vec<_> = worker
        .assignments
        .iter()
        .filter(|assignment| assignment.stands())
        .map(|assignment| (assignment.fact.group_id, assignment.fact.from, assignment.fact.to))
        .collect();
    let recorded: Vec<_> = worker
        .worked_days
        .iter()
        .filter(|day| day.stands())
        .map(|day| KnownShift { group: day.fact.group_id, date: day.fact.date, hours: day.fact.hours })
        .collect();
    let absences: Vec<_> = worker
        .absences
        .iter()
        .filter(|absence| absence.stands())
        .map(|absence| work_days::Absence { from: absence.fact.from, to: absence.fact.to })
        .collect();
    let mut found = Vec::new();
    let entries = worker.person.entries();
    for release in releases(tx, as_of, &entries).await? {
        if !release.fact.agent_codes.contains(agent.code()) {
            continue;
        }
        let site = match release.site {
            Some(site) => gather::one::<Site>(tx, as_of, site.0).await?,
            None => None,
        };
        let at = site.map_or_else(
            || release.fact.at.naive_utc(),
            |site| release.fact.at.with_timezone(&site.fact.time_zone.0).naive_local(),
        );
        let mut known = shifts_sampled_about(tx, as_of, &entries, at.date()).await?;
        known.extend_from_slice(&recorded);
        let belonging = Belonging { assigned: &assigned, known: &known, absences: &absences };
        let released = ReleasedOn { at, groups: &release.fact.group_ids, workers: &release.fact.worker_ids };
        if entries.iter().any(|entry| was_present(released, WorkerId(*entry), belonging)) {
            let on = at.date();
            found.push(Presence { key: release.id.to_string(), on, behind: behind(&release) });
        }
    }
    Ok(found)
}

/// The shifts of a date and of the day before on which a person wore a sample, whatever became of it.
async fn shifts_sampled_about(
    tx: &mut Tx,
    as_of: AsOf,
    entries: &[Uuid],
    date: NaiveDate,
) -> Result<Vec<KnownShift>, StoreError> {
    let mut found = Vec::new();
    for day in date.pred_opt().into_iter().chain([date]) {
        let worn =
            [Where::IsOneOf("worker_id", entries.to_vec()), Where::Is("shift_date", Key::Date(Some(day)))];
        for sample in gather::all::<Sample>(tx, as_of, &worn).await? {
            let Some(group) = sample.fact.group_id else { continue };
            let event = match sample.parent {
                Some(event) => gather::one::<SamplingEvent>(tx, as_of, event).await?,
                None => None,
            };
            let minutes = event.map_or(EIGHT_HOURS_MINUTES, |event| event.fact.shift_minutes);
            found.push(KnownShift { group, date: day, hours: minutes / 60.0 });
        }
    }
    Ok(found)
}

async fn examinations(
    tx: &mut Tx,
    as_of: AsOf,
    entries: &[Uuid],
    agent: &AgentEvidence,
) -> Result<Vec<Examination>, StoreError> {
    // A duty keeps the entry for which it was raised, and what was done about it holds for the person.
    let of_worker = [
        Where::IsOneOf("worker_id", entries.to_vec()),
        Where::Is("agent_code", Key::Text(Some(agent.code().to_string()))),
    ];
    let mut found = Vec::new();
    for duty in gather::all::<Duty>(tx, as_of, &of_worker).await? {
        let examination = matches!(
            duty.fact.kind,
            DutyKind::OfferExamination | DutyKind::PeriodicExamination | DutyKind::Audiogram
        );
        if !examination {
            continue;
        }
        let acts = gather::all::<DutyAction>(tx, as_of, &[Where::Parent(duty.id)]).await?;
        let says_most = acts
            .iter()
            .filter_map(|action| Some((act(action.fact.action)?, action.fact.on, action)))
            .max_by_key(|(act, on, action)| (*act, *on, action.id));
        found.extend(says_most.map(|(act, on, action)| Examination {
            trigger_id: duty.fact.trigger_id.as_ref().map(ToString::to_string).unwrap_or_default(),
            occasion: duty.fact.occasion.to_string(),
            act,
            on,
            behind: behind(action),
        }));
    }
    Ok(found)
}

fn act(kind: DutyActionKind) -> Option<Act> {
    match kind {
        DutyActionKind::Waived => Some(Act::Waived),
        DutyActionKind::Declined => Some(Act::Declined),
        DutyActionKind::Offered => Some(Act::Offered),
        DutyActionKind::Completed => Some(Act::Completed),
        DutyActionKind::Notified => None,
    }
}
