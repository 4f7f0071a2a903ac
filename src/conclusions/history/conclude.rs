//! A worker's history, put together.

use crate::conclusions::asked::Asked;
use crate::conclusions::history::basis::{Basis, Behind, Grounds};
use crate::conclusions::history::day_numbers::day_numbers;
use crate::conclusions::history::evidence::{GroupExposure, HistoryEvidence, Window};
use crate::conclusions::history::expected::{Expected, expected_days};
use crate::conclusions::history::noise_levels::{band, equal_energy, noise_steps, years_by_level};
use crate::conclusions::history::piece::{Bounds, Piece, pieces};
use crate::conclusions::history::respirator::with_respirator;
use crate::conclusions::history::thresholds::{
    BASIS, DATES_ENOUGH, DAYS, LEVEL_BY_HOURS, MEASURED_SHARE, SCALED_BY_HOURS, SHIFT_LENGTH_MAY_DIFFER,
    WEIGHT,
};
use crate::conclusions::history::timeline::{Timeline, timeline};
use crate::conclusions::history::view::{
    CumulativeView, HistoryFlag, HistoryInterval, HistoryView, IntervalMean,
};
use crate::conclusions::history::weight::Worked;
use crate::conclusions::history::worker_days::{WorkerDays, counting_horizon, worker_days};
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::hygiene::cumulative::{
    AVERAGE_INTENSITY, CUMULATIVE, Cumulative, DAYS_PER_YEAR, Interval, LAG, MeanWithLimits, cumulative,
    horizon,
};
use crate::hygiene::noise::rule;
use crate::hygiene::respirator::RESPIRATOR;
use crate::model::facts::agent::{Limit, LimitKind};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::Shape;
use crate::model::unit::{Dimension, Unit};
use crate::model::version::Version;
use crate::model::working::Step;
use chrono::NaiveDate;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// The history of a worker for an agent.
pub fn history(evidence: &HistoryEvidence<'_>, window: Window, asked: Asked) -> HistoryView {
    let unit = evidence.unit();
    let bounds = bounds(evidence, window);
    let worked = Worked::of(evidence.recorded, evidence.absences, bounds.end);
    let pieces = pieces(evidence, &worked, bounds, unit);
    let timeline = timeline(evidence, &pieces, bounds);
    let noise = evidence.agent.is_noise();
    let dose_unit = dose_unit(unit);
    let dose = dose(&pieces, bounds, unit, dose_unit);
    let days = worker_days(evidence, unit, counting_horizon(window.today));
    let counted = has_action_level(evidence);
    let expected = if counted && !noise { expected_days(evidence, &days, unit) } else { Expected::default() };
    let by_level = noise.then(|| years_by_level(&pieces, &timeline, bounds));
    let energy = if noise { equal_energy(&pieces, bounds) } else { None };
    let intervals: Vec<HistoryInterval> = pieces.iter().map(|piece| interval(piece, bounds, unit)).collect();
    let any_mean = pieces.iter().any(|piece| piece.grounds.mean.is_some());
    let missing = significant(f64::from(timeline.days_missing) / DAYS_PER_YEAR);
    let cumulative_view = (!noise).then(|| CumulativeView {
        value: (any_mean || timeline.days_missing == 0).then(|| significant(dose.value)),
        unit: format!("{}.a", dose_unit.code()),
        lower: dose.lower.filter(|_| any_mean).map(significant),
        upper: dose.upper.filter(|_| any_mean).map(significant),
        at_least: timeline.days_missing > 0,
        years_missing: missing,
    });
    let units = (unit, dose_unit);
    let assumed =
        with_respirator(&pieces, evidence.respirators, &worked, bounds, units, timeline.days_missing);
    let average = dose.average_intensity.filter(|_| !noise);
    let mut view = HistoryView {
        worker_id: None,
        also_known_as: None,
        agent_code: evidence.agent.code().clone(),
        from: bounds.start,
        to: bounds.end,
        lag_years: i64::from(window.lag_years),
        intervals,
        cumulative: cumulative_view,
        cumulative_with_respirator: assumed.filter(|_| !noise),
        years_by_level: by_level,
        equal_energy_mean: energy,
        average_intensity: average.map(|mean| {
            // The dose is in milligrams; its mean is read beside the intervals and the limit, in their unit.
            let mean = dose_unit.convert(mean, unit).unwrap_or(mean);
            Quantity::computed(Measured::Value(significant(mean)), unit)
        }),
        years_exposed: significant(dose.years_exposed),
        measured_share: measured_share(&pieces),
        gaps: timeline.gaps.clone(),
        days_at_or_above_action_level: counted.then(|| day_numbers(&days, expected.days.clone())),
        not_accepted: not_accepted(&pieces),
        flags: Vec::new(),
        working: None,
    };
    view.flags = flags(&view, &dose, &days, noise, any_mean);
    if expected.incomplete {
        view.flags.push(HistoryFlag::ExpectedIncomplete);
        view.flags.sort_unstable();
    }
    view.working = asked.working.then(|| steps(&view, &pieces, &timeline, bounds));
    view
}

/// From the first employment (or later, as asked) to the day asked for.
fn bounds(evidence: &HistoryEvidence<'_>, window: Window) -> Bounds {
    let end = window.to.unwrap_or_else(|| window.today.succ_opt().unwrap_or(window.today));
    let employed = evidence.employments.iter().filter(|one| one.stands()).map(|one| one.fact.from).min();
    let assigned = evidence.assignments.iter().filter(|one| one.stands()).map(|one| one.fact.from).min();
    let first = employed.or(assigned).unwrap_or(end);
    let start = window.from.map_or(first, |from| from.max(first)).min(end);
    Bounds { start, end, lag_from: horizon(end, window.lag_years) }
}

/// Whether the statute has an action level for any of the worker's groups; without groups, for anyone.
fn has_action_level(evidence: &HistoryEvidence<'_>) -> bool {
    let of_group = |group: &GroupExposure| group.action_level.iter().any(|period| period.level.is_some());
    let of_agent = |limit: &Version<Limit>| {
        limit.stands()
            && limit.fact.kind == LimitKind::ActionLevel
            && limit.fact.authority.as_str() == STATUTORY_AUTHORITY
    };
    evidence.groups.iter().any(of_group)
        || (evidence.groups.is_empty() && evidence.agent.limits.iter().any(of_agent))
}

/// The unit of the dose but for its years: milligrams for masses.
fn dose_unit(unit: Unit) -> Unit {
    if unit.dimension() == Dimension::MassConcentration { Unit::MgPerM3 } else { unit }
}

/// Adds up what lies before the lag.
fn dose(pieces: &[Piece], bounds: Bounds, unit: Unit, dose_unit: Unit) -> Cumulative {
    let convert = |value: f64| unit.convert(value, dose_unit).unwrap_or(value);
    let counted: Vec<Interval> = pieces
        .iter()
        .filter(|piece| piece.to <= bounds.lag_from)
        .filter_map(|piece| {
            let MeanWithLimits { estimate, lower, upper } = piece.grounds.mean?;
            Some(Interval {
                from: piece.from,
                to: piece.to,
                mean: MeanWithLimits {
                    estimate: convert(estimate),
                    lower: lower.map(convert),
                    upper: upper.map(convert),
                },
                share_of_full_time: piece.weight(),
            })
        })
        .collect();
    cumulative(&counted, None, 0)
}

fn interval(piece: &Piece, bounds: Bounds, unit: Unit) -> HistoryInterval {
    let grounds = &piece.grounds;
    let scaled = scale(piece);
    let mut flags = BTreeSet::new();
    if scaled.is_some() {
        flags.insert(HistoryFlag::ShiftLengthDiffers);
    }
    if grounds.behind.is_some_and(|behind| behind.date_count < DATES_ENOUGH) {
        flags.insert(HistoryFlag::FewDates);
    }
    if grounds.basis == Basis::Judgement {
        flags.insert(HistoryFlag::MiddleOfJudgedRange);
    }
    if grounds.prior_widened {
        flags.insert(HistoryFlag::PriorWidened);
    }
    if grounds.noise.is_some() && grounds.mean.is_none() {
        flags.insert(HistoryFlag::NoMeanLevel);
    }
    if grounds.noise.is_none()
        && grounds.mean.is_some_and(|mean| mean.lower.is_none() || mean.upper.is_none())
    {
        flags.insert(HistoryFlag::LimitsMissing);
    }
    if piece.assignment.is_none() {
        flags.insert(HistoryFlag::RecordedWithoutAssignment);
    }
    if bounds.lag_from <= piece.from {
        flags.insert(HistoryFlag::WithinLag);
    }
    let count = |of: fn(&Behind) -> usize| grounds.behind.as_ref().map(|behind| whole(of(behind)));
    HistoryInterval {
        from: piece.from,
        to: piece.to,
        site_id: piece.site,
        group_id: piece.group,
        basis: grounds.basis,
        mean: grounds.mean.map(|mean| IntervalMean {
            estimate: significant(mean.estimate),
            lower: mean.lower.map(significant),
            upper: mean.upper.map(significant),
            unit,
            scaled_estimate: scaled.map(|factor| significant(scaled_by(factor, mean.estimate, grounds))),
        }),
        criterion: grounds.noise.map(|noise| noise.criterion),
        level_band: (unit == Unit::DbA).then(|| band(grounds)),
        weight: significant(piece.weight()),
        n: count(|behind| behind.n),
        worker_count: count(|behind| behind.worker_count),
        date_count: count(|behind| behind.date_count),
        first: grounds.behind.and_then(|behind| behind.first),
        last: grounds.behind.and_then(|behind| behind.last),
        flags: flags.into_iter().collect(),
    }
}

/// The hours of the assignment over those behind the mean, where they differ by more than is accepted.
fn scale(piece: &Piece) -> Option<f64> {
    let behind = piece.grounds.shift_minutes.filter(|minutes| *minutes > 0.0)?;
    let own = piece.hours_per_shift? * 60.0;
    let differs = significant((own - behind).abs()) > significant(SHIFT_LENGTH_MAY_DIFFER * behind);
    (differs && piece.grounds.mean.is_some()).then(|| own / behind)
}

/// A mean for shifts so many times as long; of noise the dose grows, and the level by the exchange rate.
fn scaled_by(factor: f64, mean: f64, grounds: &Grounds) -> f64 {
    match grounds.noise {
        None => mean * factor,
        Some(noise) => mean + rule(noise.criterion).exchange_rate * factor.log2(),
    }
}

/// The weighted share of assigned time whose mean rests on a measured shift; absent without assigned time.
fn measured_share(pieces: &[Piece]) -> Option<f64> {
    let total = |which: fn(&Piece) -> bool| -> f64 {
        pieces
            .iter()
            .filter(|piece| which(piece))
            .map(|piece| piece.days.full_time_days(piece.shifts_per_week))
            .sum()
    };
    let all = total(|_| true);
    (all > 0.0).then(|| significant(total(|piece| piece.grounds.is_measured()) / all))
}

/// Results behind the means that nobody accepted yet; those of one mean once, however many intervals it stands behind.
fn not_accepted(pieces: &[Piece]) -> i64 {
    let mut seen = BTreeSet::new();
    let of_means = pieces.iter().filter_map(|piece| Some((piece, piece.grounds.behind?)));
    of_means
        .filter(|(piece, behind)| {
            seen.insert((piece.group, piece.grounds.basis, behind.first, behind.last, behind.n))
        })
        .map(|(_, behind)| whole(behind.not_accepted))
        .sum()
}

fn flags(
    view: &HistoryView,
    dose: &Cumulative,
    days: &WorkerDays,
    noise: bool,
    any_mean: bool,
) -> Vec<HistoryFlag> {
    let of_intervals = [
        HistoryFlag::FewDates,
        HistoryFlag::ShiftLengthDiffers,
        HistoryFlag::NoMeanLevel,
        HistoryFlag::PriorWidened,
    ];
    let mut flags: BTreeSet<HistoryFlag> = view
        .intervals
        .iter()
        .flat_map(|interval| interval.flags.iter().copied())
        .filter(|flag| of_intervals.contains(flag))
        .collect();
    let limits_missing = !noise && any_mean && (dose.lower.is_none() || dose.upper.is_none());
    let counted = view.days_at_or_above_action_level.is_some();
    let conditions = [
        (!days.dropped.is_empty(), HistoryFlag::ShiftsDropped),
        (limits_missing, HistoryFlag::LimitsMissing),
        (noise, HistoryFlag::LevelsNotAdded),
        (noise && view.equal_energy_mean.is_none(), HistoryFlag::NoEqualEnergyData),
        (noise && counted, HistoryFlag::NoExpectedDays),
        (!counted, HistoryFlag::NoActionLevel),
        (!any_mean, HistoryFlag::NoMean),
    ];
    flags.extend(conditions.into_iter().filter(|(holds, _)| *holds).map(|(_, flag)| flag));
    flags.into_iter().collect()
}

fn steps(view: &HistoryView, pieces: &[Piece], timeline: &Timeline, bounds: Bounds) -> Vec<Step> {
    let mut steps = Vec::new();
    let day = |date: NaiveDate| date.to_json();
    let mut parts = Vec::new();
    for (piece, interval) in pieces.iter().zip(&view.intervals) {
        let named = |what: &str| format!("{what}, {} to {}", piece.from, piece.to);
        let grounds = json!({"group_id": piece.group.to_json(), "n": interval.n, "date_count": interval.date_count,
            "shift_minutes": piece.grounds.shift_minutes});
        let mean = interval.mean.as_ref().map_or(Value::Null, Shape::to_json);
        let result = json!({"basis": piece.grounds.basis.as_str(), "mean": mean});
        steps.push(Step::new(named("mean"), BASIS, grounds, result));
        if let Some(scaled) = interval.mean.as_ref().and_then(|mean| mean.scaled_estimate) {
            let inputs = json!({"mean": mean, "hours_per_shift": piece.hours_per_shift,
                "shift_minutes": piece.grounds.shift_minutes});
            let formula = if piece.grounds.noise.is_some() { LEVEL_BY_HOURS } else { SCALED_BY_HOURS };
            steps.push(Step::new(named("mean by hours"), formula, inputs, json!(scaled)));
        }
        let inputs = json!({"days": piece.days.calendar, "days_by_schedule": piece.days.by_schedule,
            "shifts_per_week": piece.shifts_per_week, "days_recorded": piece.days.recorded});
        steps.push(Step::new(named("weight"), WEIGHT, inputs, json!(interval.weight)));
        if !mean.is_null() && piece.to <= bounds.lag_from {
            parts.push(
                json!({"mean": mean, "share_of_full_time": interval.weight, "days": piece.days.calendar}),
            );
        }
    }
    if view.lag_years > 0 {
        let inputs = json!({"to": day(bounds.end), "lag_years": view.lag_years});
        steps.push(Step::new("lag", LAG, inputs, day(bounds.lag_from)));
    }
    if let Some(by_level) = &view.years_by_level {
        steps.extend(noise_steps(pieces, bounds, by_level, view.equal_energy_mean.as_ref()));
    }
    if let Some(dose) = &view.cumulative {
        let inputs = json!({"intervals": parts, "days_missing": timeline.days_missing});
        steps.push(Step::new("cumulative", CUMULATIVE, inputs, dose.to_json()));
    }
    if let Some(assumed) = &view.cumulative_with_respirator {
        let inputs = json!({"cumulative": view.cumulative.as_ref().map(Shape::to_json),
            "years_credited": assumed.years_credited});
        steps.push(Step::new("cumulative with respirator", RESPIRATOR, inputs, assumed.to_json()));
    }
    if let Some(mean) = &view.average_intensity {
        let inputs = json!({"cumulative": view.cumulative.as_ref().map(Shape::to_json),
            "years_exposed": view.years_exposed});
        steps.push(Step::new("average intensity", AVERAGE_INTENSITY, inputs, mean.to_json()));
    }
    if let Some(share) = view.measured_share {
        let weighted = |piece: &Piece| significant(piece.days.full_time_days(piece.shifts_per_week));
        let inputs: Vec<Value> = pieces
            .iter()
            .map(|piece| json!({"basis": piece.grounds.basis.as_str(), "weighted_days": weighted(piece)}))
            .collect();
        steps.push(Step::new("measured share", MEASURED_SHARE, json!(inputs), json!(share)));
    }
    if let Some(days) = &view.days_at_or_above_action_level {
        let inputs = json!({"window_months": crate::surveillance::day_count::WINDOW_MONTHS});
        steps.push(Step::new("days at or above the action level", DAYS, inputs, days.to_json()));
    }
    steps
}

fn whole(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}
