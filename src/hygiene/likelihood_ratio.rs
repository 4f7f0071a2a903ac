//! The ratio of two geometric means by profile likelihood, for results of which some are only bounds.

use super::censored::{self, Fitted, LogResult, one_value_fits};
use super::distributions::{normal_cdf, normal_upper_tail};
use super::roots;
use crate::model::working::Formula;

/// The limits and probabilities.
pub const PROFILE_LIKELIHOOD: Formula = Formula {
    formula: "limits where 2 (l_max - l(d)) = 3.8415, d = ln ratio, mu and the common sigma refitted at every d; \
              P(d < x) = Phi(sign(x - d_max) sqrt(2 (l_max - l(x))))",
    source: "Cox and Hinkley, Theoretical Statistics, 1974; \
             Barndorff-Nielsen and Cox, Inference and Asymptotics, 1994 (signed root), both from memory",
};

/// The 95 % point of chi-squared with one degree of freedom, 1.959963984540054 squared.
const CHI_SQUARED_95: f64 = 3.841_458_820_694_124;

/// The furthest logarithm of a ratio that is looked at (beyond it a double ends).
const FURTHEST: f64 = 700.0;

/// Two sets of log results with one standard deviation, or the log ratios of pairs.
#[derive(Debug, Clone, PartialEq)]
enum Data {
    Unpaired { without: Vec<LogResult>, with: Vec<LogResult> },
    Paired { ratios: Vec<LogResult> },
}

/// The likelihood of the logarithm of with/without.
///
/// ```
/// use doseward::hygiene::{censored::LogResult, likelihood_ratio::RatioLikelihood};
/// // Log ratios -1 and -3: mean -2, deviation with n 1. At 0 both are moved by 2: deviation sqrt(1 + 4).
/// let pairs = RatioLikelihood::paired(vec![LogResult::Exact(-1.0), LogResult::Exact(-3.0)]).unwrap();
/// assert!((pairs.estimate().unwrap() + 2.0).abs() < 1e-9 && (pairs.common_deviation() - 1.0).abs() < 1e-9);
/// // 2 (l_max - l(0)) = n ln(5 / 1) = 3.219, whose root 1.794 has 3.64 % beyond it.
/// assert!((pairs.probability_below(0.0).unwrap() - 0.9636).abs() < 1e-4);
/// assert!((pairs.p_value().unwrap() - 0.0728).abs() < 1e-4);
/// // n ln(1 + x^2) = 3.8415 at x = 2.413.
/// assert!((pairs.limits_95().1.unwrap() - 0.413).abs() < 1e-3);
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct RatioLikelihood {
    data: Data,
    /// Where it is highest: infinite where one side has no detected value and no bound that holds it.
    peak: f64,
    highest: f64,
    common_deviation: f64,
}

impl RatioLikelihood {
    /// From two independent sides; `None` where the common standard deviation cannot be told from them.
    pub fn unpaired(without: Vec<LogResult>, with: Vec<LogResult>) -> Option<Self> {
        let detected = without.iter().chain(&with).any(|result| matches!(result, LogResult::Exact(_)));
        if !detected || (one_value_fits(&without) && one_value_fits(&with)) {
            return None;
        }
        let runaway = match (runs_to(&without), runs_to(&with)) {
            (None, None) => None,
            (None, Some(end)) => Some((end, censored::fit(&without)?)),
            (Some(end), None) => Some((-end, censored::fit(&with)?)),
            (Some(_), Some(_)) => return None,
        };
        let mut likelihood =
            Self { data: Data::Unpaired { without, with }, peak: 0.0, highest: 0.0, common_deviation: 0.0 };
        let best = if let Some((end, best)) = runaway {
            likelihood.peak = end;
            best
        } else {
            likelihood.peak = likelihood.stationary()?;
            likelihood.at(likelihood.peak)?
        };
        likelihood.highest = best.log_likelihood;
        likelihood.common_deviation = best.sigma;
        Some(likelihood)
    }

    /// From the log ratios of pairs; `None` where their standard deviation cannot be told from them.
    pub fn paired(ratios: Vec<LogResult>) -> Option<Self> {
        let best = censored::fit(&ratios)?;
        Some(Self {
            data: Data::Paired { ratios },
            peak: best.mu,
            highest: best.log_likelihood,
            common_deviation: best.sigma,
        })
    }

    /// The best fit with the log ratio held at `ratio`.
    fn at(&self, ratio: f64) -> Option<Fitted> {
        match &self.data {
            Data::Unpaired { without, with } => {
                let moved = with.iter().map(|result| result.moved(-ratio));
                censored::fit(&without.iter().copied().chain(moved).collect::<Vec<_>>())
            }
            Data::Paired { ratios } => {
                censored::fit_centred(&ratios.iter().map(|result| result.moved(-ratio)).collect::<Vec<_>>())
            }
        }
    }

    /// Where the slope along the log ratio is zero; the profile has one top only.
    fn stationary(&self) -> Option<f64> {
        let Data::Unpaired { without, with } = &self.data else { return None };
        let slope = |ratio: f64| {
            let moved: Vec<_> = with.iter().map(|result| result.moved(-ratio)).collect();
            self.at(ratio).map_or(f64::NAN, |fitted| censored::score(&moved, &fitted))
        };
        let start = middle(with)? - middle(without)?;
        let step = if slope(start) > 0.0 { 0.1 } else { -0.1 };
        roots::outward(slope, start, step, FURTHEST)
    }

    /// 2 (l_max - l(ratio)); NaN where no fit is found.
    fn deviance(&self, ratio: f64) -> f64 {
        self.at(ratio).map_or(f64::NAN, |fitted| (2.0 * (self.highest - fitted.log_likelihood)).max(0.0))
    }

    /// The log ratio of the highest likelihood; `None` where it runs off.
    ///
    /// # Formula
    /// The d at which `l(d)` is highest, no unit. See [`PROFILE_LIKELIHOOD`].
    pub fn estimate(&self) -> Option<f64> {
        self.peak.is_finite().then_some(self.peak)
    }

    /// The common standard deviation of the logarithms (of the log ratios for pairs).
    pub fn common_deviation(&self) -> f64 {
        self.common_deviation
    }

    /// The two-sided 95 % limits of the log ratio; an end is absent where the likelihood never falls so far.
    ///
    /// # Formula
    /// `2 (l_max - l(d)) = 3.8415`, d the log ratio, no unit. Cox and Hinkley, Theoretical Statistics, 1974 (from memory).
    pub fn limits_95(&self) -> (Option<f64>, Option<f64>) {
        (self.limit(-1.0), self.limit(1.0))
    }

    fn limit(&self, direction: f64) -> Option<f64> {
        if self.peak.is_infinite() && (self.peak > 0.0) == (direction > 0.0) {
            return None;
        }
        let excess = |ratio: f64| self.deviance(ratio) - CHI_SQUARED_95;
        if self.peak.is_finite() {
            return roots::outward(excess, self.peak, direction * self.common_deviation, FURTHEST);
        }
        // From any point first back towards the peak far away, then out again until it is passed.
        let start = self.anywhere();
        let step = self.common_deviation * if excess(start) > 0.0 { -direction } else { direction };
        roots::outward(excess, start, step, FURTHEST)
    }

    /// A log ratio of the right size to start from.
    fn anywhere(&self) -> f64 {
        match &self.data {
            Data::Unpaired { without, with } => {
                middle(with).zip(middle(without)).map_or(0.0, |(with, without)| with - without)
            }
            Data::Paired { .. } => self.peak,
        }
    }

    /// The probability that the log ratio is below `ratio`, by the signed root of the likelihood ratio.
    ///
    /// # Formula
    /// `Phi(sign(x - d_max) sqrt(2 (l_max - l(x))))`. Barndorff-Nielsen and Cox, 1994 (from memory).
    pub fn probability_below(&self, ratio: f64) -> Option<f64> {
        if ratio.is_infinite() {
            return Some(if ratio > 0.0 { 1.0 } else { 0.0 });
        }
        let root = self.deviance(ratio).sqrt();
        let signed = if ratio >= self.peak { root } else { -root };
        root.is_finite().then(|| normal_cdf(signed))
    }

    /// The two-sided p value of no difference.
    ///
    /// # Formula
    /// `2 (1 - Phi(sqrt(2 (l_max - l(0)))))`, a probability from 0 to 1. See [`PROFILE_LIKELIHOOD`].
    pub fn p_value(&self) -> Option<f64> {
        let root = self.deviance(0.0).sqrt();
        root.is_finite().then(|| 2.0 * normal_upper_tail(root))
    }
}

/// The end to which the mean of a side can run off without its likelihood falling.
fn runs_to(side: &[LogResult]) -> Option<f64> {
    if side.iter().all(|result| result.ends().0 == f64::NEG_INFINITY) {
        Some(f64::NEG_INFINITY)
    } else if side.iter().all(|result| result.ends().1 == f64::INFINITY) {
        Some(f64::INFINITY)
    } else {
        None
    }
}

/// The mean of what finite ends there are.
fn middle(side: &[LogResult]) -> Option<f64> {
    let ends: Vec<f64> = side
        .iter()
        .flat_map(|result| [result.ends().0, result.ends().1])
        .filter(|end| end.is_finite())
        .collect();
    super::lognormal::moments(&ends).map(|(_, mean, _)| mean)
}

/// The log ratio with/without of one pair, as an interval; two non-detects leave it everywhere.
///
/// # Formula
/// From `lower with - upper without` to `upper with - lower without`, logarithms without unit. Arithmetic.
///
/// ```
/// use doseward::hygiene::{censored::LogResult, likelihood_ratio::pair_ratio};
/// let below = LogResult::Within { lower: f64::NEG_INFINITY, upper: 0.0 };
/// assert_eq!(pair_ratio(LogResult::Exact(1.0), below).ends(), (f64::NEG_INFINITY, -1.0));
/// ```
pub fn pair_ratio(without: LogResult, with: LogResult) -> LogResult {
    let ((low, high), (with_low, with_high)) = (without.ends(), with.ends());
    LogResult::within(with_low - high, with_high - low)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::measured::Measured;
    use proptest::prelude::*;

    fn logs(results: &[Measured]) -> Vec<LogResult> {
        results.iter().filter_map(|result| LogResult::of(*result)).collect()
    }

    #[test]
    fn a_pair_of_two_non_detects_says_nothing_and_one_non_detect_half() {
        let (value, below) =
            (LogResult::Exact(1.0), LogResult::Within { lower: f64::NEG_INFINITY, upper: 0.0 });
        assert_eq!(pair_ratio(value, below).ends(), (f64::NEG_INFINITY, -1.0));
        assert_eq!(pair_ratio(below, value).ends(), (1.0, f64::INFINITY));
        assert_eq!(pair_ratio(below, below).ends(), (f64::NEG_INFINITY, f64::INFINITY));
        assert_eq!(pair_ratio(value, LogResult::Exact(3.0)), LogResult::Exact(2.0));
    }

    #[test]
    fn a_side_all_below_has_one_finite_end_only() {
        let without = logs(&[Measured::Value(2.0), Measured::Value(3.0), Measured::Value(5.0)]);
        let with = logs(&[Measured::Below(0.1), Measured::Below(0.1), Measured::Below(0.2)]);
        let ratio = RatioLikelihood::unpaired(without.clone(), with.clone()).unwrap();
        assert_eq!(ratio.estimate(), None);
        let (lower, upper) = ratio.limits_95();
        assert_eq!(lower, None);
        assert!(upper.unwrap() < 0.0);
        assert!(ratio.probability_below(0.0).unwrap() > 0.975);
        let turned = RatioLikelihood::unpaired(with, without).unwrap();
        assert!((turned.limits_95().0.unwrap() + upper.unwrap()).abs() < 1e-9);
        assert_eq!(turned.limits_95().1, None);
    }

    #[test]
    fn without_any_spread_there_is_no_answer() {
        let one = logs(&[Measured::Value(2.0), Measured::Below(3.0)]);
        let two = logs(&[Measured::Value(1.0), Measured::Below(4.0)]);
        assert_eq!(RatioLikelihood::unpaired(one, two.clone()), None);
        assert_eq!(RatioLikelihood::unpaired(two, vec![]), None);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        #[test]
        fn swapping_the_sides_turns_the_interval(
            without in prop::collection::vec(1.0..20.0f64, 2..6), with in prop::collection::vec(0.1..5.0f64, 2..6),
            limit in 0.1..1.0f64,
        ) {
            let without: Vec<_> = without.into_iter().map(|value| LogResult::Exact(value.ln())).collect();
            let mut with: Vec<_> = with.into_iter().map(|value| LogResult::Exact(value.ln())).collect();
            with.push(LogResult::Within { lower: f64::NEG_INFINITY, upper: limit.ln() });
            let one = RatioLikelihood::unpaired(without.clone(), with.clone()).unwrap();
            let two = RatioLikelihood::unpaired(with, without).unwrap();
            prop_assert!((one.estimate().unwrap() + two.estimate().unwrap()).abs() < 1e-8);
            let ((lower, upper), (low, high)) = (one.limits_95(), two.limits_95());
            prop_assert!((lower.unwrap() + high.unwrap()).abs() < 1e-7);
            prop_assert!((upper.unwrap() + low.unwrap()).abs() < 1e-7);
        }
    }
}
