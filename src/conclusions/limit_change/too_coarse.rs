//! Whether a group's averages are too coarse to tell how they lie to a proposed level, and how long samples must run that can.

use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::limit_change::supposed::Proposed;
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::sampled_air::sampled_air;
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::use_of_result::StandingUse;
use crate::hygiene::sample_plan::{mass_drawn, minimum_volume_litres, minutes_for};
use crate::model::facts::agent::LimitKind;
use crate::model::measured::{Answer, Measured};
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::unit::Unit;
use crate::record;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// A planned sample should tell a tenth of the level (common practice, no source).
const TENTH: f64 = 0.1;

record! {
    /// How long a sample must run to tell, by the reporting limit and the flow of those at hand; the longest of them.
    pub struct SamplingNeeded {
        /// The laboratory's reporting limit as a mass.
        reporting_limit_mass: Quantity,
        /// The flow of the sample.
        flow: Quantity,
        /// Minutes after which a result below the reporting limit is a result below the level.
        minutes: f64,
        /// Minutes after which a tenth of the level can be told.
        minutes_for_a_tenth: f64,
        /// Whether those first minutes are more than the shift has: a higher flow or a lower reporting limit is needed.
        longer_than_the_shift: bool,
    }
}

/// What of a group's averages in the present era cannot tell.
#[derive(Debug, Clone, PartialEq)]
pub struct TooCoarse {
    /// How many cannot.
    pub cannot_tell: usize,
    /// Of how many.
    pub of: usize,
    /// Whether a range comes of time that was not sampled: then the whole shift has to be.
    pub part_sampled: bool,
    /// How long to sample.
    pub needed: Option<SamplingNeeded>,
}

fn answer(proposed: &Proposed, twa: Measured) -> Answer {
    match proposed.kind {
        LimitKind::Twa => twa.exceeds(proposed.value),
        _ => twa.against(proposed.value),
    }
}

/// The averages that count in the standing and lie in the era of `today`, and which of them cannot tell; `None` where all can.
pub fn too_coarse(
    shifts: &[ShiftTwa],
    holds: impl Fn(NaiveDate) -> bool,
    samples: &[SampleEvidence],
    agent: &AgentEvidence,
    proposed: &Proposed,
) -> Option<TooCoarse> {
    let counting: Vec<(&ShiftTwa, Measured)> = shifts
        .iter()
        .filter(|shift| shift.uses.standing == StandingUse::Counts && holds(shift.shift_date))
        .filter_map(|shift| Some((shift, agent.convert(shift.compared()?, shift.unit, proposed.unit)?)))
        .collect();
    let coarse: Vec<&ShiftTwa> = counting
        .iter()
        .filter(|(_, twa)| answer(proposed, *twa) == Answer::CannotTell)
        .map(|(shift, _)| *shift)
        .collect();
    if coarse.is_empty() {
        return None;
    }
    let of = |shift: &&ShiftTwa| {
        let ids: BTreeSet<_> = shift.samples.iter().map(|sample| sample.sample_id.0).collect();
        let taken = samples.iter().filter(move |found| ids.contains(&found.sample.id));
        taken.filter_map(|found| needed(found, shift.shift_minutes, agent, proposed)).collect::<Vec<_>>()
    };
    let needed = coarse.iter().flat_map(of).max_by(|one, other| one.minutes.total_cmp(&other.minutes));
    Some(TooCoarse {
        cannot_tell: coarse.len(),
        of: counting.len(),
        part_sampled: coarse.iter().any(|shift| shift.part_sampled),
        needed,
    })
}

fn needed(
    found: &SampleEvidence,
    shift_minutes: f64,
    agent: &AgentEvidence,
    proposed: &Proposed,
) -> Option<SamplingNeeded> {
    let number = |value: Option<Measured>| value.map(Measured::lower).filter(|value| *value > 0.0);
    let level = number(agent.convert(Measured::Value(proposed.value), proposed.unit, Unit::MgPerM3))?;
    let air = sampled_air(&found.sample.fact, None);
    let volume = air.volume?;
    let flow = (air.minutes > 0.0).then(|| significant(volume / air.minutes))?;
    let result = found
        .results
        .iter()
        .find(|result| result.stands() && result.fact.stands && result.fact.agent_code == *agent.code())?;
    // A result below a limit says more of that limit than the report's own field.
    let stated = [&result.fact.mass, &result.fact.concentration];
    let below = stated.into_iter().flatten().find_map(|quantity| match quantity.measured {
        Measured::Below(limit) => Some(Quantity::computed(Measured::Value(limit), quantity.unit)),
        _ => None,
    });
    let limit = below.or_else(|| result.fact.reporting_limit.clone())?;
    let in_air = || number(agent.convert(limit.measured, limit.unit, Unit::MgPerM3));
    // 1 mg/m3 is 1 ug/L.
    let mass = limit.number_in(Unit::Ug).or_else(|| mass_drawn(in_air()?, volume))?;
    let minutes = |fraction| minutes_for(minimum_volume_litres(mass, level, fraction)?, flow);
    let enough = minutes(1.0)?;
    Some(SamplingNeeded {
        reporting_limit_mass: Quantity::computed(Measured::Value(mass), Unit::Ug),
        flow: Quantity::computed(Measured::Value(flow), Unit::LPerMin),
        minutes: enough,
        minutes_for_a_tenth: minutes(TENTH)?,
        longer_than_the_shift: enough > shift_minutes,
    })
}
