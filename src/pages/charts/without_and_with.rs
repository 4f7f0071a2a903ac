//! What was measured without and with a control, at each position.

use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::conclusions::verdict::view::VerdictView;
use crate::hygiene::distributions::t_quantile;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape as _;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{EraShift, is_level};
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::levels::{LevelLine, of_days};
use crate::pages::charts::log_probability::label_levels;
use crate::pages::charts::marks::{Along, Dot, stacked};
use crate::pages::charts::names::Names;
use crate::pages::charts::said::{self, counted};
use crate::pages::charts::scale::{Scale, linear_span, log_span};
use crate::pages::charts::svg::{Anchor, Plate, Svg, shortened};

/// The step of a verdict's working that holds the values compared, one a shift.
const VALUES_COMPARED: &str = "pairing";

/// One row: a state at a position.
struct StateRow {
    /// The position, at the first row of it.
    position: Option<String>,
    state: &'static str,
    values: Vec<Measured>,
    dot: Dot,
    /// Geometric mean (of noise the mean) with its two-sided 95 % interval.
    mean: Option<(f64, f64, f64)>,
    /// Whether the values are 8-hour averages, so that limits may be drawn.
    eight_hour: bool,
}

struct Picture {
    unit: Unit,
    span: (f64, f64),
    rows: Vec<StateRow>,
    levels: Vec<LevelLine>,
}

/// The values that a verdict compared, without and with, as its working holds them; `None` where no working was asked for.
pub fn compared(verdict: &VerdictView) -> Option<(Vec<Quantity>, Vec<Quantity>)> {
    let steps = verdict.working.as_ref()?;
    let inputs = &steps.iter().find(|step| step.step == VALUES_COMPARED)?.inputs;
    let side = |name: &str| -> Option<Vec<Quantity>> {
        inputs[name].as_array()?.iter().map(|value| Quantity::parse(value).ok()).collect()
    };
    Some((side("without")?, side("with")?))
}

/// The verdicts of one control on a task for one agent, each with its working; `None` where no value was compared.
///
/// `eight_hour` are 8-hour averages of shifts on which the control ran: limits of 8-hour averages are drawn beside them and
/// beside nothing else, since all other values are means over the time that was sampled.
pub fn without_and_with(
    id: &str,
    verdicts: &[VerdictView],
    eight_hour: &[ShiftAverageView],
    names: &Names,
) -> Option<Figure> {
    let first = verdicts.first()?;
    let mut unit: Option<Unit> = None;
    let mut rows = Vec::new();
    for verdict in verdicts {
        let Some((without, with)) = compared(verdict) else { continue };
        let of = *unit.get_or_insert(without.iter().chain(&with).next()?.unit);
        let position = if verdict.short_term {
            format!("{}, short term", said::position(verdict.position))
        } else {
            said::position(verdict.position)
        };
        for (state, side, dot) in [("without", without, Dot::Open), ("with", with, Dot::Filled)] {
            let values: Vec<Measured> = side.iter().filter_map(|value| value.in_unit(of)).collect();
            rows.push(StateRow {
                position: (state == "without").then(|| position.clone()),
                state,
                mean: mean(&values, of),
                values,
                dot,
                eight_hour: false,
            });
        }
    }
    let unit = unit?;
    let shifts: Vec<EraShift<'_>> = eight_hour
        .iter()
        .filter(|view| view.agent_code == first.agent_code)
        .filter_map(|view| {
            let value = view.eight_hour_twa.as_ref()?.in_unit(unit)?;
            Some(EraShift { view, value, in_profile: true })
        })
        .collect();
    let mut levels = Vec::new();
    if !shifts.is_empty() {
        let values: Vec<Measured> = shifts.iter().map(|shift| shift.value).collect();
        rows.push(StateRow {
            position: Some("8-hour averages".to_owned()),
            state: "with",
            mean: mean(&values, unit),
            values,
            dot: Dot::Filled,
            eight_hour: true,
        });
        // Of levels that followed each other the last is drawn, the others are said.
        let days = of_days(&shifts, unit);
        levels = days
            .iter()
            .filter(|line| line.is_lawful())
            .filter(|line| {
                !days.iter().any(|other| {
                    other.kind == line.kind && other.authority == line.authority && other.from > line.from
                })
            })
            .cloned()
            .collect();
    }
    (rows.iter().any(|row| !row.values.is_empty())).then_some(())?;
    let picture = Picture { unit, span: span(&rows, &levels, unit), rows, levels };
    let said = describe(&picture, first, names);
    Some(Figure::drawn(said, |plate| draw(id, plate, &picture)))
}

/// The mean of logarithms (of noise of levels) with its two-sided 95 % interval by Student's t; `None` with a bound among the
/// values, or fewer than two.
fn mean(values: &[Measured], unit: Unit) -> Option<(f64, f64, f64)> {
    let bent: Option<Vec<f64>> = values
        .iter()
        .map(|value| match *value {
            Measured::Value(value) if is_level(unit) => Some(value),
            Measured::Value(value) if value > 0.0 => Some(value.ln()),
            _ => None,
        })
        .collect();
    let bent = bent.filter(|bent| bent.len() > 1)?;
    let n = said::many(bent.len());
    let mean = bent.iter().sum::<f64>() / n;
    let variance = bent.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / (n - 1.0);
    let half = t_quantile(0.975, n - 1.0) * (variance / n).sqrt();
    let back = |value: f64| if is_level(unit) { value } else { value.exp() };
    Some((back(mean), back(mean - half), back(mean + half)))
}

fn span(rows: &[StateRow], levels: &[LevelLine], unit: Unit) -> (f64, f64) {
    let mut values: Vec<f64> = levels.iter().map(|level| level.value).collect();
    for row in rows {
        values.extend(row.values.iter().filter_map(|value| value.upper()));
        values.extend(row.values.iter().map(|value| value.lower()).filter(|lower| *lower > 0.0));
        if let Some((_, lower, upper)) = row.mean {
            values.extend([lower, upper]);
        }
    }
    if is_level(unit) { linear_span(values, 5.0) } else { log_span(values) }
}

fn describe(picture: &Picture, verdict: &VerdictView, names: &Names) -> Said {
    let Picture { unit, rows, levels, .. } = picture;
    let numbers: Vec<f64> = levels.iter().map(|level| level.value).collect();
    let of =
        |value: f64, row: &StateRow| said::number(value, *unit, if row.eight_hour { &numbers } else { &[] });
    let mean_name = if is_level(*unit) { "mean level" } else { "geometric mean" };
    let mut desc = Vec::new();
    let mut table = Vec::new();
    let mut position = "";
    for row in rows {
        if let Some(name) = &row.position {
            position = name;
        }
        let n = said::count(counted(row.values.len()), "count-value");
        let bounds = row.values.iter().filter(|value| !value.is_value()).count();
        let below = if bounds == 0 { String::new() } else { format!(", {bounds} below a limit or a range") };
        let mean = row.mean.map_or_else(
            || "no mean is given".to_owned(),
            |(mean, lower, upper)| {
                let unit = unit.symbol();
                format!(
                    "{mean_name} {} {unit} (95 % interval {} to {})",
                    of(mean, row),
                    of(lower, row),
                    of(upper, row)
                )
            },
        );
        desc.push(format!("{position}, {}: {n}{below}; {mean}.", row.state));
        let results: Vec<String> = row
            .values
            .iter()
            .map(|value| said::measured(*value, *unit, if row.eight_hour { &numbers } else { &[] }))
            .collect();
        let (estimate, interval) = row.mean.map_or_else(Default::default, |(mean, lower, upper)| {
            (of(mean, row), format!("{} to {}", of(lower, row), of(upper, row)))
        });
        table.push(Row::of([
            position.to_owned(),
            row.state.to_owned(),
            said::tick(said::many(row.values.len())),
            estimate,
            interval,
            results.join(", "),
        ]));
    }
    desc.extend(
        levels.iter().map(|level| format!("The {}, holds for the 8-hour averages alone.", level.named())),
    );
    let mut notes = Vec::new();
    if levels.is_empty() {
        notes.push("No limit is drawn: these are means over the time that was sampled, and limits are averages over 8 hours.".to_owned());
    }
    let heads = [Column::text("Position"), Column::text("State"), Column::number("Shifts")];
    let mean_head = if is_level(*unit) { "Mean level" } else { "Geometric mean" };
    let further = [
        Column::number(format!("{mean_head}, {}", unit.symbol())),
        Column::number("95 % interval"),
        Column::text("Each value"),
    ];
    Said {
        title: format!(
            "{}: without and with “{}”",
            names.agent(&verdict.agent_code),
            names.control(verdict.control_id)
        ),
        desc,
        notes,
        key: key(picture),
        table: Table {
            caption: "The same numbers; one value a worker or place and shift.".to_owned(),
            columns: heads.into_iter().chain(further).collect(),
            rows: table,
        },
    }
}

fn key(picture: &Picture) -> Vec<(KeyMark, String)> {
    let any = |which: &dyn Fn(&StateRow) -> bool| picture.rows.iter().any(which);
    let mut key = Vec::new();
    if any(&|row| row.state == "without" && row.values.iter().any(|value| value.is_value())) {
        key.push((KeyMark::Other, "without the control".to_owned()));
    }
    if any(&|row| row.state == "with" && row.values.iter().any(|value| value.is_value())) {
        key.push((KeyMark::Own, "with it".to_owned()));
    }
    let bound = |value: &Measured| matches!(value, Measured::Below(_) | Measured::Between { lower: 0.0, .. });
    if any(&|row| row.values.iter().any(bound)) {
        let words =
            "below a reporting limit: the bar stands at that limit, the truth somewhere along the tail";
        key.push((KeyMark::NonDetect, words.to_owned()));
    }
    if any(&|row| row.mean.is_some()) {
        let mean = if is_level(picture.unit) { "mean level" } else { "geometric mean" };
        key.push((KeyMark::Interval, format!("{mean} with its 95 % interval")));
    }
    key
}

fn draw(id: &str, plate: Plate, picture: &Picture) -> Svg {
    let slim = plate.is_slim();
    let (left, right) = (plate.pick(290.0, 8.0), plate.width() - plate.pick(30.0, 8.0));
    let axis = Scale::of(!is_level(picture.unit), picture.span, left, right);
    // Marks stand on their row and upwards, the mean below it; there is a little more room before a position, and above
    // 8-hour averages for the names of limits.
    let mut places = Vec::new();
    let mut y = 10.0;
    for row in &picture.rows {
        let at: Vec<f64> =
            row.values.iter().map(|value| axis.at(value.upper().unwrap_or(value.lower()))).collect();
        let (up, height) = stacked(&at);
        y += if row.position.is_some() { 12.0 } else { 0.0 };
        y += if row.eight_hour && !picture.levels.is_empty() { 22.0 } else { 0.0 };
        y += height + plate.pick(14.0, 32.0);
        places.push((y, up, height));
        y += 26.0;
    }
    let bottom = y + 6.0;
    let mut svg = Svg::new(id, plate, bottom + 44.0);
    for tick in axis.ticks(40.0) {
        if tick.ruled {
            svg.line("tick", (tick.at, 12.0), (tick.at, bottom));
        }
        svg.line("ax", (tick.at, bottom), (tick.at, bottom + if tick.ruled { 6.0 } else { 4.0 }));
        if tick.named {
            svg.text((tick.at, bottom + 20.0), Anchor::Middle, "", &said::tick(tick.value));
        }
    }
    svg.line("ax", (left, bottom), (right, bottom));
    for (row, (y, up, height)) in picture.rows.iter().zip(&places) {
        let y = *y;
        if row.eight_hour && !picture.levels.is_empty() {
            for level in &picture.levels {
                let x = axis.at(level.value);
                svg.line(level.class(), (x, y - height - 14.0), (x, y + 20.0));
            }
            let above = y - height - if slim { 38.0 } else { 19.0 };
            label_levels(&mut svg, &axis, &picture.levels, above);
        }
        let n = said::count(counted(row.values.len()), "count-shift");
        let state = format!("{}, {n}", row.state);
        match (&row.position, slim) {
            (Some(position), true) => {
                let position = shortened(position, 200.0, "b");
                svg.text((left, y - height - 15.0), Anchor::Start, "b halo", &position);
                svg.text((right, y - height - 15.0), Anchor::End, "halo", &state);
            }
            (None, true) => svg.text((right, y - height - 15.0), Anchor::End, "halo", &state),
            (position, false) => {
                let position = position.as_deref().unwrap_or_default();
                svg.text((0.0, y + 4.0), Anchor::Start, "b", &shortened(position, left - 130.0, "b"));
                svg.text((left - 16.0, y + 4.0), Anchor::End, "", &state);
            }
        }
        svg.line("tick", (left, y), (right, y));
        for (value, up) in row.values.iter().zip(up) {
            svg.value(*value, row.dot, &axis, y - up, Along::Right);
        }
        if let Some((mean, lower, upper)) = row.mean {
            svg.interval(&axis, y + 16.0, mean, (lower, upper));
            let levels: Vec<f64> = picture.levels.iter().map(|level| level.value).collect();
            let words = said::number(mean, picture.unit, if row.eight_hour { &levels } else { &[] });
            svg.text((axis.at(upper) + 8.0, y + 20.0), Anchor::Start, "b halo", &words);
        }
    }
    let kind = if is_level(picture.unit) { "" } else { ", log axis" };
    svg.text((right, bottom + 38.0), Anchor::End, "s", &format!("{}{kind}", picture.unit.symbol()));
    svg
}
