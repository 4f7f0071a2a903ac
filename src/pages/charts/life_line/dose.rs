//! The dose as it grew, from the means that the history itself gives.

use crate::conclusions::history::view::{HistoryFlag, HistoryInterval, HistoryView};
use crate::hygiene::cumulative::DAYS_PER_YEAR;
use crate::model::unit::{Dimension, Unit};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// The dose on a day, before that day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Point {
    /// The day.
    pub(super) on: NaiveDate,
    /// The dose.
    pub(super) value: f64,
    /// With every mean so far at its limits; absent where one has none.
    pub(super) band: Option<(f64, f64)>,
}

/// Times between gaps, each with the dose at its ends and wherever it bends: no line runs across a gap.
pub(super) type Stretch = Vec<Point>;

/// The sums over the intervals that end by the day, or the part of them that lies before it.
fn until(history: &HistoryView, on: NaiveDate) -> Point {
    let counted =
        |interval: &&HistoryInterval| interval.from < on && !interval.flags.contains(&HistoryFlag::WithinLag);
    let mut point = Point { on, value: 0.0, band: Some((0.0, 0.0)) };
    for interval in history.intervals.iter().filter(counted) {
        let Some(mean) = &interval.mean else { continue };
        let days = (interval.to.min(on) - interval.from).num_days();
        let years = f64::from(i32::try_from(days).unwrap_or(0)) / DAYS_PER_YEAR;
        let into = |value: f64| in_dose_unit(value, mean.unit) * interval.weight * years;
        point.value += into(mean.estimate);
        point.band = point
            .band
            .zip(mean.lower.zip(mean.upper))
            .map(|((low, high), (lower, upper))| (low + into(lower), high + into(upper)));
    }
    point
}

/// Doses of masses are in milligrams.
fn in_dose_unit(value: f64, unit: Unit) -> f64 {
    if unit.dimension() == Dimension::MassConcentration {
        unit.convert(value, Unit::MgPerM3).unwrap_or(value)
    } else {
        value
    }
}

/// The dose over time; empty where the history adds none up.
pub(super) fn stretches(history: &HistoryView) -> Vec<Stretch> {
    if history.cumulative.as_ref().is_none_or(|dose| dose.value.is_none()) {
        return Vec::new();
    }
    let mut known: Vec<(NaiveDate, NaiveDate)> = Vec::new();
    let mut from = history.from;
    for gap in &history.gaps {
        if from < gap.from {
            known.push((from, gap.from));
        }
        from = from.max(gap.to);
    }
    if from < history.to {
        known.push((from, history.to));
    }
    known
        .into_iter()
        .map(|(from, to)| {
            let bends = history.intervals.iter().flat_map(|interval| [interval.from, interval.to]);
            let days: BTreeSet<NaiveDate> =
                bends.filter(|day| from < *day && *day < to).chain([from, to]).collect();
            days.into_iter().map(|day| until(history, day)).collect()
        })
        .collect()
}
