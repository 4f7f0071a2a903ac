//! A measured average against its limit with the sampling and analytical error, and grab samples.
//!
//! The error covers the measurement alone, never how much one day differs from the next.

use super::lognormal::{LogSample, moments};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;
use crate::words;

/// The one-sided 95 % point of the normal distribution, as the rules print it.
pub const Z_95: f64 = 1.645;

/// The severity.
pub const SEVERITY: Formula = Formula {
    formula: "Y = sum(concentration x minutes) / sum(minutes) / limit",
    source: "OSHA Technical Manual, Section II Chapter 1, appendix on sampling and analytical errors (from memory)",
};

/// One segment.
pub const SINGLE_LIMITS: Formula = Formula {
    formula: "lower_95 = Y - SAE, upper_95 = Y + SAE",
    source: "OSHA Technical Manual, Section II Chapter 1, full-period single sample (from memory)",
};

/// Several segments.
pub const CONSECUTIVE_LIMITS: Formula = Formula {
    formula: "lower_95, upper_95 = Y -/+ SAE sqrt(sum(t^2 x^2)) / (limit sum(t))",
    source: "OSHA Technical Manual, Section II Chapter 1, full-period consecutive samples (as reproduced in a textbook)",
};

/// The uniform case.
pub const UNIFORM_LIMITS: Formula = Formula {
    formula: "lower_95, upper_95 = Y -/+ SAE / sqrt(n), SAE = 1.645 CV",
    source: "Leidel, Busch and Lynch, NIOSH 77-173, 1977, section 4.2.2 (uniform exposure, from memory)",
};

/// The non-uniform case.
pub const NON_UNIFORM_LIMITS: Formula = Formula {
    formula: "lower_95, upper_95 = Y -/+ SAE sqrt(sum(t^2 x^2)) / (limit sum(t) sqrt(1 + CV^2)), CV = SAE / 1.645",
    source: "Leidel, Busch and Lynch, NIOSH 77-173, 1977, section 4.2.2 (non-uniform exposure, from memory)",
};

/// The words.
pub const CLASSIFICATION: Formula = Formula {
    formula: "above_limit when lower_95 > 1; not_above_limit when upper_95 <= 1; else possibly_above_limit",
    source: "OSHA Technical Manual, Section II Chapter 1, classification of exposure (from memory)",
};

/// A segment is a bound or a range: the limits enclose what it may be, and Y is no single number.
pub const SEGMENTS_CENSORED: &str = "segments_censored";
/// A segment has no upper end, so that Y and its upper limit have none.
pub const NO_UPPER_END: &str = "no_upper_end";

/// Every flag of a severity with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (
        SEGMENTS_CENSORED,
        "A segment is a bound or a range: the limits enclose whatever it may be, and the severity is no single number.",
    ),
    (NO_UPPER_END, "A segment is only known to be more than a value, so that there is no upper limit."),
];

words! {
    /// How the limits are made.
    pub enum Procedure {
        /// One segment with the plain error, several by the square root of summed squares.
        Osha = "osha",
        /// Several segments of a uniform concentration.
        NioshUniform = "niosh_uniform",
        /// Several segments of concentrations that differ.
        NioshNonuniform = "niosh_nonuniform",
    }
}

words! {
    /// What the limits say.
    pub enum Classification {
        /// Above the limit at 95 % confidence.
        AboveLimit = "above_limit",
        /// Neither is shown.
        PossiblyAboveLimit = "possibly_above_limit",
        /// Not above the limit at 95 % confidence.
        NotAboveLimit = "not_above_limit",
    }
}

/// A severity with one-sided 95 % limits, all as multiples of the exposure limit.
#[derive(Debug, Clone, PartialEq)]
pub struct Severity {
    /// The average over the sampled time as a multiple of the limit; absent where it is no single number.
    pub severity: Option<f64>,
    /// The lower limit; of a range that of its lower end.
    pub lower_95: f64,
    /// The upper limit; absent without an upper end.
    pub upper_95: Option<f64>,
    /// What they say.
    pub classification: Classification,
    /// What needs care.
    pub flags: Vec<&'static str>,
}

/// The half-width that a procedure puts around Y (for one segment the error itself), from concentrations in the unit of `limit` with their minutes.
///
/// # Formula
/// `SAE sqrt(sum(t^2 x^2)) / (limit sum(t))`, a multiple of the limit: SAE a fraction, t in min, x in the unit of the limit.
/// OSHA Technical Manual, Section II Chapter 1 (as reproduced in a textbook); NIOSH 77-173, 1977, section 4.2.2 (from memory).
///
/// ```
/// use doseward::hygiene::severity::{Procedure, half_width};
/// // 0.23 x sqrt((240 x 6.26)^2 + (210 x 5.85)^2) / (5 x 450) = 0.23 x 1941.1 / 2250
/// let half = half_width(&[(6.26, 240.0), (5.85, 210.0)], 5.0, 0.23, Procedure::Osha);
/// assert!((half - 0.1984).abs() < 5e-5);
/// ```
pub fn half_width(segments: &[(f64, f64)], limit: f64, error: f64, procedure: Procedure) -> f64 {
    let minutes: f64 = segments.iter().map(|(_, minutes)| minutes).sum();
    // The root of the sum of squares without the squares, which a double may not hold.
    let root =
        segments.iter().fold(0.0, |root, (concentration, minutes)| f64::hypot(root, concentration * minutes));
    let consecutive = || error * (root / minutes / limit);
    let count = segments.iter().fold(0.0, |count, _| count + 1.0);
    match procedure {
        _ if segments.len() == 1 => error,
        Procedure::Osha => consecutive(),
        Procedure::NioshUniform => error / f64::sqrt(count),
        Procedure::NioshNonuniform => consecutive() / (error / Z_95).hypot(1.0),
    }
}

/// Puts an average against its limit, both in one unit; `None` without minutes, with a limit not above zero or an
/// error outside 0 to 1.
///
/// Y grows with every concentration and so do both its limits (the error being below 1), so that a segment with two
/// ends gives the limits of the lower and of the upper end.
///
/// # Formula
/// `Y = sum(x t) / sum(t) / limit`, limits `Y -/+` [`half_width`], multiples of the limit: x in its unit, t in min. OSHA
/// Technical Manual, Section II Chapter 1 (from memory).
///
/// ```
/// use doseward::hygiene::severity::{Classification, Procedure, severity};
/// use doseward::model::measured::Measured;
/// // 6 against 5 with an error of 0.25: 1.2, from 0.95 to 1.45.
/// let found = severity(&[(Measured::Value(6.0), 480.0)], 5.0, 0.25, Procedure::Osha).unwrap();
/// assert_eq!((found.severity, found.lower_95, found.upper_95), (Some(1.2), 0.95, Some(1.45)));
/// assert_eq!(found.classification, Classification::PossiblyAboveLimit);
/// ```
pub fn severity(
    segments: &[(Measured, f64)],
    limit: f64,
    error: f64,
    procedure: Procedure,
) -> Option<Severity> {
    let segments: Vec<&(Measured, f64)> = segments.iter().filter(|(_, minutes)| *minutes > 0.0).collect();
    if segments.is_empty() || !(limit > 0.0 && (0.0..1.0).contains(&error)) {
        return None;
    }
    let of = |ends: &[(f64, f64)]| {
        let minutes: f64 = ends.iter().map(|(_, minutes)| minutes).sum();
        let dose: f64 = ends.iter().map(|(concentration, minutes)| concentration * minutes).sum();
        (dose / minutes / limit, half_width(ends, limit, error, procedure))
    };
    let (low, low_half) =
        of(&segments.iter().map(|(one, minutes)| (one.lower(), *minutes)).collect::<Vec<_>>());
    let upper: Option<Vec<(f64, f64)>> =
        segments.iter().map(|(one, minutes)| Some((one.upper()?, *minutes))).collect();
    let upper = upper.map(|ends| of(&ends));
    let plain = segments.iter().all(|(one, _)| one.is_value());
    let lower_95 = significant(low - low_half);
    let upper_95 = upper.map(|(high, half)| significant(high + half));
    let mut flags = Vec::new();
    if !plain {
        flags.push(SEGMENTS_CENSORED);
    }
    if upper_95.is_none() {
        flags.push(NO_UPPER_END);
    }
    Some(Severity {
        severity: plain.then(|| significant(low)),
        lower_95,
        upper_95,
        classification: classify(lower_95, upper_95),
        flags,
    })
}

/// The word for a pair of one-sided limits, compared as decimals.
///
/// # Formula
/// Above when `lower_95 > 1`, not above when `upper_95 <= 1`, multiples of the limit. OSHA Technical Manual, Section II
/// Chapter 1 (from memory).
///
/// ```
/// use doseward::hygiene::severity::{Classification, classify};
/// assert_eq!(classify(1.01, Some(1.4)), Classification::AboveLimit);
/// assert_eq!(classify(0.8, Some(1.0)), Classification::NotAboveLimit);
/// ```
pub fn classify(lower_95: f64, upper_95: Option<f64>) -> Classification {
    if significant(lower_95) > 1.0 {
        Classification::AboveLimit
    } else if upper_95.is_some_and(|upper| significant(upper) <= 1.0) {
        Classification::NotAboveLimit
    } else {
        Classification::PossiblyAboveLimit
    }
}

/// Fewer than thirty grab samples, as places on the chart of their logarithms.
pub const GRAB_SAMPLES_CHART: Formula = Formula {
    formula: "mean and standard deviation (n - 1) of log10(x / limit)",
    source: "Leidel, Busch and Lynch, NIOSH 77-173, 1977, section 4.2.3 (fewer than 30 grab samples, from memory)",
};

/// Few grab samples as multiples of their limit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GrabSamples {
    /// The mean of log10(x / limit).
    pub mean_log10: f64,
    /// Their standard deviation with n - 1.
    pub deviation_log10: f64,
    /// The unbiased estimate of the arithmetic mean, in the unit of the results.
    pub arithmetic_mean: f64,
}

/// The places of few grab samples on the chart; `None` unless two or more differ and all are above zero.
///
/// # Formula
/// Mean and standard deviation (n - 1) of `log10(x / limit)`, x in the unit of the limit. NIOSH 77-173, 1977, section 4.2.3
/// (from memory).
///
/// ```
/// use doseward::hygiene::severity::grab_samples;
/// // log10 of 0.1 and 10: -1 and 1, mean 0, deviation sqrt(2).
/// let found = grab_samples(&[0.5, 50.0], 5.0).unwrap();
/// assert!(found.mean_log10.abs() < 1e-12 && (found.deviation_log10 - 2f64.sqrt()).abs() < 1e-12);
/// ```
pub fn grab_samples(results: &[f64], limit: f64) -> Option<GrabSamples> {
    let logs: Vec<f64> = results.iter().map(|result| (result / limit).log10()).collect();
    let (_, mean_log10, deviation_log10) = moments(&logs)?;
    let arithmetic_mean = LogSample::of(results)?.arithmetic_mean();
    Some(GrabSamples { mean_log10, deviation_log10, arithmetic_mean })
}

/// Thirty grab samples or more.
pub const MANY_GRAB_SAMPLES: Formula = Formula {
    formula: "lower_95, upper_95 = mean / limit -/+ 1.645 s / (limit sqrt(n))",
    source: "Leidel, Busch and Lynch, NIOSH 77-173, 1977, section 4.2.3 (30 or more grab samples, from memory)",
};

/// One-sided 95 % limits of many grab samples as multiples of their limit; `None` below thirty.
///
/// # Formula
/// `mean / limit -/+ 1.645 s / (limit sqrt(n))`, multiples of the limit: s in its unit. NIOSH 77-173, 1977, section 4.2.3
/// (from memory).
///
/// ```
/// use doseward::hygiene::severity::many_grab_samples;
/// // Eighteen of 4 and eighteen of 6: mean 5, s = sqrt(36 / 35) = 1.0142, root of n 6: 1 -/+ 0.0556.
/// let results = [[4.0; 18], [6.0; 18]].concat();
/// let found = many_grab_samples(&results, 5.0).unwrap();
/// assert!((found.lower_95 - 0.9444).abs() < 1e-4);
/// ```
pub fn many_grab_samples(results: &[f64], limit: f64) -> Option<Severity> {
    let (n, mean, deviation) = moments(results)?;
    (n >= 30.0 && limit > 0.0).then_some(())?;
    let half = Z_95 * deviation / (limit * n.sqrt());
    let (lower_95, upper_95) = (significant(mean / limit - half), significant(mean / limit + half));
    let classification = classify(lower_95, Some(upper_95));
    let severity = Some(significant(mean / limit));
    Some(Severity { severity, lower_95, upper_95: Some(upper_95), classification, flags: Vec::new() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    // Arithmetic: one segment's root is c t, so that the half-width over two of equal length is half the error times c / limit.
    #[test]
    fn very_large_and_very_small_values_have_a_half_width() {
        for (concentration, limit) in [(1e100, 1e-100), (1e-100, 1e100), (1e100, 1e100)] {
            for minutes in [240.0, 1e100, 1e-100] {
                let segments = [(concentration, minutes), (0.0, minutes)];
                let half = half_width(&segments, limit, 0.2, Procedure::Osha);
                assert!((half / (0.1 * (concentration / limit)) - 1.0).abs() < 1e-12, "{minutes}: {half}");
            }
        }
    }

    #[test]
    fn an_average_exactly_at_the_limit_without_error_is_not_above_it() {
        // Arithmetic: 0.1 + 0.2 over two equal halves of time is 0.15 on average.
        let halves = [(Measured::Value(0.1), 240.0), (Measured::Value(0.2), 240.0)];
        let at = severity(&halves, 0.15, 0.0, Procedure::Osha).unwrap();
        assert_eq!((at.severity, at.classification), (Some(1.0), Classification::NotAboveLimit));
        assert_eq!(severity(&halves, 0.15, 1.0, Procedure::Osha), None);
        assert_eq!(severity(&[], 0.15, 0.1, Procedure::Osha), None);
    }

    #[test]
    fn a_non_detect_widens_the_limits_and_leaves_no_single_number() {
        let parts = [(Measured::Value(4.0), 240.0), (Measured::Below(2.0), 240.0)];
        let found = severity(&parts, 5.0, 0.2, Procedure::Osha).unwrap();
        // Arithmetic: 4 x 240 / 480 / 5 = 0.4, less 0.2 x 960 / 2400 = 0.08; with 2 in place of the bound 0.6 + 0.2 x
        // sqrt(960^2 + 480^2) / 2400 = 0.6 + 0.0894427191.
        assert_eq!((found.severity, found.lower_95), (None, 0.32));
        assert!((found.upper_95.unwrap() - 0.689_442_719_1).abs() < 1e-9);
        assert_eq!(found.flags, [SEGMENTS_CENSORED]);
        let open = severity(&[(Measured::Above(6.0), 480.0)], 5.0, 0.1, Procedure::Osha).unwrap();
        assert_eq!((open.upper_95, open.classification), (None, Classification::AboveLimit));
    }

    proptest! {
        #[test]
        fn limits_grow_with_every_concentration_whatever_the_procedure(
            parts in prop::collection::vec((0.01..50.0f64, 10.0..240.0f64), 1..6), error in 0.0..0.9f64, more in 1.0..3.0f64,
        ) {
            let segments: Vec<_> = parts.iter().map(|(x, t)| (Measured::Value(*x), *t)).collect();
            let mut raised = segments.clone();
            raised[0].0 = raised[0].0.scaled(more);
            for procedure in Procedure::ALL {
                let one = severity(&segments, 5.0, error, *procedure).unwrap();
                let two = severity(&raised, 5.0, error, *procedure).unwrap();
                prop_assert!(one.lower_95 <= one.severity.unwrap() && one.severity <= one.upper_95);
                prop_assert!(two.lower_95 >= one.lower_95 - 1e-9 && two.upper_95.unwrap() >= one.upper_95.unwrap() - 1e-9);
            }
        }

        #[test]
        fn neither_unit_nor_order_matters(
            parts in prop::collection::vec((0.01..50.0f64, 10.0..240.0f64), 1..6), error in 0.0..0.9f64, factor in 0.001..1000.0f64,
        ) {
            let of = |parts: Vec<(f64, f64)>, factor: f64, procedure| {
                let segments: Vec<_> = parts.into_iter().map(|(x, t)| (Measured::Value(factor * x), t)).collect();
                severity(&segments, 5.0 * factor, error, procedure).unwrap()
            };
            for procedure in Procedure::ALL {
                let one = of(parts.clone(), 1.0, *procedure);
                let two = of(parts.iter().rev().copied().collect(), factor, *procedure);
                prop_assert!((one.lower_95 - two.lower_95).abs() < 1e-9 * (1.0 + one.lower_95.abs()));
                prop_assert!((one.upper_95.unwrap() - two.upper_95.unwrap()).abs() < 1e-9 * (1.0 + one.upper_95.unwrap()));
            }
        }
    }
}
