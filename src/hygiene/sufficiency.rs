//! Whether what remains with a control is low enough, apart from how much it lowers.

use super::censored::LogResult;
use super::posterior::{largest_known, settled};
use crate::hygiene::profile;
use crate::model::measured::Measured;
use crate::model::working::Formula;
use crate::words;

/// The answer.
pub const SUFFICIENCY: Formula = Formula {
    formula: "below_action_level, below_limit or above_limit when the 95th percentile of what remains lies there with a \
              posterior probability of at least 0.95; else unsettled",
    source: "this registry's rule",
};

/// The posterior probability that settles it.
pub const SETTLING_PROBABILITY: f64 = 0.95;

words! {
    /// Where the 95th percentile of what remains lies.
    pub enum Sufficiency {
        /// Below the action level.
        BelowActionLevel = "below_action_level",
        /// Below the limit.
        BelowLimit = "below_limit",
        /// Above the limit.
        AboveLimit = "above_limit",
        /// Nothing of that is sure enough.
        Unsettled = "unsettled",
    }
}

/// The levels that what remains is put against, in the unit of the results.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Levels {
    /// The limit.
    pub limit: Option<f64>,
    /// The action level.
    pub action_level: Option<f64>,
}

/// Where the 95th percentile of these results lies, with flags of the prior; `None` without results that tell anything
/// or without any level.
///
/// # Formula
/// `P(95th percentile < level) >= 0.95`, results and levels in one unit. This registry's rule.
///
/// ```
/// use doseward::hygiene::sufficiency::{Levels, Sufficiency, sufficiency};
/// use doseward::model::measured::Measured;
/// // Eight results about a hundredth of the limit.
/// let low: Vec<_> = [5., 6., 4., 5., 7., 5., 4., 6.].map(|x| Measured::Value(x / 100.0)).to_vec();
/// let levels = Levels { limit: Some(5.0), action_level: Some(2.5) };
/// assert_eq!(sufficiency(&low, levels, None).unwrap().0, Sufficiency::BelowActionLevel);
/// ```
pub fn sufficiency(
    results: &[Measured],
    levels: Levels,
    prior: Option<super::posterior::PriorBox>,
) -> Option<(Sufficiency, Vec<&'static str>)> {
    let positive = |level: Option<f64>| level.filter(|level| *level > 0.0);
    let (limit, action_level) = (positive(levels.limit), positive(levels.action_level));
    limit.or(action_level)?;
    let logs: Vec<LogResult> = results.iter().map(|result| LogResult::of(*result)).collect::<Option<_>>()?;
    let estimate = profile::estimated_geometric_mean(results, &logs);
    let found = settled(&logs, prior, limit.or(action_level), largest_known(results)?, estimate)?;
    let below = |level: f64| found.posterior.percentile_below(0.95, level);
    let sure = |probability: f64| probability >= SETTLING_PROBABILITY;
    let answer = if action_level.is_some_and(|level| sure(below(level))) {
        Sufficiency::BelowActionLevel
    } else if limit.is_some_and(|limit| sure(below(limit))) {
        Sufficiency::BelowLimit
    } else if limit.is_some_and(|limit| sure(1.0 - below(limit))) {
        Sufficiency::AboveLimit
    } else {
        Sufficiency::Unsettled
    };
    Some((answer, found.flags))
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEVELS: Levels = Levels { limit: Some(5.0), action_level: Some(2.5) };

    // The rule is this registry's; the numbers are invented.
    #[test]
    fn one_low_result_settles_nothing_and_many_do() {
        let of = |value: f64, count: usize| {
            let results: Vec<_> =
                (0..count).map(|k| Measured::Value(if k % 2 == 0 { value } else { 1.2 * value })).collect();
            sufficiency(&results, LEVELS, None).unwrap().0
        };
        assert_eq!(of(1.0, 1), Sufficiency::Unsettled);
        assert_eq!(of(0.5, 10), Sufficiency::BelowActionLevel);
        assert_eq!(of(3.0, 10), Sufficiency::BelowLimit);
        assert_eq!(of(9.0, 10), Sufficiency::AboveLimit);
        assert_eq!(sufficiency(&[Measured::Value(1.0)], Levels::default(), None), None);
        assert_eq!(sufficiency(&[], LEVELS, None), None);
    }

    #[test]
    fn results_far_above_the_limit_widen_the_prior_and_say_so() {
        let results = [40.0, 55.0, 70.0].map(Measured::Value);
        let (answer, flags) = sufficiency(&results, LEVELS, None).unwrap();
        assert_eq!(answer, Sufficiency::AboveLimit);
        assert_eq!(
            flags,
            [crate::hygiene::posterior::OUTSIDE_PRIOR, crate::hygiene::posterior::PRIOR_WIDENED]
        );
    }
}
