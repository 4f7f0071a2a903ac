//! The standing of a group by its short-term averages: a limb of its own for each authority and kind of limit.

use crate::conclusions::era::Era;
use crate::conclusions::evidence::GroupEvidence;
use crate::conclusions::group_standing::{StandingRules, StandingView, last_day};
use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY, rule_set_on};
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::short_term_rounds::{SHORT_TERM, ShortTermWindow, short_term_rounds};
use crate::model::facts::agent::{Limit, LimitKind};
use crate::model::facts::standing_move::{Averaging, StandingRound, StandingValue};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::surveillance::level::Levels;
use crate::surveillance::monitoring::standard::Standard;
use crate::surveillance::short_term::{self, ShortTermLimit, ShortTermMove};
use crate::surveillance::standing;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// How a group's short-term averages stand by one kind of limit of one authority.
#[derive(Debug, Clone, PartialEq)]
pub struct ShortTermStanding {
    /// Whose limit.
    pub authority: Code,
    /// Which kind.
    pub averaging: Averaging,
    /// Over how many minutes, where that is stated.
    pub averaging_minutes: Option<i64>,
    /// Every move, in the order of the rounds; a later one stands over earlier ones from its `since` on.
    pub moves: Vec<ShortTermMove>,
}

impl ShortTermStanding {
    /// The standing at the end of an era, for people and programs.
    pub fn at_end_of(&self, era: &Era) -> StandingView {
        let end = last_day(era);
        let last = self.moves.iter().rev().find(|change| change.since.is_none_or(|since| since <= end));
        StandingView {
            authority: self.authority.clone(),
            averaging: Some(self.averaging),
            averaging_minutes: self.averaging_minutes,
            value: last.map_or(StandingValue::Unknown, |change| change.level.into()),
            since: last.and_then(|change| change.since),
            round: last.map(|change| StandingRound { event_id: change.round.0, date: change.round.1 }),
            clause: last.and_then(|change| change.clause.clone()),
        }
    }
}

/// How a group stands by every short-term limit: the law's first, then by authority and kind. Noise has its own arithmetic
/// and none here.
///
/// `shifts` are the group's, all of one agent. A limit that no round was held against and that is not in force any more is
/// left out.
pub fn short_term_standings(
    shifts: &[ShiftTwa],
    eras: &[Era],
    group: &GroupEvidence,
    agent: &AgentEvidence,
    rules: StandingRules<'_>,
) -> Vec<ShortTermStanding> {
    let Some(unit) = agent.unit().filter(|_| !agent.is_noise()) else { return Vec::new() };
    let eras: Vec<standing::Era> =
        eras.iter().map(|era| standing::Era { from: era.from, to: era.to }).collect();
    let limbs: BTreeSet<(bool, &Code, LimitKind)> = agent
        .limits
        .iter()
        .filter(|limit| limit.stands() && SHORT_TERM.contains(&limit.fact.kind))
        .map(|limit| &limit.fact)
        .map(|limit| (limit.authority.as_str() != STATUTORY_AUTHORITY, &limit.authority, limit.kind))
        .collect();
    let standing = |(_, authority, kind): (bool, &Code, LimitKind)| {
        let window = |on: NaiveDate| {
            ShortTermWindow::strictest(agent, authority.as_str(), &[kind], (rule_set_on(group, on), on), unit)
        };
        let rounds = short_term_rounds(shifts, unit, window);
        let newest = rounds.iter().max_by_key(|round| (round.date, round.event));
        let read_on = newest.map_or(NaiveDate::MAX, |round| round.date);
        let value = window(read_on)?.value;
        let standard = if authority.as_str() == STATUTORY_AUTHORITY {
            standard(group, agent, rules, read_on, unit)
        } else {
            // The way down is the standard's: only the law has one.
            Standard::default()
        };
        let limit = ShortTermLimit::of(value, &standard);
        Some(ShortTermStanding {
            authority: authority.clone(),
            averaging: averaging(kind),
            averaging_minutes: stated_minutes(agent, group, (authority, kind), read_on),
            moves: short_term::moves(&rounds, &eras, limit, &standard, rules.working_days),
        })
    };
    limbs.into_iter().filter_map(standing).collect()
}

fn averaging(kind: LimitKind) -> Averaging {
    match kind {
        LimitKind::Stel => Averaging::Stel,
        LimitKind::Excursion => Averaging::Excursion,
        LimitKind::Ceiling => Averaging::Ceiling,
        LimitKind::Twa | LimitKind::ActionLevel | LimitKind::Peak => Averaging::EightHour,
    }
}

/// The standard's rules about monitoring with the law's levels of a day.
fn standard(
    group: &GroupEvidence,
    agent: &AgentEvidence,
    rules: StandingRules<'_>,
    on: NaiveDate,
    unit: Unit,
) -> Standard {
    let rule_set = rule_set_on(group, on);
    let level = |kind| agent.level(STATUTORY_AUTHORITY, kind, rule_set, on, unit);
    let levels = Levels { action_level: level(LimitKind::ActionLevel), limit: level(LimitKind::Twa) };
    Standard::of(rules.pack, agent.code().as_str(), rule_set, levels, unit)
}

/// The averaging time of the limit in force on a day.
fn stated_minutes(
    agent: &AgentEvidence,
    group: &GroupEvidence,
    (authority, kind): (&Code, LimitKind),
    on: NaiveDate,
) -> Option<i64> {
    let of_limb = |limit: &&Limit| limit.authority == *authority && limit.kind == kind;
    let in_force = agent.in_force(rule_set_on(group, on), on).into_iter();
    in_force.filter(of_limb).filter_map(|limit| limit.averaging_minutes).min()
}
