//! Short-term limits against the segments of a shift.

use crate::calculations::given::{above_zero, number_above_zero, number_between};
use crate::calculations::shift_average::DAY_MINUTES;
use crate::calculations::working::Working;
use crate::conclusions::comparison::ComparisonAnswer;
use crate::hygiene::shift::Segment;
use crate::hygiene::short_term::{
    AGAINST_SHORT_TERM, CEILING_MINUTES, EXCURSION_MINUTES, STEL_MINUTES, WORST_WINDOW, Window, any_reaches,
    said_of_window, windows, worst_of,
};
use crate::model::facts::agent::LimitKind;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Shape};
use crate::model::unit::Unit;
use crate::record;
use serde_json::json;

/// Less was sampled than a window.
pub const SHORTER_THAN_WINDOW: &str = "shorter_than_window";
/// A segment is longer than a window.
pub const LONGER_THAN_WINDOW: &str = "longer_than_window";

/// Every flag of short-term limits with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (
        SHORTER_THAN_WINDOW,
        "Less time was sampled than a short-term limit's window: the average over it stands as it is, not scaled.",
    ),
    (
        LONGER_THAN_WINDOW,
        "A segment is longer than a short-term limit's window: it can show an excess and never the absence of one.",
    ),
];

/// More limits than these are none of one agent.
const LIMITS_MOST: usize = 10;

record! {
    /// A short-term limit.
    pub struct ShortTermLimitInput {
        /// Its kind: stel, excursion or ceiling.
        kind: LimitKind,
        /// The limit.
        value: Quantity,
        /// Minutes of its window; if left out 15, of an excursion limit 30.
        averaging_minutes: Option<f64>,
    }
}

record! {
    /// The worst window against a short-term limit.
    pub struct ShortTermView {
        /// The kind of the limit.
        kind: LimitKind,
        /// The limit.
        value: Quantity,
        /// Minutes of its window.
        averaging_minutes: f64,
        /// What is known of the highest average over the window.
        worst_window: Quantity,
        /// Where it begins, in minutes from the start of the first segment.
        from_minute: f64,
        /// The minutes that it covers; less than the window where less was sampled.
        minutes: f64,
        /// Whether any window reaches the limit.
        answer: ComparisonAnswer,
    }
}

/// A limit in the unit of the segments.
pub(crate) struct ShortTermLimit<'i> {
    given: &'i ShortTermLimitInput,
    level: f64,
    window: f64,
    /// A ceiling at any instant: no segment is averaged with another.
    instantaneous: bool,
}

/// The limits in the unit of the segments, each with its faults.
pub(crate) fn read_limits<'i>(
    given: &'i [ShortTermLimitInput],
    unit: Unit,
    faults: &mut Faults,
) -> Vec<ShortTermLimit<'i>> {
    if given.len() > LIMITS_MOST {
        faults.note("/short_term_limits", format!("must hold at most {LIMITS_MOST} limits"));
        return Vec::new();
    }
    let mut read = |(n, given): (usize, &'i ShortTermLimitInput)| {
        let at = format!("/short_term_limits/{n}");
        let usual = match given.kind {
            LimitKind::Stel => STEL_MINUTES,
            LimitKind::Excursion => EXCURSION_MINUTES,
            LimitKind::Ceiling => CEILING_MINUTES,
            LimitKind::Twa | LimitKind::ActionLevel | LimitKind::Peak => {
                faults.note(format!("{at}/kind"), "must be stel, excursion or ceiling");
                return None;
            }
        };
        let level = above_zero(&given.value, unit, &format!("{at}/value"), faults);
        let window = given.averaging_minutes.unwrap_or(usual);
        let at = format!("{at}/averaging_minutes");
        let window = number_above_zero(window, &at, faults)
            .and_then(|window| number_between(window, (0.0, DAY_MINUTES), &at, faults));
        let instantaneous = given.kind == LimitKind::Ceiling && given.averaging_minutes.is_none();
        Some(ShortTermLimit { given, level: level?, window: window?, instantaneous })
    };
    given.iter().enumerate().filter_map(&mut read).collect()
}

/// Each segment by itself, as a limit at any instant takes it: a mean over minutes hides what was higher within them, and one
/// over more minutes than are taken for an instant says only that it was at least that high.
fn each_alone(segments: &[Segment], window: f64) -> Vec<Window> {
    let mut from_minute = 0.0;
    let mut all = Vec::with_capacity(segments.len());
    for segment in segments {
        let average = said_of_window(segment.concentration, segment.minutes, window);
        all.push(Window { from_minute, minutes: segment.minutes, average });
        from_minute += segment.minutes;
    }
    all
}

/// Each limit against the segments, in the order given.
pub(crate) fn compare_limits(
    limits: &[ShortTermLimit<'_>],
    segments: &[Segment],
    unit: Unit,
    flags: &mut Vec<&'static str>,
    working: &mut Working,
) -> Vec<ShortTermView> {
    let mut views = Vec::new();
    for limit in limits {
        let all: Vec<Window> = if limit.instantaneous {
            each_alone(segments, limit.window)
        } else {
            windows(segments, limit.window)
        };
        let (Some(worst), Some(answer)) =
            (worst_of(&all), any_reaches(all.iter().map(|window| window.average), limit.level))
        else {
            continue;
        };
        let view = ShortTermView {
            kind: limit.given.kind,
            value: limit.given.value.clone(),
            averaging_minutes: limit.window,
            worst_window: Quantity::computed(worst.average, unit),
            from_minute: significant(worst.from_minute),
            minutes: significant(worst.minutes),
            answer: answer.into(),
        };
        working.step(&format!("worst window of the {}", view.kind.as_str()), WORST_WINDOW, || {
            let parts = |segment: &Segment| {
                json!({"concentration": Quantity::computed(segment.concentration, unit).to_json(), "minutes": segment.minutes})
            };
            let inputs = json!({"segments": segments.iter().map(parts).collect::<Vec<_>>(), "window_minutes": limit.window});
            (inputs, json!({"worst_window": view.worst_window.to_json(), "from_minute": view.from_minute, "minutes": view.minutes}))
        });
        working.step(&format!("against the {}", view.kind.as_str()), AGAINST_SHORT_TERM, || {
            let inputs = json!({"worst_window": view.worst_window.to_json(), "limit": view.value.to_json()});
            (inputs, view.answer.to_json())
        });
        let longer = segments.iter().any(|segment| significant(segment.minutes) > significant(limit.window));
        let shorter = significant(worst.minutes) < significant(limit.window);
        for (holds, flag) in [(longer, LONGER_THAN_WINDOW), (shorter, SHORTER_THAN_WINDOW)] {
            if holds && !flags.contains(&flag) {
                flags.push(flag);
            }
        }
        views.push(view);
    }
    views
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::measured::{Answer, Measured};

    // 29 CFR 1910.1000(a)(1): a ceiling is not to be passed at any time. Five minutes at 12 prove an instant above 10, though
    // the 15 minutes around it average 4.67.
    #[test]
    fn a_ceiling_at_any_instant_is_not_averaged_away() {
        let segments = [(12.0, 5.0), (1.0, 10.0)]
            .map(|(value, minutes)| Segment { concentration: Measured::Value(value), minutes });
        let alone = each_alone(&segments, CEILING_MINUTES);
        assert_eq!(any_reaches(alone.iter().map(|window| window.average), 10.0), Some(Answer::AtOrAbove));
        let averaged = windows(&segments, CEILING_MINUTES);
        assert_eq!(any_reaches(averaged.iter().map(|window| window.average), 10.0), Some(Answer::Below));
        // A mean over hours says only that it was at least that high.
        let long = [Segment { concentration: Measured::Value(1.0), minutes: 240.0 }];
        let alone = each_alone(&long, CEILING_MINUTES);
        assert_eq!(any_reaches(alone.iter().map(|window| window.average), 10.0), Some(Answer::CannotTell));
    }
}
