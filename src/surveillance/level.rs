//! Where a group can stand, and against which levels that is read.

use crate::model::facts::standing_move::StandingValue;
use crate::model::rounding::significant;
use crate::words;

words! {
    /// Where a group stands, from the least to the most.
    pub enum Level {
        /// No round has told yet.
        Unknown = "unknown",
        /// At or below the limit (agents without an action level).
        AtOrBelowLimit = "at_or_below_limit",
        /// Below the action level.
        BelowActionLevel = "below_action_level",
        /// At or above the action level.
        AtOrAboveActionLevel = "at_or_above_action_level",
        /// Above the limit.
        AboveLimit = "above_limit",
    }
}

impl Level {
    /// Whether a round has told.
    pub fn is_known(self) -> bool {
        self != Self::Unknown
    }
}

impl From<Level> for StandingValue {
    fn from(level: Level) -> Self {
        match level {
            Level::Unknown => Self::Unknown,
            Level::AtOrBelowLimit => Self::AtOrBelowLimit,
            Level::BelowActionLevel => Self::BelowActionLevel,
            Level::AtOrAboveActionLevel => Self::AtOrAboveActionLevel,
            Level::AboveLimit => Self::AboveLimit,
        }
    }
}

/// The levels that a round is read against, in the unit of its values.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Levels {
    /// The action level.
    pub action_level: Option<f64>,
    /// The eight-hour limit.
    pub limit: Option<f64>,
}

impl Levels {
    /// Whether a value is this level, to the digits that are compared.
    pub fn is(level: Option<f64>, value: f64) -> bool {
        level.is_some_and(|level| significant(level).total_cmp(&significant(value)).is_eq())
    }
}
