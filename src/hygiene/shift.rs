//! One worker's shift: segments of sampled time, the rest of the shift, and the 8-hour time-weighted average.

use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// The divisor of every 8-hour time-weighted average, however long the shift was.
pub const EIGHT_HOURS_MINUTES: f64 = 480.0;

/// From this share of the shift on, the sampled time speaks for the rest where nothing is stated (our own choice).
pub const SAMPLED_SHARE_ENOUGH: f64 = 0.75;

/// The 8-hour time-weighted average.
pub const EIGHT_HOUR_TWA: Formula = Formula {
    formula: "eight_hour_twa = sum(concentration x minutes) / 480",
    source: "29 CFR 1910.1000(d)(1)(i)",
};

/// The average over the sampled time alone.
pub const SAMPLED_AVERAGE: Formula = Formula {
    formula: "sampled_average = sum(concentration x minutes) / sum(minutes)",
    source: "common practice (time-weighted mean)",
};

/// What the unsampled time counts as.
pub const UNSAMPLED_TIME: Formula = Formula {
    formula: "as stated (zero, as sampled, or a concentration); not stated: as sampled from 75 % of the shift on, \
              otherwise the range from zero to as sampled",
    source: "this registry's rule",
};

/// A stretch of sampled time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Segment {
    /// The mean concentration over it, in any one unit.
    pub concentration: Measured,
    /// How long it was, in minutes.
    pub minutes: f64,
}

/// What the unsampled part of a shift is stated to have been.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Unsampled {
    /// Without exposure (went home, in the office).
    Zero,
    /// Like the sampled part.
    AsSampled,
    /// At this concentration, in the unit of the segments.
    At(Measured),
}

/// The average of a shift.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShiftAverage {
    /// The 8-hour time-weighted average, in the unit of the segments.
    pub eight_hour_twa: Measured,
    /// The average over the sampled time.
    pub sampled_average: Measured,
    /// Minutes sampled.
    pub sampled_minutes: f64,
    /// Minutes of the shift not sampled.
    pub unsampled_minutes: f64,
    /// Whether less than 75 % was sampled and nothing is stated of the rest, so that the average is a range.
    pub partly_sampled: bool,
}

/// The minutes of a shift that no segment covers; zero where the segments are longer than the shift.
///
/// # Formula
/// `shift_minutes - sum(minutes)`, at least 0, all in min. Arithmetic.
///
/// ```
/// use doseward::hygiene::shift::{Segment, unsampled_minutes};
/// use doseward::model::measured::Measured;
/// let segment = Segment { concentration: Measured::Value(1.0), minutes: 400.0 };
/// assert_eq!(unsampled_minutes(&[segment], 480.0), 80.0);
/// ```
pub fn unsampled_minutes(segments: &[Segment], shift_minutes: f64) -> f64 {
    let sampled: f64 = segments.iter().map(|segment| segment.minutes).sum();
    (shift_minutes - sampled).max(0.0)
}

/// Averages a shift from segments that do not overlap, in the order given; `None` without sampled minutes.
///
/// Segments below their limit enter with both ends, zero and the limit: all below gives `<`, some below a range.
///
/// # Formula
/// `eight_hour_twa = sum(concentration x minutes) / 480` and `sampled_average = sum(concentration x minutes) / sum(minutes)`,
/// both in the unit of the concentrations, minutes in min. 29 CFR 1910.1000(d)(1)(i); the unsampled time: this registry's
/// rule.
///
/// ```
/// use doseward::hygiene::shift::{Segment, Unsampled, shift_average};
/// use doseward::model::measured::Measured;
/// // 4 over 240 minutes, nothing over the other 240; unstated: from 2 to 4.
/// let half = [Segment { concentration: Measured::Value(4.0), minutes: 240.0 }];
/// assert_eq!(shift_average(&half, 240.0, Some(Unsampled::Zero)).unwrap().eight_hour_twa, Measured::Value(2.0));
/// let range = Measured::Between { lower: 2.0, upper: 4.0 };
/// assert_eq!(shift_average(&half, 240.0, None).unwrap().eight_hour_twa, range);
/// ```
pub fn shift_average(
    segments: &[Segment],
    unsampled_minutes: f64,
    unsampled: Option<Unsampled>,
) -> Option<ShiftAverage> {
    let sampled_minutes: f64 = segments.iter().map(|segment| segment.minutes).sum();
    if !(sampled_minutes > 0.0 && segments.iter().all(|segment| segment.minutes >= 0.0)) {
        return None;
    }
    let rest = unsampled_minutes.max(0.0);
    let sampled = Dose::of(segments);
    let shift_minutes = sampled_minutes + rest;
    let whole = sampled.times(shift_minutes / sampled_minutes);
    let enough = significant(sampled_minutes) >= significant(SAMPLED_SHARE_ENOUGH * shift_minutes);
    let (dose, partly_sampled) = match unsampled {
        _ if rest == 0.0 => (sampled, false),
        Some(Unsampled::Zero) => (sampled, false),
        Some(Unsampled::At(concentration)) => {
            (sampled.plus(Dose::of(&[Segment { concentration, minutes: rest }])), false)
        }
        Some(Unsampled::AsSampled) => (whole, false),
        None if enough => (whole, false),
        None => (Dose { lower: sampled.lower, upper: whole.upper }, true),
    };
    Some(ShiftAverage {
        eight_hour_twa: dose.over(EIGHT_HOURS_MINUTES),
        sampled_average: sampled.over(sampled_minutes),
        sampled_minutes,
        unsampled_minutes: rest,
        partly_sampled,
    })
}

/// Concentration times minutes, with both ends of what is known.
#[derive(Debug, Clone, Copy)]
struct Dose {
    lower: f64,
    upper: Option<f64>,
}

impl Dose {
    fn of(segments: &[Segment]) -> Self {
        segments.iter().filter(|segment| segment.minutes > 0.0).fold(
            Self { lower: 0.0, upper: Some(0.0) },
            |sum, segment| {
                sum.plus(Self {
                    lower: segment.concentration.lower() * segment.minutes,
                    upper: segment.concentration.upper().map(|upper| upper * segment.minutes),
                })
            },
        )
    }

    fn plus(self, other: Self) -> Self {
        Self {
            lower: self.lower + other.lower,
            upper: self.upper.zip(other.upper).map(|(one, two)| one + two),
        }
    }

    fn times(self, factor: f64) -> Self {
        Self { lower: self.lower * factor, upper: self.upper.map(|upper| upper * factor) }
    }

    fn over(self, minutes: f64) -> Measured {
        Measured::from_bounds(self.lower / minutes, self.upper.map(|upper| upper / minutes))
    }
}

/// The average of several segments over their own time, as for a short-term window; `None` without minutes.
///
/// # Formula
/// `sum(concentration x minutes) / sum(minutes)` in the unit of the concentrations. Common practice (time-weighted mean).
///
/// ```
/// use doseward::hygiene::shift::{Segment, window_average};
/// use doseward::model::measured::Measured;
/// // 6 for 5 minutes and 3 for 10: 60 / 15.
/// let window = [(6.0, 5.0), (3.0, 10.0)]
///     .map(|(value, minutes)| Segment { concentration: Measured::Value(value), minutes });
/// assert_eq!(window_average(&window), Some(Measured::Value(4.0)));
/// ```
pub fn window_average(segments: &[Segment]) -> Option<Measured> {
    shift_average(segments, 0.0, None).map(|average| average.sampled_average)
}

/// The mean of duplicates, each with the same weight; `None` without any.
///
/// # Formula
/// `sum(values) / n`, in their unit. This registry's rule.
///
/// ```
/// use doseward::hygiene::shift::duplicate_average;
/// use doseward::model::measured::Measured;
/// let pair = [Measured::Value(3.0), Measured::Below(1.0)];
/// assert_eq!(duplicate_average(&pair), Some(Measured::Between { lower: 1.5, upper: 2.0 }));
/// ```
pub fn duplicate_average(values: &[Measured]) -> Option<Measured> {
    let segments: Vec<_> =
        values.iter().map(|&concentration| Segment { concentration, minutes: 1.0 }).collect();
    window_average(&segments)
}

/// The highest short-term value.
pub const PEAK: Formula = Formula {
    formula: "peak = highest short-term value of the shift, with what is known of it",
    source: "common practice (the highest short-term sample counts)",
};

/// What is known of the highest of several short-term values: the highest lower end up to the highest upper end.
///
/// # Formula
/// The maximum of both ends, in the unit of the values. Common practice.
///
/// ```
/// use doseward::hygiene::shift::peak;
/// use doseward::model::measured::Measured;
/// // The non-detect may be the higher one.
/// let values = [Measured::Value(12.0), Measured::Below(15.0)];
/// assert_eq!(peak(&values), Some(Measured::Between { lower: 12.0, upper: 15.0 }));
/// ```
pub fn peak(short_term: &[Measured]) -> Option<Measured> {
    let lower = short_term.iter().map(|value| value.lower()).reduce(f64::max)?;
    let upper = short_term
        .iter()
        .map(|value| value.upper())
        .reduce(|one, two| one.zip(two).map(|(one, two)| one.max(two)))
        .flatten();
    Some(Measured::from_bounds(lower, upper))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn segment(concentration: Measured, minutes: f64) -> Segment {
        Segment { concentration, minutes }
    }

    // The rules are this registry's; the numbers are invented, no published source.
    #[test]
    fn three_quarters_of_a_shift_speak_for_the_rest_and_less_gives_a_range() {
        let enough = [segment(Measured::Value(4.0), 360.0)];
        let average = shift_average(&enough, 120.0, None).unwrap();
        assert_eq!(average.eight_hour_twa, Measured::Value(4.0));
        assert!(!average.partly_sampled);
        let short = [segment(Measured::Value(4.0), 240.0)];
        let average = shift_average(&short, 240.0, None).unwrap();
        assert_eq!(average.eight_hour_twa, Measured::Between { lower: 2.0, upper: 4.0 });
        assert!(average.partly_sampled);
    }

    #[test]
    fn the_divisor_is_480_for_a_long_shift_too() {
        let average = shift_average(&[segment(Measured::Value(4.0), 720.0)], 0.0, None).unwrap();
        assert_eq!(average.eight_hour_twa, Measured::Value(6.0));
        assert_eq!(average.sampled_average, Measured::Value(4.0));
    }

    #[test]
    fn some_segments_below_their_limit_give_a_range_and_all_below_a_bound() {
        let low = segment(Measured::Below(1.0), 240.0);
        let some = shift_average(&[low, segment(Measured::Value(4.0), 240.0)], 0.0, None).unwrap();
        assert_eq!(some.eight_hour_twa, Measured::Between { lower: 2.0, upper: 2.5 });
        let all = shift_average(&[low, low], 0.0, None).unwrap();
        assert_eq!(all.eight_hour_twa, Measured::Below(1.0));
        let over = shift_average(&[low, segment(Measured::Above(4.0), 240.0)], 0.0, None).unwrap();
        assert_eq!(over.eight_hour_twa, Measured::Above(2.0));
    }

    #[test]
    fn a_non_detect_can_hide_the_highest_value() {
        let five = Measured::Value(5.0);
        assert_eq!(peak(&[five, Measured::Below(3.0)]), Some(five));
        assert_eq!(peak(&[five, Measured::Below(8.0)]), Some(Measured::Between { lower: 5.0, upper: 8.0 }));
        assert_eq!(peak(&[five, Measured::Above(2.0)]), Some(Measured::Above(5.0)));
        assert_eq!(peak(&[]), None);
    }

    #[test]
    fn nothing_sampled_gives_no_average() {
        assert_eq!(shift_average(&[], 480.0, Some(Unsampled::Zero)), None);
        assert_eq!(shift_average(&[segment(Measured::Value(1.0), 0.0)], 480.0, None), None);
    }

    proptest! {
        #[test]
        fn the_average_scales_with_the_concentrations_and_forgets_their_order(
            parts in prop::collection::vec((0.01..100.0f64, 1.0..200.0f64), 1..8), factor in 0.1..10.0f64,
        ) {
            let segments: Vec<_> = parts.iter().map(|&(c, t)| segment(Measured::Value(c), t)).collect();
            let scaled: Vec<_> = parts.iter().rev().map(|&(c, t)| segment(Measured::Value(c * factor), t)).collect();
            let one = shift_average(&segments, 30.0, Some(Unsampled::Zero)).unwrap().eight_hour_twa.lower();
            let two = shift_average(&scaled, 30.0, Some(Unsampled::Zero)).unwrap().eight_hour_twa.lower();
            prop_assert!((two - factor * one).abs() <= 1e-12 * two);
        }
    }
}
