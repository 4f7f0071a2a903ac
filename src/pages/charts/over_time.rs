//! A group's results over time: its eras, the limits of each day, and how its standing moved.

use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::model::facts::standing_move::{Averaging, StandingMove, StandingValue};
use crate::model::identifiers::{ControlId, WorkerId};
use crate::model::measured::Measured;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{EraShift, fitted, is_level, shifts_of, unit_of};
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::levels::{LevelLine, apart, freer_side, of_days, of_profile};
use crate::pages::charts::marks::{Along, Dot, Spread};
use crate::pages::charts::names::Names;
use crate::pages::charts::said::{self, counted};
use crate::pages::charts::scale::{Scale, dates, day, linear_span, log_span, time};
use crate::pages::charts::svg::{Anchor, Area, Plate, Svg, shortened, text_width};
use chrono::{Days, NaiveDate};

/// How far the middle 90 % of a normal distribution reaches to either side.
const MIDDLE_90: f64 = 1.644_853_626_951_472_7;

/// What is asked of the figure beside the views.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    /// Moves of the group's standing, as they were written.
    pub moves: &'a [StandingMove],
    /// Whose shifts are filled; none: all are open.
    pub own: Option<WorkerId>,
    /// The day up to which time runs.
    pub today: NaiveDate,
}

/// One era on the axis of time.
struct Span<'v> {
    from: NaiveDate,
    to: NaiveDate,
    begins: Option<NaiveDate>,
    name: String,
    shifts: Vec<EraShift<'v>>,
    /// Lower end of the middle 90 %, middle, upper end.
    fit: Option<(f64, f64, f64)>,
}

/// Everything that is drawn.
struct Picture<'v, 'a> {
    unit: Unit,
    time: (NaiveDate, NaiveDate),
    values: (f64, f64),
    eras: Vec<Span<'v>>,
    levels: Vec<LevelLine>,
    standing: Vec<(NaiveDate, StandingValue)>,
    asked: Asked<'a>,
}

/// Every result of a group for an agent (and one criterion of noise); `eras` newest first, as the API answers them.
pub fn over_time(
    id: &str,
    eras: &[ProfileView],
    shifts: &[ShiftAverageView],
    asked: Asked<'_>,
    names: &Names,
) -> Option<Figure> {
    let unit = eras.iter().find_map(unit_of)?;
    let of_eras: Vec<(&ProfileView, Vec<EraShift<'_>>)> =
        eras.iter().rev().map(|era| (era, shifts_of(era, shifts))).collect();
    let first = of_eras.iter().flat_map(|(_, shifts)| shifts).map(|shift| shift.view.shift_date).min()?;
    let last = of_eras.iter().flat_map(|(_, shifts)| shifts).map(|shift| shift.view.shift_date).max()?;
    let to = asked.today.max(last);
    // A little time before the first result, so that it does not stand on the axis.
    let margin = u64::try_from((to - first).num_days() / 40).unwrap_or(0).max(7);
    let from = first.checked_sub_days(Days::new(margin)).unwrap_or(first);
    let spans = spans(&of_eras, (from, to), unit, names);
    let all: Vec<EraShift<'_>> = of_eras.iter().flat_map(|(_, shifts)| shifts.iter().copied()).collect();
    let levels = if is_level(unit) {
        eras.first().map(|era| of_profile(era, &[])).unwrap_or_default()
    } else {
        of_days(&all, unit)
    };
    let picture = Picture {
        unit,
        time: (from, to),
        values: values(&spans, &levels, unit),
        eras: spans,
        levels,
        standing: standing(asked.moves),
        asked,
    };
    let said = describe(&picture, names, &eras[0]);
    Some(Figure::drawn(said, |plate| draw(id, plate, &picture)))
}

/// The moves of the law's standing by 8-hour averages, in the order of time.
fn standing(moves: &[StandingMove]) -> Vec<(NaiveDate, StandingValue)> {
    let mut found: Vec<(NaiveDate, StandingValue)> = moves
        .iter()
        .filter(|one| one.authority.as_str() == STATUTORY_AUTHORITY && one.averaging == Averaging::EightHour)
        .filter_map(|one| Some((one.since.or(one.round.as_ref().map(|round| round.date))?, one.value)))
        .collect();
    found.sort_by_key(|one| one.0);
    found
}

fn spans<'v>(
    of_eras: &[(&ProfileView, Vec<EraShift<'v>>)],
    (from, to): (NaiveDate, NaiveDate),
    unit: Unit,
    names: &Names,
) -> Vec<Span<'v>> {
    let mut found = Vec::new();
    let mut before: Option<&[ControlId]> = None;
    for (era, shifts) in of_eras {
        let head = &era.0;
        let name = era_name(before, &head.control_ids, names);
        before = Some(&head.control_ids);
        let (starts, ends) = (head.from.unwrap_or(from).max(from), head.to.unwrap_or(to).min(to));
        if starts > to || ends < from {
            continue;
        }
        let fit = fitted(era).map(|(middle, spread)| {
            let back = |value: f64| if is_level(unit) { value } else { value.exp() };
            (back(middle - MIDDLE_90 * spread), back(middle), back(middle + MIDDLE_90 * spread))
        });
        let begins = head.from.filter(|begins| *begins > from);
        found.push(Span { from: starts, to: ends.max(starts), begins, name, shifts: shifts.clone(), fit });
    }
    found
}

/// What an era is named by: the controls that came and went.
pub fn era_name(before: Option<&[ControlId]>, now: &[ControlId], names: &Names) -> String {
    let named = |ids: Vec<&ControlId>| {
        ids.into_iter().map(|id| names.control(*id).to_owned()).collect::<Vec<_>>().join(", ")
    };
    let Some(before) = before else {
        return if now.is_empty() { "no control".to_owned() } else { named(now.iter().collect()) };
    };
    let came = named(now.iter().filter(|id| !before.contains(id)).collect());
    let went = named(before.iter().filter(|id| !now.contains(id)).collect());
    match (came.is_empty(), went.is_empty()) {
        (true, true) => "a change of work".to_owned(),
        (false, true) => came,
        (true, false) => format!("without {went}"),
        (false, false) => format!("{came}, without {went}"),
    }
}

fn values(eras: &[Span<'_>], levels: &[LevelLine], unit: Unit) -> (f64, f64) {
    let mut values: Vec<f64> = levels.iter().map(|level| level.value).collect();
    for era in eras {
        if let Some((low, _, high)) = era.fit {
            values.extend([low, high]);
        }
        for shift in &era.shifts {
            values.extend(shift.value.upper());
            values.extend(Some(shift.value.lower()).filter(|lower| *lower > 0.0));
        }
    }
    if is_level(unit) { linear_span(values, 5.0) } else { log_span(values) }
}

fn describe(picture: &Picture<'_, '_>, names: &Names, newest: &ProfileView) -> Said {
    let Picture { unit, eras, levels, standing, .. } = picture;
    let numbers: Vec<f64> = levels.iter().map(|level| level.value).collect();
    let shifts: i64 = eras.iter().map(|era| counted(era.shifts.len())).sum();
    let agent = names.agent(&newest.0.agent_code);
    let mut desc = vec![format!(
        "{} from {} to {}, in {}.",
        said::count(shifts, "count-result"),
        said::date(picture.time.0),
        said::date(picture.time.1),
        said::count(counted(eras.len()), "count-era")
    )];
    for era in eras {
        let mean = era.fit.map_or_else(
            || "no fit".to_owned(),
            |(low, middle, high)| {
                let of = |value| said::number(value, *unit, &numbers);
                let what = if is_level(*unit) { "mean level" } else { "geometric mean" };
                format!(
                    "{what} {} {}, middle 90 % of shifts {} to {}",
                    of(middle),
                    unit.symbol(),
                    of(low),
                    of(high)
                )
            },
        );
        let begins = era.begins.map_or_else(String::new, |from| format!(" from {}", said::date(from)));
        let n = said::count(counted(era.shifts.len()), "count-result");
        desc.push(format!("Era{begins}, {}: {n}, {mean}.", era.name));
    }
    for level in levels {
        let from = level.from.map_or_else(String::new, |from| {
            format!(
                ", by which shifts from {} to {} were judged",
                said::date(from),
                said::date(level.last.unwrap_or(from))
            )
        });
        desc.push(format!("The {}{from}.", level.named()));
    }
    for (since, value) in standing {
        desc.push(format!("Standing from {}: {}.", said::date(*since), said::standing(*value)));
    }
    let notes = eras
        .iter()
        .filter(|era| era.shifts.is_empty())
        .map(|era| {
            format!(
                "The era {} has no result: nothing has been measured, so nothing is known.",
                said::period(Some(era.from), Some(era.to))
            )
        })
        .collect();
    Said {
        title: format!("{agent}: every result over time"),
        desc,
        notes,
        key: key(picture),
        table: table(picture, names, &numbers),
    }
}

fn key(picture: &Picture<'_, '_>) -> Vec<(KeyMark, String)> {
    let shifts = || picture.eras.iter().flat_map(|era| &era.shifts);
    let mut key = Vec::new();
    let mut add = |holds: bool, mark: KeyMark, words: &str| {
        if holds {
            key.push((mark, words.to_owned()));
        }
    };
    let own = picture.asked.own;
    let values = |which: fn(Measured) -> bool| shifts().any(|shift| which(shift.value));
    let plain = |shift: &EraShift<'_>| shift.value.is_value() && shift.in_profile;
    add(shifts().any(|shift| plain(shift) && Some(shift.view.worker_id) == own), KeyMark::Own, "own shift");
    let another = if own.is_some() { "another worker’s shift" } else { "a shift" };
    add(shifts().any(|shift| plain(shift) && Some(shift.view.worker_id) != own), KeyMark::Other, another);
    add(
        shifts().any(|shift| shift.value.is_value() && !shift.in_profile),
        KeyMark::Beside,
        "shown beside, in no estimate",
    );
    add(
        values(|value| matches!(value, Measured::Below(_) | Measured::Between { lower: 0.0, .. })),
        KeyMark::NonDetectDown,
        "below a reporting limit: the bar stands at that limit, the truth somewhere along the tail",
    );
    add(
        values(|value| matches!(value, Measured::Between { lower, .. } if lower > 0.0)),
        KeyMark::Range,
        "known as a range",
    );
    add(shifts().any(|shift| !shift.is_accepted()), KeyMark::NotAccepted, "not accepted yet");
    let mean = if is_level(picture.unit) { "mean level of the era" } else { "geometric mean of the era" };
    let fits = picture.eras.iter().any(|era| era.fit.is_some());
    add(fits, KeyMark::Estimate, mean);
    add(fits, KeyMark::BandRepresented, "middle 90 % of shifts by the fit");
    add(picture.eras.iter().any(|era| era.begins.is_some()), KeyMark::Era, "a new era");
    add(picture.eras.iter().any(|era| era.shifts.is_empty()), KeyMark::Gap, "an era never measured");
    let stands = |which: &[StandingValue]| picture.standing.iter().any(|one| which.contains(&one.1));
    add(
        stands(&[StandingValue::BelowActionLevel, StandingValue::AtOrBelowLimit]),
        KeyMark::DiscBelow,
        "standing below action level",
    );
    add(
        stands(&[StandingValue::AtOrAboveActionLevel]),
        KeyMark::DiscAtOrAbove,
        "standing at or above action level",
    );
    add(stands(&[StandingValue::AboveLimit]), KeyMark::DiscAbove, "standing above limit");
    key
}

fn table(picture: &Picture<'_, '_>, names: &Names, numbers: &[f64]) -> Table {
    let mut rows = Vec::new();
    for era in &picture.eras {
        for shift in &era.shifts {
            let mut remarks = Vec::new();
            if !shift.in_profile {
                remarks.push("shown beside");
            }
            if !shift.is_accepted() {
                remarks.push("not accepted yet");
            }
            rows.push(Row::of([
                said::date(shift.view.shift_date),
                names.worker(shift.view.worker_id).to_owned(),
                era.name.clone(),
                said::measured(shift.value, picture.unit, numbers),
                remarks.join(", "),
            ]));
        }
        if era.shifts.is_empty() {
            let period = said::period(Some(era.from), Some(era.to));
            rows.push(Row::unknown([
                period,
                String::new(),
                era.name.clone(),
                "no result".to_owned(),
                String::new(),
            ]));
        }
    }
    rows.reverse();
    Table {
        caption: "Every result, the latest first.".to_owned(),
        columns: vec![
            Column::text("Shift"),
            Column::text("Worker"),
            Column::text("Era"),
            Column::number("8-hour average"),
            Column::text("Remarks"),
        ],
        rows,
    }
}

fn draw(id: &str, plate: Plate, picture: &Picture<'_, '_>) -> Svg {
    let (left, right) = (plate.pick(56.0, 42.0), plate.width() - plate.pick(206.0, 8.0));
    let lane = if picture.standing.is_empty() { 0.0 } else { 34.0 };
    // On the slim drawing each era is named on a line of its own.
    let names = plate.pick(1, picture.eras.len().max(1));
    let top = 26.0 + 17.0 * said::many(names) + 10.0;
    let bottom = top + plate.pick(250.0, 230.0);
    let mut svg = Svg::new(id, plate, bottom + lane + 32.0);
    let x = time(picture.time, left, right);
    let y = Scale::of(!is_level(picture.unit), picture.values, bottom, top);
    svg.text((0.0, 13.0), Anchor::Start, "s", &format!("8-hour average, {}", picture.unit.symbol()));
    for tick in y.ticks(22.0) {
        if tick.ruled {
            svg.line("tick", (left, tick.at), (right, tick.at));
        }
        svg.line("ax", (left - if tick.ruled { 6.0 } else { 4.0 }, tick.at), (left, tick.at));
        if tick.named {
            svg.text((left - 9.0, tick.at + 4.0), Anchor::End, "", &said::tick(tick.value));
        }
    }
    draw_eras(&mut svg, picture, &x, &y);
    draw_levels(&mut svg, picture, &x, &y);
    for era in &picture.eras {
        if let Some((_, middle, _)) = era.fit {
            svg.line("est", (x.at(day(era.from)), y.at(middle)), (x.at(day(era.to)), y.at(middle)));
        }
    }
    svg.line("ax", (left, bottom), (right, bottom));
    svg.line("ax", (left, top), (left, bottom));
    draw_shifts(&mut svg, picture, &x, &y);
    let foot = bottom + lane;
    if lane > 0.0 {
        draw_standing(&mut svg, picture, &x, bottom + 17.0);
    }
    svg.line("ax", (left, foot), (right, foot));
    for (at, name) in dates(&x, plate.pick(52.0, 44.0)) {
        svg.line("ax", (at, foot), (at, foot + 5.0));
        svg.text((at, foot + 20.0), Anchor::Middle, "", &name);
    }
    svg
}

fn draw_eras(svg: &mut Svg, picture: &Picture<'_, '_>, x: &Scale, y: &Scale) {
    let (bottom, top) = y.ends();
    let slim = svg.plate().is_slim();
    let (_, end) = x.ends();
    for (at, era) in picture.eras.iter().enumerate() {
        let (from, to) = (x.at(day(era.from)), x.at(day(era.to)));
        if era.shifts.is_empty() {
            svg.gap(Area::between((from, top), (to, bottom)));
            svg.text(
                (f64::midpoint(from, to), top + 18.0),
                Anchor::Middle,
                "halo",
                if to - from > 70.0 { "no data" } else { "" },
            );
        }
        if let Some((low, _, high)) = era.fit {
            svg.rect("bg", Area::between((from, y.at(high)), (to, y.at(low))));
        }
        // On the slim drawing names stand one below the other, the last lowest, each at its own line.
        let line =
            if slim { top - 14.0 - 17.0 * said::many(picture.eras.len() - 1 - at) } else { top - 17.0 };
        if era.begins.is_some() {
            svg.era(from, if slim { line + 5.0 } else { top - 10.0 }, bottom);
        }
        let room = if slim { end - from.min(end - 150.0) } else { to - from - 8.0 };
        let name = shortened(&era.name, room.max(0.0), "");
        if slim {
            let anchor = if from > f64::midpoint(x.ends().0, end) { Anchor::End } else { Anchor::Start };
            svg.text((from + if anchor == Anchor::End { 5.0 } else { -5.0 }, line), anchor, "halo", &name);
        } else if text_width(&name, "") <= room {
            svg.text((f64::midpoint(from, to), line), Anchor::Middle, "halo", &name);
        }
    }
}

fn draw_levels(svg: &mut Svg, picture: &Picture<'_, '_>, x: &Scale, y: &Scale) {
    let (left, right) = x.ends();
    let (bottom, top) = y.ends();
    let mut labels: Vec<(f64, &LevelLine)> = Vec::new();
    for (at, level) in picture.levels.iter().enumerate() {
        let next = picture.levels.get(at + 1);
        let ends = next.is_some_and(|next| next.kind == level.kind && next.authority == level.authority);
        let from = level.from.map_or(left, |from| x.at(day(from)) - 5.0).max(left);
        // The level of the last shift goes on; one that another followed ends with the last shift judged by it.
        let to = if ends { level.last.map_or(right, |last| x.at(day(last)) + 5.0) } else { right };
        svg.line(level.class(), (from, y.at(level.value)), (to.min(right), y.at(level.value)));
        if ends {
            svg.text((to + 3.0, y.at(level.value) + 4.0), Anchor::Start, "s halo", &said::tick(level.value));
        } else {
            labels.push((y.at(level.value), level));
        }
    }
    if svg.plate().is_slim() {
        let shifts = picture.eras.iter().flat_map(|era| &era.shifts);
        let points: Vec<(f64, f64)> = shifts
            .map(|shift| {
                (x.at(day(shift.view.shift_date)), y.at(shift.value.upper().unwrap_or(shift.value.lower())))
            })
            .collect();
        for (at, level) in &labels {
            // Above a limit, below an action level: the two never meet between them.
            let above = labels.iter().all(|(other, _)| *other >= *at);
            let line = if above { at - 5.0 } else { at + 14.0 };
            let words = level.named_short();
            let from = freer_side(&points, (left, right), line, text_width(&words, ""));
            svg.text((from, line), Anchor::Start, "halo", &words);
        }
        return;
    }
    let wanted: Vec<f64> = labels.iter().map(|(at, _)| at + 4.0).collect();
    for (line, (_, level)) in apart(&wanted, top, bottom).into_iter().zip(&labels) {
        svg.text((right + 8.0, line), Anchor::Start, "", &level.named());
    }
}

fn draw_shifts(svg: &mut Svg, picture: &Picture<'_, '_>, x: &Scale, y: &Scale) {
    let (left, right) = x.ends();
    let mut spread = Spread::default();
    let all: Vec<&EraShift<'_>> = picture.eras.iter().flat_map(|era| &era.shifts).collect();
    let is_own = |shift: &EraShift<'_>| Some(shift.view.worker_id) == picture.asked.own;
    // The worker's own lie on top.
    for own in [false, true] {
        for shift in all.iter().filter(|shift| is_own(shift) == own) {
            let value = y.at(shift.value.upper().unwrap_or(shift.value.lower()));
            let wanted = x.at(day(shift.view.shift_date));
            let across = spread.across(value, wanted, 27.0).clamp(left + 1.0, right - 1.0);
            let dot = match (shift.in_profile, own) {
                (false, _) => Dot::Beside,
                (true, true) => Dot::Filled,
                (true, false) => Dot::Open,
            };
            svg.value(shift.value, dot, y, across, Along::Up);
            if !shift.is_accepted() {
                svg.not_accepted((across, value));
            }
        }
    }
}

/// The standing as a line of discs, each where it began to hold.
fn draw_standing(svg: &mut Svg, picture: &Picture<'_, '_>, x: &Scale, y: f64) {
    let (left, right) = x.ends();
    if !svg.plate().is_slim() {
        svg.text((right + 8.0, y + 4.0), Anchor::Start, "", "standing by the rule");
    }
    svg.line("tick", (left, y), (right, y));
    let mut free = left;
    for (at, (since, value)) in picture.standing.iter().enumerate() {
        let wanted = x.at(day(*since)).max(left + 8.0);
        // Moves of neighbouring days stand beside each other, in their order.
        let place = wanted.max(free).min(right - 8.0 - 16.0 * said::many(picture.standing.len() - 1 - at));
        svg.disc((place, y), *value);
        free = place + 16.0;
    }
}
