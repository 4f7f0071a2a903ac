//! A measured value as it is known: a number, a bound, or a range; and its comparison with a level.

use crate::model::rounding::significant;

/// What is known of a value, in one stated unit.
///
/// A result below the reporting limit is a bound, never a number and never zero; it stays one to the end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Measured {
    /// A number.
    Value(f64),
    /// Less than this limit (`<`): somewhere from 0 to it.
    Below(f64),
    /// More than this (`>`): an overloaded filter.
    Above(f64),
    /// Somewhere in this range.
    Between {
        /// The least it can be.
        lower: f64,
        /// The most it can be.
        upper: f64,
    },
}

/// The answer of a comparison with a level.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Answer {
    /// Certainly below the level.
    Below,
    /// Certainly at or above the level.
    AtOrAbove,
    /// What is known does not decide.
    CannotTell,
}

impl Answer {
    /// The word of the contract.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Below => "below",
            Self::AtOrAbove => "at_or_above",
            Self::CannotTell => "cannot_tell",
        }
    }
}

impl Measured {
    /// The least it can be.
    pub fn lower(self) -> f64 {
        match self {
            Self::Value(value) | Self::Above(value) => value,
            Self::Below(_) => 0.0,
            Self::Between { lower, .. } => lower,
        }
    }

    /// The most it can be; `None` without an upper end.
    pub fn upper(self) -> Option<f64> {
        match self {
            Self::Value(value) | Self::Below(value) => Some(value),
            Self::Above(_) => None,
            Self::Between { upper, .. } => Some(upper),
        }
    }

    /// Whether it is a plain number.
    pub fn is_value(self) -> bool {
        matches!(self, Self::Value(_))
    }

    /// The simplest form of the range from `lower` to `upper`: a number when they meet, `<` from 0, `>` without an end.
    pub fn from_bounds(lower: f64, upper: Option<f64>) -> Self {
        match upper {
            None => Self::Above(lower),
            Some(upper) if significant(lower) >= significant(upper) => Self::Value(upper),
            Some(upper) if lower <= 0.0 => Self::Below(upper),
            Some(upper) => Self::Between { lower, upper },
        }
    }

    /// The same scaled by a positive factor.
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        match self {
            Self::Value(value) => Self::Value(value * factor),
            Self::Below(value) => Self::Below(value * factor),
            Self::Above(value) => Self::Above(value * factor),
            Self::Between { lower, upper } => Self::Between { lower: lower * factor, upper: upper * factor },
        }
    }

    /// The same with a growing function of every number; `None` where it has none for one of them.
    #[must_use]
    pub fn try_map(self, f: impl Fn(f64) -> Option<f64>) -> Option<Self> {
        Some(match self {
            Self::Value(value) => Self::Value(f(value)?),
            Self::Below(value) => Self::Below(f(value)?),
            Self::Above(value) => Self::Above(f(value)?),
            Self::Between { lower, upper } => Self::Between { lower: f(lower)?, upper: f(upper)? },
        })
    }

    /// The same with every number rounded to 12 significant digits.
    #[must_use]
    pub fn rounded(self) -> Self {
        match self {
            Self::Value(value) => Self::Value(significant(value)),
            Self::Below(value) => Self::Below(significant(value)),
            Self::Above(value) => Self::Above(significant(value)),
            Self::Between { lower, upper } => {
                Self::Between { lower: significant(lower), upper: significant(upper) }
            }
        }
    }

    /// Is it at or above `level`? (practice: three answers; `< 3.1` against 2.5 cannot tell.)
    pub fn against(self, level: f64) -> Answer {
        let level = significant(level);
        match self.rounded() {
            Self::Value(value) if value >= level => Answer::AtOrAbove,
            Self::Value(_) => Answer::Below,
            // Strictly less than a limit that is itself at most the level.
            Self::Below(limit) if limit <= level => Answer::Below,
            Self::Above(value) if value >= level => Answer::AtOrAbove,
            Self::Between { lower, .. } if lower >= level => Answer::AtOrAbove,
            Self::Between { upper, .. } if upper < level => Answer::Below,
            Self::Below(_) | Self::Above(_) | Self::Between { .. } => Answer::CannotTell,
        }
    }

    /// Is it strictly above `level`? `AtOrAbove` then reads "above", `Below` "at or below".
    pub fn exceeds(self, level: f64) -> Answer {
        let level = significant(level);
        match self.rounded() {
            Self::Value(value) if value > level => Answer::AtOrAbove,
            Self::Value(_) => Answer::Below,
            Self::Below(limit) if limit <= level => Answer::Below,
            Self::Above(value) if value >= level => Answer::AtOrAbove,
            Self::Between { lower, .. } if lower > level => Answer::AtOrAbove,
            Self::Between { upper, .. } if upper <= level => Answer::Below,
            Self::Below(_) | Self::Above(_) | Self::Between { .. } => Answer::CannotTell,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_non_detect_too_coarse_cannot_tell() {
        assert_eq!(Measured::Below(3.1).against(2.5), Answer::CannotTell);
        assert_eq!(Measured::Below(2.5).against(2.5), Answer::Below);
        assert_eq!(Measured::Above(2.5).exceeds(2.5), Answer::AtOrAbove);
        assert_eq!(Measured::Above(2.0).against(2.5), Answer::CannotTell);
    }

    #[test]
    fn a_range_answers_only_when_it_lies_on_one_side() {
        let range = Measured::Between { lower: 1.0, upper: 2.5 };
        assert_eq!(range.against(2.5), Answer::CannotTell);
        assert_eq!(range.exceeds(2.5), Answer::Below);
        assert_eq!(range.against(1.0), Answer::AtOrAbove);
        assert_eq!(range.against(2.6), Answer::Below);
    }

    #[test]
    fn a_value_at_the_level_in_decimal_is_at_it_in_binary() {
        assert_eq!(Measured::Value(0.1 + 0.2).exceeds(0.3), Answer::Below);
        assert_eq!(Measured::Value(0.7 + 0.1).against(0.8), Answer::AtOrAbove);
    }
}
