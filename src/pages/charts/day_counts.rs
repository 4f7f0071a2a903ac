//! Days at or above the action level: by calendar year, and the most in any twelve months.

use crate::conclusions::history::day_numbers::DayNumbers;
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::said;
use crate::pages::charts::scale::{Scale, span_from_zero};
use crate::pages::charts::svg::{Anchor, Area, Plate, Svg};
use std::collections::BTreeMap;

/// A row of the drawing.
struct Bar {
    name: String,
    days: i64,
    worst: bool,
}

/// The counts by standing; `threshold` is the number of days from which a clause asks for something.
pub fn day_counts(id: &str, days: &DayNumbers, threshold: Option<i64>) -> Figure {
    let years: BTreeMap<String, i64> = days
        .by_standing
        .calendar_years
        .as_object()
        .into_iter()
        .flatten()
        .filter_map(|(year, count)| Some((year.clone(), count.as_i64()?)))
        .collect();
    let mut bars: Vec<Bar> = years.into_iter().map(|(name, days)| Bar { name, days, worst: false }).collect();
    let worst = &days.by_standing.worst_12_months;
    let window = if worst.from.is_some() {
        format!("worst 12 months, {}", said::period(worst.from, worst.to))
    } else {
        "worst 12 months".to_owned()
    };
    bars.push(Bar { name: window, days: worst.count, worst: true });
    let mut desc = vec!["Assigned days while the group stood at or above the action level, own measured days in their place; counted over the whole life and all sites.".to_owned()];
    desc.extend(bars.iter().map(|bar| format!("{}: {}.", bar.name, said::count(bar.days, "count-day"))));
    desc.push(format!(
        "Own averages at or above: {} in the worst 12 months; that nothing decides: {}.",
        said::count(days.measured, "count-day"),
        said::count(days.undecided, "count-day")
    ));
    if let Some(threshold) = threshold {
        desc.push(format!("The clause counts from {}.", said::count(threshold, "count-day")));
    }
    let rows = bars.iter().map(|bar| Row::of([bar.name.clone(), said::tick(said::whole(bar.days))]));
    let said = Said {
        title: "Days at or above the action level".to_owned(),
        desc,
        // Without it what is planned would be taken for what was.
        notes: vec!["Counted to twelve months after the day of this view: the days after it are planned, as the assignments stand, and not worked yet.".to_owned()],
        key: threshold
            .map(|days| (KeyMark::Limit, format!("from {}", said::count(days, "count-day"))))
            .into_iter()
            .collect(),
        table: Table {
            caption: "Days by standing.".to_owned(),
            columns: vec![Column::text("Time"), Column::number("Days")],
            rows: rows.collect(),
        },
    };
    Figure::drawn(said, |plate| draw(id, plate, &bars, threshold))
}

fn draw(id: &str, plate: Plate, bars: &[Bar], threshold: Option<i64>) -> Svg {
    let slim = plate.is_slim();
    let (left, right) = (plate.pick(340.0, 1.0), plate.width() - plate.pick(110.0, 70.0));
    let (step, top) = (plate.pick(28.0, 42.0), if threshold.is_some() { 22.0 } else { 4.0 });
    let bottom = top + step * said::many(bars.len()) + 2.0;
    let mut svg = Svg::new(id, plate, bottom + 28.0);
    let most = bars.iter().map(|bar| bar.days).chain(threshold).max().unwrap_or(1);
    let axis = Scale::linear(span_from_zero(said::whole(most)), left, right);
    for (at, bar) in bars.iter().enumerate() {
        let y = top + step * said::many(at) + if slim { 20.0 } else { 4.0 };
        let style = if bar.worst { "b" } else { "" };
        if slim {
            svg.text((0.0, y - 4.0), Anchor::Start, style, &bar.name);
        } else {
            svg.text((left - 12.0, y + 14.0), Anchor::End, style, &bar.name);
        }
        svg.rect(
            if bar.worst { "boxf" } else { "box" },
            Area::between((left, y), (axis.at(said::whole(bar.days)), y + 18.0)),
        );
        let words = said::count(bar.days, "count-day");
        svg.text(
            (axis.at(said::whole(bar.days)) + 6.0, y + 14.0),
            Anchor::Start,
            &format!("{style} halo"),
            &words,
        );
    }
    if let Some(threshold) = threshold {
        let at = axis.at(said::whole(threshold));
        svg.line("lim", (at, top - 6.0), (at, bottom));
        svg.text(
            (at, top - 10.0),
            Anchor::Middle,
            "halo",
            &format!("from {}", said::count(threshold, "count-day")),
        );
    }
    for tick in axis.ticks(44.0) {
        svg.line("ax", (tick.at, bottom), (tick.at, bottom + 5.0));
        svg.text((tick.at, bottom + 19.0), Anchor::Middle, "", &said::tick(tick.value));
    }
    svg.line("ax", (left, bottom), (right, bottom));
    svg
}
