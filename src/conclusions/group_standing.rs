//! The standing of a group, from its shift averages: rounds for each authority, and what they moved.

use crate::conclusions::era::Era;
use crate::conclusions::evidence::GroupEvidence;
use crate::conclusions::flag::{Flag, raise, raise_if};
use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY, rule_set_on};
use crate::conclusions::noise_criterion::{criterion_met, level_by};
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::use_of_result::StandingUse;
use crate::model::facts::agent::{Limit, LimitKind};
use crate::model::facts::standing_move::{Averaging, StandingRound, StandingValue};
use crate::model::identifiers::{EventId, SiteId};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::record;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::level::{Level, Levels};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::of_authority::UnreadClause;
use crate::surveillance::round::{Member, Round};
use crate::surveillance::standing::{self, Move};
use crate::surveillance::step_down::step_downs;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// What the reading of a standing takes from outside the group: the rules, and the site's working days.
#[derive(Debug, Clone, Copy)]
pub struct StandingRules<'a> {
    /// The law's clauses.
    pub pack: &'a Pack,
    /// Those of other authorities at the site.
    pub of_others: &'a [OtherAuthority],
    /// The site's working days.
    pub working_days: &'a WorkingDays,
}

/// Another authority than the law that comes with the program, with what it asks at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherAuthority {
    /// Whose clauses.
    pub authority: Code,
    /// Its levels in force, in the agent's unit.
    pub levels: Levels,
    /// Its clauses in force.
    pub pack: Pack,
    /// Those of them that cannot be read there today.
    pub unread: Vec<UnreadClause>,
}

impl<'a> StandingRules<'a> {
    /// The clauses of an authority; `None` where it has none at the site.
    fn of(self, authority: &Code) -> Option<&'a Pack> {
        if authority.as_str() == STATUTORY_AUTHORITY {
            return Some(self.pack);
        }
        self.of_others.iter().find(|other| other.authority == *authority).map(|other| &other.pack)
    }
}

/// How a group stands by the limits of one authority.
#[derive(Debug, Clone, PartialEq)]
pub struct AuthorityStanding {
    /// Whose limits.
    pub authority: Code,
    /// Every move, in the order of the rounds; a later one stands over earlier ones from its `since` on.
    pub moves: Vec<Move>,
    /// The moves where lying exactly at the limit counts as above it; `None` where that makes no difference.
    pub at_limit: Option<Vec<Move>>,
    /// Of each move, where another authority's level was reached, the source of that level.
    pub reached: Vec<Option<String>>,
    /// What is to be known of it.
    pub flags: Vec<Flag>,
}

record! {
    /// How a group stood at the end of an era, by the limits of one authority.
    pub struct StandingView {
        /// Whose limits.
        authority: Code,
        /// By which short-term averages; absent: by those over 8 hours.
        averaging: Option<Averaging>,
        /// Over how many minutes the short-term limit is averaged, where that is stated.
        averaging_minutes: Option<i64>,
        /// Where it stands.
        value: StandingValue,
        /// Since when; absent: from the beginning, or nothing stands.
        since: Option<NaiveDate>,
        /// The round that set it.
        round: Option<StandingRound>,
        /// The clause of a step down, or the source of another authority's level that was reached.
        clause: Option<String>,
    }
}

impl AuthorityStanding {
    /// The move that decides on a date; `None`: nothing has told yet.
    pub fn on(&self, date: NaiveDate) -> Option<&Move> {
        self.place_on(date).and_then(|place| self.moves.get(place))
    }

    fn place_on(&self, date: NaiveDate) -> Option<usize> {
        self.moves.iter().rposition(|change| change.since.is_none_or(|since| since <= date))
    }

    /// The clause that a move rests on, by its place among them.
    pub fn clause_of(&self, place: usize) -> Option<&String> {
        let of_step_down = self.moves.get(place).and_then(|change| change.clause.as_ref());
        of_step_down.or_else(|| self.reached.get(place).and_then(Option::as_ref))
    }

    /// The standing at the end of an era, for people and programs.
    pub fn at_end_of(&self, era: &Era) -> StandingView {
        let place = self.place_on(last_day(era));
        let last = place.and_then(|place| self.moves.get(place));
        StandingView {
            authority: self.authority.clone(),
            averaging: None,
            averaging_minutes: None,
            value: last.map_or(StandingValue::Unknown, |change| change.level.into()),
            since: last.and_then(|change| change.since),
            round: last.map(|change| StandingRound { event_id: change.round.0, date: change.round.1 }),
            clause: place.and_then(|place| self.clause_of(place)).cloned(),
        }
    }
}

/// The last day of an era.
pub(super) fn last_day(era: &Era) -> NaiveDate {
    era.to.and_then(|to| to.pred_opt()).unwrap_or(NaiveDate::MAX)
}

/// How a group stands for an agent, by every authority that has 8-hour limits: the law's first, then by name.
///
/// `shifts` are the group's, all of one agent; only those that the table of uses lets count enter a round.
pub fn group_standings(
    shifts: &[ShiftTwa],
    eras: &[Era],
    group: &GroupEvidence,
    agent: &AgentEvidence,
    rules: StandingRules<'_>,
) -> Vec<AuthorityStanding> {
    let eras: Vec<standing::Era> =
        eras.iter().map(|era| standing::Era { from: era.from, to: era.to }).collect();
    let unit = agent.unit().or_else(|| shifts.first().map(|shift| shift.unit));
    let agent = &*agent.at(SiteId(group.site.id));
    agent
        .authorities()
        .into_iter()
        .filter_map(|authority| {
            let unit = unit?;
            let rounds = rounds(shifts, group, agent, authority, unit);
            // The way down is the authority's own: without a clause of its own there is none.
            let newest =
                rounds.iter().map(|round| (round.date, round.event, round.levels)).max_by_key(|r| (r.0, r.1));
            let ways_down = newest.zip(rules.of(authority)).map(|((date, _, levels), pack)| {
                step_downs(pack, agent.code().as_str(), rule_set_on(group, date), levels, unit)
            });
            let ways_down = ways_down.unwrap_or_default();
            let mut flags = Vec::new();
            if rounds.is_empty() {
                let judged = shifts.iter().any(|shift| counts(shift).is_some());
                raise_if(&mut flags, judged, Flag::NoEightHourLimit);
            } else if ways_down.is_empty() {
                raise(&mut flags, Flag::NoStepDown);
            }
            let moves = standing::moves(&rounds, &eras, &ways_down, rules.working_days);
            let at_limit = standing::moves_at_limit(&rounds, &eras, &ways_down, rules.working_days);
            let at_limit = Some(at_limit).filter(|at_limit| *at_limit != moves);
            let reached = moves.iter().map(|change| source_of(change, group, agent, authority)).collect();
            Some(AuthorityStanding { authority: authority.clone(), moves, at_limit, reached, flags })
        })
        .collect()
}

/// The source of another authority's level that a move reached, as it stood on the date of the round.
fn source_of(
    change: &Move,
    group: &GroupEvidence,
    agent: &AgentEvidence,
    authority: &Code,
) -> Option<String> {
    let kind = match change.level {
        Level::AboveLimit => LimitKind::Twa,
        Level::AtOrAboveActionLevel => LimitKind::ActionLevel,
        Level::Unknown | Level::AtOrBelowLimit | Level::BelowActionLevel => return None,
    };
    if authority.as_str() == STATUTORY_AUTHORITY {
        return None;
    }
    let (_, date) = change.round;
    let of_kind = |limit: &&Limit| limit.authority == *authority && limit.kind == kind;
    let limits = agent.in_force(rule_set_on(group, date), date).into_iter().filter(of_kind);
    let strictest = limits.min_by(|one, two| {
        let number = |limit: &Limit| agent.level_in(limit, one.value.unit).unwrap_or(f64::INFINITY);
        number(one).total_cmp(&number(two))
    });
    strictest.map(|limit| limit.source.to_string())
}

/// The rounds of a group for one authority: an event's countable averages, with the levels of its latest shift date; those
/// of a date without any level are left out.
pub fn rounds(
    shifts: &[ShiftTwa],
    group: &GroupEvidence,
    agent: &AgentEvidence,
    authority: &Code,
    unit: Unit,
) -> Vec<Round> {
    let mut rounds = every_round(shifts, group, agent, authority, unit);
    rounds.retain(|round| round.levels != Levels::default());
    rounds
}

/// All of them, for what asks for a round and not for where it lies.
pub fn every_round(
    shifts: &[ShiftTwa],
    group: &GroupEvidence,
    agent: &AgentEvidence,
    authority: &Code,
    unit: Unit,
) -> Vec<Round> {
    let mut events: BTreeMap<EventId, Vec<(&ShiftTwa, Member)>> = BTreeMap::new();
    let in_unit: Vec<&ShiftTwa> = shifts.iter().filter(|shift| shift.unit == unit).collect();
    let members = if agent.is_noise() {
        noise_members(&in_unit, authority)
    } else {
        in_unit.into_iter().filter_map(|shift| Some((shift, counts(shift)?))).collect()
    };
    for (shift, member) in members {
        events.entry(shift.event).or_default().push((shift, member));
    }
    events
        .into_iter()
        .filter_map(|(event, members)| {
            let date = members.iter().map(|(shift, _)| shift.shift_date).max()?;
            let level = |kind| agent.level(authority.as_str(), kind, rule_set_on(group, date), date, unit);
            let levels = Levels { action_level: level(LimitKind::ActionLevel), limit: level(LimitKind::Twa) };
            // One flag depends on whose levels it is held against: a reporting limit that is too high for them.
            let flagged =
                |member: Member| Member { flagged: member.flagged || member.is_too_coarse(levels), ..member };
            let members = members.into_iter().map(|(_, member)| flagged(member)).collect();
            Some(Round { event, date, levels, members })
        })
        .collect()
}

/// The shifts of noise as members of their rounds: of a worker's shift date one, whatever criteria were read, with the
/// averages that the authority's action level and limit are met by.
fn noise_members<'s>(shifts: &[&'s ShiftTwa], authority: &Code) -> Vec<(&'s ShiftTwa, Member)> {
    let mut by_shift: BTreeMap<_, Vec<(&ShiftTwa, Member)>> = BTreeMap::new();
    for &shift in shifts {
        if let Some(member) = counts(shift) {
            let key = (shift.event, shift.shift_date, shift.worker);
            by_shift.entry(key).or_default().push((shift, member));
        }
    }
    let one = |read: Vec<(&'s ShiftTwa, Member)>| {
        let known = |criterion| {
            let of_criterion = read.iter().find(|(shift, _)| shift.criterion == Some(criterion));
            of_criterion.map(|(_, member)| member.twa)
        };
        let met = |kind| level_by(criterion_met(authority.as_str(), kind), known);
        let (action_level, limit) = (met(LimitKind::ActionLevel), met(LimitKind::Twa));
        let (shift, first) = read.first()?;
        let member = Member {
            twa: action_level.or(limit)?,
            limit_twa: limit,
            accepted: read.iter().all(|(_, member)| member.accepted),
            flagged: read.iter().any(|(_, member)| member.flagged),
            ..*first
        };
        Some((*shift, member))
    };
    by_shift.into_values().filter_map(one).collect()
}

/// A shift as a member of its round; `None` where it does not count.
fn counts(shift: &ShiftTwa) -> Option<Member> {
    let only_upward = match shift.uses.standing {
        StandingUse::Counts => false,
        StandingUse::OnlyUpward => true,
        StandingUse::ShortTermLimbs | StandingUse::Beside | StandingUse::Never => return None,
    };
    Some(Member {
        twa: shift.compared()?,
        limit_twa: None,
        accepted: shift.accepted,
        flagged: shift.flagged,
        only_upward,
        short_shift: shift.short_shift,
        part_sampled: shift.part_sampled,
    })
}
