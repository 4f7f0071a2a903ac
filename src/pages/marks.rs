//! The marks of the look: a shape that never stands without its word.

use crate::hygiene::control_effect::Verdict;
use crate::model::facts::duty::DutyStatus;
use crate::model::facts::standing_move::StandingValue;

/// A mark with its word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mark {
    /// The shape, as the sprite names it.
    pub shape: &'static str,
    /// The word.
    pub word: String,
    /// Whether it asks somebody to act.
    pub acts: bool,
}

impl Mark {
    /// A mark.
    pub fn new(shape: &'static str, word: impl Into<String>) -> Self {
        Self { shape, word: word.into(), acts: false }
    }

    /// A mark that asks somebody to act.
    pub fn acting(shape: &'static str, word: impl Into<String>) -> Self {
        Self { acts: true, ..Self::new(shape, word) }
    }

    /// Whether its shape is the wide one of verdicts.
    pub fn is_wide(&self) -> bool {
        matches!(self.shape, "lowered" | "same" | "raised" | "undecided")
    }
}

/// The shape of a standing.
pub const fn standing(value: StandingValue) -> &'static str {
    match value {
        StandingValue::BelowActionLevel | StandingValue::BelowLimit | StandingValue::AtOrBelowLimit => {
            "below"
        }
        StandingValue::AtOrAboveActionLevel => "al",
        StandingValue::AboveLimit | StandingValue::AtOrAboveLimit => "over",
        StandingValue::Unknown => "gap",
    }
}

/// The shape of a verdict.
pub const fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Lowered => "lowered",
        Verdict::NoDifferenceShown => "same",
        Verdict::Raised => "raised",
        Verdict::Undecided => "undecided",
    }
}

/// The shape of a duty.
pub const fn duty(status: DutyStatus) -> &'static str {
    match status {
        DutyStatus::Open => "due",
        DutyStatus::Overdue => "late",
        DutyStatus::Met => "done",
        DutyStatus::Declined => "declined",
        DutyStatus::Waived | DutyStatus::Withdrawn => "waived",
    }
}
