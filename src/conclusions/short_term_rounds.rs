//! The short-term results of a group as rounds, for the limb of its STEL, excursion limit or averaged ceiling.

use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY};
use crate::conclusions::shift_average::{ShiftTwa, ShortTermValue};
use crate::conclusions::use_of_result::StandingUse;
use crate::hygiene::short_term::CEILING_MINUTES;
use crate::model::facts::agent::LimitKind;
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

/// The kinds of short-term limits.
pub const SHORT_TERM: [LimitKind; 3] = [LimitKind::Stel, LimitKind::Excursion, LimitKind::Ceiling];

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
        Self::strictest(agent, authority, &SHORT_TERM, (rule_set, on), unit)
    }

    /// The strictest limit of these kinds that an authority has in force.
    pub fn strictest(
        agent: &AgentEvidence,
        authority: &str,
        kinds: &[LimitKind],
        (rule_set, on): (RuleSet, NaiveDate),
        unit: Unit,
    ) -> Option<Self> {
        let limits = agent.in_force(rule_set, on).into_iter();
        let limits =
            limits.filter(|limit| kinds.contains(&limit.kind) && limit.authority.as_str() == authority);
        let windows = limits.filter_map(|limit| {
            let minutes = limit.averaging_minutes.and_then(|minutes| i32::try_from(minutes).ok());
            let minutes = minutes.map_or(CEILING_MINUTES, f64::from);
            Some(Self { value: agent.level_in(limit, unit)?, minutes })
        });
        windows.min_by(|a, b| a.value.total_cmp(&b.value))
    }
}

/// The rounds of a group: an event's short-term results, each a member, read against the limit in force on its latest shift
/// date.
///
/// A short-term sample longer than the window counts where its mean is above, and cannot tell otherwise; a sample of the
/// shift may in the same way raise the standing, and says nothing otherwise.
pub fn short_term_rounds(
    shifts: &[ShiftTwa],
    unit: Unit,
    window_on: impl Fn(NaiveDate) -> Option<ShortTermWindow>,
) -> Vec<Round> {
    let mut events: BTreeMap<EventId, Vec<(&ShiftTwa, bool)>> = BTreeMap::new();
    for shift in shifts.iter().filter(|shift| shift.unit == unit) {
        let only_upward = match shift.uses.standing {
            StandingUse::Counts | StandingUse::ShortTermLimbs => false,
            StandingUse::OnlyUpward => true,
            StandingUse::Beside | StandingUse::Never => continue,
        };
        if !shift.peaks.is_empty() || !shift.stretches.is_empty() {
            events.entry(shift.event).or_default().push((shift, only_upward));
        }
    }
    let round = |(event, shifts): (EventId, Vec<(&ShiftTwa, bool)>)| {
        let date = shifts.iter().map(|(shift, _)| shift.shift_date).max()?;
        let window = window_on(date)?;
        let members: Vec<Member> =
            shifts.into_iter().flat_map(|(shift, only_upward)| members(shift, only_upward, window)).collect();
        let speaks = |member: &Member| !member.only_upward || member.twa.lower() >= window.value;
        let levels = Levels { action_level: None, limit: Some(window.value) };
        members.iter().any(speaks).then_some(Round { event, date, levels, members })
    };
    events.into_iter().filter_map(round).collect()
}

/// The short-term results of a shift, and its stretches, which may only raise.
fn members(
    shift: &ShiftTwa,
    only_upward: bool,
    window: ShortTermWindow,
) -> impl Iterator<Item = Member> + use<'_> {
    let peaks = shift.peaks.iter().map(move |peak| (peak.clone(), only_upward));
    let stretches = shift.stretches.iter().map(|stretch| (ShortTermValue::from(stretch.clone()), true));
    peaks.chain(stretches).map(move |(value, only_upward)| {
        let of_sample = shift.samples.iter().find(|sample| sample.sample_id == value.sample_id);
        Member {
            twa: in_window(&value, window),
            limit_twa: None,
            accepted: of_sample.is_some_and(|sample| sample.accepted),
            flagged: shift.flagged,
            only_upward,
            short_shift: false,
            part_sampled: false,
        }
    })
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
