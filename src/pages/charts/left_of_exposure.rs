//! What a control left of the exposure: the ratio (of noise the difference in dB) with its interval and the target.

use crate::conclusions::verdict::view::VerdictView;
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::names::Names;
use crate::pages::charts::said;
use crate::pages::charts::scale::{Scale, linear_span, log_span};
use crate::pages::charts::svg::{Anchor, Area, Plate, Svg, shortened};
use std::fmt::Write as _;

/// Greater reductions are said as more than this (displays that mislead are forbidden).
const MOST_SAID: f64 = 99.0;

/// One position.
struct EffectRow {
    name: String,
    words: String,
    estimate: Option<f64>,
    lower: Option<f64>,
    upper: Option<f64>,
    numbers: String,
    reduction: String,
}

struct Picture {
    decibels: bool,
    rows: Vec<EffectRow>,
    target: Option<f64>,
    span: (f64, f64),
}

/// The ratios of a control's verdicts on a task, with over without; `None` where none has any.
///
/// What a filter takes out of the air that enters it is another thing and never stands in this figure.
pub fn ratios(id: &str, verdicts: &[VerdictView], names: &Names) -> Option<Figure> {
    let mut rows = Vec::new();
    for verdict in verdicts {
        let Some(ratio) = &verdict.ratio_of_geometric_means else { continue };
        rows.push(EffectRow {
            name: name(verdict),
            words: words(verdict),
            estimate: ratio.estimate,
            lower: ratio.lower_95,
            upper: ratio.upper_95,
            numbers: ends(ratio.estimate, ratio.lower_95, ratio.upper_95, &said::bare),
            reduction: reduction(verdict),
        });
    }
    let target =
        verdicts.iter().find_map(|one| one.target_reduction_percent).map(|target| 1.0 - target / 100.0);
    let values = rows.iter().flat_map(|row| [row.estimate, row.lower, row.upper]).flatten();
    let span = log_span(values.chain([1.0]).chain(target.filter(|target| *target > 0.0)));
    figure(id, verdicts, names, &Picture { decibels: false, rows, target, span })
}

/// The differences of noise of a control's verdicts on a task, with less without; `None` where none has any.
pub fn level_differences(id: &str, verdicts: &[VerdictView], names: &Names) -> Option<Figure> {
    let mut rows = Vec::new();
    for verdict in verdicts {
        let Some(difference) = &verdict.difference_level else { continue };
        let of = |value: f64| said::number(value, difference.unit, &[0.0]);
        rows.push(EffectRow {
            name: name(verdict),
            words: words(verdict),
            estimate: difference.estimate,
            lower: difference.lower_95,
            upper: difference.upper_95,
            numbers: ends(difference.estimate, difference.lower_95, difference.upper_95, &of),
            reduction: String::new(),
        });
    }
    let values = rows.iter().flat_map(|row| [row.estimate, row.lower, row.upper]).flatten();
    let span = linear_span(values.chain([0.0]), 5.0);
    figure(id, verdicts, names, &Picture { decibels: true, rows, target: None, span })
}

fn name(verdict: &VerdictView) -> String {
    let position = said::position(verdict.position);
    if verdict.short_term { format!("{position}, short term") } else { position }
}

/// The verdict in a few words, never without what else differed.
fn words(verdict: &VerdictView) -> String {
    let mut words = verdict.verdict.map_or_else(|| "no verdict".to_owned(), said::verdict);
    if let Some(more) = verdict.further_samples {
        let _ = write!(words, ": {} more each", said::count(more, "count-shift"));
    }
    if verdict.confounded {
        words.push_str("; more than the control differed");
    }
    words
}

/// An estimate with its interval; an end that is not known is said so.
fn ends(estimate: Option<f64>, lower: Option<f64>, upper: Option<f64>, of: &dyn Fn(f64) -> String) -> String {
    match (estimate, lower, upper) {
        (Some(estimate), Some(lower), Some(upper)) => {
            format!("{} (95 % interval {} to {})", of(estimate), of(lower), of(upper))
        }
        (Some(estimate), _, _) => format!("{} (no interval)", of(estimate)),
        (None, _, Some(upper)) => format!("at most {}", of(upper)),
        (None, Some(lower), None) => format!("at least {}", of(lower)),
        (None, None, None) => "not known".to_owned(),
    }
}

/// The reduction with its interval.
pub fn reduction(verdict: &VerdictView) -> String {
    let Some(reduction) = &verdict.reduction_percent else { return String::new() };
    let target: Vec<f64> = verdict.target_reduction_percent.into_iter().collect();
    let of = |value: f64| {
        if value > MOST_SAID {
            format!("> {}", said::tick(MOST_SAID))
        } else {
            said::per_cent(value, &target)
        }
    };
    ends(reduction.estimate, reduction.lower_95, reduction.upper_95, &of)
}

fn figure(id: &str, verdicts: &[VerdictView], names: &Names, picture: &Picture) -> Option<Figure> {
    let first = verdicts.first().filter(|_| !picture.rows.is_empty())?;
    let control = names.control(first.control_id);
    let agent = names.agent(&first.agent_code);
    let counts = |verdict: &VerdictView| {
        format!("{} without, {} with", verdict.n_without.unwrap_or(0), verdict.n_with.unwrap_or(0))
    };
    let shown = verdicts.iter().filter(|verdict| {
        if picture.decibels {
            verdict.difference_level.is_some()
        } else {
            verdict.ratio_of_geometric_means.is_some()
        }
    });
    let shown: Vec<&VerdictView> = shown.collect();
    let mut desc = vec![if picture.decibels {
        "The level with the control less the level without it, in dB: below 0 it was lower.".to_owned()
    } else {
        "With the control divided by without it: 1 is no change, left of it exposure was lowered.".to_owned()
    }];
    let mut rows = Vec::new();
    for (row, verdict) in picture.rows.iter().zip(&shown) {
        let unit = if picture.decibels { " dB" } else { "" };
        desc.push(format!("{}: {}{unit}, {} shifts; {}.", row.name, row.numbers, counts(verdict), row.words));
        rows.push(Row::of([
            row.name.clone(),
            counts(verdict),
            row.numbers.clone(),
            row.reduction.clone(),
            row.words.clone(),
        ]));
    }
    if let Some(target) = picture.target {
        desc.push(format!("The target is {}.", said::bare(target)));
    }
    let mut key = vec![(KeyMark::Interval, "estimate with its 95 % interval".to_owned())];
    if picture.target.is_some() {
        key.push((KeyMark::Target, "target".to_owned()));
    }
    let what = if picture.decibels { "Difference, dB" } else { "With over without" };
    let mut columns = vec![
        Column::text("Position"),
        Column::text("Shifts"),
        Column::number(what),
        Column::number("Lowered by, %"),
        Column::text("Verdict"),
    ];
    if picture.decibels {
        columns.remove(3);
        for row in &mut rows {
            row.cells.remove(3);
        }
    }
    let title = if picture.decibels {
        format!("{agent}: by how many dB it changed with “{control}”")
    } else {
        format!("{agent}: what is left of it with “{control}”")
    };
    let said = Said {
        title,
        desc,
        notes: Vec::new(),
        key,
        table: Table { caption: "The same numbers.".to_owned(), columns, rows },
    };
    Some(Figure::drawn(said, |plate| draw(id, plate, picture)))
}

fn draw(id: &str, plate: Plate, picture: &Picture) -> Svg {
    let (left, right) = (plate.pick(250.0, 10.0), plate.width() - plate.pick(320.0, 10.0));
    let (step, top) = (plate.pick(46.0, 72.0), 28.0);
    let bottom = top + step * said::many(picture.rows.len()) + 4.0;
    let mut svg = Svg::new(id, plate, bottom + 44.0);
    let axis = Scale::of(!picture.decibels, picture.span, left, right);
    for tick in axis.ticks(36.0) {
        if tick.named {
            svg.line("tick", (tick.at, top), (tick.at, bottom));
            svg.text((tick.at, bottom + 20.0), Anchor::Middle, "", &said::tick(tick.value));
        }
        svg.line("ax", (tick.at, bottom), (tick.at, bottom + if tick.ruled { 6.0 } else { 4.0 }));
    }
    svg.line("ax", (left, bottom), (right, bottom));
    let none = axis.at(if picture.decibels { 0.0 } else { 1.0 });
    svg.line("lim", (none, top - 6.0), (none, bottom));
    if let Some(target) = picture.target.filter(|target| axis.holds(*target)) {
        let at = axis.at(target);
        svg.line("tgt", (at, top - 6.0), (at, bottom));
        // Where the target stands near no change, its name keeps to its other side.
        let words = format!("target {}", said::bare(target));
        svg.text((at - 2.0, top - 12.0), Anchor::End, "s halo", &words);
    }
    let near = picture.target.is_some_and(|target| none - axis.at(target) < 60.0);
    svg.text((none - 6.0, top - 12.0), Anchor::End, "s halo", if near { "" } else { "lowered" });
    svg.text((none + 6.0, top - 12.0), Anchor::Start, "s halo", "raised");
    for (at, row) in picture.rows.iter().enumerate() {
        let y = top + step * (said::many(at) + 1.0) - plate.pick(18.0, 14.0);
        if plate.is_slim() {
            let words = shortened(&format!("{}: {}", row.name, row.words), 338.0, "b");
            svg.text((left, y - 33.0), Anchor::Start, "b halo", &words);
            svg.text((left, y - 16.0), Anchor::Start, "halo", &row.numbers);
        } else {
            svg.text((0.0, y + 4.0), Anchor::Start, "b", &shortened(&row.name, left - 20.0, "b"));
            svg.text((right + 16.0, y - 3.0), Anchor::Start, "b", &shortened(&row.words, 300.0, "b"));
            svg.text((right + 16.0, y + 14.0), Anchor::Start, "", &shortened(&row.numbers, 300.0, ""));
        }
        let (low, high) = axis.ends();
        let (from, to) =
            (row.lower.map_or(low, |end| axis.at(end)), row.upper.map_or(high, |end| axis.at(end)));
        svg.line("est", (from, y), (to, y));
        for end in [row.lower, row.upper].into_iter().flatten() {
            svg.line("est", (axis.at(end), y - 7.0), (axis.at(end), y + 7.0));
        }
        if let Some(estimate) = row.estimate {
            svg.rect("notch", Area { x: axis.at(estimate) - 5.0, y: y - 5.0, width: 10.0, height: 10.0 });
        }
    }
    let words = if picture.decibels {
        "with less without, dB"
    } else {
        plate.pick("with divided by without, log axis", "with over without, log axis")
    };
    svg.text((right, bottom + 38.0), Anchor::End, "s", words);
    svg
}
