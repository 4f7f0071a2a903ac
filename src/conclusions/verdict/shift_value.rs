//! One value for each worker (or location), shift date and state, before any logarithm.

use crate::conclusions::verdict::task_sample::{Place, TaskSample};
use crate::hygiene::noise::compared_level;
use crate::hygiene::shift::{Segment, duplicate_average, window_average};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::text::Code;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// The value of one shift in one state.
#[derive(Debug, Clone, PartialEq)]
pub struct ShiftValue {
    /// Whose air.
    pub place: Place,
    /// The shift date.
    pub date: NaiveDate,
    /// The time-weighted concentration, the background taken off where it was measured.
    pub value: Measured,
    /// The same before that.
    pub gross: Measured,
    /// The background of the shift, where it was measured.
    pub background: Option<Measured>,
    /// Minutes sampled.
    pub minutes: f64,
    /// Arc minutes an hour of sampled time, where every sample states them.
    pub arc_minutes_per_hour: Option<f64>,
}

/// The values of one side, by worker or location and date.
///
/// Of noise, by its criterion, the level that makes the sum of the doses over the sampled time; no background is taken off.
pub fn shift_values(
    samples: &[&TaskSample],
    backgrounds: &[TaskSample],
    criterion: Option<NoiseCriterion>,
) -> Vec<ShiftValue> {
    let mut shifts: BTreeMap<(&Place, NaiveDate), Vec<&TaskSample>> = BTreeMap::new();
    for &sample in samples {
        shifts.entry((&sample.place, sample.date)).or_default().push(sample);
    }
    shifts
        .into_iter()
        .filter_map(|((place, date), samples)| {
            let segments = segments(&samples);
            let average = window_average(&segments)?.rounded();
            let gross = criterion.map_or(average, |criterion| compared_level(average, criterion));
            let background = if criterion.is_some() { None } else { background(&samples, backgrounds) };
            Some(ShiftValue {
                place: place.clone(),
                date,
                value: background.map_or(gross, |background| net(gross, background)),
                gross,
                background,
                minutes: significant(segments.iter().map(|segment| segment.minutes).sum()),
                arc_minutes_per_hour: arc_minutes_per_hour(&samples),
            })
        })
        .collect()
}

/// Arc minutes an hour of sampled time; `None` where a sample does not state them.
fn arc_minutes_per_hour(samples: &[&TaskSample]) -> Option<f64> {
    let arc = samples.iter().try_fold(0.0, |sum, sample| Some(sum + sample.arc_minutes?))?;
    let minutes: f64 = samples.iter().map(|sample| sample.minutes).sum();
    (minutes > 0.0).then(|| significant(60.0 * arc / minutes))
}

/// The stretches of sampled time; a duplicate is averaged with its original and adds no time.
fn segments(samples: &[&TaskSample]) -> Vec<Segment> {
    let original = |sample: &TaskSample| -> Option<&Code> {
        let of = sample.duplicate_of.as_ref()?;
        samples.iter().find(|other| other.number == *of && other.id != sample.id).map(|other| &other.number)
    };
    samples
        .iter()
        .filter(|sample| original(sample).is_none())
        .filter_map(|sample| {
            let copies = samples.iter().filter(|other| original(other) == Some(&sample.number));
            let values: Vec<_> = std::iter::once(sample).chain(copies).map(|one| one.amount()).collect();
            Some(Segment { concentration: duplicate_average(&values)?, minutes: sample.minutes })
        })
        .collect()
}

/// The time-weighted background of the shift; of the same state where one was measured in it.
fn background(samples: &[&TaskSample], backgrounds: &[TaskSample]) -> Option<Measured> {
    let of_shift: Vec<&TaskSample> = backgrounds
        .iter()
        .filter(|background| {
            samples.iter().any(|sample| sample.event == background.event && sample.date == background.date)
        })
        .collect();
    let same_state: Vec<&TaskSample> = of_shift
        .iter()
        .copied()
        .filter(|background| samples.iter().any(|sample| sample.ran == background.ran))
        .collect();
    let used = if same_state.is_empty() { of_shift } else { same_state };
    window_average(&segments(&used)).map(Measured::rounded)
}

/// A value less its background, with what is known of both; at or below zero it is below the value itself.
fn net(gross: Measured, background: Measured) -> Measured {
    let lower = background.upper().map_or(0.0, |most| gross.lower() - most);
    let upper = gross.upper().map(|most| significant(most - background.lower()));
    match upper {
        // What the work added is no more than what was found in all.
        Some(upper) if upper <= 0.0 => Measured::Below(gross.upper().unwrap_or(upper)),
        _ => Measured::from_bounds(lower.max(0.0), upper).rounded(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // This registry's rule; arithmetic.
    #[test]
    fn a_background_is_taken_off_and_a_difference_at_or_below_zero_is_a_non_detect() {
        let (value, below) = (Measured::Value, Measured::Below);
        assert_eq!(net(value(5.0), value(2.0)), value(3.0));
        assert_eq!(net(value(0.3), value(0.1 + 0.2)), below(0.3));
        assert_eq!(net(value(2.0), value(5.0)), below(2.0));
        assert_eq!(net(value(5.0), below(1.0)), Measured::Between { lower: 4.0, upper: 5.0 });
        assert_eq!(net(below(5.0), value(1.0)), below(4.0));
        assert_eq!(net(Measured::Above(5.0), value(1.0)), Measured::Above(4.0));
    }
}
