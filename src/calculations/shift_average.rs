//! The average of one shift.

use crate::calculations::given::{
    common_unit, measured, none_below_zero, number_above_zero, number_between, sound,
};
use crate::calculations::short_term::{ShortTermLimitInput, ShortTermView, compare_limits, read_limits};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::shift::{
    EIGHT_HOUR_TWA, SAMPLED_AVERAGE, Segment, UNSAMPLED_TIME, Unsampled, shift_average,
};
use crate::model::facts::sampling::UnsampledAs;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Shape};
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

/// Segments are bounds, so that the average is one or a range.
pub const AVERAGE_IS_A_RANGE: &str = "average_is_a_range";
/// More than a day was sampled.
pub const LONGER_THAN_A_DAY: &str = "longer_than_a_day";

/// The minutes of a day.
pub(crate) const DAY_MINUTES: f64 = 1440.0;

/// Every flag of a shift average with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (
        AVERAGE_IS_A_RANGE,
        "Segments are bounds or ranges: the average is a bound or a range too, never a number.",
    ),
    (LONGER_THAN_A_DAY, "The minutes add up to more than 24 hours."),
];

record! {
    /// A stretch of sampled time.
    pub struct SegmentInput {
        /// The mean concentration over it.
        concentration: Quantity,
        /// Its minutes.
        minutes: f64,
    }
}

/// Segments in the unit of the first, each with its faults.
pub(crate) fn read_segments(
    segments: &[SegmentInput],
    faults: &mut Faults,
) -> Option<(Unit, Vec<(Measured, f64)>)> {
    if segments.is_empty() {
        faults.note("/segments", "must hold at least one segment");
    }
    let unit = common_unit(
        segments.iter().map(|one| (&one.concentration, "/segments/0/concentration".to_owned())),
        false,
        faults,
    )?;
    let read: Vec<Option<(Measured, f64)>> = segments
        .iter()
        .enumerate()
        .map(|(n, segment)| {
            let at = format!("/segments/{n}/concentration");
            none_below_zero(&segment.concentration, &at, faults);
            let found = measured(&segment.concentration, unit, &at, faults);
            let minutes = number_above_zero(segment.minutes, &format!("/segments/{n}/minutes"), faults);
            Some((found?, minutes?))
        })
        .collect();
    Some((unit, read.into_iter().collect::<Option<_>>()?))
}

record! {
    /// Segments of one shift that do not overlap.
    pub struct ShiftAverageInput {
        /// The sampled segments.
        segments: Vec<SegmentInput>,
        /// Minutes of the shift that were not sampled.
        unsampled_minutes: Option<f64>,
        /// What they are taken as: zero, as_sampled or a concentration; required where there are any.
        unsampled: Option<UnsampledAs>,
        /// Short-term limits to compare with; the segments then follow each other without a gap, in the order given.
        short_term_limits: Option<Vec<ShortTermLimitInput>>,
    }
}

record! {
    /// The average of the shift.
    pub struct ShiftAverageAnswer {
        /// The 8-hour time-weighted average.
        eight_hour_twa: Quantity,
        /// The average over the sampled time.
        sampled_average: Quantity,
        /// Minutes sampled.
        sampled_minutes: f64,
        /// The worst window against each short-term limit, where any is given.
        short_term: Option<Vec<ShortTermView>>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// The average of one shift.
#[derive(Debug)]
pub struct ShiftAverage;

impl Calculation for ShiftAverage {
    const NAME: &'static str = "shift-average";
    const TITLE: &'static str = "ShiftAverageCalculation";
    const SUMMARY: &'static str = "8-hour time-weighted average of one shift";
    const MORE: &'static str = "The divisor is always 480 minutes, however long the shift was. Short-term limits are held against the highest average \
        over their own window.";
    type Input = ShiftAverageInput;
    type Answer = ShiftAverageAnswer;

    fn example() -> Value {
        json!({"segments": [{"concentration": {"value": 3.1, "unit": "ug/m3"}, "minutes": 240},
                {"concentration": {"comparator": "<", "value": 0.4, "unit": "ug/m3"}, "minutes": 200}],
            "unsampled_minutes": 40, "unsampled": "zero"})
    }

    fn answer(input: ShiftAverageInput, working: &mut Working) -> Result<ShiftAverageAnswer, Faults> {
        let mut faults = Faults::default();
        let read = read_segments(&input.segments, &mut faults);
        let rest = input.unsampled_minutes.unwrap_or(0.0);
        number_between(rest, (0.0, DAY_MINUTES), "/unsampled_minutes", &mut faults);
        if rest > 0.0 && input.unsampled.is_none() {
            faults.note("/unsampled", "is required where unsampled_minutes are given");
        }
        let stated = match (&input.unsampled, &read) {
            (Some(UnsampledAs::Zero), _) => Some(Unsampled::Zero),
            (Some(UnsampledAs::AsSampled), _) => Some(Unsampled::AsSampled),
            (Some(UnsampledAs::Concentration(quantity)), Some((unit, _))) => {
                none_below_zero(quantity, "/unsampled/concentration", &mut faults);
                measured(quantity, *unit, "/unsampled/concentration", &mut faults).map(Unsampled::At)
            }
            (None, _) | (Some(UnsampledAs::Concentration(_)), None) => None,
        };
        let given = input.short_term_limits.as_deref().unwrap_or_default();
        let limits =
            read.as_ref().map(|(unit, _)| read_limits(given, *unit, &mut faults)).unwrap_or_default();
        let answer = read.filter(|_| faults.is_empty()).and_then(|(unit, read)| {
            let segments: Vec<Segment> =
                read.iter().map(|&(concentration, minutes)| Segment { concentration, minutes }).collect();
            let found = shift_average(&segments, rest, stated)?;
            let (twa, sampled) = (
                Quantity::computed(found.eight_hour_twa, unit),
                Quantity::computed(found.sampled_average, unit),
            );
            let inputs = || json!(input.segments.iter().map(Shape::to_json).collect::<Vec<_>>());
            working.step("sampled average", SAMPLED_AVERAGE, || (inputs(), sampled.to_json()));
            if rest > 0.0 {
                working.step("unsampled time", UNSAMPLED_TIME, || {
                    (
                        json!({"unsampled_minutes": rest}),
                        input.unsampled.as_ref().map_or(Value::Null, Shape::to_json),
                    )
                });
            }
            working.step("8-hour TWA", EIGHT_HOUR_TWA, || {
                let inputs = json!({"segments": inputs(), "unsampled_minutes": rest,
                    "unsampled": input.unsampled.as_ref().map(Shape::to_json)});
                (inputs, twa.to_json())
            });
            let mut flags = Vec::new();
            if !found.eight_hour_twa.is_value() {
                flags.push(AVERAGE_IS_A_RANGE);
            }
            if found.sampled_minutes + rest > DAY_MINUTES {
                flags.push(LONGER_THAN_A_DAY);
            }
            let short_term = compare_limits(&limits, &segments, unit, &mut flags, working);
            Some(ShiftAverageAnswer {
                eight_hour_twa: twa,
                sampled_average: sampled,
                sampled_minutes: significant(found.sampled_minutes),
                short_term: (!short_term.is_empty()).then_some(short_term),
                flags: words(&flags),
                working: None,
            })
        });
        sound(answer, faults)
    }
}
