//! Where a group's short-term average stands to the limits of an authority, and whether its samples are too coarse to tell.

use crate::conclusions::evidence::{GroupEvidence, SampleEvidence};
use crate::conclusions::group_standing::StandingRules;
use crate::conclusions::limit_change::proposal::Proposed;
use crate::conclusions::limit_change::too_coarse::{MinutesAtHand, TooCoarse, needed};
use crate::conclusions::limit_change::view::{REPORTING_LIMIT_TOO_HIGH, SAMPLE_LONGER_THAN_WINDOW};
use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY, rule_set_on};
use crate::conclusions::profile::GroupConclusion;
use crate::conclusions::shift_average::{ShiftTwa, ShortTermValue};
use crate::conclusions::short_term_rounds::{ShortTermWindow, in_window, short_term_rounds};
use crate::conclusions::use_of_result::StandingUse;
use crate::model::facts::agent::LimitKind;
use crate::model::identifiers::SampleId;
use crate::model::identifiers::SiteId;
use crate::model::measured::Answer;
use crate::surveillance::level::Levels;
use crate::surveillance::monitoring::standard::Standard;
use crate::surveillance::short_term::{ShortTermLevel, ShortTermLimit, moves, standing_on};
use crate::surveillance::standing;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// How a group's short-term average is read on a date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortTermReading {
    /// Where it stands.
    pub stands: ShortTermLevel,
    /// The limit that this is read against.
    pub limit: ShortTermLimit,
}

/// How it is read by the strictest short-term limit of an authority; `None` where there is none.
pub fn reading(
    group: &GroupEvidence,
    known: &GroupConclusion,
    agent: &AgentEvidence,
    authority: &str,
    rules: StandingRules<'_>,
    today: NaiveDate,
) -> Option<ShortTermReading> {
    let unit = agent.unit()?;
    let agent = &*agent.at(SiteId(group.site.id));
    let rule_set = rule_set_on(group, today);
    let window = ShortTermWindow::of_authority(agent, authority, rule_set, today, unit)?;
    let level = |kind| agent.level(STATUTORY_AUTHORITY, kind, rule_set, today, unit);
    let levels = Levels { action_level: level(LimitKind::ActionLevel), limit: level(LimitKind::Twa) };
    // The way down is the standard's: only the law has one.
    let standard = if authority == STATUTORY_AUTHORITY {
        Standard::of(rules.pack, agent.code().as_str(), rule_set, levels, unit)
    } else {
        Standard::default()
    };
    let limit = ShortTermLimit::of(window.value, &standard);
    let mut eras: Vec<standing::Era> =
        known.eras.iter().map(|era| standing::Era { from: era.era.from, to: era.era.to }).collect();
    eras.dedup();
    let rounds = short_term_rounds(&known.shifts, unit, |_| Some(window));
    let moved = moves(&rounds, &eras, limit, &standard, rules.working_days);
    Some(ShortTermReading { stands: standing_on(&moved, today), limit })
}

/// The shifts of the present era that cannot tell how they lie to a proposed short-term limit; `None` where all can, or one
/// reaches it for certain.
///
/// A sample longer than the window tells only that the limit was reached. Filters of whole shifts are looked at only where
/// nobody took a short-term sample: those speak for the shift.
pub fn too_coarse(
    shifts: &[ShiftTwa],
    holds: impl Fn(NaiveDate) -> bool,
    samples: &[SampleEvidence],
    agent: &AgentEvidence,
    proposed: &Proposed,
    only_above: bool,
) -> Option<TooCoarse> {
    let window = ShortTermWindow { value: proposed.value, minutes: proposed.minutes()? };
    let counts = |shift: &&ShiftTwa| {
        matches!(shift.uses.standing, StandingUse::Counts | StandingUse::ShortTermLimbs)
            && holds(shift.shift_date)
    };
    let counting: Vec<&ShiftTwa> = shifts.iter().filter(counts).collect();
    let chosen = counting.iter().any(|shift| !shift.peaks.is_empty());
    let (mut of, mut cannot_tell) = (0, 0);
    let (mut flags, mut behind) = (BTreeSet::new(), Vec::new());
    for shift in counting {
        let values: Vec<ShortTermValue> = if chosen {
            shift.peaks.clone()
        } else {
            shift.stretches.iter().cloned().map(ShortTermValue::from).collect()
        };
        let read: Vec<(ShortTermValue, Answer)> = values
            .into_iter()
            .filter_map(|value| {
                let said = agent.convert(in_window(&value, window), shift.unit, proposed.unit)?;
                let answer = if only_above { said.exceeds(window.value) } else { said.against(window.value) };
                Some((value, answer))
            })
            .collect();
        if read.iter().any(|(_, answer)| *answer == Answer::AtOrAbove) {
            return None;
        }
        of += usize::from(!read.is_empty());
        let coarse: Vec<_> = read.iter().filter(|(_, answer)| *answer == Answer::CannotTell).collect();
        cannot_tell += usize::from(!coarse.is_empty());
        for (value, _) in coarse {
            let long = value.minutes > window.minutes;
            flags.insert(if long { SAMPLE_LONGER_THAN_WINDOW } else { REPORTING_LIMIT_TOO_HIGH });
            behind.push((value.sample_id, shift.shift_minutes));
        }
    }
    if cannot_tell == 0 {
        return None;
    }
    let needs = |(id, shift_minutes): &(SampleId, f64)| {
        let found = samples.iter().find(|found| found.sample.id == id.0)?;
        needed(found, MinutesAtHand { shift: *shift_minutes, window: Some(window.minutes) }, agent, proposed)
    };
    let longest = behind.iter().filter_map(needs).max_by(|one, two| one.minutes.total_cmp(&two.minutes));
    Some(TooCoarse {
        cannot_tell,
        of,
        part_sampled: false,
        needed: longest,
        flags: flags.into_iter().collect(),
    })
}
