//! The two tests of EN 689 on the results of one group.

use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;
use crate::words;

/// The preliminary test.
pub const PRELIMINARY: Formula = Formula {
    formula: "3, 4, 5 results all below 0.1, 0.15, 0.2 of the limit: compliance; any above the limit: \
              non_compliance; else no_decision; a non-detect counts at its limit",
    source: "EN 689:2018, 5.5.2 (from memory)",
};

/// The statistical test.
pub const STATISTICAL: Formula = Formula {
    formula: "from 6 results: compliance when the upper 70 % limit of the 95th percentile is at most the limit",
    source: "EN 689:2018, 5.5.3 and Annex F (from memory)",
};

/// The fewest results any test takes.
pub const FEWEST_RESULTS: usize = 3;

/// The fewest results the statistical test takes.
pub const FEWEST_STATISTICAL: usize = 6;

words! {
    /// Which of the two tests.
    pub enum Stage {
        /// 3 to 5 results.
        Preliminary = "preliminary",
        /// 6 results or more.
        Statistical = "statistical",
    }
}

words! {
    /// What the test says.
    pub enum Outcome {
        /// The limit is complied with.
        Compliance = "compliance",
        /// It is not.
        NonCompliance = "non_compliance",
        /// More results are needed.
        NoDecision = "no_decision",
    }
}

/// The answer of the test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct En689 {
    /// Which test it was.
    pub stage: Stage,
    /// What it says.
    pub outcome: Outcome,
}

/// The share of the limit that all of `n` results must stay below in the preliminary test; `None` but for 3 to 5.
///
/// # Formula
/// 0.1, 0.15 and 0.2 of the limit for 3, 4 and 5 results. EN 689:2018, 5.5.2 (from memory).
///
/// ```
/// use doseward::hygiene::en_689::preliminary_share;
/// assert_eq!((preliminary_share(4), preliminary_share(6)), (Some(0.15), None));
/// ```
pub const fn preliminary_share(n: usize) -> Option<f64> {
    match n {
        3 => Some(0.1),
        4 => Some(0.15),
        5 => Some(0.2),
        _ => None,
    }
}

/// The preliminary test on 3 to 5 results in the unit of the limit; `None` for any other number.
///
/// A non-detect or range counts at its upper end; an overloaded result is above whatever it has reached.
///
/// # Formula
/// All below the share of [`preliminary_share`]: compliance; any above the limit: non_compliance; results and limit in one
/// unit. EN 689:2018, 5.5.2 (from memory).
///
/// ```
/// use doseward::hygiene::en_689::{Outcome, preliminary};
/// use doseward::model::measured::Measured;
/// // A tenth of 5 is 0.5.
/// let of = |value| preliminary(&[Measured::Value(value), Measured::Value(0.3), Measured::Below(0.2)], 5.0);
/// assert_eq!(of(0.4).unwrap().outcome, Outcome::Compliance);
/// assert_eq!(of(0.5).unwrap().outcome, Outcome::NoDecision);
/// assert_eq!(of(5.1).unwrap().outcome, Outcome::NonCompliance);
/// ```
pub fn preliminary(results: &[Measured], limit: f64) -> Option<En689> {
    let share = significant(preliminary_share(results.len())? * limit);
    let limit = significant(limit);
    let reached: Vec<f64> =
        results.iter().map(|result| significant(result.upper().unwrap_or_else(|| result.lower()))).collect();
    let overloaded = |at: usize| matches!(results[at], Measured::Above(_));
    let outcome =
        if (0..results.len()).any(|at| reached[at] > limit || overloaded(at) && reached[at] >= limit) {
            Outcome::NonCompliance
        } else if (0..results.len()).all(|at| reached[at] < share && !overloaded(at)) {
            Outcome::Compliance
        } else {
            Outcome::NoDecision
        };
    Some(En689 { stage: Stage::Preliminary, outcome })
}

/// The statistical test from the upper 70 % limit of the 95th percentile.
///
/// # Formula
/// Compliance when `upper_70 <= limit`, both in one unit. EN 689:2018, 5.5.3 (from memory).
///
/// ```
/// use doseward::hygiene::en_689::{Outcome, statistical};
/// assert_eq!(statistical(7.76, 10.0).outcome, Outcome::Compliance);
/// assert_eq!(statistical(10.1, 10.0).outcome, Outcome::NonCompliance);
/// ```
pub fn statistical(upper_70: f64, limit: f64) -> En689 {
    let complies = significant(upper_70) <= significant(limit);
    let outcome = if complies { Outcome::Compliance } else { Outcome::NonCompliance };
    En689 { stage: Stage::Statistical, outcome }
}

#[cfg(test)]
mod tests {
    use super::*;

    // EN 689:2018, 5.5.2 (thresholds from memory): the comparison is "below", so equality is not below.
    #[test]
    fn a_result_at_the_threshold_is_not_below_it() {
        let at = |value| [Measured::Value(0.1), Measured::Value(0.2), Measured::Value(value)];
        assert_eq!(preliminary(&at(0.3), 3.0).unwrap().outcome, Outcome::NoDecision);
        assert_eq!(preliminary(&at(0.1 + 0.2), 3.0).unwrap().outcome, Outcome::NoDecision);
        assert_eq!(preliminary(&at(0.299), 3.0).unwrap().outcome, Outcome::Compliance);
        assert_eq!(preliminary(&at(3.0), 3.0).unwrap().outcome, Outcome::NoDecision);
        assert_eq!(preliminary(&at(3.01), 3.0).unwrap().outcome, Outcome::NonCompliance);
        assert_eq!(preliminary(&at(0.1)[..2], 3.0), None);
    }

    #[test]
    fn an_overloaded_result_never_complies() {
        let with = |value| [Measured::Value(0.1), Measured::Value(0.1), Measured::Above(value)];
        assert_eq!(preliminary(&with(0.1), 3.0).unwrap().outcome, Outcome::NoDecision);
        assert_eq!(preliminary(&with(3.0), 3.0).unwrap().outcome, Outcome::NonCompliance);
    }
}
