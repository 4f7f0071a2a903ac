//! Where a group's 95th percentile probably lies: one curve, with the probability written between the levels.

use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::hygiene::posterior::{Posterior, RATING_EDGES};
use crate::model::facts::agent::LimitKind;
use crate::model::printed::share::share;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{posterior_of, shifts_of, unit_of};
use crate::pages::charts::figure::{Column, Figure, Row, Said, Table};
use crate::pages::charts::levels::of_profile;
use crate::pages::charts::names::Names;
use crate::pages::charts::said;
use crate::pages::charts::scale::Scale;
use crate::pages::charts::svg::{Anchor, Plate, Svg};

/// The percentile that is spoken of.
const PERCENTILE: f64 = 0.95;
/// Points of the curve.
const POINTS: i32 = 120;

struct Picture {
    unit: Unit,
    limit: f64,
    action_level: Option<f64>,
    span: (f64, f64),
    /// Values with the density there, its greatest being 1.
    curve: Vec<(f64, f64)>,
    /// From one value to the next, with the probability between.
    parts: Vec<Part>,
}

struct Part {
    from: f64,
    to: f64,
    words: String,
    probability: f64,
}

/// The posterior of an era's 95th percentile; `None` where the profile has no limit or no posterior, or its results press on
/// the prior, since then no probability is told.
pub fn posterior_curve(
    id: &str,
    era: &ProfileView,
    shifts: &[ShiftAverageView],
    names: &Names,
) -> Option<Figure> {
    let unit = unit_of(era)?;
    let all = shifts_of(era, shifts);
    let levels = of_profile(era, &all);
    let limit = levels.iter().find(|level| level.kind != LimitKind::ActionLevel)?.clone();
    let action_level =
        levels.iter().find(|level| level.kind == LimitKind::ActionLevel).map(|level| level.value);
    let posterior = posterior_of(era, &all)?;
    let picture = picture(&posterior, unit, limit.value, action_level);
    let median = era.1.0.posterior.as_ref()?.percentile_95.median;
    let upper = era.1.0.posterior.as_ref()?.percentile_95.upper_95;
    let beside: Vec<f64> = levels.iter().map(|level| level.value).collect();
    let of = |value: f64| format!("{} {}", said::number(value, unit, &beside), unit.symbol());
    let mut desc = vec![format!(
        "In one shift of twenty a worker breathes more than the 95th percentile. It lies as probably below as above {}, and \
         with a probability of 95 % below {}.",
        of(median),
        of(upper)
    )];
    for part in &picture.parts {
        desc.push(format!("{}: {}.", part.words, probability(part.probability)));
    }
    for level in &levels {
        desc.push(format!("The {}.", level.named()));
    }
    let rows = picture.parts.iter().map(|part| Row::of([part.words.clone(), probability(part.probability)]));
    let said = Said {
        title: format!(
            "{}: where the 95th percentile probably lies, {}",
            names.agent(&era.0.agent_code),
            said::period(era.0.from, era.0.to)
        ),
        desc,
        notes: (era.0.date_count < 3)
            .then(|| "Too few dates to describe this group.".to_owned())
            .into_iter()
            .collect(),
        key: Vec::new(),
        table: Table {
            caption: "The probability that the 95th percentile lies there.".to_owned(),
            columns: vec![Column::text("95th percentile"), Column::number("Probability")],
            rows: rows.collect(),
        },
    };
    Some(Figure::drawn(said, |plate| draw(id, plate, &picture)))
}

/// A probability in words. A posterior leaves nothing out altogether, whatever is left of it in a double.
fn probability(of_one: f64) -> String {
    share(of_one.clamp(f64::MIN_POSITIVE, 1.0 - f64::EPSILON), &[])
}

fn picture(posterior: &Posterior, unit: Unit, limit: f64, action_level: Option<f64>) -> Picture {
    let quantile = |p: f64| posterior.ln_percentile_quantile(PERCENTILE, p).exp();
    let low = (quantile(0.002) / 1.5).min(0.09 * limit);
    let high = (quantile(0.998) * 1.5).max(2.0 * limit);
    // The density is the slope of the distribution function along the logarithm.
    let (from, to) = (low.ln(), high.ln());
    let step = (to - from) / f64::from(POINTS);
    let below: Vec<f64> = (0..=POINTS + 1)
        .map(|at| posterior.percentile_below(PERCENTILE, (from + (f64::from(at) - 0.5) * step).exp()))
        .collect();
    let density: Vec<f64> = below.windows(2).map(|two| (two[1] - two[0]).max(0.0)).collect();
    let greatest = density.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let curve = density
        .iter()
        .zip(0..)
        .map(|(one, at)| ((from + f64::from(at) * step).exp(), one / greatest))
        .collect();
    // A tenth of the limit, the action level, the limit: the edges that people decide by.
    let mut edges = vec![(RATING_EDGES[1] * limit, "a tenth of the limit")];
    edges.extend(action_level.map(|level| (level, "the action level")));
    edges.push((limit, "the limit"));
    edges.sort_by(|one, other| one.0.total_cmp(&other.0));
    let mut parts = Vec::new();
    let mut before: Option<(f64, &str, f64)> = None;
    for (value, name) in edges {
        let below = posterior.percentile_below(PERCENTILE, value);
        parts.push(match before {
            None => Part { from: low, to: value, words: format!("below {name}"), probability: below },
            Some((from, lower, under)) => Part {
                from,
                to: value,
                words: format!("from {lower} to {name}"),
                probability: (below - under).max(0.0),
            },
        });
        before = Some((value, name, below));
    }
    if let Some((from, name, under)) = before {
        let words = format!("above {name}");
        parts.push(Part { from, to: high, words, probability: (1.0 - under).max(0.0) });
    }
    Picture { unit, limit, action_level, span: (low, high), curve, parts }
}

fn draw(id: &str, plate: Plate, picture: &Picture) -> Svg {
    let (left, right) = (plate.pick(24.0, 6.0), plate.width() - plate.pick(24.0, 6.0));
    let (top, bottom) = (38.0, plate.pick(168.0, 160.0));
    let mut svg = Svg::new(id, plate, bottom + 72.0);
    let x = Scale::log(picture.span, left, right);
    let y = Scale::linear((0.0, 1.0), bottom, top);
    let line: Vec<(f64, f64)> = picture.curve.iter().map(|(value, one)| (x.at(*value), y.at(*one))).collect();
    let mut area = vec![(left, bottom)];
    area.extend(&line);
    area.push((right, bottom));
    svg.path("bwash", &area, true);
    svg.path("est", &line, false);
    svg.line("ax", (left, bottom), (right, bottom));
    for tick in x.ticks(38.0) {
        svg.line("ax", (tick.at, bottom), (tick.at, bottom + if tick.ruled { 6.0 } else { 4.0 }));
        if tick.named {
            svg.text((tick.at, bottom + 20.0), Anchor::Middle, "", &said::tick(tick.value));
        }
    }
    let tenth = x.at(RATING_EDGES[1] * picture.limit);
    svg.line("thin", (tenth, top - 8.0), (tenth, bottom));
    svg.line("thin", (tenth, bottom + 28.0), (tenth, bottom + 50.0));
    let at_limit = x.at(picture.limit);
    svg.line("lim", (at_limit, top - 14.0), (at_limit, bottom));
    svg.line("thin", (at_limit, bottom + 28.0), (at_limit, bottom + 50.0));
    svg.text(
        (at_limit + 5.0, top - 18.0),
        Anchor::Start,
        "halo",
        &format!("limit {}", said::tick(picture.limit)),
    );
    if let Some(level) = picture.action_level {
        let at = x.at(level);
        svg.line("al", (at, top - 14.0), (at, bottom));
        svg.line("thin", (at, bottom + 28.0), (at, bottom + 50.0));
        let words = format!("action level {}", said::tick(level));
        svg.text((at - 5.0, top - 18.0), Anchor::End, "halo", &words);
    }
    let likeliest = picture.parts.iter().map(|part| part.probability).fold(0.0, f64::max);
    for part in &picture.parts {
        let middle = f64::midpoint(x.at(part.from), x.at(part.to));
        let style = if part.probability >= likeliest { "b halo" } else { "halo" };
        svg.text((middle, bottom + 44.0), Anchor::Middle, style, &probability(part.probability));
    }
    let words = plate.pick(
        format!(
            "95th percentile of the 8-hour average, {}, log axis; below it the probability",
            picture.unit.symbol()
        ),
        format!("{}, log axis; below it the probability", picture.unit.symbol()),
    );
    svg.text((right, bottom + 66.0), Anchor::End, "s", &words);
    svg
}
