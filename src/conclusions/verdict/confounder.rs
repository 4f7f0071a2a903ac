//! What else differed between the two states of a control.

use crate::conclusions::verdict::shift_value::ShiftValue;
use crate::conclusions::verdict::sides::Sides;
use crate::conclusions::verdict::task_sample::{Place, TaskSample};
use crate::conclusions::verdict::thresholds::{
    ARC_TIME_MAY_DIFFER, BACKGROUND_MAY_MOVE, DATES_ENOUGH, SAMPLED_MINUTES_MAY_DIFFER,
};
use crate::model::facts::sampling::Covers;
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::words;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

words! {
    /// Something beside the control that differed between the states.
    pub enum Confounder {
        /// Arc minutes an hour differ.
        ArcTime = "arc_time",
        /// All of one state came earlier in the day or the season than the other.
        OrderInTime = "order_in_time",
        /// In one state whole shifts were sampled, in the other the task alone.
        Tasks = "tasks",
        /// Other materials were worked on.
        Materials = "materials",
        /// Other workers were sampled.
        Workers = "workers",
        /// Other locations were sampled.
        Locations = "locations",
        /// Longer or shorter was sampled.
        SampledMinutes = "sampled_minutes",
        /// The background moved.
        Background = "background",
        /// A state has fewer than three dates.
        FewDates = "few_dates",
        /// The shifts without the control were chosen as worst case or after a complaint.
        Selection = "selection",
    }
}

/// The values of both sides.
#[derive(Debug, Clone, PartialEq)]
pub struct Values {
    /// Without the control.
    pub without: Vec<ShiftValue>,
    /// With it.
    pub with: Vec<ShiftValue>,
}

impl Values {
    /// The dates of both sides.
    pub fn dates(&self) -> BTreeSet<NaiveDate> {
        self.without.iter().chain(&self.with).map(|value| value.date).collect()
    }

    /// Whether every worker-and-date (location-and-date) has both states.
    pub fn all_in_both_states(&self) -> bool {
        let keys = |side: &[ShiftValue]| -> BTreeSet<(Place, NaiveDate)> {
            side.iter().map(|value| (value.place.clone(), value.date)).collect()
        };
        !self.without.is_empty() && keys(&self.without) == keys(&self.with)
    }
}

/// Everything found to differ, in the order of the contract; nothing where only one state has samples.
pub fn confounders(sides: &Sides<'_>, values: &Values) -> Vec<Confounder> {
    if values.without.is_empty() || values.with.is_empty() {
        return Vec::new();
    }
    let found = [
        (arc_time_differs(sides), Confounder::ArcTime),
        (one_state_came_first(sides, values), Confounder::OrderInTime),
        (set_differs(sides, |sample| Some(sample.covers == Covers::Task)), Confounder::Tasks),
        (set_differs(sides, |sample| sample.materials.clone()), Confounder::Materials),
        (set_differs(sides, worker), Confounder::Workers),
        (set_differs(sides, |sample| sample.location.clone()), Confounder::Locations),
        (sampled_minutes_differ(values), Confounder::SampledMinutes),
        (background_moved(values), Confounder::Background),
        (few_dates(&values.without) || few_dates(&values.with), Confounder::FewDates),
        (sides.without.iter().any(|sample| sample.chosen), Confounder::Selection),
    ];
    found.into_iter().filter(|(holds, _)| *holds).map(|(_, confounder)| confounder).collect()
}

fn worker(sample: &TaskSample) -> Option<Place> {
    matches!(sample.place, Place::Worker(_)).then(|| sample.place.clone())
}

/// Whether what is stated of one state is not what is stated of the other; samples that state nothing are passed over.
fn set_differs<T: Ord>(sides: &Sides<'_>, of: impl Fn(&TaskSample) -> Option<T>) -> bool {
    let stated = |side: &[&TaskSample]| side.iter().filter_map(|sample| of(sample)).collect::<BTreeSet<_>>();
    stated(&sides.without) != stated(&sides.with)
}

/// Arc minutes an hour of sampled time, of the samples that state them.
pub fn arc_minutes_an_hour(side: &[&TaskSample]) -> Option<f64> {
    let stated = || side.iter().filter_map(|sample| Some((sample.arc_minutes?, sample.minutes)));
    let minutes: f64 = stated().map(|(_, minutes)| minutes).sum();
    let arc: f64 = stated().map(|(arc, _)| arc).sum();
    (minutes > 0.0).then(|| significant(60.0 * arc / minutes))
}

fn arc_time_differs(sides: &Sides<'_>) -> bool {
    match (arc_minutes_an_hour(&sides.without), arc_minutes_an_hour(&sides.with)) {
        (Some(without), Some(with)) => differs(without, with, ARC_TIME_MAY_DIFFER),
        _ => false,
    }
}

/// Whether a figure with the control differs from the one without by more than a share of that.
fn differs(without: f64, with: f64, share: f64) -> bool {
    significant((with - without).abs()) > significant(share * without)
}

fn sampled_minutes_differ(values: &Values) -> bool {
    match (
        mean(values.without.iter().map(|one| one.minutes)),
        mean(values.with.iter().map(|one| one.minutes)),
    ) {
        (Some(without), Some(with)) => differs(without, with, SAMPLED_MINUTES_MAY_DIFFER),
        _ => false,
    }
}

fn mean(numbers: impl Iterator<Item = f64>) -> Option<f64> {
    let numbers: Vec<f64> = numbers.collect();
    // A side never holds more values than a double counts.
    let count = f64::from(u32::try_from(numbers.len()).ok().filter(|count| *count > 0)?);
    Some(significant(numbers.iter().sum::<f64>() / count))
}

fn dates(side: &[ShiftValue]) -> BTreeSet<NaiveDate> {
    side.iter().map(|value| value.date).collect()
}

fn few_dates(side: &[ShiftValue]) -> bool {
    dates(side).len() < DATES_ENOUGH
}

/// Whether one state lies wholly before the other: by date, by the clock, or on each worker's (location's) own day.
fn one_state_came_first(sides: &Sides<'_>, values: &Values) -> bool {
    let wholly_before = |one: &BTreeSet<NaiveDate>, two: &BTreeSet<NaiveDate>| one.last() < two.first();
    let (without, with) = (dates(&values.without), dates(&values.with));
    if wholly_before(&without, &with) || wholly_before(&with, &without) {
        return true;
    }
    let clocks = |side: &[&TaskSample]| -> Option<Vec<(i64, i64)>> {
        side.iter().map(|sample| sample.clock).collect()
    };
    let (Some(without), Some(with)) = (clocks(&sides.without), clocks(&sides.with)) else { return false };
    if order(&without, &with).is_some() {
        return true;
    }
    values.all_in_both_states() && same_order_every_day(sides)
}

/// `true` when all of `one` has ended when `two` begins, `false` when it is the other way round.
fn order(one: &[(i64, i64)], two: &[(i64, i64)]) -> Option<bool> {
    let before = |one: &[(i64, i64)], two: &[(i64, i64)]| {
        let last_end = one.iter().map(|span| span.1).max();
        let first_start = two.iter().map(|span| span.0).min();
        last_end.zip(first_start).is_some_and(|(end, start)| end <= start)
    };
    if before(one, two) { Some(true) } else { before(two, one).then_some(false) }
}

fn same_order_every_day(sides: &Sides<'_>) -> bool {
    type Spans = Vec<(i64, i64)>;
    let mut days: BTreeMap<(&Place, NaiveDate), (Spans, Spans)> = BTreeMap::new();
    for sample in &sides.without {
        days.entry((&sample.place, sample.date)).or_default().0.extend(sample.clock);
    }
    for sample in &sides.with {
        days.entry((&sample.place, sample.date)).or_default().1.extend(sample.clock);
    }
    let mut orders = days.values().map(|(without, with)| order(without, with));
    let first = orders.next().flatten();
    first.is_some() && orders.all(|order| order == first)
}

/// Whether the background moved, as far as it may have, by more than half of what the states differ.
///
/// Both are looked at before the background is taken off; a value below its limit counts as the limit.
fn background_moved(values: &Values) -> bool {
    let known = |side: &[ShiftValue], end: fn(&ShiftValue) -> Option<f64>| mean(side.iter().filter_map(end));
    let least = |side: &[ShiftValue]| known(side, |one| one.background.map(Measured::lower));
    let most = |side: &[ShiftValue]| known(side, |one| one.background.and_then(Measured::upper));
    let gross = |side: &[ShiftValue]| known(side, |one| Some(one.gross.upper().unwrap_or(one.gross.lower())));
    let ends = |side: &[ShiftValue]| Some((least(side)?, most(side)?, gross(side)?));
    let (Some(without), Some(with)) = (ends(&values.without), ends(&values.with)) else { return false };
    let moved = (without.1 - with.0).max(with.1 - without.0);
    significant(moved) > significant(BACKGROUND_MAY_MOVE * (without.2 - with.2).abs())
}
