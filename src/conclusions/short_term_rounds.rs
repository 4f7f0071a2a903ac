//! The short-term results of a group as rounds, for the limb of its STEL, excursion limit or averaged ceiling.

use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY};
use crate::conclusions::shift_average::{ShiftTwa, ShortTermValue};
use crate::conclusions::use_of_result::StandingUse;
use crate::hygiene::short_term::CEILING_MINUTES;
use crate::model::facts::rule_set::RuleSet;
use crate::model::identifiers::EventId;
use crate::model::measured::Measured;
use crate::model::unit::Unit;
use crate::surveillance::level::Levels;
use crate::surveillance::round::{Member, Round};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A short-term limit in a unit, with the minutes over which it is averaged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortTermWindow {
    /// Its value.
    pub value: f64,
    /// Its minutes.
    pub minutes: f64,
}

impl ShortTermWindow {
    /// The strictest short-term limit that the law has in force.
    pub fn of(agent: &AgentEvidence, rule_set: RuleSet, on: NaiveDate, unit: Unit) -> Option<Self> {
        Self::of_authority(agent, STATUTORY_AUTHORITY, rule_set, on, unit)
    }

    /// The strictest short-term limit that an authority has in force.
    pub fn of_authority(
        agent: &AgentEvidence,
        authority: &str,
        rule_set: RuleSet,
        on: NaiveDate,
        unit: Unit,
    ) -> Option<Self> {
        let limits = agent.in_force(rule_set, on).into_iter();
        let limits =
            limits.filter(|limit| limit.kind.is_short_term() && limit.authority.as_str() == authority);
        let windows = limits.filter_map(|limit| {
            let minutes = limit.averaging_minutes.and_then(|minutes| i32::try_from(minutes).ok());
            let minutes = minutes.map_or(CEILING_MINUTES, f64::from);
            Some(Self { value: agent.level_in(limit, unit)?, minutes })
        });
        windows.min_by(|a, b| a.value.total_cmp(&b.value))
    }
}

/// The rounds of a group: an event's short-term results, each a member.
///
/// A short-term sample longer than the window counts where its mean is above, and cannot tell otherwise; a sample of the
/// shift may in the same way raise the standing, and says nothing otherwise.
pub fn short_term_rounds(shifts: &[ShiftTwa], window: ShortTermWindow, unit: Unit) -> Vec<Round> {
    let mut events: BTreeMap<EventId, (NaiveDate, Vec<Member>)> = BTreeMap::new();
    for shift in shifts.iter().filter(|shift| shift.unit == unit) {
        let only_upward = match shift.uses.standing {
            StandingUse::Counts | StandingUse::ShortTermLimbs => false,
            StandingUse::OnlyUpward => true,
            StandingUse::Beside | StandingUse::Never => continue,
        };
        let peaks = shift.peaks.iter().map(|peak| (peak.clone(), only_upward));
        let stretches = shift.stretches.iter().map(|stretch| (ShortTermValue::from(stretch.clone()), true));
        for (value, only_upward) in peaks.chain(stretches) {
            let of_sample = shift.samples.iter().find(|sample| sample.sample_id == value.sample_id);
            let (date, members) = events.entry(shift.event).or_insert_with(|| (shift.shift_date, Vec::new()));
            *date = shift.shift_date.max(*date);
            members.push(Member {
                twa: in_window(&value, window),
                limit_twa: None,
                accepted: of_sample.is_some_and(|sample| sample.accepted),
                flagged: shift.flagged,
                only_upward,
                short_shift: false,
                part_sampled: false,
            });
        }
    }
    let levels = Levels { action_level: None, limit: Some(window.value) };
    let speaks = |members: &[Member]| {
        members.iter().any(|member| !member.only_upward || member.twa.lower() >= window.value)
    };
    let rounds = events.into_iter().filter(|(_, (_, members))| speaks(members));
    rounds.map(|(event, (date, members))| Round { event, date, levels, members }).collect()
}

/// What is known of the highest average over the window.
pub(crate) fn in_window(value: &ShortTermValue, window: ShortTermWindow) -> Measured {
    if value.minutes > window.minutes {
        let lower =
            value.at_lower_flow.map_or(value.mean.lower(), |other| other.lower().min(value.mean.lower()));
        return Measured::Above(lower);
    }
    match value.at_lower_flow {
        None => value.mean,
        Some(other) => {
            let upper = value.mean.upper().zip(other.upper()).map(|(a, b)| a.max(b));
            Measured::from_bounds(value.mean.lower().min(other.lower()), upper)
        }
    }
}
