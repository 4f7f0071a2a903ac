//! The chance that a day is at or above a level, from what a group's results say.

use crate::hygiene::censored::LogResult;
use crate::hygiene::posterior::{Posterior, largest_known, settled};
use crate::hygiene::profile::estimated_geometric_mean;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::record;
use crate::surveillance::chance::Shares;

/// The chance of a day, from 0 to 1, with one-sided 95 % ends.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayChance {
    /// The posterior mean of the share of such days.
    pub estimate: f64,
    /// Its 5 % quantile.
    pub lower: f64,
    /// Its 95 % quantile.
    pub upper: f64,
}

record! {
    /// The chance that a day is at or above a level.
    pub struct DayChanceView {
        /// The chance, from 0 to 1.
        estimate: f64,
        /// Its one-sided lower 95 % limit.
        lower_95: f64,
        /// Its one-sided upper 95 % limit.
        upper_95: f64,
    }
}

impl From<DayChance> for DayChanceView {
    fn from(chance: DayChance) -> Self {
        Self { estimate: chance.estimate, lower_95: chance.lower, upper_95: chance.upper }
    }
}

/// The chance that a day of this group is at or above `level`; the prior is the default one for `limit`, widened where the
/// results press on it. `None` without results that tell anything.
pub fn day_chance(results: &[Measured], limit: Option<f64>, level: f64) -> Option<DayChance> {
    let posterior = posterior(results, limit, level)?;
    Some(DayChance {
        estimate: significant(posterior.exceedance(level)),
        lower: significant(posterior.exceedance_quantile(level, 0.05)),
        upper: significant(posterior.exceedance_quantile(level, 0.95)),
    })
}

/// What is known of the share of this group's days at or above `level`, by the same posterior.
pub fn day_shares(results: &[Measured], limit: Option<f64>, level: f64) -> Option<Shares> {
    let posterior = posterior(results, limit, level)?;
    Some(Shares::of(|probability| posterior.exceedance_quantile(level, probability)))
}

fn posterior(results: &[Measured], limit: Option<f64>, level: f64) -> Option<Posterior> {
    (level > 0.0).then_some(())?;
    let logs: Vec<LogResult> = results.iter().map(|result| LogResult::of(*result)).collect::<Option<_>>()?;
    let estimate = estimated_geometric_mean(results, &logs);
    Some(settled(&logs, None, limit, largest_known(results)?, estimate)?.posterior)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surveillance::chance::{PlannedDays, chance_of_passing};

    // The rules are this registry's; the numbers are invented.
    #[test]
    fn low_results_make_a_day_above_unlikely_and_one_result_leaves_it_open() {
        let of = |values: &[f64]| {
            let results: Vec<_> = values.iter().copied().map(Measured::Value).collect();
            day_chance(&results, Some(5.0), 2.5).unwrap()
        };
        let (one, many) = (of(&[0.2]), of(&[0.2, 0.25, 0.15, 0.2, 0.22, 0.18]));
        assert!(many.upper < 0.01 && one.upper > 0.1, "{one:?} {many:?}");
        assert!(one.lower <= one.estimate && one.estimate <= one.upper);
        assert!(of(&[9.0, 11.0, 8.0, 10.0]).estimate > 0.95);
        assert_eq!(day_chance(&[], Some(5.0), 2.5), None);
        assert_eq!(day_chance(&[Measured::Value(1.0)], Some(5.0), 0.0), None);
    }

    #[test]
    fn one_planned_day_is_as_likely_as_the_mean_share_of_such_days() {
        // Arithmetic: P(one day of one) is the posterior mean of the share.
        for values in [&[1.0, 4.0][..], &[0.2]] {
            let results: Vec<_> = values.iter().copied().map(Measured::Value).collect();
            let shares = day_shares(&results, Some(5.0), 2.5).unwrap();
            let found = chance_of_passing(0, 1, &[PlannedDays { days: 1, shares: &shares }]);
            let mean = day_chance(&results, Some(5.0), 2.5).unwrap().estimate;
            assert!((found - mean).abs() < 1e-4, "{found} {mean}");
        }
    }
}
