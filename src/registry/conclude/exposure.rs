//! What a group and a worker's own shifts bring to a history, with the journal positions behind them.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::history::evidence::{GroupExposure, OwnShift};
use crate::conclusions::history::from_conclusions::respirator_periods;
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::shift_average::ShiftTwa;
use crate::model::facts::group::{Condition, ExpectedAgent, Judgement};
use crate::model::identifiers::{GroupId, SampleId};
use crate::model::shape::Shape;
use crate::model::text::Code;
use crate::registry::conclude::kept::{KeptExposure, KeptShift};
use crate::registry::conclude::shift_averages;
use crate::registry::conclude::sight::Sight;
use crate::registry::gather;
use crate::registry::gather::persons::{Person, Persons};
use crate::registry::refusal::Refusal;
use crate::store::marks::MarkKind;
use crate::store::tables::Key;
use crate::store::versions::Where;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Journal positions of samples and of their results for an agent.
pub(super) struct Positions(BTreeMap<SampleId, BTreeSet<i64>>);

impl Positions {
    pub(super) fn of(samples: &[SampleEvidence], agent: &Code) -> Self {
        let of_sample = |found: &SampleEvidence| {
            let results = found.results.iter().filter(|result| result.fact.agent_code == *agent);
            results.map(|result| result.position).chain([found.sample.position]).collect()
        };
        Self(samples.iter().map(|found| (SampleId(found.sample.id), of_sample(found))).collect())
    }

    pub(super) fn behind(&self, samples: impl Iterator<Item = SampleId>) -> Vec<i64> {
        let found: BTreeSet<i64> = samples.filter_map(|id| self.0.get(&id)).flatten().copied().collect();
        found.into_iter().collect()
    }
}

/// What a group says of the exposure of its members, from its stored row where that is fresh.
///
/// # Errors
/// Only when storage fails.
pub async fn of_group(
    sight: &mut Sight<'_>,
    group: Uuid,
    agent: &AgentEvidence,
    asked: Asked,
) -> Result<Option<GroupExposure>, Refusal> {
    let code = agent.code().as_str();
    let stored = sight.stored(MarkKind::Profile, group, code, asked).await?;
    let kept = stored.and_then(|body| KeptExposure::parse(body.get("exposure")?).ok());
    let Some(mut exposure) = (match kept {
        Some(kept) => Some(kept.exposure(GroupId(group))),
        None => afresh(sight, group, agent, asked).await?,
    }) else {
        return Ok(None);
    };
    let of_group = [Where::Is("group_id", Key::Id(Some(group)))];
    exposure.judgements = gather::all::<Judgement>(sight.tx, sight.as_of, &of_group).await?;
    exposure.judgements.retain(|judgement| judgement.fact.agent_code == *agent.code());
    let conditions = gather::all::<Condition>(sight.tx, sight.as_of, &[Where::Parent(group)]).await?;
    exposure.respirator = respirator_periods(&conditions, GroupId(group), agent);
    let expected = gather::all::<ExpectedAgent>(sight.tx, sight.as_of, &[Where::Parent(group)]).await?;
    let of_agent = expected.iter().filter(|one| one.fact.agent_code == *agent.code());
    exposure.expected = of_agent.map(|one| (one.fact.from, one.fact.to)).collect();
    Ok(Some(exposure))
}

/// The same from the facts, but for judgements and conditions.
///
/// # Errors
/// Only when storage fails.
pub async fn afresh(
    sight: &mut Sight<'_>,
    group: Uuid,
    agent: &AgentEvidence,
    asked: Asked,
) -> Result<Option<GroupExposure>, Refusal> {
    let Some(known) = sight.knowledge(group, agent.code().as_str(), asked).await? else { return Ok(None) };
    let positions = Positions::of(&known.samples, agent.code());
    let shifts = &known.conclusion.shifts;
    Ok(Some(GroupExposure::of(&known.group, &known.conclusion, agent, &[], &[], |event| {
        let of_round = shifts.iter().filter(|shift| shift.event == event);
        positions.behind(of_round.flat_map(|shift| &shift.samples).map(|sample| sample.sample_id))
    })))
}

/// A worker's own shifts for an agent, from the stored row where that is fresh.
///
/// # Errors
/// Only when storage fails.
pub async fn own(
    sight: &mut Sight<'_>,
    worker: Uuid,
    agent: &AgentEvidence,
    asked: Asked,
) -> Result<Vec<OwnShift>, Refusal> {
    let stored = sight.stored(MarkKind::Shifts, worker, agent.code().as_str(), asked).await?;
    let kept = stored.and_then(|body| Vec::<KeptShift>::parse(body.get("own")?).ok());
    if let Some(kept) = kept {
        return Ok(kept.into_iter().map(KeptShift::shift).collect());
    }
    let samples = gather::samples::of_workers(sight.tx, sight.as_of, &[worker]).await?;
    let shifts =
        shift_averages::of_agent(sight.tx, sight.as_of, &samples, agent.code().as_str(), asked).await?;
    Ok(own_shifts(&shifts, &samples, agent))
}

/// The same by some of a person's entries alone: for a reader who may not know that the others are his.
///
/// # Errors
/// Only when storage fails.
pub async fn own_in_sight(
    sight: &mut Sight<'_>,
    known: &Persons,
    person: &Person,
    agent: &AgentEvidence,
    asked: Asked,
) -> Result<Vec<OwnShift>, Refusal> {
    let (tx, as_of) = (&mut *sight.tx, sight.as_of);
    let samples = gather::samples::of_person(tx, as_of, known, &person.entries()).await?;
    let shifts = shift_averages::of_agent(tx, as_of, &samples, agent.code().as_str(), asked).await?;
    Ok(own_shifts(&shifts, &samples, agent))
}

/// A worker's own shifts as a history takes them.
pub fn own_shifts(shifts: &[ShiftTwa], samples: &[SampleEvidence], agent: &AgentEvidence) -> Vec<OwnShift> {
    let positions = Positions::of(samples, agent.code());
    shifts
        .iter()
        .filter_map(|shift| OwnShift::of(shift, |sample| positions.behind([sample].into_iter())))
        .collect()
}
