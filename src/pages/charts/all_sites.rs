//! Every group of every site at its 95th percentile, filled by its standing.

use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::conclusions::profile_view::ProfileView;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::standing_move::StandingValue;
use crate::model::identifiers::{GroupId, SiteId};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{is_level, unit_of};
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::marks::DISC;
use crate::pages::charts::names::Names;
use crate::pages::charts::said;
use crate::pages::charts::scale::{Scale, linear_span, log_span};
use crate::pages::charts::svg::{Anchor, Area, Plate, Svg, shortened, text_width};

/// Below so many results the percentile is shown as its upper limit (practice of the trade, "few rounds").
const ESTIMATE_FROM: i64 = 6;
/// Height of a row of discs.
const LANE: f64 = 22.0;

/// A group with its profile of the present era.
#[derive(Debug, Clone, Copy)]
pub struct GroupAt<'a> {
    /// Its site.
    pub site: SiteId,
    /// The group.
    pub group: GroupId,
    /// Its profile of the newest era, for one agent (of noise by the criterion of the limit).
    pub profile: &'a ProfileView,
}

/// What is known of a 95th percentile, in its own unit.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Percentile {
    /// An estimate with its upper limit at 70 % confidence.
    Estimate { value: f64, upper: f64 },
    /// Too few for an estimate: its upper limit alone.
    AtMost { upper: f64 },
    /// Nothing.
    NotKnown,
}

/// A group on its row.
struct Disc<'a> {
    group: &'a str,
    percentile: Percentile,
    standing: StandingValue,
    limit: Option<f64>,
    unit: Option<Unit>,
    n: i64,
}

/// A row: the groups of one site for one agent.
struct SiteRow<'a> {
    agent: &'a Code,
    site: SiteId,
    discs: Vec<Disc<'a>>,
}

struct Picture<'a> {
    names: &'a Names,
    shares: Vec<SiteRow<'a>>,
    levels: Vec<SiteRow<'a>>,
    span: (f64, f64),
    level_span: (f64, f64),
}

/// The groups of all sites, in the order given: agents as they come, and sites within them.
pub fn all_sites<'a>(id: &str, groups: &'a [GroupAt<'a>], names: &'a Names) -> Option<Figure> {
    let (mut shares, mut levels): (Vec<SiteRow<'a>>, Vec<SiteRow<'a>>) = (Vec::new(), Vec::new());
    for one in groups {
        let disc = disc(one, names);
        let rows = if disc.unit.is_some_and(is_level) { &mut levels } else { &mut shares };
        let agent = &one.profile.0.agent_code;
        if let Some(row) = rows.iter_mut().find(|row| row.agent == agent && row.site == one.site) {
            row.discs.push(disc);
        } else {
            let at = rows.iter().rposition(|row| row.agent == agent).map_or(rows.len(), |at| at + 1);
            rows.insert(at, SiteRow { agent, site: one.site, discs: vec![disc] });
        }
    }
    (!shares.is_empty() || !levels.is_empty()).then_some(())?;
    let values = |rows: &[SiteRow<'_>], share: bool| -> Vec<f64> {
        let of = |disc: &Disc<'_>| {
            let by = if share { disc.limit } else { Some(1.0) };
            let (one, other) = match disc.percentile {
                Percentile::Estimate { value, upper } => (value, upper),
                Percentile::AtMost { upper } => (upper, upper),
                Percentile::NotKnown => return Vec::new(),
            };
            by.map_or_else(Vec::new, |by| vec![one / by, other / by])
        };
        rows.iter().flat_map(|row| row.discs.iter().flat_map(of)).collect()
    };
    let span = log_span(values(&shares, true).into_iter().map(|share| 100.0 * share).chain([50.0, 100.0]));
    let level_span = linear_span(values(&levels, false).into_iter().chain([85.0, 90.0]), 5.0);
    let picture = Picture { names, shares, levels, span, level_span };
    let said = told(&picture);
    Some(Figure::drawn(said, |plate| draw(id, plate, &picture)))
}

fn disc<'a>(one: &GroupAt<'a>, names: &'a Names) -> Disc<'a> {
    let (head, figures) = (&one.profile.0, &one.profile.1.0);
    let lawful = head
        .standing
        .iter()
        .find(|standing| standing.authority.as_str() == STATUTORY_AUTHORITY && standing.averaging.is_none());
    let percentile = match (&figures.percentile_95, &figures.posterior) {
        (Some(found), _) if figures.n >= ESTIMATE_FROM => {
            Percentile::Estimate { value: found.estimate, upper: found.upper_70.unwrap_or(found.estimate) }
        }
        (Some(found), _) if found.upper_70.is_some() => {
            Percentile::AtMost { upper: found.upper_70.unwrap_or(found.estimate) }
        }
        (_, Some(posterior)) => Percentile::AtMost { upper: posterior.percentile_95.upper_95 },
        _ => Percentile::NotKnown,
    };
    let limit =
        head.limit.as_ref().filter(|limit| limit.kind.is_none_or(|kind| kind != LimitKind::ActionLevel));
    Disc {
        group: names.group(one.group),
        percentile,
        standing: lawful.map_or(StandingValue::Unknown, |standing| standing.value),
        limit: limit.map(|limit| limit.value),
        unit: unit_of(one.profile),
        n: figures.n,
    }
}

impl Disc<'_> {
    /// Whether its name stands in the drawing.
    fn is_named(&self, slim: bool) -> bool {
        match self.standing {
            StandingValue::AboveLimit | StandingValue::AtOrAboveLimit => true,
            StandingValue::AtOrAboveActionLevel => !slim,
            _ => self.percentile == Percentile::NotKnown,
        }
    }

    /// Why nothing is known of the percentile.
    fn unknown(&self) -> &'static str {
        if self.n > 0 { "results cannot tell" } else { "nothing measured" }
    }

    /// A value on the axis: in per cent of the limit, or a level as it is.
    fn on_axis(&self, value: f64) -> Option<f64> {
        if self.unit.is_some_and(is_level) {
            Some(value)
        } else {
            self.limit.map(|limit| 100.0 * value / limit)
        }
    }

    /// The percentile in words, against the limit.
    fn in_words(&self) -> (String, String) {
        let Some(unit) = self.unit else { return (self.unknown().to_owned(), String::new()) };
        let levels: Vec<f64> = self.limit.into_iter().collect();
        let of = |value: f64| format!("{} {}", said::number(value, unit, &levels), unit.symbol());
        let share = |value: f64| match self.limit {
            Some(limit) if !is_level(unit) => said::per_cent(100.0 * value / limit, &[100.0]),
            _ => String::new(),
        };
        match self.percentile {
            Percentile::Estimate { value, upper } => {
                (format!("{}, at 70 % confidence at most {}", of(value), of(upper)), share(value))
            }
            Percentile::AtMost { upper } => {
                let share = share(upper);
                (
                    format!("at most {}", of(upper)),
                    if share.is_empty() { share } else { format!("at most {share}") },
                )
            }
            Percentile::NotKnown => (self.unknown().to_owned(), String::new()),
        }
    }
}

fn told(picture: &Picture<'_>) -> Said {
    let rows = || picture.shares.iter().chain(&picture.levels);
    let discs = || rows().flat_map(|row| &row.discs);
    let all = said::counted(discs().count());
    let mut desc = vec![format!(
        "{}, each at its 95th percentile with the upper limit at 70 % confidence; the disc is filled by its standing, which is the law’s own reading and may differ.",
        said::count(all, "count-group")
    )];
    for standing in StandingValue::ALL {
        let here = discs().filter(|disc| disc.standing == *standing).count();
        if here > 0 {
            desc.push(format!(
                "{}: {}.",
                said::standing(*standing),
                said::count(said::counted(here), "count-group")
            ));
        }
    }
    let mut table = Vec::new();
    for row in rows() {
        for disc in &row.discs {
            let (value, share) = disc.in_words();
            let cells = [
                picture.names.agent(row.agent).to_owned(),
                picture.names.site(row.site).to_owned(),
                disc.group.to_owned(),
                said::standing(disc.standing),
                said::tick(said::whole(disc.n)),
                value,
                share,
            ];
            let known = disc.percentile != Percentile::NotKnown;
            table.push(if known { Row::of(cells) } else { Row::unknown(cells) });
        }
    }
    let stands = |which: &[StandingValue]| discs().any(|disc| which.contains(&disc.standing));
    let mut key = Vec::new();
    let mut add = |holds: bool, mark: KeyMark, words: &str| {
        if holds {
            key.push((mark, words.to_owned()));
        }
    };
    add(
        stands(&[StandingValue::BelowActionLevel, StandingValue::AtOrBelowLimit]),
        KeyMark::DiscBelow,
        "below action level",
    );
    add(stands(&[StandingValue::AtOrAboveActionLevel]), KeyMark::DiscAtOrAbove, "at or above action level");
    add(stands(&[StandingValue::AboveLimit]), KeyMark::DiscAbove, "above limit");
    add(stands(&[StandingValue::Unknown]), KeyMark::Gap, "not known");
    add(true, KeyMark::Interval, "95th percentile to its upper limit, 70 % confidence");
    let few = discs().any(|disc| matches!(disc.percentile, Percentile::AtMost { .. }));
    let notes = if few {
        vec!["Where fewer than six results, or too few detected ones, stand behind a group, the upper limit alone is drawn, with a tail to lower values.".to_owned()]
    } else {
        Vec::new()
    };
    Said {
        title: "Where the groups of all sites stand".to_owned(),
        desc,
        notes,
        key,
        table: Table {
            caption: "Every group; the 95th percentile of its present era against the limit.".to_owned(),
            columns: vec![
                Column::text("Agent"),
                Column::text("Site"),
                Column::text("Group"),
                Column::text("Standing"),
                Column::number("Results"),
                Column::number("95th percentile"),
                Column::number("% of limit"),
            ],
            rows: table,
        },
    }
}

/// One row of the drawing: where each of its discs stands.
struct Laid {
    places: Vec<Place>,
    lanes: usize,
}

/// Where a disc stands: along the axis, the end of its line, its lane, and where its name begins, if it is named.
#[derive(Debug, Clone, Copy, Default)]
struct Place {
    from: f64,
    to: f64,
    lane: usize,
    name: Option<f64>,
}

fn laid(row: &SiteRow<'_>, axis: &Scale, plate: Plate) -> Laid {
    let (left, _) = axis.ends();
    let slim = plate.is_slim();
    let mut order: Vec<(usize, f64, f64)> = row
        .discs
        .iter()
        .enumerate()
        .map(|(at, disc)| {
            let on = |value: f64| disc.on_axis(value).map_or(left + 9.0, |value| axis.at(value));
            match disc.percentile {
                Percentile::Estimate { value, upper } => (at, on(value), on(upper)),
                Percentile::AtMost { upper } => (at, on(upper), on(upper)),
                Percentile::NotKnown => (at, left + 9.0, left + 9.0),
            }
        })
        .collect();
    order.sort_by(|one, other| one.1.total_cmp(&other.1).then(one.0.cmp(&other.0)));
    let mut places = vec![Place::default(); row.discs.len()];
    let mut free: Vec<f64> = Vec::new();
    for (at, from, to) in order {
        let disc = &row.discs[at];
        let mut start = match disc.percentile {
            Percentile::AtMost { .. } => from - 20.0,
            _ => from - DISC - 3.0,
        };
        let mut end = to + DISC + 4.0;
        // A name stands to the right, and where it would leave the frame to the left.
        let width = text_width(&name_of(disc), "b");
        let name = disc
            .is_named(slim)
            .then(|| if end + width + 2.0 <= plate.width() { end + 1.0 } else { start - 4.0 - width });
        if let Some(name) = name {
            start = start.min(name);
            end = end.max(name + width + 8.0);
        }
        let lane = free.iter().position(|free| *free <= start).unwrap_or(free.len());
        if lane == free.len() {
            free.push(0.0);
        }
        free[lane] = end;
        places[at] = Place { from, to, lane, name };
    }
    Laid { places, lanes: free.len().max(1) }
}

fn name_of(disc: &Disc<'_>) -> String {
    if disc.percentile == Percentile::NotKnown {
        format!("{}: {}", disc.group, disc.unknown())
    } else {
        disc.group.to_owned()
    }
}

fn draw(id: &str, plate: Plate, picture: &Picture<'_>) -> Svg {
    let slim = plate.is_slim();
    let (left, right) = (plate.pick(216.0, 8.0), plate.width() - plate.pick(24.0, 8.0));
    let axis = Scale::log(picture.span, left, right);
    let level_axis = Scale::linear(picture.level_span, left, right);
    let blocks = [(&picture.shares, &axis, false), (&picture.levels, &level_axis, true)];
    let blocks: Vec<_> = blocks.into_iter().filter(|(rows, _, _)| !rows.is_empty()).collect();
    let heading = |at: usize, rows: &[SiteRow<'_>]| at == 0 || rows[at].agent != rows[at - 1].agent;
    let height = |rows: &[SiteRow<'_>], axis: &Scale| -> f64 {
        let each = rows.iter().enumerate().map(|(at, row)| {
            let lanes = said::many(laid(row, axis, plate).lanes) * LANE;
            lanes + if slim { 18.0 } else { 4.0 } + if heading(at, rows) { 26.0 } else { 0.0 }
        });
        each.sum::<f64>() + 26.0 + 50.0
    };
    let whole: f64 = blocks.iter().map(|(rows, axis, _)| height(rows, axis)).sum();
    let mut svg = Svg::new(id, plate, whole);
    let mut y = 0.0;
    for (rows, axis, levels) in blocks {
        let (top, bottom) = (y + 20.0, y + height(rows, axis) - 48.0);
        for tick in axis.ticks(40.0) {
            if tick.ruled {
                svg.line("tick", (tick.at, top), (tick.at, bottom));
            }
            svg.line("ax", (tick.at, bottom), (tick.at, bottom + if tick.ruled { 6.0 } else { 4.0 }));
            if tick.named {
                svg.text((tick.at, bottom + 20.0), Anchor::Middle, "", &said::tick(tick.value));
            }
        }
        svg.line("ax", (left, bottom), (right, bottom));
        let limit = if levels { 90.0 } else { 100.0 };
        svg.line("lim", (axis.at(limit), top - 4.0), (axis.at(limit), bottom));
        let words = if levels { "limit 90" } else { "limit" };
        svg.text((axis.at(limit), top - 8.0), Anchor::Middle, "halo", words);
        let unit = if levels {
            "95th percentile of the 8-hour level, dBA"
        } else {
            "95th percentile, % of the limit, log axis"
        };
        svg.text((right, bottom + 38.0), Anchor::End, "s", unit);
        let mut at = top + 4.0;
        for (number, row) in rows.iter().enumerate() {
            if heading(number, rows) {
                at += 26.0;
                let agent = shortened(picture.names.agent(row.agent), plate.pick(700.0, 350.0), "b");
                svg.text((0.0, at - 6.0), Anchor::Start, "b halo", &agent);
            }
            at += draw_row(&mut svg, row, axis, at, picture.names);
        }
        y = bottom + 48.0;
    }
    svg
}

/// Draws a row from its upper edge on, and says how high it is.
fn draw_row(svg: &mut Svg, row: &SiteRow<'_>, axis: &Scale, top: f64, names: &Names) -> f64 {
    let slim = svg.plate().is_slim();
    let (left, right) = axis.ends();
    let laid = laid(row, axis, svg.plate());
    let first = top + if slim { 26.0 } else { 11.0 };
    let site = names.site(row.site);
    if slim {
        svg.text((left, top + 11.0), Anchor::Start, "s halo", &shortened(site, 330.0, ""));
    } else {
        svg.text((left - 14.0, first + 4.0), Anchor::End, "", &shortened(site, 200.0, ""));
    }
    let height = said::many(laid.lanes) * LANE;
    svg.line("tick", (left, first + height - LANE), (right, first + height - LANE));
    for (disc, Place { from, to, lane, name }) in row.discs.iter().zip(&laid.places) {
        let y = first + LANE * said::many(*lane);
        match disc.percentile {
            Percentile::Estimate { .. } => {
                svg.line("whisk", (*from, y), (*to, y));
                svg.line("whisk", (*to, y - 4.0), (*to, y + 4.0));
                svg.disc((*from, y), disc.standing);
            }
            Percentile::AtMost { .. } => {
                svg.line("whisk", ((from - 20.0).max(left), y), (*from, y));
                svg.disc((*from, y), disc.standing);
            }
            Percentile::NotKnown => {
                let area = Area { x: from - DISC, y: y - DISC, width: 2.0 * DISC, height: 2.0 * DISC };
                svg.rect("box", area);
                svg.hatch(area);
            }
        }
        if let Some(name) = name {
            let above = matches!(disc.standing, StandingValue::AboveLimit | StandingValue::AtOrAboveLimit);
            let style = if above { "b halo" } else { "halo" };
            svg.text((*name, y + 4.0), Anchor::Start, style, &name_of(disc));
        }
    }
    height + if slim { 18.0 } else { 4.0 }
}
