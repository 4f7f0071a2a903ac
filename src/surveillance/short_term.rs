//! The standing of a group's short-term average, apart from that of its 8-hour average.
//!
//! Up at once and back in time, down only as the rows of the pack say, like the other limb ([`crate::surveillance::standing`]).

use crate::model::facts::standing_move::StandingValue;
use crate::model::identifiers::EventId;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::level::Levels;
use crate::surveillance::monitoring::interval::Interval;
use crate::surveillance::monitoring::standard::Standard;
use crate::surveillance::round::{Bound, Reading, Round};
use crate::surveillance::standing::{Era, era_of};
use crate::words;
use chrono::NaiveDate;

words! {
    /// Where a short-term average stands to its limit.
    pub enum ShortTermLevel {
        /// No round has told yet.
        Unknown = "unknown",
        /// At or below a limit that is exceeded only above it.
        AtOrBelowLimit = "at_or_below_limit",
        /// Below a limit that the standard reads at or above it.
        BelowLimit = "below_limit",
        /// At or above a limit that the standard reads so.
        AtOrAboveLimit = "at_or_above_limit",
        /// Above the limit.
        AboveLimit = "above_limit",
    }
}

impl ShortTermLevel {
    /// Whether the limit is reached.
    pub fn is_reached(self) -> bool {
        matches!(self, Self::AtOrAboveLimit | Self::AboveLimit)
    }
}

impl From<ShortTermLevel> for StandingValue {
    fn from(level: ShortTermLevel) -> Self {
        match level {
            ShortTermLevel::Unknown => Self::Unknown,
            ShortTermLevel::AtOrBelowLimit => Self::AtOrBelowLimit,
            ShortTermLevel::BelowLimit => Self::BelowLimit,
            ShortTermLevel::AtOrAboveLimit => Self::AtOrAboveLimit,
            ShortTermLevel::AboveLimit => Self::AboveLimit,
        }
    }
}

/// A STEL, excursion limit or averaged ceiling, in the unit of the rounds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShortTermLimit {
    /// Its value.
    pub value: f64,
    /// Whether it is reached only above it.
    pub only_above: bool,
}

impl ShortTermLimit {
    /// A limit as the lines of its standard compare it; where none does, it is exceeded only above it.
    pub fn of(value: f64, standard: &Standard) -> Self {
        let mut lower = standard.lines.iter().filter_map(|line| line.condition.short_term?.lower);
        let at = lower.any(|end| end.inside && Levels::is(Some(end.value), value));
        Self { value, only_above: !at }
    }

    /// The bound of a round: the limit in force on its date.
    fn bound(self, round: &Round) -> Bound {
        let value = round.levels.limit.unwrap_or(self.value);
        Bound { value, only_above: self.only_above, is_limit: false }
    }

    fn level(self, reached: bool) -> ShortTermLevel {
        match (reached, self.only_above) {
            (false, true) => ShortTermLevel::AtOrBelowLimit,
            (false, false) => ShortTermLevel::BelowLimit,
            (true, false) => ShortTermLevel::AtOrAboveLimit,
            (true, true) => ShortTermLevel::AboveLimit,
        }
    }
}

/// A change of standing.
#[derive(Debug, Clone, PartialEq)]
pub struct ShortTermMove {
    /// Where the average stands from then on.
    pub level: ShortTermLevel,
    /// Since when; `None`: from the beginning.
    pub since: Option<NaiveDate>,
    /// The round that moved it.
    pub round: (EventId, NaiveDate),
    /// The clause of a step down.
    pub clause: Option<String>,
}

/// The moves of one group's short-term average, in the order of the rounds, whose members are short-term averages.
///
/// `standard` gives the steps down; a limit of an authority without them never falls. `limit` is that of the newest round;
/// each is read against its own.
pub fn moves(
    rounds: &[Round],
    eras: &[Era],
    limit: ShortTermLimit,
    standard: &Standard,
    working_days: &WorkingDays,
) -> Vec<ShortTermMove> {
    let mut rounds: Vec<&Round> = rounds.iter().collect();
    rounds.sort_by_key(|round| (round.date, round.event));
    let ways: Vec<_> = standard
        .ways_down
        .iter()
        .filter_map(|way| Some((way, way.condition.short_term.and_then(Interval::upper_bound)?)))
        .filter(|(way, _)| {
            Levels::is(way.condition.short_term.and_then(|i| i.upper).map(|end| end.value), limit.value)
        })
        .collect();
    let mut moves: Vec<ShortTermMove> = Vec::new();
    let mut current = ShortTermLevel::Unknown;
    let mut era = None;
    let mut runs: Vec<(usize, Option<NaiveDate>)> = vec![(0, None); ways.len()];
    let mut last_below: Option<NaiveDate> = None;
    for round in rounds {
        let own = era_of(round.date, eras);
        if era != Some(own) {
            era = Some(own);
            runs.fill((0, None));
            last_below = None;
        }
        let mut clause = None;
        for ((way, bound), (results, last)) in ways.iter().zip(&mut runs) {
            match round.reading(*bound) {
                Reading::Reaches | Reading::CannotTell => (*results, *last) = (0, None),
                Reading::Below { may_lower: true }
                    if last.is_none_or(|last| way.earliest(last, working_days) <= round.date) =>
                {
                    (*results, *last) = (*results + 1, Some(round.date));
                    if *results >= way.results && clause.is_none() {
                        clause = Some(way.clause.clone());
                    }
                }
                Reading::Below { .. } | Reading::Silent => {}
            }
        }
        let reading = round.reading(limit.bound(round));
        let change = match reading {
            Reading::Reaches if !current.is_reached() => {
                let after = last_below.filter(|below| *below < round.date).and_then(|below| below.succ_opt());
                Some((limit.level(true), after.or(own.from), None))
            }
            Reading::Below { .. } if current == ShortTermLevel::Unknown => {
                Some((limit.level(false), own.from, None))
            }
            Reading::Below { may_lower: true } if current.is_reached() && clause.is_some() => {
                Some((limit.level(false), Some(round.date), clause))
            }
            _ => None,
        };
        if let Some((level, since, clause)) = change {
            current = level;
            moves.push(ShortTermMove { level, since, round: (round.event, round.date), clause });
        }
        if reading == (Reading::Below { may_lower: true }) {
            last_below = Some(round.date);
        }
    }
    moves
}

/// Where the short-term average stood on a date.
pub fn standing_on(moves: &[ShortTermMove], date: NaiveDate) -> ShortTermLevel {
    let last = moves.iter().rev().find(|change| change.since.is_none_or(|since| since <= date));
    last.map_or(ShortTermLevel::Unknown, |change| change.level)
}
