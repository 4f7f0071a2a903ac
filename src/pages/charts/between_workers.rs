//! The spread between workers: a row a worker, with the mean of his own shifts and its interval.

use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::hygiene::own_means::own_means;
use crate::model::identifiers::WorkerId;
use crate::model::measured::Measured;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{EraShift, fitted, is_level, shifts_of, unit_of};
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::levels::{LevelLine, of_profile};
use crate::pages::charts::log_probability::label_levels;
use crate::pages::charts::marks::{Along, Dot, stacked};
use crate::pages::charts::names::Names;
use crate::pages::charts::said::{self, counted};
use crate::pages::charts::scale::{Scale, linear_span, log_span};
use crate::pages::charts::svg::{Anchor, Plate, Svg, shortened};
use std::collections::BTreeMap;

/// A worker's mean with its two-sided 95 % interval, on the axis of the values.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Mean {
    estimate: f64,
    lower: f64,
    upper: f64,
}

/// One worker's shifts.
struct WorkerRow<'v> {
    worker: WorkerId,
    shifts: Vec<EraShift<'v>>,
    mean: Option<Mean>,
    apart: bool,
}

struct Picture<'v> {
    unit: Unit,
    span: (f64, f64),
    rows: Vec<WorkerRow<'v>>,
    levels: Vec<LevelLine>,
    group_mean: Option<f64>,
}

/// The workers of an era, the one with the highest results first; `None` where nobody has a result.
///
/// Means are given where three workers have two shifts each and all shifts of the era are numbers, as the profile does.
pub fn between_workers(
    id: &str,
    era: &ProfileView,
    shifts: &[ShiftAverageView],
    names: &Names,
) -> Option<Figure> {
    let unit = unit_of(era)?;
    let all = shifts_of(era, shifts);
    let levels = of_profile(era, &all);
    let mut by_worker: BTreeMap<WorkerId, Vec<EraShift<'_>>> = BTreeMap::new();
    for shift in all.iter().filter(|shift| shift.in_profile) {
        by_worker.entry(shift.view.worker_id).or_default().push(*shift);
    }
    let means = means(&by_worker, unit);
    let mut rows: Vec<WorkerRow<'_>> = by_worker
        .into_iter()
        .enumerate()
        .map(|(at, (worker, shifts))| {
            let mean = means.get(&at).copied();
            WorkerRow { worker, shifts, mean: mean.map(|one| one.0), apart: mean.is_some_and(|one| one.1) }
        })
        .collect();
    rows.sort_by(|one, other| height(other).total_cmp(&height(one)).then(one.worker.cmp(&other.worker)));
    (!rows.is_empty()).then_some(())?;
    let mut values: Vec<f64> = levels.iter().map(|level| level.value).collect();
    for row in &rows {
        values.extend(row.shifts.iter().filter_map(|shift| shift.value.upper()));
        values.extend(row.shifts.iter().map(|shift| shift.value.lower()).filter(|lower| *lower > 0.0));
        values.extend(row.mean.iter().flat_map(|mean| [mean.lower, mean.upper]));
    }
    let span = if is_level(unit) { linear_span(values, 5.0) } else { log_span(values) };
    let middle = fitted(era).map(|(middle, _)| if is_level(unit) { middle } else { middle.exp() });
    let picture = Picture { unit, span, rows, levels, group_mean: middle };
    let said = describe(&picture, era, names);
    Some(Figure::drawn(said, |plate| draw(id, plate, &picture, names)))
}

/// By which workers are ordered: their own mean, else the greatest that is known of them.
fn height(row: &WorkerRow<'_>) -> f64 {
    let greatest = row.shifts.iter().map(|shift| shift.value.upper().unwrap_or(shift.value.lower()));
    row.mean.map_or_else(|| greatest.fold(0.0, f64::max), |mean| mean.estimate)
}

/// The means by place in the order of workers, and whether the group's mean lies outside.
fn means(by_worker: &BTreeMap<WorkerId, Vec<EraShift<'_>>>, unit: Unit) -> BTreeMap<usize, (Mean, bool)> {
    let levels = is_level(unit);
    let of = |shift: &EraShift<'_>| match shift.value {
        Measured::Value(value) if levels => Some(value),
        Measured::Value(value) if value > 0.0 => Some(value.ln()),
        _ => None,
    };
    let values: Option<Vec<Vec<f64>>> =
        by_worker.values().map(|shifts| shifts.iter().map(of).collect()).collect();
    let back = |value: f64| if levels { value } else { value.exp() };
    values
        .and_then(|values| own_means(&values))
        .into_iter()
        .flat_map(|found| found.workers)
        .map(|one| {
            let mean = Mean { estimate: back(one.mean), lower: back(one.lower), upper: back(one.upper) };
            (one.worker, (mean, one.apart))
        })
        .collect()
}

fn describe(picture: &Picture<'_>, era: &ProfileView, names: &Names) -> Said {
    let Picture { unit, rows, levels, .. } = picture;
    let numbers: Vec<f64> = levels.iter().map(|level| level.value).collect();
    let of = |value: f64| said::number(value, *unit, &numbers);
    let mean_name = if is_level(*unit) { "mean level" } else { "geometric mean" };
    let mut desc = vec![format!(
        "{}, {} in all; a row a worker, the highest first.",
        said::count(counted(rows.len()), "count-worker"),
        said::count(rows.iter().map(|row| counted(row.shifts.len())).sum(), "count-result")
    )];
    let mut table = Vec::new();
    for row in rows {
        let name = names.worker(row.worker);
        let n = said::count(counted(row.shifts.len()), "count-result");
        let results: Vec<String> =
            row.shifts.iter().map(|shift| said::measured(shift.value, *unit, &numbers)).collect();
        let (mean, interval) = row.mean.map_or_else(Default::default, |mean| {
            (of(mean.estimate), format!("{} to {}", of(mean.lower), of(mean.upper)))
        });
        if let Some(mean) = row.mean {
            let apart = if row.apart { ", apart from the group" } else { "" };
            desc.push(format!(
                "{name}: {n}, {mean_name} {} {} (95 % interval {interval}){apart}.",
                of(mean.estimate),
                unit.symbol()
            ));
        } else {
            desc.push(format!("{name}: {n}."));
        }
        let remark = if row.apart { "apart from the group’s mean" } else { "" };
        table.push(Row::of([
            name.to_owned(),
            said::tick(said::many(row.shifts.len())),
            mean,
            interval,
            results.join(", "),
            remark.to_owned(),
        ]));
    }
    let mut notes = Vec::new();
    if rows.iter().all(|row| row.mean.is_none()) {
        notes.push(
            "No worker’s own mean is given: that takes three workers with two shifts each, all detected."
                .to_owned(),
        );
    } else if let Some(apart) = era.1.1.workers_apart.as_ref().filter(|apart| apart.count > 0) {
        notes.push(format!(
            "Of {} compared {} not the group’s mean within its interval; of twenty about one does so by chance.",
            said::count(apart.compared, "count-worker"),
            if apart.count == 1 { "1 has".to_owned() } else { format!("{} have", apart.count) }
        ));
    }
    Said {
        title: format!(
            "{}: results by worker, {}",
            names.agent(&era.0.agent_code),
            said::period(era.0.from, era.0.to)
        ),
        desc,
        notes,
        key: key(picture),
        table: Table {
            caption: "Workers, the highest first, with the mean of their own shifts.".to_owned(),
            columns: vec![
                Column::text("Worker"),
                Column::number("Results"),
                Column::number(format!("{}, {}", uppercase(mean_name), unit.symbol())),
                Column::number("95 % interval"),
                Column::text("Each result"),
                Column::text("Remarks"),
            ],
            rows: table,
        },
    }
}

fn uppercase(words: &str) -> String {
    let mut signs = words.chars();
    signs.next().map_or_else(String::new, |first| first.to_uppercase().chain(signs).collect())
}

fn key(picture: &Picture<'_>) -> Vec<(KeyMark, String)> {
    let shifts = || picture.rows.iter().flat_map(|row| &row.shifts);
    let mut key = Vec::new();
    if shifts().any(|shift| shift.value.is_value()) {
        key.push((KeyMark::Other, "a shift".to_owned()));
    }
    if shifts().any(|shift| matches!(shift.value, Measured::Below(_) | Measured::Between { lower: 0.0, .. }))
    {
        let words =
            "below a reporting limit: the bar stands at that limit, the truth somewhere along the tail";
        key.push((KeyMark::NonDetect, words.to_owned()));
    }
    if picture.rows.iter().any(|row| row.mean.is_some()) {
        key.push((KeyMark::Interval, "a worker’s own mean with its 95 % interval".to_owned()));
    }
    if picture.group_mean.is_some() {
        let mean =
            if is_level(picture.unit) { "mean level of the group" } else { "geometric mean of the group" };
        key.push((KeyMark::Target, mean.to_owned()));
    }
    if shifts().any(|shift| !shift.is_accepted()) {
        key.push((KeyMark::NotAccepted, "not accepted yet".to_owned()));
    }
    key
}

fn draw(id: &str, plate: Plate, picture: &Picture<'_>, names: &Names) -> Svg {
    let (left, right) = (plate.pick(190.0, 8.0), plate.width() - plate.pick(150.0, 8.0));
    let top = 24.0;
    let axis = Scale::of(!is_level(picture.unit), picture.span, left, right);
    // Marks stand on the row and upwards, the mean below it.
    let places = |row: &WorkerRow<'_>| -> Vec<f64> {
        row.shifts.iter().map(|shift| axis.at(shift.value.upper().unwrap_or(shift.value.lower()))).collect()
    };
    let mut rows = Vec::new();
    let mut bottom = top;
    for row in &picture.rows {
        let (up, height) = stacked(&places(row));
        bottom += height + plate.pick(12.0, 30.0);
        rows.push((bottom, up));
        bottom += if row.mean.is_some() { 24.0 } else { 12.0 };
    }
    let mut svg = Svg::new(id, plate, bottom + 44.0);
    for tick in axis.ticks(34.0) {
        if tick.ruled {
            svg.line("tick", (tick.at, top - 4.0), (tick.at, bottom));
        }
        svg.line("ax", (tick.at, bottom), (tick.at, bottom + if tick.ruled { 6.0 } else { 4.0 }));
        if tick.named {
            svg.text((tick.at, bottom + 20.0), Anchor::Middle, "", &said::tick(tick.value));
        }
    }
    svg.line("ax", (left, bottom), (right, bottom));
    for level in &picture.levels {
        svg.line(level.class(), (axis.at(level.value), top - 6.0), (axis.at(level.value), bottom));
    }
    label_levels(&mut svg, &axis, &picture.levels, top - 10.0);
    if let Some(mean) = picture.group_mean {
        svg.line("tgt", (axis.at(mean), top - 2.0), (axis.at(mean), bottom));
    }
    for (row, (y, up)) in picture.rows.iter().zip(&rows) {
        let y = *y;
        let name = names.worker(row.worker);
        let style = if row.apart { "b" } else { "" };
        if plate.is_slim() {
            let n = said::count(counted(row.shifts.len()), "count-result");
            let words = shortened(&format!("{name}, {n}"), svg.width() - 16.0, style);
            let over = up.iter().copied().fold(0.0, f64::max);
            svg.text((left, y - over - 12.0), Anchor::Start, &format!("{style} halo"), words.trim());
        } else {
            svg.text((left - 12.0, y + 4.0), Anchor::End, style, &shortened(name, left - 16.0, style));
            let n = said::count(counted(row.shifts.len()), "count-result");
            let apart = if row.apart { ", apart" } else { "" };
            svg.text((right + 12.0, y + 4.0), Anchor::Start, "s", &format!("{n}{apart}"));
        }
        svg.line("tick", (left, y), (right, y));
        for ((shift, up), value) in row.shifts.iter().zip(up).zip(places(row)) {
            svg.value(shift.value, Dot::Open, &axis, y - up, Along::Right);
            if !shift.is_accepted() {
                svg.not_accepted((value, y - up));
            }
        }
        if let Some(mean) = row.mean {
            svg.interval(&axis, y + 15.0, mean.estimate, (mean.lower, mean.upper));
        }
    }
    let kind = if is_level(picture.unit) { "" } else { ", log axis" };
    let words = format!("8-hour average, {}{kind}", picture.unit.symbol());
    svg.text((right, bottom + 38.0), Anchor::End, "s", &words);
    svg
}
