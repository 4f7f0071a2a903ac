//! Noise: reference durations, dose in per cent, and the levels that doses stand for.
//!
//! Levels are A-weighted, slow, in dBA; doses are per cent of what the criterion allows in a day; times of segments are
//! minutes. Doses of parts of a day add; levels never do.

use super::shift::EIGHT_HOURS_MINUTES;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::measured::{Answer, Measured};
use crate::model::working::Formula;

/// How long a level may last.
pub const REFERENCE_DURATION: Formula = Formula {
    formula: "T = 8 / 2^((L - 90) / 5) h; by the niosh criterion T = 8 / 2^((L - 85) / 3) h",
    source: "29 CFR 1910.95 Appendix A, I(1) and Table G-16a; NIOSH 98-126, 1998, 1.1 (from memory)",
};

/// The dose of levels, each over its time.
pub const DOSE: Formula = Formula {
    formula: "dose_percent = 100 sum(C / T); levels below the threshold count 0: osha_limit 90 dBA, osha_action_level \
              80 dBA, niosh none",
    source: "29 CFR 1910.95 Appendix A, I(1); (d)(2)(i) for the 80 dBA threshold; the 90 dBA threshold from Table G-16, \
             which begins there; NIOSH 98-126, 1998, 1.1 (from memory)",
};

/// The 8-hour level of a dose as the documents print it.
pub const EIGHT_HOUR_LEVEL: Formula = Formula {
    formula: "eight_hour_twa = 16.61 log10(D / 100) + 90; by the niosh criterion 10 log10(D / 100) + 85",
    source: "29 CFR 1910.95 Appendix A, I(2); NIOSH 98-126, 1998, 1.1 (from memory)",
};

/// The dose of an 8-hour level, the printed formula turned round.
pub const DOSE_OF_EIGHT_HOUR_LEVEL: Formula = Formula {
    formula: "D = 100 x 10^((TWA - 90) / 16.61); by the niosh criterion 100 x 10^((TWA - 85) / 10)",
    source: "29 CFR 1910.95 Appendix A, I(2), turned round (arithmetic)",
};

/// The dose of an average level over its run.
pub const DOSE_OF_AVERAGE: Formula = Formula {
    formula: "dose_percent = 100 x minutes / 480 x 2^((level - criterion level) / exchange rate); the threshold is in \
              the average level already",
    source: "29 CFR 1910.95 Appendix A, I(1) (arithmetic)",
};

/// The average level of a dose over its time.
pub const AVERAGE_OF_DOSE: Formula = Formula {
    formula: "level = criterion level + exchange rate x log2(dose_percent x 480 / (100 x minutes)); over 480 minutes the \
              8-hour average, so that 50 % is 85 dBA and 100 % is 90 dBA exactly (16.61 is 5 / log10(2), rounded)",
    source: "29 CFR 1910.95 Appendix A, I(1)-(2) and (c)(1) (a dose of 50 % is 85 dBA); arithmetic",
};

/// The level that makes half of the allowed dose in a shift of another length.
pub const EXTENDED_SHIFT_ACTION_LEVEL: Formula = Formula {
    formula: "action_level = 90 + 16.61 log10(50 / (12.5 h)), h hours of shift",
    source: "29 CFR 1910.95 Appendix A, I(2) with a dose of 50 % over h hours, as OSHA's policy on extended shifts \
             prints it",
};

/// The dose from which hearing conservation begins, in per cent: 29 CFR 1910.95(c)(1), "equal or exceed".
pub const ACTION_LEVEL_DOSE: f64 = 50.0;

/// The dose that must not be exceeded, in per cent: 29 CFR 1910.95(b)(1) with Table G-16.
pub const LIMIT_DOSE: f64 = 100.0;

/// How a criterion counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CriterionRule {
    /// The level that makes a dose of 100 % in 8 hours, dBA.
    pub level: f64,
    /// The level from which on noise counts, dBA; absent where all counts.
    pub threshold: Option<f64>,
    /// By how many dB the allowed time halves.
    pub exchange_rate: f64,
    /// The factor of log10(D/100) as it is printed, dB.
    pub printed_factor: f64,
}

/// The rule of a criterion: 29 CFR 1910.95 Table G-16, (d)(2)(i) and Appendix A; NIOSH 98-126, 1998.
pub const fn rule(criterion: NoiseCriterion) -> CriterionRule {
    match criterion {
        NoiseCriterion::OshaLimit => {
            CriterionRule { level: 90.0, threshold: Some(90.0), exchange_rate: 5.0, printed_factor: 16.61 }
        }
        NoiseCriterion::OshaActionLevel => {
            CriterionRule { level: 90.0, threshold: Some(80.0), exchange_rate: 5.0, printed_factor: 16.61 }
        }
        NoiseCriterion::Niosh => {
            CriterionRule { level: 85.0, threshold: None, exchange_rate: 3.0, printed_factor: 10.0 }
        }
    }
}

/// A steady level over some time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelSegment {
    /// The level, dBA.
    pub level: Measured,
    /// How long it lasted, in minutes.
    pub minutes: f64,
}

/// A dose with the 8-hour level that stands for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoiseDose {
    /// Per cent of the dose that the criterion allows in a day.
    pub dose_percent: Measured,
    /// The steady 8-hour level that makes this dose, dBA; absent for a dose of 0.
    pub eight_hour_twa: Option<Measured>,
}

/// How many hours of a level (dBA) make a dose of 100 %.
///
/// # Formula
/// `T = 8 / 2^((L - 90) / 5)` h: L the level in dBA, 90 dBA the criterion level, 5 dB the exchange rate; by the niosh
/// criterion 85 dBA and 3 dB. 29 CFR 1910.95 Appendix A, I(1); NIOSH 98-126, 1998, 1.1 (from memory).
///
/// ```
/// use doseward::hygiene::noise::reference_duration;
/// use doseward::model::facts::sampling::NoiseCriterion;
/// // 95 dBA is 5 dB above 90: half of 8 hours. 88 dBA is 3 dB above 85: half of 8 hours.
/// assert_eq!(reference_duration(95.0, NoiseCriterion::OshaLimit), 4.0);
/// assert_eq!(reference_duration(88.0, NoiseCriterion::Niosh), 4.0);
/// ```
pub fn reference_duration(level: f64, criterion: NoiseCriterion) -> f64 {
    let CriterionRule { level: allowed, exchange_rate, .. } = rule(criterion);
    8.0 / ((level - allowed) / exchange_rate).exp2()
}

/// The dose of steady levels that follow one another, and its 8-hour level.
///
/// A level certainly below the threshold counts 0 exactly, also as `<`; a `<` above the threshold counts from 0 to the
/// dose of its limit, a `>` at least its own dose, a range what its two ends make.
///
/// # Formula
/// `D = 100 sum(C / T)` per cent: C the time at a level, T its reference duration, both in hours; then the 8-hour level
/// as [`eight_hour_twa`] gives it. 29 CFR 1910.95 Appendix A, I(1)-(2).
///
/// ```
/// use doseward::hygiene::noise::{LevelSegment, noise_dose};
/// use doseward::model::facts::sampling::NoiseCriterion;
/// use doseward::model::measured::Measured;
/// // 2 of 4 hours at 95 dBA, 8 of 16 hours at 85 dBA: 50 % + 50 % with the threshold of 80; without 85 with that of 90.
/// let day = [(95.0, 120.0), (85.0, 480.0)]
///     .map(|(level, minutes)| LevelSegment { level: Measured::Value(level), minutes });
/// let found = noise_dose(&day, NoiseCriterion::OshaActionLevel);
/// assert_eq!(found.dose_percent, Measured::Value(100.0));
/// assert_eq!(found.eight_hour_twa, Some(Measured::Value(90.0)));
/// assert_eq!(noise_dose(&day, NoiseCriterion::OshaLimit).dose_percent, Measured::Value(50.0));
/// ```
pub fn noise_dose(segments: &[LevelSegment], criterion: NoiseCriterion) -> NoiseDose {
    let doses: Vec<Measured> = segments
        .iter()
        .filter(|segment| segment.minutes > 0.0)
        .map(|segment| dose_of_average(counted(segment.level, criterion), segment.minutes, criterion))
        .collect();
    let dose_percent = sum_of_doses(&doses);
    NoiseDose { dose_percent, eight_hour_twa: eight_hour_twa(dose_percent, criterion) }
}

/// What of a steady level counts: silence (no level at all) below the threshold.
fn counted(level: Measured, criterion: NoiseCriterion) -> Measured {
    let Some(threshold) = rule(criterion).threshold else { return level };
    let lower = if level.lower() >= threshold { level.lower() } else { f64::NEG_INFINITY };
    match level {
        Measured::Value(_) => Measured::Value(lower),
        Measured::Below(limit) if limit <= threshold => Measured::Value(f64::NEG_INFINITY),
        Measured::Below(limit) => Measured::Below(limit),
        Measured::Above(_) => Measured::Above(lower),
        Measured::Between { upper, .. } if upper < threshold => Measured::Value(f64::NEG_INFINITY),
        Measured::Between { upper, .. } => Measured::Between { lower, upper },
    }
}

/// The sum of doses, with what is known of each.
///
/// # Formula
/// `D = sum(D of the parts)` per cent. 29 CFR 1910.95 Appendix A, I(1).
///
/// ```
/// use doseward::hygiene::noise::sum_of_doses;
/// use doseward::model::measured::Measured;
/// // 30 % and somewhere up to 20 %: from 30 to 50 %.
/// let sum = sum_of_doses(&[Measured::Value(30.0), Measured::Below(20.0)]);
/// assert_eq!(sum, Measured::Between { lower: 30.0, upper: 50.0 });
/// ```
pub fn sum_of_doses(doses: &[Measured]) -> Measured {
    let lower: f64 = doses.iter().map(|dose| dose.lower()).sum();
    let upper =
        doses.iter().map(|dose| dose.upper()).try_fold(0.0, |sum, upper| upper.map(|upper| sum + upper));
    Measured::from_bounds(lower, upper)
}

/// The 8-hour level (dBA) of a dose in per cent, with the constants as the documents print them; `None` for a dose of 0.
///
/// # Formula
/// `TWA = 16.61 log10(D / 100) + 90` dBA, D the dose in per cent (29 CFR 1910.95 Appendix A, I(2)); by the niosh criterion
/// `10 log10(D / 100) + 85` (NIOSH 98-126, 1998, 1.1, from memory).
///
/// ```
/// use doseward::hygiene::noise::eight_hour_twa;
/// use doseward::model::facts::sampling::NoiseCriterion;
/// use doseward::model::measured::Measured;
/// // log10(10) = 1: 16.61 + 90, and 10 + 85.
/// let dose = Measured::Value(1000.0);
/// assert_eq!(eight_hour_twa(dose, NoiseCriterion::OshaLimit), Some(Measured::Value(106.61)));
/// assert_eq!(eight_hour_twa(dose, NoiseCriterion::Niosh), Some(Measured::Value(95.0)));
/// assert_eq!(eight_hour_twa(Measured::Value(0.0), NoiseCriterion::OshaLimit), None);
/// ```
pub fn eight_hour_twa(dose_percent: Measured, criterion: NoiseCriterion) -> Option<Measured> {
    let CriterionRule { level, printed_factor, .. } = rule(criterion);
    level_of(dose_percent, |dose| printed_factor * (dose / 100.0).log10() + level)
}

/// The dose in per cent of an 8-hour level (dBA): [`eight_hour_twa`] turned round.
///
/// # Formula
/// `D = 100 x 10^((TWA - 90) / 16.61)` per cent, TWA in dBA; by the niosh criterion `100 x 10^((TWA - 85) / 10)`.
/// 29 CFR 1910.95 Appendix A, I(2), turned round.
///
/// ```
/// use doseward::hygiene::noise::dose_of_eight_hour_twa;
/// use doseward::model::facts::sampling::NoiseCriterion;
/// use doseward::model::measured::Measured;
/// // 95 - 85 = 10 dB: ten times 100 %.
/// assert_eq!(dose_of_eight_hour_twa(Measured::Value(95.0), NoiseCriterion::Niosh), Measured::Value(1000.0));
/// ```
pub fn dose_of_eight_hour_twa(twa: Measured, criterion: NoiseCriterion) -> Measured {
    let CriterionRule { level, printed_factor, .. } = rule(criterion);
    dose_of(twa, |twa| 100.0 * 10f64.powf((twa - level) / printed_factor))
}

/// The dose in per cent of an average level (dBA) over some minutes, by the exchange rate itself.
///
/// A dosimeter's average level holds its threshold already, so nothing more is left out here.
///
/// # Formula
/// `D = 100 x minutes / 480 x 2^((L - 90) / 5)` per cent, L the average level in dBA; by the niosh criterion 85 dBA and
/// 3 dB. 29 CFR 1910.95 Appendix A, I(1).
///
/// ```
/// use doseward::hygiene::noise::dose_of_average;
/// use doseward::model::facts::sampling::NoiseCriterion;
/// use doseward::model::measured::Measured;
/// // 240 of 480 minutes, 5 dB above 90: half the time at twice the dose.
/// let dose = dose_of_average(Measured::Value(95.0), 240.0, NoiseCriterion::OshaLimit);
/// assert_eq!(dose, Measured::Value(100.0));
/// ```
pub fn dose_of_average(level: Measured, minutes: f64, criterion: NoiseCriterion) -> Measured {
    let CriterionRule { level: allowed, exchange_rate, .. } = rule(criterion);
    let full = 100.0 * minutes / EIGHT_HOURS_MINUTES;
    dose_of(level, |level| full * ((level - allowed) / exchange_rate).exp2())
}

/// The average level (dBA) over some minutes that makes a dose in per cent, by the exchange rate itself; `None` for a dose
/// of 0 and without minutes. Over 480 minutes it is the 8-hour average that conclusions compare.
///
/// # Formula
/// `L = 90 + 5 log2(D x 480 / (100 x minutes))` dBA; by the niosh criterion 85 dBA and 3 dB. 29 CFR 1910.95 Appendix A,
/// I(1) turned round. The printed 16.61 is 5 / log10(2) = 16.6096 rounded, and would put a dose of exactly 50 % below
/// 85 dBA; by paragraph (c)(1) it is at it.
///
/// ```
/// use doseward::hygiene::noise::average_of_dose;
/// use doseward::model::facts::sampling::NoiseCriterion;
/// use doseward::model::measured::Measured;
/// let level = average_of_dose(Measured::Value(50.0), 480.0, NoiseCriterion::OshaActionLevel);
/// assert_eq!(level, Some(Measured::Value(85.0)));
/// ```
pub fn average_of_dose(dose_percent: Measured, minutes: f64, criterion: NoiseCriterion) -> Option<Measured> {
    let CriterionRule { level: allowed, exchange_rate, .. } = rule(criterion);
    let full = 100.0 * minutes / EIGHT_HOURS_MINUTES;
    let level = |dose: f64| allowed + exchange_rate * (dose / full).log2();
    (minutes > 0.0).then(|| level_of(dose_percent, level)).flatten()
}

/// What is known of the level where the dose is 0: no time at or above the threshold, so below it; without a threshold
/// below the criterion level.
///
/// ```
/// use doseward::hygiene::noise::level_of_silence;
/// use doseward::model::{facts::sampling::NoiseCriterion, measured::Measured};
/// assert_eq!(level_of_silence(NoiseCriterion::OshaActionLevel), Measured::Below(80.0));
/// ```
pub const fn level_of_silence(criterion: NoiseCriterion) -> Measured {
    let CriterionRule { level, threshold, .. } = rule(criterion);
    Measured::Below(match threshold {
        Some(threshold) => threshold,
        None => level,
    })
}

/// The 8-hour average (dBA) that conclusions compare with levels: [`average_of_dose`] over 480 minutes, and what
/// [`level_of_silence`] knows of a dose of 0.
///
/// # Formula
/// As [`average_of_dose`]: dBA from per cent. 29 CFR 1910.95 Appendix A, I(1) and (c)(1).
///
/// ```
/// use doseward::hygiene::noise::compared_level;
/// use doseward::model::facts::sampling::NoiseCriterion::OshaLimit;
/// use doseward::model::measured::Measured;
/// assert_eq!(compared_level(Measured::Value(200.0), OshaLimit), Measured::Value(95.0));
/// assert_eq!(compared_level(Measured::Value(0.0), OshaLimit), Measured::Below(90.0));
/// ```
pub fn compared_level(dose_percent: Measured, criterion: NoiseCriterion) -> Measured {
    average_of_dose(dose_percent, EIGHT_HOURS_MINUTES, criterion)
        .unwrap_or(level_of_silence(criterion))
        .rounded()
}

/// The level (dBA) that steady noise over a shift of some hours may have before it makes half of the allowed dose; `None`
/// without hours.
///
/// # Formula
/// `90 + 16.61 log10(50 / (12.5 h))` dBA, h the hours of the shift (12.5 % of the dose an hour at 90 dBA).
/// 29 CFR 1910.95 Appendix A, I(2), as OSHA's policy on extended shifts prints it.
///
/// ```
/// use doseward::hygiene::noise::extended_shift_action_level;
/// // 50 / (12.5 x 4) = 1, whose logarithm is 0.
/// assert_eq!(extended_shift_action_level(4.0), Some(90.0));
/// ```
pub fn extended_shift_action_level(hours: f64) -> Option<f64> {
    (hours > 0.0 && hours.is_finite()).then(|| 90.0 + 16.61 * (ACTION_LEVEL_DOSE / (12.5 * hours)).log10())
}

/// Whether a dose (with the threshold of 80 dBA) reaches the action level: 50 % or more, 29 CFR 1910.95(c)(1).
///
/// ```
/// use doseward::hygiene::noise::reaches_action_level;
/// use doseward::model::measured::{Answer, Measured};
/// assert_eq!(reaches_action_level(Measured::Value(50.0)), Answer::AtOrAbove);
/// ```
pub fn reaches_action_level(dose_percent: Measured) -> Answer {
    dose_percent.against(ACTION_LEVEL_DOSE)
}

/// Whether a dose (with the threshold of 90 dBA, or by the niosh criterion) is above 100 %, 29 CFR 1910.95(b)(1).
///
/// ```
/// use doseward::hygiene::noise::exceeds_limit;
/// use doseward::model::measured::{Answer, Measured};
/// // 100 % is allowed.
/// assert_eq!(exceeds_limit(Measured::Value(100.0)), Answer::Below);
/// ```
pub fn exceeds_limit(dose_percent: Measured) -> Answer {
    dose_percent.exceeds(LIMIT_DOSE)
}

/// What the level by one OSHA threshold says of the level by the other: with the threshold of 80 dBA no less counts than
/// with that of 90. `None` between criteria of different exchange rates.
///
/// # Formula
/// dBA: from below or above, since the thresholds leave levels between 80 and 90 dBA in or out. Arithmetic.
///
/// ```
/// use doseward::hygiene::noise::bound_by_other_threshold;
/// use doseward::model::facts::sampling::NoiseCriterion::{Niosh, OshaActionLevel, OshaLimit};
/// use doseward::model::measured::Measured;
/// let level = Measured::Value(87.0);
/// assert_eq!(bound_by_other_threshold(level, OshaLimit, OshaActionLevel), Some(Measured::Above(87.0)));
/// let at_most = Measured::Between { lower: 0.0, upper: 87.0 };
/// assert_eq!(bound_by_other_threshold(level, OshaActionLevel, OshaLimit), Some(at_most));
/// assert_eq!(bound_by_other_threshold(level, Niosh, OshaLimit), None);
/// ```
pub fn bound_by_other_threshold(
    level: Measured,
    from: NoiseCriterion,
    to: NoiseCriterion,
) -> Option<Measured> {
    match (from, to) {
        (NoiseCriterion::OshaLimit, NoiseCriterion::OshaActionLevel) => Some(Measured::Above(level.lower())),
        (NoiseCriterion::OshaActionLevel, NoiseCriterion::OshaLimit) => Some(match level.upper() {
            // At it or below: a `<` would rule the end out.
            Some(upper) => Measured::Between { lower: 0.0, upper },
            None => Measured::Above(0.0),
        }),
        _ => (from == to).then_some(level),
    }
}

/// A dose put through a function that turns it into a level; `None` where nothing above zero is left.
fn level_of(dose: Measured, level: impl Fn(f64) -> f64) -> Option<Measured> {
    let lower = if dose.lower() > 0.0 { level(dose.lower()) } else { 0.0 };
    match dose {
        Measured::Above(least) => Some(Measured::Above(if least > 0.0 { lower } else { 0.0 })),
        Measured::Value(dose) | Measured::Below(dose) if dose <= 0.0 => None,
        Measured::Value(_) => Some(Measured::Value(lower)),
        Measured::Below(most) => Some(Measured::Below(level(most))),
        Measured::Between { upper, .. } if upper <= 0.0 => None,
        Measured::Between { lower: least, upper } if least <= 0.0 => Some(Measured::Below(level(upper))),
        Measured::Between { upper, .. } => Some(Measured::Between { lower, upper: level(upper) }),
    }
}

/// A level put through a function that turns it into a dose. The lower end of a range that begins at 0 dB or below says
/// nothing and is a dose of 0.
fn dose_of(level: Measured, dose: impl Fn(f64) -> f64) -> Measured {
    match level {
        Measured::Value(level) => Measured::Value(dose(level)),
        Measured::Below(limit) => Measured::Below(dose(limit)),
        Measured::Above(least) => Measured::Above(if least > 0.0 { dose(least) } else { 0.0 }),
        Measured::Between { lower, upper } => {
            Measured::from_bounds(if lower > 0.0 { dose(lower) } else { 0.0 }, Some(dose(upper)))
        }
    }
}

#[cfg(test)]
mod tests;
