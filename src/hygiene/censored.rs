//! Maximum likelihood for log-normal results of which some are only bounds.
//!
//! In the parameters a = mu/sigma and b = 1/sigma the log-likelihood is concave whatever the kind of bound, so a
//! damped Newton iteration finds the one maximum.

use super::distributions::{
    LN_SQRT_TWO_PI, normal_hazard_below, normal_ln_cdf, normal_quantile, normal_upper_tail,
};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// The likelihood.
pub const CENSORED_LIKELIHOOD: Formula = Formula {
    formula: "maximum over mu, sigma of the product of phi((ln x - mu)/sigma)/sigma for detected values and \
              Phi((ln upper - mu)/sigma) - Phi((ln lower - mu)/sigma) for bounds and ranges",
    source: "Helsel, Statistics for Censored Environmental Data, 2nd edition 2012 (from memory); \
             concavity: Olsen, Econometrica 46 (1978) 1211-1215 (from memory)",
};

/// The estimates made from it.
pub const CENSORED_ESTIMATES: Formula = Formula {
    formula: "geometric_mean = exp(mu), geometric_standard_deviation = exp(sigma), \
              arithmetic_mean = exp(mu + sigma^2/2), percentile_95 = exp(mu + 1.6449 sigma)",
    source: "Helsel, Statistics for Censored Environmental Data, 2nd edition 2012 (from memory)",
};

/// The natural logarithm of a result, as far as it is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LogResult {
    /// A detected value.
    Exact(f64),
    /// Somewhere between these ends, which may be infinite.
    Within {
        /// Minus infinity without a lower end.
        lower: f64,
        /// Infinity without an upper end.
        upper: f64,
    },
}

impl LogResult {
    /// The logarithm of a result; `None` where it leaves nothing above zero.
    pub fn of(result: Measured) -> Option<Self> {
        let upper = result.upper().unwrap_or(f64::INFINITY);
        let lower = result.lower();
        if lower.is_nan() || upper.is_nan() || upper <= 0.0 || (result.is_value() && !upper.is_finite()) {
            return None;
        }
        Some(Self::within(if lower > 0.0 { lower.ln() } else { f64::NEG_INFINITY }, upper.ln()))
    }

    /// A range of logarithms; one too narrow to matter is its middle.
    pub fn within(lower: f64, upper: f64) -> Self {
        if upper - lower < 1e-6 {
            Self::Exact(f64::midpoint(lower, upper))
        } else {
            Self::Within { lower, upper }
        }
    }

    /// The same moved by `shift`.
    #[must_use]
    pub fn moved(self, shift: f64) -> Self {
        match self {
            Self::Exact(value) => Self::Exact(value + shift),
            Self::Within { lower, upper } => Self::Within { lower: lower + shift, upper: upper + shift },
        }
    }

    /// The ends; equal for a detected value.
    pub fn ends(self) -> (f64, f64) {
        match self {
            Self::Exact(value) => (value, value),
            Self::Within { lower, upper } => (lower, upper),
        }
    }

    /// A finite starting point for the iteration.
    fn guess(self) -> f64 {
        let (lower, upper) = self.ends();
        match (lower.is_finite(), upper.is_finite()) {
            (true, true) => f64::midpoint(lower, upper),
            (true, false) => lower,
            (false, true) => upper,
            (false, false) => 0.0,
        }
    }

    /// Its share of the log-likelihood at (a, b), with first and second derivatives.
    fn likelihood(self, a: f64, b: f64) -> Terms {
        match self {
            Self::Exact(y) => {
                let z = b * y - a;
                Terms {
                    value: b.ln() - 0.5 * z * z - LN_SQRT_TWO_PI,
                    a: z,
                    b: 1.0 / b - y * z,
                    aa: -1.0,
                    ab: y,
                    bb: -1.0 / (b * b) - y * y,
                }
            }
            Self::Within { lower, upper } => {
                let (l, u) = (b * lower - a, b * upper - a);
                let (value, at_lower, at_upper) = interval(l, u);
                // Infinite ends carry no density; zero stands in so that no infinity meets a zero.
                let finite = |end: f64| if end.is_finite() { end } else { 0.0 };
                let (lower, upper) = (finite(lower), finite(upper));
                let uu = -finite(u) * at_upper - at_upper * at_upper;
                let ll = finite(l) * at_lower - at_lower * at_lower;
                let lu = at_lower * at_upper;
                Terms {
                    value,
                    a: at_lower - at_upper,
                    b: upper * at_upper - lower * at_lower,
                    aa: uu + 2.0 * lu + ll,
                    ab: -(upper * uu + (upper + lower) * lu + lower * ll),
                    bb: upper * upper * uu + 2.0 * upper * lower * lu + lower * lower * ll,
                }
            }
        }
    }
}

/// Below this many standard deviations a range has nearly the same density all over (to 1e-9 of it).
pub(super) const NARROW: f64 = 1e-4;

/// ln(Phi(u) - Phi(l)) and the densities at l and u over that difference.
pub(super) fn interval(l: f64, u: f64) -> (f64, f64, f64) {
    if l == f64::NEG_INFINITY && u == f64::INFINITY {
        return (0.0, 0.0, 0.0);
    }
    if l == f64::NEG_INFINITY {
        return (normal_ln_cdf(u), 0.0, normal_hazard_below(u));
    }
    if u == f64::INFINITY {
        return (normal_ln_cdf(-l), normal_hazard_below(-l), 0.0);
    }
    if l > 0.0 {
        // The mirrored interval lies in the lower tail, where both ends keep their digits.
        let (value, at_lower, at_upper) = interval(-u, -l);
        return (value, at_upper, at_lower);
    }
    let width = u - l;
    if width < NARROW {
        // The difference of two nearly equal probabilities has lost its digits: the density over the width instead.
        let middle = f64::midpoint(l, u);
        let slope = 0.5 * middle * width;
        let bent = if slope.abs() < 1e-4 { slope * slope / 6.0 } else { (slope.sinh() / slope).ln() };
        let value = -0.5 * middle * middle - LN_SQRT_TWO_PI + width.ln() + bent;
        let density = |z: f64| (0.5 * (middle - z) * (middle + z) - width.ln() - bent).exp();
        return (value, density(l), density(u));
    }
    let (ln_lower, ln_upper) = (normal_ln_cdf(l), normal_ln_cdf(u));
    // What is left of Phi(u) above l; the inverse of Mills' ratio keeps its digits however far out the range lies.
    let (ratio, left) = ((ln_lower - ln_upper).exp(), -(ln_lower - ln_upper).exp_m1());
    (ln_upper + left.ln(), normal_hazard_below(l) * ratio / left, normal_hazard_below(u) / left)
}

/// A log-likelihood with its derivatives by a and b.
#[derive(Debug, Clone, Copy, Default)]
struct Terms {
    value: f64,
    a: f64,
    b: f64,
    aa: f64,
    ab: f64,
    bb: f64,
}

impl Terms {
    fn of(results: &[LogResult], a: f64, b: f64) -> Self {
        results.iter().fold(Self::default(), |sum, result| {
            let one = result.likelihood(a, b);
            Self {
                value: sum.value + one.value,
                a: sum.a + one.a,
                b: sum.b + one.b,
                aa: sum.aa + one.aa,
                ab: sum.ab + one.ab,
                bb: sum.bb + one.bb,
            }
        })
    }

    /// The Newton step uphill; with a fixed centre only b moves.
    fn step(self, centre_fixed: bool) -> (f64, f64) {
        if centre_fixed {
            return (0.0, -self.b / self.bb);
        }
        let determinant = self.aa * self.bb - self.ab * self.ab;
        if determinant > 0.0 {
            (
                (self.ab * self.b - self.bb * self.a) / determinant,
                (self.ab * self.a - self.aa * self.b) / determinant,
            )
        } else {
            (-self.a / self.aa, -self.b / self.bb)
        }
    }
}

/// The maximum of the likelihood.
///
/// ```
/// use doseward::hygiene::censored::Fitted;
/// // mu = 0 and sigma = ln 2: GM 1, GSD 2, mean exp(0.2402) = 1.2715, half of the days above 1.
/// let fitted = Fitted { mu: 0.0, sigma: 2f64.ln(), log_likelihood: 0.0 };
/// assert_eq!((fitted.geometric_mean(), fitted.exceedance(1.0)), (1.0, 0.5));
/// assert!((fitted.geometric_standard_deviation() - 2.0).abs() < 1e-12);
/// assert!((fitted.arithmetic_mean() - 1.2715).abs() < 1e-4);
/// // 2^1.6449
/// assert!((fitted.percentile(0.95) - 3.127).abs() < 1e-3);
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fitted {
    /// The mean of the logarithms.
    pub mu: f64,
    /// Their standard deviation.
    pub sigma: f64,
    /// The log-likelihood of the logarithms there, constants included.
    pub log_likelihood: f64,
}

impl Fitted {
    /// exp(mu).
    pub fn geometric_mean(&self) -> f64 {
        self.mu.exp()
    }

    /// exp(sigma).
    pub fn geometric_standard_deviation(&self) -> f64 {
        self.sigma.exp()
    }

    /// exp(mu + sigma^2 / 2).
    pub fn arithmetic_mean(&self) -> f64 {
        (self.mu + 0.5 * self.sigma * self.sigma).exp()
    }

    /// The value that the share `p` of all days stays below.
    ///
    /// # Formula
    /// `exp(mu + z(p) sigma)`, in the unit of the results.
    pub fn percentile(&self, p: f64) -> f64 {
        (self.mu + normal_quantile(p) * self.sigma).exp()
    }

    /// The share of days above `limit`.
    ///
    /// # Formula
    /// `1 - Phi((ln limit - mu) / sigma)`, a share; limit in the unit of the results.
    pub fn exceedance(&self, limit: f64) -> f64 {
        normal_upper_tail((limit.ln() - self.mu) / self.sigma)
    }
}

/// Whether one and the same value could be every result: then the likelihood may have no maximum.
///
/// ```
/// use doseward::hygiene::censored::{LogResult, one_value_fits};
/// let below = LogResult::Within { lower: f64::NEG_INFINITY, upper: 1.0 };
/// assert!(one_value_fits(&[LogResult::Exact(0.5), below]) && !one_value_fits(&[LogResult::Exact(2.0), below]));
/// ```
pub fn one_value_fits(results: &[LogResult]) -> bool {
    let lower = results.iter().map(|result| result.ends().0).fold(f64::NEG_INFINITY, f64::max);
    let upper = results.iter().map(|result| result.ends().1).fold(f64::INFINITY, f64::min);
    lower <= upper
}

/// Fits mu and sigma; `None` where the likelihood has no maximum (no detected value, or one value fits all).
///
/// # Formula
/// The mu and sigma (of `ln x`, no unit) that make the product of `phi((ln x - mu) / sigma) / sigma` and of the probabilities
/// of bounds and ranges highest. Helsel, Statistics for Censored Environmental Data, 2nd edition 2012 (from memory).
///
/// ```
/// use doseward::hygiene::censored::{LogResult, fit};
/// // All detected: the plain mean, and the deviation with n: logarithms 0 and 2.
/// let found = fit(&[LogResult::Exact(0.0), LogResult::Exact(2.0)]).unwrap();
/// assert!((found.mu - 1.0).abs() < 1e-9 && (found.sigma - 1.0).abs() < 1e-9);
/// ```
pub fn fit(results: &[LogResult]) -> Option<Fitted> {
    let detected = results.iter().any(|result| matches!(result, LogResult::Exact(_)));
    (detected && !one_value_fits(results)).then_some(())?;
    maximise(results, false)
}

/// Fits sigma alone with mu held at zero, for results already moved by the mean under test.
pub(super) fn fit_centred(results: &[LogResult]) -> Option<Fitted> {
    maximise(results, true)
}

/// The derivative by a of the log-likelihood of some results, at a fit made over more of them.
pub(super) fn score(results: &[LogResult], at: &Fitted) -> f64 {
    Terms::of(results, at.mu / at.sigma, 1.0 / at.sigma).a
}

fn maximise(results: &[LogResult], centre_fixed: bool) -> Option<Fitted> {
    let guesses: Vec<f64> = results.iter().map(|result| result.guess()).collect();
    let (_, mean, deviation) = super::lognormal::moments(&guesses)?;
    let centre = if centre_fixed { 0.0 } else { mean };
    let spread = if centre_fixed { deviation.hypot(mean) } else { deviation };
    // Work about the centre and in units of the spread: any unit of the results gives the same iteration.
    let spread = if spread > 0.0 { spread } else { 1.0 };
    let results: Vec<LogResult> = results
        .iter()
        .map(|result| match result.moved(-centre) {
            LogResult::Exact(value) => LogResult::Exact(value / spread),
            LogResult::Within { lower, upper } => {
                LogResult::Within { lower: lower / spread, upper: upper / spread }
            }
        })
        .collect();
    let exact = results.iter().filter(|result| matches!(result, LogResult::Exact(_))).count();
    #[expect(clippy::cast_precision_loss, reason = "counts of results are far below 2^52")]
    let exact = exact as f64;
    let (a, b) = climb(&results, centre_fixed)?;
    Some(Fitted {
        mu: centre + spread * a / b,
        sigma: spread / b,
        // Densities are per unit of the logarithm, not of the spread.
        log_likelihood: Terms::of(&results, a, b).value - exact * spread.ln(),
    })
}

/// Newton steps, each halved until it climbs, until they no longer move anything.
fn climb(results: &[LogResult], centre_fixed: bool) -> Option<(f64, f64)> {
    let (mut a, mut b) = (0.0, 1.0);
    let mut here = Terms::of(results, a, b);
    for _ in 0..300 {
        let (da, db) = here.step(centre_fixed);
        if !(da.is_finite() && db.is_finite()) {
            return None;
        }
        let mut share = if db < -0.9 * b { -0.9 * b / db } else { 1.0 };
        let mut next = Terms::of(results, a + share * da, b + share * db);
        let noise = 4.0 * f64::EPSILON * here.value.abs().max(1.0);
        // A value that is no number counts as downhill.
        let climbs = |value: f64| value >= here.value - noise;
        while !climbs(next.value) && share > 1e-12 {
            share *= 0.5;
            next = Terms::of(results, a + share * da, b + share * db);
        }
        (a, b) = (a + share * da, b + share * db);
        here = next;
        if (share * da).abs() <= 1e-13 * (1.0 + a.abs()) && (share * db).abs() <= 1e-13 * b {
            return here.value.is_finite().then_some((a, b));
        }
    }
    // Steps at the level of rounding are as good as none.
    let (da, db) = here.step(centre_fixed);
    (da.abs() <= 1e-9 * (1.0 + a.abs()) && db.abs() <= 1e-9 * b).then_some((a, b))
}

/// Whether a result only says that the value is below something.
///
/// ```
/// use doseward::hygiene::censored::is_non_detect;
/// use doseward::model::measured::Measured;
/// assert!(is_non_detect(Measured::Below(1.0)) && !is_non_detect(Measured::Above(1.0)));
/// ```
pub fn is_non_detect(result: Measured) -> bool {
    match result {
        Measured::Below(_) => true,
        Measured::Between { lower, .. } => lower <= 0.0,
        Measured::Value(_) | Measured::Above(_) => false,
    }
}

/// How many different detected values there are, to 12 significant digits.
///
/// ```
/// use doseward::hygiene::censored::distinct_detected;
/// use doseward::model::measured::Measured;
/// let results = [Measured::Value(0.3), Measured::Value(0.1 + 0.2), Measured::Below(1.0)];
/// assert_eq!(distinct_detected(&results), 1);
/// ```
pub fn distinct_detected<'r>(results: impl IntoIterator<Item = &'r Measured>) -> usize {
    let mut values: Vec<f64> = results
        .into_iter()
        .filter_map(|result| match result {
            Measured::Value(value) => Some(significant(*value)),
            _ => None,
        })
        .collect();
    values.sort_by(f64::total_cmp);
    values.dedup();
    values.len()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn logs(results: &[Measured]) -> Vec<LogResult> {
        results.iter().filter_map(|result| LogResult::of(*result)).collect()
    }

    #[test]
    fn without_non_detects_it_is_the_plain_mean_and_the_deviation_with_n() {
        let results = logs(&[Measured::Value(1.0), Measured::Value(2.0), Measured::Value(8.0)]);
        let fitted = fit(&results).unwrap();
        let mean = (2f64.ln() + 8f64.ln()) / 3.0;
        let squares = mean.powi(2) + (2f64.ln() - mean).powi(2) + (8f64.ln() - mean).powi(2);
        assert!((fitted.mu - mean).abs() < 1e-12);
        assert!((fitted.sigma - (squares / 3.0).sqrt()).abs() < 1e-12);
    }

    // Computed with SciPy 1.17.1: the same likelihood by norm.logpdf and norm.cdf, maximised by Nelder-Mead.
    #[test]
    fn bounds_of_every_kind_agree_with_another_computation() {
        let fitted = fit(&logs(&[
            Measured::Value(1.0),
            Measured::Value(2.0),
            Measured::Value(5.5),
            Measured::Below(0.5),
            Measured::Below(1.5),
            Measured::Above(4.0),
            Measured::Between { lower: 0.3, upper: 0.9 },
            Measured::Between { lower: 3.0, upper: 3.3 },
        ]))
        .unwrap();
        assert!((fitted.mu - 0.390_102_498).abs() < 1e-7);
        assert!((fitted.sigma - 1.192_054_427).abs() < 1e-7);
        assert!((fitted.log_likelihood + 13.006_883_588_629_63).abs() < 1e-10);
    }

    #[test]
    fn where_one_value_could_be_all_there_is_no_maximum() {
        assert_eq!(fit(&logs(&[Measured::Value(5.0), Measured::Below(6.0)])), None);
        assert_eq!(fit(&logs(&[Measured::Below(5.0), Measured::Below(6.0)])), None);
        assert!(fit(&logs(&[Measured::Value(5.0), Measured::Below(4.0)])).is_some());
        assert_eq!(fit(&[]), None);
    }

    #[test]
    fn derivatives_are_those_of_the_likelihood() {
        for result in [
            LogResult::Exact(0.7),
            LogResult::Within { lower: f64::NEG_INFINITY, upper: -0.4 },
            LogResult::Within { lower: 0.3, upper: f64::INFINITY },
            LogResult::Within { lower: -0.5, upper: 1.1 },
            LogResult::Within { lower: 1.5, upper: 1.9 },
        ] {
            let (a, b, h) = (0.3, 1.4, 1e-5);
            let at = |a: f64, b: f64| result.likelihood(a, b);
            let here = at(a, b);
            let near = |one: f64, two: f64| assert!((one - two).abs() < 1e-8, "{result:?} {one} {two}");
            near(here.a, (at(a + h, b).value - at(a - h, b).value) / (2.0 * h));
            near(here.b, (at(a, b + h).value - at(a, b - h).value) / (2.0 * h));
            near(here.aa, (at(a + h, b).a - at(a - h, b).a) / (2.0 * h));
            near(here.ab, (at(a, b + h).a - at(a, b - h).a) / (2.0 * h));
            near(here.bb, (at(a, b + h).b - at(a, b - h).b) / (2.0 * h));
        }
    }

    fn any_result() -> impl Strategy<Value = Measured> {
        prop_oneof![
            4 => (0.01..100.0f64).prop_map(Measured::Value),
            2 => (0.01..100.0f64).prop_map(Measured::Below),
            1 => (0.01..100.0f64).prop_map(Measured::Above),
            1 => (0.01..10.0f64, 1.1..5.0f64)
                .prop_map(|(lower, ratio)| Measured::Between { lower, upper: lower * ratio }),
        ]
    }

    proptest! {
        #[test]
        fn every_sample_with_two_detected_values_has_one_maximum_that_scales(
            mut results in prop::collection::vec(any_result(), 0..30), factor in 1e-6..1e6f64,
        ) {
            results.extend([Measured::Value(1.0), Measured::Value(1.7)]);
            let fitted = fit(&logs(&results)).unwrap();
            let scaled: Vec<_> = results.iter().rev().map(|result| result.scaled(factor)).collect();
            let again = fit(&logs(&scaled)).unwrap();
            prop_assert!((again.mu - fitted.mu - factor.ln()).abs() < 1e-9 * (1.0 + fitted.mu.abs() + fitted.sigma));
            prop_assert!((again.sigma - fitted.sigma).abs() < 1e-9 * fitted.sigma);
        }

        #[test]
        fn a_lower_reporting_limit_never_raises_the_mean(limit in 0.05..0.9f64) {
            let sample = |limit| logs(&[
                Measured::Value(1.0), Measured::Value(2.0), Measured::Value(5.0), Measured::Below(limit),
            ]);
            prop_assert!(fit(&sample(limit * 0.9)).unwrap().mu < fit(&sample(limit)).unwrap().mu);
        }
    }
}
