//! Short-term limits: the averages over the window of a STEL, an excursion limit or a ceiling, and their comparison.

use super::shift::{Segment, peak};
use crate::model::measured::{Answer, Measured};
use crate::model::rounding::significant;
use crate::model::working::Formula;

/// The window of a short-term exposure limit, min: 29 CFR 1910.1028(b) and 1910.1047(c)(2) take 15-minute averages
/// (both from memory).
pub const STEL_MINUTES: f64 = 15.0;
/// The window of an excursion limit, min: 29 CFR 1910.1001(c)(2), asbestos (from memory).
pub const EXCURSION_MINUTES: f64 = 30.0;
/// Over how many minutes a limit for any instant is looked at: 29 CFR 1910.1000(a)(1) takes a 15-minute average where
/// instantaneous monitoring is not feasible, as it never is with a filter.
pub const CEILING_MINUTES: f64 = 15.0;

/// The worst window.
pub const WORST_WINDOW: Formula = Formula {
    formula: "worst_window = highest sum(concentration x minutes within the window) / window over consecutive segments, each \
              taken as steady; less time than the window: sum(concentration x minutes) / sum(minutes), not scaled; a segment \
              longer than the window: at least its mean",
    source: "29 CFR 1910.1000(a)(1) and (d)(1); windows in longer and shorter samples: this registry's rule",
};

/// A short-term limit against what was measured.
pub const AGAINST_SHORT_TERM: Formula = Formula {
    formula: "at_or_above where any window reaches the limit, cannot_tell where any might, else below",
    source: "29 CFR 1910.1000(a)(1) (not to be exceeded at any time); the three answers: this registry's rule",
};

/// An average over a window, or over all the sampled time where that is less.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Window {
    /// Minutes from the start of the first segment to its beginning.
    pub from_minute: f64,
    /// The minutes that it covers: the window, or less where less was sampled.
    pub minutes: f64,
    /// What is known of the average over them, in the unit of the segments.
    pub average: Measured,
}

/// What one sample says of the highest average over a window of so many minutes.
///
/// A longer sample says only that it is at least its mean. Some window within is as high as that where the sample is whole
/// windows long; where it is not, the highest may lie somewhat lower, and the sample counts all the same. A shorter one
/// stands with its own mean, neither stretched to the window nor filled up with zeros.
///
/// # Formula
/// Sample longer than the window: `>= mean`; else `mean`, in the unit of the concentration; minutes in min. This
/// registry's rule.
///
/// ```
/// use doseward::hygiene::short_term::said_of_window;
/// use doseward::model::measured::Measured;
/// let four = Measured::Value(4.0);
/// assert_eq!(said_of_window(four, 240.0, 15.0), Measured::Above(4.0));
/// assert_eq!(said_of_window(four, 15.0, 15.0), four);
/// assert_eq!(said_of_window(four, 5.0, 15.0), four);
/// ```
pub fn said_of_window(mean: Measured, minutes: f64, window: f64) -> Measured {
    if is_longer(minutes, window) { Measured::Above(mean.lower()) } else { mean }
}

/// Whether a sample is longer than the window, as decimals.
fn is_longer(minutes: f64, window: f64) -> bool {
    significant(minutes) > significant(window)
}

/// The windows at one of which the average is highest: those that begin or end with a segment. Empty without sampled
/// minutes, with a segment of less than none, or unless the window is above zero.
///
/// Segments follow each other without a gap, in the order given. Where they are shorter than the window all together,
/// there is one window: all of them.
///
/// # Formula
/// `sum(concentration x minutes within) / window`, in the unit of the segments; minutes in min. A segment longer than the
/// window counts in the windows that lie wholly in it, as at least its mean, and in others as at least 0: where in it
/// the exposure was is not known. 29 CFR 1910.1000(d)(1); longer segments: this registry's rule.
///
/// ```
/// use doseward::hygiene::{shift::Segment, short_term::windows};
/// use doseward::model::measured::Measured;
/// // 6 for 10 minutes, then 3 for 10: of 15 minutes (60 + 15) / 15 from the start, (30 + 30) / 15 from minute 5.
/// let segments = [6.0, 3.0].map(|value| Segment { concentration: Measured::Value(value), minutes: 10.0 });
/// let found: Vec<_> = windows(&segments, 15.0).into_iter().map(|one| (one.from_minute, one.average)).collect();
/// assert_eq!(found, [(0.0, Measured::Value(5.0)), (5.0, Measured::Value(4.0))]);
/// ```
pub fn windows(segments: &[Segment], window: f64) -> Vec<Window> {
    let placed = placed(segments);
    let total = placed.last().map_or(0.0, |last| last.to);
    if !(total > 0.0 && window > 0.0 && segments.iter().all(|segment| segment.minutes >= 0.0)) {
        return Vec::new();
    }
    if !is_longer(total, window) {
        return vec![Window {
            from_minute: 0.0,
            minutes: total,
            average: average(&placed, (0.0, total), window),
        }];
    }
    let edges = placed.iter().flat_map(|segment| [segment.from, segment.to]);
    let mut starts: Vec<f64> = edges
        .flat_map(|edge| [edge, edge - window])
        .filter(|start| *start >= 0.0 && !is_longer(start + window, total))
        .collect();
    starts.sort_by(f64::total_cmp);
    starts.dedup_by(|one, two| significant(*one) <= significant(*two));
    let of = |from: f64| Window {
        from_minute: from,
        minutes: window,
        average: average(&placed, (from, from + window), window),
    };
    starts.into_iter().map(of).collect()
}

/// A segment with its place.
struct Placed {
    from: f64,
    to: f64,
    concentration: Measured,
}

fn placed(segments: &[Segment]) -> Vec<Placed> {
    let mut from = 0.0;
    let mut placed = Vec::with_capacity(segments.len());
    for segment in segments.iter().filter(|segment| segment.minutes > 0.0) {
        let to = from + segment.minutes;
        placed.push(Placed { from, to, concentration: segment.concentration });
        from = to;
    }
    placed
}

/// What is known of the average from one minute to another.
fn average(placed: &[Placed], (from, to): (f64, f64), window: f64) -> Measured {
    let minutes = to - from;
    let first = placed.partition_point(|segment| segment.to <= from);
    let (mut lower, mut upper) = (0.0, Some(0.0));
    for segment in placed[first..].iter().take_while(|segment| segment.from < to) {
        // Shares before products: a share is at most 1, so that no product is larger than its concentration.
        let share = (segment.to.min(to) - segment.from.max(from)) / minutes;
        if is_longer(segment.to - segment.from, window) {
            let wholly = significant(share) >= 1.0;
            lower += if wholly { segment.concentration.lower() } else { 0.0 };
            upper = None;
        } else {
            lower += segment.concentration.lower() * share;
            upper = upper.zip(segment.concentration.upper()).map(|(sum, most)| sum + most * share);
        }
    }
    Measured::from_bounds(lower, upper)
}

/// The highest of [`windows`], with what is known of it, and the minutes of the window that has the highest lower end;
/// `None` where there is no window.
///
/// # Formula
/// The maximum of both ends, in the unit of the segments; minutes in min. 29 CFR 1910.1000(a)(1).
///
/// ```
/// use doseward::hygiene::{shift::Segment, short_term::worst_window};
/// use doseward::model::measured::Measured;
/// let of = |concentration, minutes| Segment { concentration, minutes };
/// // The second quarter of an hour is the highest, or the non-detect of the third.
/// let segments = [of(Measured::Value(2.0), 15.0), of(Measured::Value(6.0), 15.0), of(Measured::Below(7.0), 15.0)];
/// let worst = worst_window(&segments, 15.0).unwrap();
/// assert_eq!((worst.from_minute, worst.average), (15.0, Measured::Between { lower: 6.0, upper: 7.0 }));
/// // Five minutes are not scaled to fifteen.
/// let worst = worst_window(&segments[1..2], 30.0).unwrap();
/// assert_eq!((worst.minutes, worst.average), (15.0, Measured::Value(6.0)));
/// ```
pub fn worst_window(segments: &[Segment], window: f64) -> Option<Window> {
    worst_of(&windows(segments, window))
}

/// The highest of these windows, as [`worst_window`] gives it.
///
/// ```
/// use doseward::hygiene::{shift::Segment, short_term::{windows, worst_of, worst_window}};
/// use doseward::model::measured::Measured;
/// let segments = [Segment { concentration: Measured::Value(3.0), minutes: 10.0 }];
/// assert_eq!(worst_of(&windows(&segments, 15.0)), worst_window(&segments, 15.0));
/// ```
pub fn worst_of(all: &[Window]) -> Option<Window> {
    let place = all.iter().copied().reduce(|one, two| {
        if significant(two.average.lower()) > significant(one.average.lower()) { two } else { one }
    })?;
    let averages: Vec<Measured> = all.iter().map(|one| one.average).collect();
    Some(Window { average: peak(&averages)?, ..place })
}

/// Whether any of several averages reaches a level: at or above where one does, cannot tell where one might, else below;
/// `None` without any.
///
/// # Formula
/// Each average against the level, both in one unit. 29 CFR 1910.1000(a)(1).
///
/// ```
/// use doseward::hygiene::short_term::any_reaches;
/// use doseward::model::measured::{Answer, Measured};
/// let averages = [Measured::Value(2.0), Measured::Below(7.0)];
/// assert_eq!(any_reaches(averages, 2.0), Some(Answer::AtOrAbove));
/// assert_eq!(any_reaches(averages, 5.0), Some(Answer::CannotTell));
/// assert_eq!(any_reaches(averages, 7.0), Some(Answer::Below));
/// ```
pub fn any_reaches(averages: impl IntoIterator<Item = Measured>, level: f64) -> Option<Answer> {
    averages.into_iter().map(|average| average.against(level)).reduce(|one, two| match (one, two) {
        (Answer::AtOrAbove, _) | (_, Answer::AtOrAbove) => Answer::AtOrAbove,
        (Answer::CannotTell, _) | (_, Answer::CannotTell) => Answer::CannotTell,
        _ => Answer::Below,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn segments(parts: &[(f64, u32)]) -> Vec<Segment> {
        let of = |&(value, minutes): &(f64, u32)| Segment {
            concentration: Measured::Value(value),
            minutes: f64::from(minutes),
        };
        parts.iter().map(of).collect()
    }

    // The rules are this registry's; the numbers are invented, no published source.
    #[test]
    fn a_longer_segment_bounds_the_worst_window_from_below() {
        let long = worst_window(&segments(&[(4.0, 240)]), 15.0).unwrap();
        assert_eq!((long.minutes, long.average), (15.0, Measured::Above(4.0)));
        // Where in the long one the exposure was is not known: beside it only the ten minutes of 12 are sure.
        let beside = worst_window(&segments(&[(4.0, 240), (12.0, 10)]), 15.0).unwrap();
        assert_eq!((beside.from_minute, beside.average), (235.0, Measured::Above(8.0)));
        let bound = Segment { concentration: Measured::Below(4.0), minutes: 240.0 };
        assert_eq!(worst_window(&[bound], 15.0).unwrap().average, Measured::Above(0.0));
    }

    #[test]
    fn a_shorter_stretch_stands_as_it_is() {
        let short = worst_window(&segments(&[(6.0, 5), (3.0, 5)]), 15.0).unwrap();
        assert_eq!((short.from_minute, short.minutes, short.average), (0.0, 10.0, Measured::Value(4.5)));
    }

    #[test]
    fn nothing_sampled_has_no_window() {
        assert_eq!(worst_window(&[], 15.0), None);
        assert_eq!(worst_window(&segments(&[(1.0, 0)]), 15.0), None);
        assert_eq!(worst_window(&segments(&[(1.0, 5)]), 0.0), None);
        let backwards = Segment { concentration: Measured::Value(1.0), minutes: -5.0 };
        assert_eq!(worst_window(&[backwards], 15.0), None);
        assert_eq!(any_reaches([], 1.0), None);
    }

    proptest! {
        // By definition: steady within each segment, so that no window on a whole minute is above the worst.
        #[test]
        fn the_worst_window_is_the_highest_of_all(
            parts in prop::collection::vec((0.0..100.0f64, 1u32..16), 1..12),
        ) {
            let minutes: Vec<f64> = parts.iter().flat_map(|&(value, minutes)| vec![value; minutes as usize]).collect();
            let worst = worst_window(&segments(&parts), 15.0).unwrap();
            let whole = minutes.len().min(15);
            let highest = minutes.windows(whole).map(|window| window.iter().sum::<f64>()).fold(0.0, f64::max);
            prop_assert!((worst.average.lower() - highest / worst.minutes).abs() < 1e-9);
            prop_assert!(worst.average.upper().is_some_and(|upper| (upper - worst.average.lower()).abs() < 1e-9));
            let from = worst.from_minute;
            prop_assert!(from >= 0.0 && from + worst.minutes <= f64::from(u32::try_from(minutes.len()).unwrap()) + 1e-9);
        }

        #[test]
        fn the_worst_window_scales_and_forgets_the_direction_of_time(
            parts in prop::collection::vec((0.01..100.0f64, 1u32..60), 1..10), factor in 0.01..100.0f64,
        ) {
            let backwards: Vec<_> = parts.iter().rev().map(|&(value, minutes)| (value * factor, minutes)).collect();
            let (one, two) = (
                worst_window(&segments(&parts), 15.0).unwrap().average,
                worst_window(&segments(&backwards), 15.0).unwrap().average,
            );
            prop_assert!((two.lower() - factor * one.lower()).abs() <= 1e-9 * two.lower());
            prop_assert_eq!(one.upper().is_some(), two.upper().is_some());
        }

        #[test]
        fn a_longer_window_is_never_worse_and_a_segment_never_above_it(
            parts in prop::collection::vec((0.01..100.0f64, 1u32..16), 3..12),
        ) {
            prop_assume!(parts.iter().map(|(_, minutes)| minutes).sum::<u32>() >= 30);
            let of = |window| worst_window(&segments(&parts), window).unwrap().average.lower();
            prop_assert!(of(30.0) <= of(15.0) + 1e-9);
            let filling = parts.iter().filter(|(_, minutes)| *minutes == 15).map(|(value, _)| *value);
            prop_assert!(filling.fold(0.0, f64::max) <= of(15.0) + 1e-9);
        }

        // A mean is no higher than the highest window in it; a window reaches it where the segment is whole windows long.
        #[test]
        fn what_is_said_of_a_long_segment_holds_whatever_happened_in_it(
            within in prop::collection::vec(0.0..100.0f64, 2..16),
        ) {
            let parts: Vec<_> = within.iter().map(|value| (*value, 15u32)).collect();
            let truth = worst_window(&segments(&parts), 15.0).unwrap().average.lower();
            let count = u32::try_from(within.len()).unwrap();
            let mean = within.iter().sum::<f64>() / f64::from(count);
            let said = said_of_window(Measured::Value(mean), f64::from(15 * count), 15.0);
            prop_assert!(said.lower() <= truth + 1e-9 && said.upper().is_none());
            let found = worst_window(&segments(&[(mean, 15 * count)]), 15.0).unwrap().average;
            prop_assert_eq!(found, said);
        }

        #[test]
        fn whatever_a_non_detect_is_the_range_holds_the_worst_window(
            parts in prop::collection::vec((0.01..100.0f64, 1u32..16), 1..8), share in 0.0..1.0f64, limit in 0.01..100.0f64,
        ) {
            let with = |concentration| {
                let mut all = segments(&parts);
                all.push(Segment { concentration, minutes: 15.0 });
                worst_window(&all, 15.0).unwrap().average
            };
            let (bound, truth) = (with(Measured::Below(limit)), with(Measured::Value(share * limit)));
            prop_assert!(bound.lower() <= truth.lower() + 1e-9);
            prop_assert!(bound.upper().unwrap() >= truth.lower() - 1e-9);
        }
    }
}
