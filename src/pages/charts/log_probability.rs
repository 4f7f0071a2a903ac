//! A group's results on a probability plot, an era a panel: where they lie on a line they are log-normal.

use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::hygiene::distributions::{normal_cdf, normal_quantile};
use crate::model::measured::Measured;
use crate::model::printed::share::share;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{EraShift, fitted, is_level, posterior_of, shifts_of, unit_of};
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::levels::{LevelLine, of_profile};
use crate::pages::charts::marks::{Along, Dot};
use crate::pages::charts::names::Names;
use crate::pages::charts::plotting::positions;
use crate::pages::charts::said::{self, counted};
use crate::pages::charts::scale::{Scale, linear_span, log_span};
use crate::pages::charts::svg::{Anchor, Plate, Svg, shortened};
use std::fmt::Write as _;

/// Shares of shifts that are ruled.
const RULED: [f64; 5] = [0.05, 0.25, 0.5, 0.75, 0.95];
/// The axis of probability reaches at least so many standard deviations to either side.
const REACH_LEAST: f64 = 2.1;
/// Points of the band.
const BAND_POINTS: i32 = 14;

/// One era, ready to be drawn.
struct Panel<'v> {
    heading: String,
    shifts: Vec<EraShift<'v>>,
    shares: Vec<f64>,
    line: Option<(f64, f64)>,
    /// Along the axis of probability: the score, and both ends of the band there.
    band: Vec<(f64, f64, f64)>,
    levels: Vec<LevelLine>,
}

/// The eras of a group for one agent (and one criterion of noise), as panels; `shifts` are those of the group.
///
/// A bound stands at its limit with its tail along the axis of concentrations. The line is that of the profile and is missing
/// where the profile has none; its band is the middle 90 % of the posterior of each percentile.
pub fn log_probability(
    id: &str,
    eras: &[ProfileView],
    shifts: &[ShiftAverageView],
    names: &Names,
) -> Option<Figure> {
    let told: Vec<&ProfileView> = eras.iter().filter(|era| era.1.0.n > 0).collect();
    let unit = told.iter().find_map(|era| unit_of(era))?;
    let panels: Vec<Panel<'_>> = told.iter().map(|era| panel(era, shifts)).collect();
    let agent = names.agent(&told[0].0.agent_code);
    let mut said =
        Said { title: format!("{agent}: results on a probability plot, an era a panel"), ..Said::default() };
    for (era, panel) in told.iter().zip(&panels) {
        describe(&mut said, era, panel, unit);
    }
    said.key = key(&panels);
    said.table = table(&panels, unit, names);
    let reach = panels
        .iter()
        .flat_map(|panel| &panel.shares)
        .map(|share| normal_quantile(*share).abs() + 0.15)
        .fold(REACH_LEAST, f64::max);
    let span = span(&panels, unit);
    Some(Figure::drawn(said, |plate| draw(id, plate, &panels, unit, span, reach)))
}

fn panel<'v>(era: &ProfileView, shifts: &'v [ShiftAverageView]) -> Panel<'v> {
    let all = shifts_of(era, shifts);
    let levels = of_profile(era, &all);
    let posterior = posterior_of(era, &all);
    let line = fitted(era);
    let mut inside: Vec<EraShift<'v>> = all.into_iter().filter(|shift| shift.in_profile).collect();
    inside.sort_by(|one, other| {
        let upper = |shift: &EraShift<'_>| shift.value.upper().unwrap_or(shift.value.lower());
        upper(one).total_cmp(&upper(other)).then(one.value.is_value().cmp(&other.value.is_value()))
    });
    let values: Vec<Measured> = inside.iter().map(|shift| shift.value).collect();
    let mut band = Vec::new();
    if let (Some(posterior), Some(_)) = (posterior, line) {
        for step in 0..=BAND_POINTS {
            let z = REACH_LEAST * (2.0 * f64::from(step) / f64::from(BAND_POINTS) - 1.0);
            let p = normal_cdf(z);
            let (low, high) =
                (posterior.ln_percentile_quantile(p, 0.05), posterior.ln_percentile_quantile(p, 0.95));
            band.push((z, low.exp(), high.exp()));
        }
    }
    Panel {
        heading: said::period(era.0.from, era.0.to),
        shares: positions(&values),
        shifts: inside,
        line,
        band,
        levels,
    }
}

fn describe(said: &mut Said, era: &ProfileView, panel: &Panel<'_>, unit: Unit) {
    let figures = &era.1.0;
    let levels: Vec<f64> = panel.levels.iter().map(|level| level.value).collect();
    let of = |value: f64| format!("{} {}", said::number(value, unit, &levels), unit.symbol());
    let mut text = format!(
        "{}: {}, {} of them below a reporting limit.",
        panel.heading,
        said::count(figures.n, "count-result"),
        figures.n_below
    );
    match panel.line {
        Some((mean, spread)) if is_level(unit) => {
            let _ = write!(text, " Mean level {}, standard deviation {}.", of(mean), of(spread));
        }
        Some((mean, spread)) => {
            let (mean, spread) = (of(mean.exp()), said::bare(spread.exp()));
            let _ = write!(text, " Geometric mean {mean}, geometric standard deviation {spread}.");
        }
        None => {
            said.notes
                .push(format!("{}: no line is drawn, since these results allow no fit.", panel.heading));
        }
    }
    if let Some(percentile) = &figures.percentile_95 {
        let upper = percentile
            .upper_70
            .map_or_else(String::new, |upper| format!(", at 70 % confidence at most {}", of(upper)));
        let _ = write!(text, " 95th percentile {}{upper}.", of(percentile.estimate));
    }
    for level in &panel.levels {
        let _ = write!(text, " The {}.", level.named());
    }
    said.desc.push(text);
    if era.0.date_count < 3 {
        said.notes.insert(0, format!("{}: too few dates to describe this group.", panel.heading));
    }
    if panel.line.is_some() && panel.band.is_empty() && !is_level(unit) {
        said.notes.push(format!("{}: the line has no band.", panel.heading));
    }
    let missing = figures.n - counted(panel.shifts.len());
    if missing > 0 {
        let missing = said::count(missing, "count-result-is");
        said.notes.push(format!("{}: {missing} not shown here.", panel.heading));
    }
}

fn key(panels: &[Panel<'_>]) -> Vec<(KeyMark, String)> {
    let any = |which: fn(Measured) -> bool| {
        panels.iter().flat_map(|panel| &panel.shifts).any(|shift| which(shift.value))
    };
    let mut key = Vec::new();
    if any(Measured::is_value) {
        key.push((KeyMark::Other, "a shift".to_owned()));
    }
    if any(|value| matches!(value, Measured::Below(_) | Measured::Between { lower: 0.0, .. })) {
        let words =
            "below a reporting limit: the bar stands at that limit, the truth somewhere along the tail";
        key.push((KeyMark::NonDetect, words.to_owned()));
    }
    if any(|value| matches!(value, Measured::Between { lower, .. } if lower > 0.0)) {
        key.push((KeyMark::Range, "known as a range".to_owned()));
    }
    if panels.iter().any(|panel| panel.line.is_some()) {
        key.push((KeyMark::Estimate, "fitted line".to_owned()));
    }
    if panels.iter().any(|panel| !panel.band.is_empty()) {
        key.push((KeyMark::BandRepresented, "where each percentile lies with 90 % probability".to_owned()));
    }
    if panels.iter().flat_map(|panel| &panel.shifts).any(|shift| !shift.is_accepted()) {
        key.push((KeyMark::NotAccepted, "not accepted yet".to_owned()));
    }
    key
}

fn table(panels: &[Panel<'_>], unit: Unit, names: &Names) -> Table {
    let mut rows = Vec::new();
    for panel in panels {
        let levels: Vec<f64> = panel.levels.iter().map(|level| level.value).collect();
        for (shift, position) in panel.shifts.iter().zip(&panel.shares).rev() {
            rows.push(Row::of([
                said::date(shift.view.shift_date),
                names.worker(shift.view.worker_id).to_owned(),
                panel.heading.clone(),
                said::measured(shift.value, unit, &levels),
                share(*position, &[]),
                if shift.is_accepted() { String::new() } else { "not accepted yet".to_owned() },
            ]));
        }
    }
    Table {
        caption:
            "The results of each era, the greatest first, with the share of shifts at or below by their rank."
                .to_owned(),
        columns: vec![
            Column::text("Shift"),
            Column::text("Worker"),
            Column::text("Era"),
            Column::number("8-hour average"),
            Column::number("At or below"),
            Column::text("Remarks"),
        ],
        rows,
    }
}

/// The values that all panels share as their axis.
fn span(panels: &[Panel<'_>], unit: Unit) -> (f64, f64) {
    let mut values = Vec::new();
    for panel in panels {
        values.extend(panel.levels.iter().map(|level| level.value));
        for shift in &panel.shifts {
            values.extend(shift.value.upper());
            values.extend(Some(shift.value.lower()).filter(|lower| *lower > 0.0));
        }
        if let Some((mean, spread)) = panel.line {
            let at = |z: f64| if is_level(unit) { mean + z * spread } else { (mean + z * spread).exp() };
            values.extend([at(-1.645), at(1.645)]);
        }
    }
    if is_level(unit) { linear_span(values, 5.0) } else { log_span(values) }
}

fn draw(id: &str, plate: Plate, panels: &[Panel<'_>], unit: Unit, span: (f64, f64), reach: f64) -> Svg {
    let columns = plate.pick(panels.len().clamp(1, 3), 1);
    let (gap, left, height) = (plate.pick(34.0, 0.0), 44.0, 274.0);
    let width = ((plate.width() - gap * (said::many(columns) - 1.0)) / said::many(columns)).min(640.0);
    let rows = panels.len().div_ceil(columns);
    let mut svg = Svg::new(id, plate, said::many(rows) * height + 18.0);
    for (at, panel) in panels.iter().enumerate() {
        let x = said::many(at % columns) * (width + gap);
        let y = said::many(at / columns) * height;
        let frame =
            Frame { left: x + left, right: x + width - 10.0, top: y + 42.0, bottom: y + height - 40.0 };
        draw_panel(&mut svg, &frame, panel, unit, (span, reach));
    }
    let kind = if is_level(unit) { "8-hour level" } else { "8-hour average, log axis" };
    let words = plate.pick(
        format!("{kind}, {}; upwards: share of shifts at or below, %", unit.symbol()),
        format!("{kind}, {}; upwards: % of shifts", unit.symbol()),
    );
    let bottom = svg.height();
    svg.text((left, bottom - 6.0), Anchor::Start, "s", &words);
    svg
}

/// Where the axes of one panel stand.
struct Frame {
    left: f64,
    right: f64,
    top: f64,
    bottom: f64,
}

fn draw_panel(svg: &mut Svg, frame: &Frame, panel: &Panel<'_>, unit: Unit, (span, reach): ((f64, f64), f64)) {
    let Frame { left, right, top, bottom } = *frame;
    let axis = Scale::of(!is_level(unit), span, left, right);
    let score = Scale::linear((-reach, reach), bottom, top);
    let heading = shortened(&panel.heading, right - left + 30.0, "b");
    svg.text((left, top - 27.0), Anchor::Start, "b", &heading);
    for share in RULED {
        let y = score.at(normal_quantile(share));
        svg.line("tick", (left, y), (right, y));
        svg.text((left - 7.0, y + 4.0), Anchor::End, "", &said::tick(100.0 * share));
    }
    for tick in axis.ticks(32.0) {
        svg.line("ax", (tick.at, bottom), (tick.at, bottom + if tick.ruled { 6.0 } else { 4.0 }));
        if tick.named {
            svg.text((tick.at, bottom + 20.0), Anchor::Middle, "", &said::tick(tick.value));
        }
    }
    if !panel.band.is_empty() {
        let low: Vec<(f64, f64)> =
            panel.band.iter().map(|(z, low, _)| (axis.at(*low), score.at(*z))).collect();
        let high: Vec<(f64, f64)> =
            panel.band.iter().map(|(z, _, high)| (axis.at(*high), score.at(*z))).collect();
        let around: Vec<(f64, f64)> = low.iter().chain(high.iter().rev()).copied().collect();
        svg.path("bfill", &around, true);
        svg.path("bedge", &low, false);
        svg.path("bedge", &high, false);
    }
    svg.line("ax", (left, bottom), (right, bottom));
    svg.line("ax", (left, top), (left, bottom));
    for level in &panel.levels {
        let x = axis.at(level.value);
        svg.line(level.class(), (x, top - 6.0), (x, bottom));
    }
    label_levels(svg, &axis, &panel.levels, top - 9.0);
    if let Some((mean, spread)) = panel.line {
        let bent = |value: f64| if is_level(unit) { value } else { value.ln() };
        let at = |z: f64| if is_level(unit) { mean + z * spread } else { (mean + z * spread).exp() };
        // The line ends where either axis does.
        let (from, to) = if spread > 0.0 {
            let ends = ((bent(span.0) - mean) / spread, (bent(span.1) - mean) / spread);
            (ends.0.max(-reach), ends.1.min(reach))
        } else {
            (-reach, reach)
        };
        if from < to {
            svg.line("est", (axis.at(at(from)), score.at(from)), (axis.at(at(to)), score.at(to)));
        }
    }
    for (shift, share) in panel.shifts.iter().zip(&panel.shares) {
        let y = score.at(normal_quantile(*share));
        svg.value(shift.value, Dot::Open, &axis, y, Along::Right);
        if !shift.is_accepted() {
            let at = shift.value.upper().unwrap_or(shift.value.lower());
            svg.not_accepted((axis.at(at), y));
        }
    }
}

/// Names of levels above an axis that runs to the right: the lesser to the left of its line, the greater to the right.
pub fn label_levels(svg: &mut Svg, axis: &Scale, levels: &[LevelLine], y: f64) {
    let mut ordered: Vec<&LevelLine> = levels.iter().collect();
    ordered.sort_by(|one, other| one.value.total_cmp(&other.value));
    let last = ordered.len().saturating_sub(1);
    for (at, level) in ordered.iter().enumerate() {
        let x = axis.at(level.value);
        let (anchor, x) = if at == last { (Anchor::Start, x - 3.0) } else { (Anchor::End, x + 3.0) };
        // Two names beside each other keep off the middle between them.
        let x = if ordered.len() > 1 { x + if at == last { 7.0 } else { -7.0 } } else { x };
        svg.text((x, y), anchor, "halo", &level.named_short());
    }
}
