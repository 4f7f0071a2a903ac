//! Whether workers of a group differ from it: the mean of each one's own results, with its limits.

use super::distributions::t_quantile;
use super::variance::components;
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// So many workers with results to repeat make a group whose workers can be told apart (this registry's rules: three or more
/// workers with two or more shifts each).
pub const WORKERS_ENOUGH: usize = 3;
/// So many results of his own a worker needs.
pub const SHIFTS_ENOUGH: usize = 2;

/// The limits of a worker's own mean.
pub const OWN_MEAN: Formula = Formula {
    formula: "ybar_i -/+ t(0.975, N - k) sqrt(MSW / n_i), two-sided 95 %, for workers with n_i >= 2 where there are 3 of them; \
              apart where the mean of all N values lies outside; y = ln x and exp of the figures for concentrations, y = the \
              level for noise",
    source: "Montgomery, Design and Analysis of Experiments, one-way analysis of variance: confidence interval of a \
             treatment mean (from memory); who is looked at: this registry's rule",
};

/// The mean of one worker's own results, on the scale they were given on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OwnMean {
    /// Which of the workers, by place.
    pub worker: usize,
    /// Of how many results.
    pub n: usize,
    /// The mean.
    pub mean: f64,
    /// Its lower two-sided 95 % limit.
    pub lower: f64,
    /// Its upper one.
    pub upper: f64,
    /// Whether the group's mean lies outside these limits.
    pub apart: bool,
}

/// The means of workers beside that of their group.
#[derive(Debug, Clone, PartialEq)]
pub struct OwnMeans {
    /// The mean of all results.
    pub group_mean: f64,
    /// The mean square within workers.
    pub within: f64,
    /// Its degrees of freedom.
    pub degrees_of_freedom: f64,
    /// Those with two or more results, in the order in which they were given.
    pub workers: Vec<OwnMean>,
}

/// The mean of each worker's own results with its limits; `None` unless three workers have two results each, and where
/// nobody's results vary.
///
/// Every worker's spread is taken as the same, that within all workers together: two results of one worker alone would give an
/// interval that holds nearly anything.
///
/// # Formula
/// `ybar_i -/+ t(0.975, N - k) sqrt(MSW / n_i)`, on the scale given: logarithms of concentrations, or levels in dB; N values of
/// k workers, n_i of one. Montgomery, Design and Analysis of Experiments (from memory).
///
/// ```
/// use doseward::hygiene::own_means::own_means;
/// // Three workers, squares within of 2 each: MSW = 6 / 3 = 2; t(0.975, 3) = 3.182, so each half width is 3.182.
/// let found = own_means(&[vec![0.0, 2.0], vec![0.0, 2.0], vec![6.0, 8.0]]).unwrap();
/// assert!((found.group_mean - 3.0).abs() < 1e-12 && (found.within - 2.0).abs() < 1e-12);
/// let third = found.workers[2];
/// assert!((third.lower - 3.818).abs() < 1e-3 && (third.upper - 10.182).abs() < 1e-3);
/// assert_eq!(found.workers.iter().map(|one| one.apart).collect::<Vec<_>>(), [false, false, true]);
/// ```
pub fn own_means(workers: &[Vec<f64>]) -> Option<OwnMeans> {
    let looked_at = |values: &[f64]| values.len() >= SHIFTS_ENOUGH;
    (workers.iter().filter(|values| looked_at(values)).count() >= WORKERS_ENOUGH).then_some(())?;
    let found = components(workers)?;
    let degrees_of_freedom = found.observations - found.groups;
    (found.within > 0.0).then_some(())?;
    let group_mean = workers.iter().flatten().sum::<f64>() / found.observations;
    let t = t_quantile(0.975, degrees_of_freedom);
    let one = |(worker, values): (usize, &Vec<f64>)| {
        let n = values.iter().fold(0.0, |count, _| count + 1.0);
        let mean = values.iter().sum::<f64>() / n;
        let half = t * (found.within / n).sqrt();
        let (lower, upper) = (mean - half, mean + half);
        let apart =
            significant(group_mean) < significant(lower) || significant(group_mean) > significant(upper);
        OwnMean { worker, n: values.len(), mean, lower, upper, apart }
    };
    let of_those = workers.iter().enumerate().filter(|(_, values)| looked_at(values)).map(one).collect();
    Some(OwnMeans { group_mean, within: found.within, degrees_of_freedom, workers: of_those })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn two_workers_one_shift_or_no_spread_tell_nothing() {
        let pair = || vec![1.0, 2.0];
        assert_eq!(own_means(&[pair(), pair()]), None);
        assert_eq!(own_means(&[pair(), pair(), vec![9.0]]), None);
        assert_eq!(own_means(&[vec![1.0, 1.0], vec![2.0, 2.0], vec![3.0, 3.0]]), None);
        assert_eq!(own_means(&[]), None);
    }

    // Arithmetic: MSW = (2 + 2 + 2) / 3 as without him, since one value has no spread; the mean of all is (2 + 2 + 14 + 30) / 7.
    #[test]
    fn a_worker_of_one_shift_counts_in_the_group_and_is_not_looked_at() {
        let found = own_means(&[vec![0.0, 2.0], vec![0.0, 2.0], vec![30.0], vec![6.0, 8.0]]).unwrap();
        assert_eq!(found.workers.iter().map(|one| one.worker).collect::<Vec<_>>(), [0, 1, 3]);
        assert!((found.group_mean - 48.0 / 7.0).abs() < 1e-12 && (found.within - 2.0).abs() < 1e-12);
        assert!((found.degrees_of_freedom - 3.0).abs() < 1e-12);
    }

    fn three_workers() -> impl Strategy<Value = Vec<Vec<f64>>> {
        prop::collection::vec(prop::collection::vec(-3.0..3.0f64, 2..5), 3..6)
    }

    proptest! {
        #[test]
        fn no_unit_and_no_order_matters(mut workers in three_workers(), shift in -20.0..20.0f64, scale in 0.5..2.0f64) {
            let apart = |found: OwnMeans| found.workers.iter().map(|one| one.apart).collect::<Vec<_>>();
            let one = apart(own_means(&workers).unwrap());
            for value in workers.iter_mut().flatten() {
                *value = scale * (*value + shift);
            }
            prop_assert_eq!(apart(own_means(&workers).unwrap()), one.clone());
            workers.reverse();
            let mut turned = apart(own_means(&workers).unwrap());
            turned.reverse();
            prop_assert_eq!(turned, one);
        }

        #[test]
        fn the_further_away_the_more_apart_and_each_mean_lies_between_its_limits(
            workers in three_workers(), further in 0.0..5.0f64,
        ) {
            let found = own_means(&workers).unwrap();
            prop_assert!(found.workers.iter().all(|one| one.lower < one.mean && one.mean < one.upper));
            let highest = found.workers.iter().max_by(|a, b| a.mean.total_cmp(&b.mean)).unwrap();
            if highest.apart && highest.mean > found.group_mean {
                let mut moved = workers.clone();
                moved[highest.worker].iter_mut().for_each(|value| *value += further);
                prop_assert!(own_means(&moved).unwrap().workers[highest.worker].apart);
            }
        }
    }
}
