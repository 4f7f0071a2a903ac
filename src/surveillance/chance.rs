//! How likely a worker is to pass a clause's number of days in the year to come, beside the rule's own count.

use crate::hygiene::distributions::normal_cdf;

/// Steps of the quadrature in the normal quantile of the posterior's probability, and how far it reaches.
const STEP: f64 = 0.125;
const FURTHEST: i32 = 52;

/// What is known of the share of a group's days that reach the level: its posterior's quantiles, in order.
#[derive(Debug, Clone, PartialEq)]
pub struct Shares(Vec<f64>);

impl Shares {
    /// From the posterior's quantile: the share that is not passed with a given probability (0 to 1), rising with it.
    pub fn of(quantile: impl Fn(f64) -> f64) -> Self {
        let at = |step| quantile(normal_cdf(f64::from(step) * STEP)).clamp(0.0, 1.0);
        Self((-FURTHEST..=FURTHEST).map(at).collect())
    }

    /// The shares with their weights, which are not normalised.
    fn weighted(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        let steps = (-FURTHEST..=FURTHEST).map(|step| f64::from(step) * STEP);
        steps.zip(&self.0).map(|(z, share)| ((-0.5 * z * z).exp(), *share))
    }
}

/// Planned days in one group, of which each reaches the level with one and the same unknown probability.
#[derive(Debug, Clone, Copy)]
pub struct PlannedDays<'p> {
    /// How many.
    pub days: usize,
    /// What is known of that probability.
    pub shares: &'p Shares,
}

/// The probability that counted and planned days together reach `needed`.
///
/// # Formula
/// P = ∫ P(Binomial(N, e) ≥ needed − counted) dPosterior(e): the days of one group share e, which is drawn once (a
/// mixture of binomials; Johnson, Kemp and Kotz, Univariate Discrete Distributions, 3rd ed. 2005, 8.3). Groups are
/// independent of each other: their numbers of days are convolved. The integral is the trapezoidal rule in z, where
/// e is the posterior's quantile at Phi(z).
///
/// # Arguments
/// `counted`: days that count already; `needed`: days that the clause takes (the 31st for "more than 30").
///
/// ```
/// use doseward::surveillance::chance::{PlannedDays, Shares, chance_of_passing};
/// // e uniform on (0, 1): every number of days from 0 to 10 is equally likely, and 3 of the 11 are 8 or more.
/// let shares = Shares::of(|probability| probability);
/// let group = [PlannedDays { days: 10, shares: &shares }];
/// assert!((chance_of_passing(22, 30, &group) - 3.0 / 11.0).abs() < 1e-9);
/// assert_eq!(chance_of_passing(30, 30, &[]), 1.0);
/// assert_eq!(chance_of_passing(29, 30, &[]), 0.0);
/// ```
pub fn chance_of_passing(counted: usize, needed: usize, groups: &[PlannedDays<'_>]) -> f64 {
    let Some(missing) = needed.checked_sub(counted).filter(|missing| *missing > 0) else { return 1.0 };
    if groups.iter().map(|group| group.days).sum::<usize>() < missing {
        return 0.0;
    }
    let none = vec![1.0];
    let sum = groups.iter().fold(none, |sum, group| convolved(&sum, &days_reaching(group)));
    sum.iter().skip(missing).sum::<f64>().clamp(0.0, 1.0)
}

/// The probabilities of 0, 1, 2 … days that reach the level.
fn days_reaching(group: &PlannedDays<'_>) -> Vec<f64> {
    let mut sums = vec![0.0; group.days + 1];
    let mut whole = 0.0;
    for (weight, e) in group.shares.weighted() {
        whole += weight;
        for (sum, probability) in sums.iter_mut().zip(binomial(group.days, e)) {
            *sum += weight * probability;
        }
    }
    sums.into_iter().map(|sum| sum / whole).collect()
}

/// The binomial probabilities of 0 … n, from the largest outwards so that none of them underflows the others.
fn binomial(n: usize, e: f64) -> Vec<f64> {
    let mut found = vec![0.0; n + 1];
    if e <= 0.0 || e >= 1.0 {
        let at = if e <= 0.0 { 0 } else { n };
        found[at] = 1.0;
        return found;
    }
    #[expect(clippy::cast_precision_loss, reason = "days of a year or a few")]
    let number = |count: usize| count as f64;
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and n")]
    let mode = ((number(n) + 1.0) * e).floor().min(number(n)) as usize;
    let odds = e / (1.0 - e);
    found[mode] = 1.0;
    for k in mode..n {
        found[k + 1] = found[k] * odds * number(n - k) / number(k + 1);
    }
    for k in (0..mode).rev() {
        found[k] = found[k + 1] * number(k + 1) / (odds * number(n - k));
    }
    let whole: f64 = found.iter().sum();
    found.into_iter().map(|one| one / whole).collect()
}

fn convolved(one: &[f64], other: &[f64]) -> Vec<f64> {
    let mut sum = vec![0.0; one.len() + other.len() - 1];
    for (i, a) in one.iter().enumerate() {
        for (j, b) in other.iter().enumerate() {
            sum[i + j] += a * b;
        }
    }
    sum
}

/// How a worker stands to one clause.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Outlook<T> {
    /// Who, and which clause.
    pub who: T,
    /// Whether the clause is met already.
    pub met: bool,
    /// The probability of [`chance_of_passing`].
    pub chance: f64,
}

/// Those who have not met their clause yet and are more likely than `above` to do so, the likeliest first.
pub fn early_warning<T>(outlooks: impl IntoIterator<Item = Outlook<T>>, above: f64) -> Vec<Outlook<T>> {
    let mut found: Vec<_> =
        outlooks.into_iter().filter(|outlook| !outlook.met && outlook.chance > above).collect();
    found.sort_by(|one, other| other.chance.total_cmp(&one.chance));
    found
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn chance(counted: usize, needed: usize, groups: &[(usize, &dyn Fn(f64) -> f64)]) -> f64 {
        let shares: Vec<Shares> = groups.iter().map(|(_, quantile)| Shares::of(quantile)).collect();
        let planned: Vec<_> = groups
            .iter()
            .zip(&shares)
            .map(|((days, _), shares)| PlannedDays { days: *days, shares })
            .collect();
        chance_of_passing(counted, needed, &planned)
    }

    #[test]
    fn a_known_share_of_days_gives_the_binomial_tail() {
        // SciPy 1.17.1: scipy.stats.binom.sf(29 - 12, 200, 0.08).
        let found = chance(12, 30, &[(200, &|_| 0.08)]);
        assert!((found - 0.336_626_974_347_707_16).abs() < 1e-12, "{found}");
    }

    #[test]
    fn a_beta_posterior_gives_the_beta_binomial_tail() {
        // SciPy 1.17.1: scipy.stats.betabinom.sf(29 - 5, 220, 3, 1); the quantile of Beta(3, 1) is the cube root.
        let found = chance(5, 30, &[(220, &f64::cbrt)]);
        assert!((found - 0.998_395_916_359_514_3).abs() < 1e-9, "{found}");
    }

    #[test]
    fn two_groups_are_convolved() {
        // SciPy 1.17.1: numpy.convolve of betabinom.pmf(0..40, 40, 1, 2) and betabinom.pmf(0..60, 60, 2, 1), summed from 30;
        // the quantile of Beta(1, 2) is 1 - sqrt(1 - p), that of Beta(2, 1) sqrt(p).
        let one = |p: f64| 1.0 - (1.0 - p).sqrt();
        let found = chance(0, 30, &[(40, &one), (60, &f64::sqrt)]);
        assert!((found - 0.897_183_983_549_435_4).abs() < 1e-6, "{found}");
    }

    #[test]
    fn days_that_share_their_chance_are_not_days_apart() {
        // Arithmetic: e is 0 or 1 with equal probability: 200 days or none, not 100 give or take 7.
        let found = chance(0, 150, &[(200, &|p| if p < 0.5 { 0.0 } else { 1.0 })]);
        assert!((found - 0.5).abs() < 0.03, "{found}");
        assert!(chance(0, 150, &[(200, &|_| 0.5)]) < 1e-9);
    }

    #[test]
    fn the_list_names_those_not_yet_triggered_the_likeliest_first() {
        let outlook = |who, met, chance| Outlook { who, met, chance };
        let all = [
            outlook("a", false, 0.3),
            outlook("b", true, 1.0),
            outlook("c", false, 0.9),
            outlook("d", false, 0.2),
        ];
        let found: Vec<_> = early_warning(all, 0.2).into_iter().map(|outlook| outlook.who).collect();
        assert_eq!(found, ["c", "a"]);
    }

    proptest! {
        #[test]
        fn it_is_a_probability_that_rises_with_days_counted_planned_and_exceedance(
            counted in 0_usize..40, needed in 1_usize..40, days in 0_usize..120, power in 0.2_f64..5.0,
        ) {
            let lower = |p: f64| p.powf(power + 0.5);
            let upper = |p: f64| p.powf(power);
            let at = |counted, days, e: &dyn Fn(f64) -> f64| chance(counted, needed, &[(days, e)]);
            let base = at(counted, days, &lower);
            prop_assert!((0.0..=1.0).contains(&base));
            prop_assert!(at(counted + 1, days, &lower) >= base - 1e-9);
            prop_assert!(at(counted, days + 1, &lower) >= base - 1e-9);
            prop_assert!(at(counted, days, &upper) >= base - 1e-9);
            // A group without days changes nothing.
            let with = chance(counted, needed, &[(days, &lower), (0, &upper)]);
            prop_assert!((with - base).abs() < 1e-12);
        }
    }
}
