//! A monitoring round and how it reads against a level.

use crate::model::identifiers::EventId;
use crate::model::measured::{Answer, Measured};
use crate::surveillance::level::{Level, Levels};
use chrono::NaiveDate;

/// One 8-hour TWA of a round.
#[derive(Debug, Clone, Copy, PartialEq)]
#[expect(clippy::struct_excessive_bools, reason = "each is a fact of its own that a TWA carries")]
pub struct Member {
    /// What is known of it.
    pub twa: Measured,
    /// The average that the limit is met by, where it is another one (of noise, by another threshold).
    pub limit_twa: Option<Measured>,
    /// Whether every result behind it is accepted.
    pub accepted: bool,
    /// Whether a flag stands on it that forbids it to lower anything.
    pub flagged: bool,
    /// Whether it may only raise: a control trial.
    pub only_upward: bool,
    /// Whether the shift was short: it may only raise.
    pub short_shift: bool,
    /// Whether part of the shift is not known: it counts only where its lower end decides.
    pub part_sampled: bool,
}

impl Member {
    /// A member that only speaks when it reaches a level.
    fn only_raises(&self) -> bool {
        self.only_upward || self.short_shift || self.part_sampled
    }

    /// Whether it cannot be told on which side of the action level it lies, or of the limit: then it lowers nothing, also not
    /// from above the limit to where it cannot be told.
    pub fn is_too_coarse(&self, levels: Levels) -> bool {
        [Level::AtOrAboveActionLevel, Level::AboveLimit].into_iter().any(|level| {
            let bound = Bound::of(level, levels, LimitReached::Above);
            bound.is_some_and(|bound| bound.answer(self) == Answer::CannotTell)
        })
    }

    /// A member that may lower a standing.
    fn may_lower(&self) -> bool {
        self.accepted && !self.flagged
    }
}

/// All usable TWAs of one group within one sampling event.
#[derive(Debug, Clone, PartialEq)]
pub struct Round {
    /// The event.
    pub event: EventId,
    /// Its latest shift date.
    pub date: NaiveDate,
    /// The levels in force on that date.
    pub levels: Levels,
    /// Its members.
    pub members: Vec<Member>,
}

/// How a round's highest value lies to a bound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Reading {
    /// No member speaks.
    Silent,
    /// All members are below; whether they may lower.
    Below { may_lower: bool },
    /// A member reaches it.
    Reaches,
    /// None reaches it for certain, and one cannot tell.
    CannotTell,
}

/// When the limit counts as reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LimitReached {
    /// Only above it: the standing of a group.
    Above,
    /// At it already: a clause that says so.
    AtIt,
}

/// A bound: reached at it, or only above it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bound {
    /// The value.
    pub(super) value: f64,
    /// Whether it is reached only above it.
    pub(super) only_above: bool,
    /// Whether it is the limit.
    pub(super) is_limit: bool,
}

impl Bound {
    fn answer(self, member: &Member) -> Answer {
        let twa = member.limit_twa.filter(|_| self.is_limit).unwrap_or(member.twa);
        if self.only_above { twa.exceeds(self.value) } else { twa.against(self.value) }
    }
}

impl Bound {
    /// What must be reached to stand at a level.
    pub(super) fn of(level: Level, levels: Levels, reached: LimitReached) -> Option<Self> {
        match level {
            Level::AtOrAboveActionLevel => {
                levels.action_level.map(|value| Bound { value, only_above: false, is_limit: false })
            }
            Level::AboveLimit => {
                let only_above = reached == LimitReached::Above;
                levels.limit.map(|value| Bound { value, only_above, is_limit: true })
            }
            Level::Unknown | Level::AtOrBelowLimit | Level::BelowActionLevel => None,
        }
    }
}

impl Round {
    /// How the round's highest value lies to a bound.
    pub(super) fn reading(&self, bound: Bound) -> Reading {
        let mut reading = Reading::Silent;
        for member in &self.members {
            match (bound.answer(member), reading) {
                (Answer::AtOrAbove, _) => return Reading::Reaches,
                _ if member.only_raises() => {}
                (Answer::CannotTell, _) | (_, Reading::CannotTell) => reading = Reading::CannotTell,
                (Answer::Below, Reading::Below { may_lower }) => {
                    reading = Reading::Below { may_lower: may_lower && member.may_lower() };
                }
                (Answer::Below, _) => reading = Reading::Below { may_lower: member.may_lower() },
            }
        }
        reading
    }

    /// Whether every member that may do more than raise may also lower; `None` where there is no such member.
    pub(super) fn may_lower(&self) -> Option<bool> {
        let mut speaking = self.members.iter().filter(|member| !member.only_raises()).peekable();
        speaking.peek()?;
        Some(speaking.all(Member::may_lower))
    }

    /// The level that the round shows; `None` when it cannot tell.
    pub(super) fn level(&self) -> Option<Level> {
        self.level_by(LimitReached::Above)
    }

    /// The same where the limit counts as reached so.
    pub(super) fn level_by(&self, reached: LimitReached) -> Option<Level> {
        let reading = |level| Bound::of(level, self.levels, reached).map(|bound| self.reading(bound));
        match (reading(Level::AboveLimit), reading(Level::AtOrAboveActionLevel)) {
            (Some(Reading::Reaches), _) => Some(Level::AboveLimit),
            (_, Some(Reading::Reaches)) => Some(Level::AtOrAboveActionLevel),
            (_, Some(Reading::Below { .. })) => Some(Level::BelowActionLevel),
            (Some(Reading::Below { .. }), None) => Some(Level::AtOrBelowLimit),
            _ => None,
        }
    }
}
