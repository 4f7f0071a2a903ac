//! The dates of one duty on a line: what was counted, when it was learned of, when it is due, when it was done.

use crate::model::facts::duty::{DutyStatus, Window};
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::said;
use crate::pages::charts::scale::{dates, day, time};
use crate::pages::charts::svg::{Anchor, Area, Plate, Svg, text_width};
use chrono::{Days, NaiveDate};

/// The dates of a duty.
#[derive(Debug, Clone, PartialEq)]
pub struct DutyDates {
    /// What it asks for.
    pub words: String,
    /// How it stands.
    pub status: DutyStatus,
    /// The window whose days were counted, where one was.
    pub window: Option<Window>,
    /// When the registry learned of it, where the reader is told.
    pub learned_on: Option<NaiveDate>,
    /// By when the clause asks.
    pub due_on: NaiveDate,
    /// When it was done, declined or waived.
    pub done_on: Option<NaiveDate>,
    /// The day of asking.
    pub today: NaiveDate,
}

/// The line of a duty.
pub fn duty_line(id: &str, duty: &DutyDates) -> Figure {
    let mut points: Vec<(NaiveDate, String)> = Vec::new();
    points.extend(duty.learned_on.map(|on| (on, "learned of".to_owned())));
    points.push((duty.due_on, "due".to_owned()));
    points.extend(duty.done_on.map(|on| (on, said::duty(duty.status))));
    points.push((duty.today, "today".to_owned()));
    points.sort_by_key(|point| point.0);
    let mut desc = vec![format!("{}.", duty.words)];
    if let Some(window) = &duty.window {
        desc.push(format!("Days were counted from {}.", said::period(Some(window.from), Some(window.to))));
    }
    desc.extend(points.iter().map(|(on, words)| format!("{}: {words}.", said::date(*on))));
    let mut rows: Vec<Row> =
        points.iter().map(|(on, words)| Row::of([said::date(*on), words.clone()])).collect();
    if let Some(window) = &duty.window {
        let period = said::period(Some(window.from), Some(window.to));
        rows.insert(0, Row::of([period, "days counted".to_owned()]));
    }
    let said = Said {
        title: format!("Dates of the duty: {}", duty.words),
        desc,
        notes: Vec::new(),
        key: duty.window.iter().map(|_| (KeyMark::BandRepresented, "days counted".to_owned())).collect(),
        table: Table {
            caption: "The dates of the duty.".to_owned(),
            columns: vec![Column::text("Date"), Column::text("What")],
            rows,
        },
    };
    Figure::drawn(said, |plate| draw(id, plate, duty, &points))
}

fn draw(id: &str, plate: Plate, duty: &DutyDates, points: &[(NaiveDate, String)]) -> Svg {
    let (left, right) = (8.0, plate.width() - 8.0);
    let window = duty.window.as_ref();
    let all =
        || points.iter().map(|point| point.0).chain(window.into_iter().flat_map(|one| [one.from, one.to]));
    let first = all().min().unwrap_or(duty.due_on);
    let last = all().max().unwrap_or(duty.due_on);
    let margin = Days::new(u64::try_from((last - first).num_days() / 20).unwrap_or(0).max(3));
    let span =
        (first.checked_sub_days(margin).unwrap_or(first), last.checked_add_days(margin).unwrap_or(last));
    let x = time(span, left, right);
    // A line of text for every date that has no room beside the one before.
    let mut free: Vec<f64> = Vec::new();
    let labels: Vec<(f64, f64, usize, String)> = points
        .iter()
        .map(|(on, words)| {
            let words = format!("{words} {}", said::date(*on));
            let at = x.at(day(*on));
            let width = text_width(&words, "");
            let start = (at + 5.0).min(right - width).max(left);
            let row = free.iter().position(|free| *free <= start.min(at - 3.0)).unwrap_or(free.len());
            if row == free.len() {
                free.push(0.0);
            }
            free[row] = start + width + 10.0;
            (at, start, row, words)
        })
        .collect();
    let line = 30.0 + 17.0 * said::many(free.len());
    let mut svg = Svg::new(id, plate, line + 30.0);
    if let Some(window) = window {
        let (from, to) = (x.at(day(window.from)), x.at(day(window.to)));
        svg.rect("bg", Area::between((from, line - 10.0), (to, line)));
    }
    for (at, start, row, words) in &labels {
        let y = 14.0 + 17.0 * said::many(*row);
        svg.line("thin", (*at, y - 10.0), (*at, line));
        let style = if words.starts_with("due") { "b halo" } else { "halo" };
        svg.text((*start, y), Anchor::Start, style, words);
    }
    svg.pennant((x.at(day(duty.due_on)).min(right - 15.0), line), duty.status);
    for (at, name) in dates(&x, plate.pick(70.0, 74.0)) {
        svg.line("ax", (at, line), (at, line + 5.0));
        svg.text((at, line + 20.0), Anchor::Middle, "", &name);
    }
    svg.line("ax", (left, line), (right, line));
    svg
}
