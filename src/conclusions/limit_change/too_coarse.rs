//! Whether a group's averages are too coarse to tell how they lie to a proposed level, and how long samples must run that can.

use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::limit_change::proposal::Proposed;
use crate::conclusions::limit_change::view::OTHER_CRITERION;
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::noise_criterion::{criterion_met, level_by};
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
use std::collections::{BTreeMap, BTreeSet};

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
        /// Minutes of the short-term limit, which no sample may be longer than.
        window_minutes: Option<f64>,
        /// Whether those first minutes are more than these.
        longer_than_the_window: Option<bool>,
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
    /// Why, in words of the table of flags.
    pub flags: Vec<&'static str>,
}

/// How many minutes a sample has.
#[derive(Debug, Clone, Copy)]
pub(super) struct MinutesAtHand {
    /// Those of the shift.
    pub shift: f64,
    /// Those of a short-term limit.
    pub window: Option<f64>,
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
    let counting =
        shifts.iter().filter(|shift| shift.uses.standing == StandingUse::Counts && holds(shift.shift_date));
    if agent.is_noise() {
        return too_coarse_noise(counting, proposed);
    }
    let counting: Vec<(&ShiftTwa, Measured)> = counting
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
        let needs = MinutesAtHand { shift: shift.shift_minutes, window: None };
        let taken = samples.iter().filter(move |found| ids.contains(&found.sample.id));
        taken.filter_map(|found| needed(found, needs, agent, proposed)).collect::<Vec<_>>()
    };
    let needed = coarse.iter().flat_map(of).max_by(|one, other| one.minutes.total_cmp(&other.minutes));
    Some(TooCoarse {
        cannot_tell: coarse.len(),
        of: counting.len(),
        part_sampled: coarse.iter().any(|shift| shift.part_sampled),
        needed,
        flags: Vec::new(),
    })
}

/// The same of noise: a worker's shift is one, whatever criteria were read of it, and no minutes of a pump help.
fn too_coarse_noise<'s>(
    counting: impl Iterator<Item = &'s ShiftTwa>,
    proposed: &Proposed,
) -> Option<TooCoarse> {
    let wanted = criterion_met(proposed.authority.as_str(), proposed.kind);
    let mut by_shift: BTreeMap<_, Vec<&ShiftTwa>> = BTreeMap::new();
    for shift in counting.filter(|shift| shift.unit == proposed.unit && shift.twa.is_some()) {
        by_shift.entry((shift.event, shift.shift_date, shift.worker)).or_default().push(shift);
    }
    let read = |shifts: &[&ShiftTwa], criterion| {
        shifts.iter().find(|shift| shift.criterion == Some(criterion)).and_then(|shift| shift.compared())
    };
    let coarse: Vec<&Vec<&ShiftTwa>> = by_shift
        .values()
        .filter(|shifts| {
            let level = level_by(wanted, |criterion| read(shifts, criterion));
            level.is_none_or(|level| answer(proposed, level) == Answer::CannotTell)
        })
        .collect();
    let other = coarse.iter().any(|shifts| read(shifts, wanted).is_none());
    (!coarse.is_empty()).then(|| TooCoarse {
        cannot_tell: coarse.len(),
        of: by_shift.len(),
        part_sampled: coarse.iter().any(|shifts| shifts.iter().any(|shift| shift.part_sampled)),
        needed: None,
        flags: if other { vec![OTHER_CRITERION] } else { Vec::new() },
    })
}

/// How long a sample like this one must run; `None` where no volume or reporting limit is known.
pub(super) fn needed(
    found: &SampleEvidence,
    has: MinutesAtHand,
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
        longer_than_the_shift: enough > has.shift,
        window_minutes: has.window,
        longer_than_the_window: has.window.map(|window| enough > window),
    })
}
