//! The panels of a life line on one axis of time.

use super::told::{dose, dose_unit, letter, ordered};
use super::{Assigned, Picture, is_unknown};
use crate::conclusions::history::basis::Basis;
use crate::model::facts::duty::DutyStatus;
use crate::pages::charts::levels::{apart, freer_side};
use crate::pages::charts::marks::{Along, Dot, Spread};
use crate::pages::charts::said;
use crate::pages::charts::scale::{Scale, dates, day, span_from_zero, time};
use crate::pages::charts::svg::{Anchor, Area, Plate, Svg, shortened, text_width};

/// Height of a lane of assignments.
const LANE: f64 = 26.0;
/// Height of a row of pennants.
const PENNANTS: f64 = 30.0;
/// So near each other two pennants would cover one another.
const PENNANT_ROOM: f64 = 30.0;

/// Where the panels stand.
struct Panels {
    lanes: (f64, f64),
    intensity: (f64, f64),
    dose: Option<(f64, f64)>,
    foot: f64,
}

impl Panels {
    fn all(&self) -> impl Iterator<Item = (f64, f64)> {
        [self.lanes, self.intensity].into_iter().chain(self.dose)
    }
}

/// One of the two drawings.
pub(super) fn draw(id: &str, plate: Plate, picture: &Picture<'_>) -> Svg {
    let (left, right) = (plate.pick(64.0, 42.0), plate.width() - plate.pick(206.0, 12.0));
    let x = time(picture.time, left, right);
    let lanes = lanes(picture, &x);
    let count = lanes.iter().map(|lane| lane + 1).max().unwrap_or(1);
    let top = 26.0;
    let lanes_end = top + LANE * said::many(count);
    let named_eras = if picture.of.cuts.is_empty() {
        0.0
    } else {
        plate.pick(20.0, 17.0 * said::many(picture.of.cuts.len().min(4)) + 4.0)
    };
    let intensity = (lanes_end + named_eras + 36.0, lanes_end + named_eras + 36.0 + plate.pick(210.0, 200.0));
    let dose = (!picture.stretches.is_empty()).then_some((intensity.1 + 40.0, intensity.1 + 40.0 + 120.0));
    let foot = dose.map_or(intensity.1, |dose| dose.1);
    let panels = Panels { lanes: (top, lanes_end), intensity, dose, foot };
    let pennants = pennant_rows(picture, &x);
    let rows = pennants.iter().map(|one| one.1 + 1).max().unwrap_or(0);
    let duties = foot + 44.0;
    let height = if rows == 0 { foot + 30.0 } else { duties + PENNANTS * said::many(rows) + 10.0 };
    let mut svg = Svg::new(id, plate, height);
    gaps(&mut svg, picture, &x, &panels);
    years(&mut svg, &x, &panels);
    draw_lanes(&mut svg, picture, &x, &panels, &lanes);
    eras(&mut svg, picture, &x, &panels);
    intensities(&mut svg, picture, &x, &panels);
    if let Some(dose) = panels.dose {
        doses(&mut svg, picture, &x, dose);
    }
    if rows > 0 {
        svg.text(
            (0.0, duties - 2.0),
            Anchor::Start,
            "b",
            plate.pick("Duties", "Duties (letters: in the table)"),
        );
        for ((at, row), (number, duty)) in pennants.iter().zip(ordered(picture).iter().enumerate()) {
            let y = duties + PENNANTS * (said::many(*row) + 1.0);
            svg.pennant((*at, y), duty.2);
            let style = if duty.2 == DutyStatus::Overdue { "b mg halo" } else { "b halo" };
            svg.text((at - 4.0, y - 6.0), Anchor::End, style, &letter(number));
        }
        let y = duties + PENNANTS * said::many(rows);
        svg.line("ax", (left, y), (right, y));
        if !plate.is_slim() {
            next_duty(&mut svg, picture, right + 10.0, y);
        }
    }
    svg
}

/// Of what is still to do the first is named beside its line.
fn next_duty(svg: &mut Svg, picture: &Picture<'_>, x: f64, y: f64) {
    let duties = ordered(picture);
    let open = |duty: &&(chrono::NaiveDate, &str, DutyStatus)| {
        matches!(duty.2, DutyStatus::Open | DutyStatus::Overdue)
    };
    if let Some((due, words, status)) = duties.iter().find(open) {
        let style = if *status == DutyStatus::Overdue { "b mg" } else { "b" };
        svg.text((x, y - 12.0), Anchor::Start, style, &shortened(words, 190.0, style));
        svg.text(
            (x, y + 4.0),
            Anchor::Start,
            style,
            &format!("{} {}", said::duty(*status), said::date(*due)),
        );
    }
}

fn years(svg: &mut Svg, x: &Scale, panels: &Panels) {
    let room = svg.plate().pick(44.0, 46.0);
    for (at, name) in dates(x, room) {
        for (top, bottom) in panels.all().skip(1) {
            svg.line("tick", (at, top), (at, bottom));
        }
        svg.line("ax", (at, panels.foot), (at, panels.foot + 5.0));
        svg.text((at, panels.foot + 20.0), Anchor::Middle, "", &name);
    }
}

/// Hatched through every panel; times not employed here are dotted in the lanes alone.
fn gaps(svg: &mut Svg, picture: &Picture<'_>, x: &Scale, panels: &Panels) {
    for gap in &picture.of.history.gaps {
        let (from, to) = (x.at(day(gap.from)), x.at(day(gap.to)));
        if is_unknown(gap.kind) {
            for (top, bottom) in panels.all() {
                svg.gap(Area::between((from, top), (to, bottom)));
            }
        }
    }
}

/// The lane of each assignment: the first that is free, and on the broad drawing has room for the name.
fn lanes(picture: &Picture<'_>, x: &Scale) -> Vec<usize> {
    let mut order: Vec<usize> = (0..picture.of.assignments.len()).collect();
    order.sort_by_key(|one| picture.of.assignments[*one].assignment.from);
    let mut free: Vec<f64> = Vec::new();
    let mut found = vec![0; picture.of.assignments.len()];
    for one in order {
        let (from, to) = ends(picture.of.assignments[one], picture, x);
        let lane = free.iter().position(|free| *free <= from + 0.5).unwrap_or(free.len());
        if lane == free.len() {
            free.push(to);
        } else {
            free[lane] = to;
        }
        found[one] = lane;
    }
    found
}

fn ends(one: Assigned<'_>, picture: &Picture<'_>, x: &Scale) -> (f64, f64) {
    let to = one.assignment.to.unwrap_or(picture.of.history.to).min(picture.of.history.to);
    (x.at(day(one.assignment.from)), x.at(day(to.max(one.assignment.from))))
}

fn draw_lanes(svg: &mut Svg, picture: &Picture<'_>, x: &Scale, panels: &Panels, lanes: &[usize]) {
    let (top, bottom) = panels.lanes;
    let slim = svg.plate().is_slim();
    svg.text(
        (0.0, 13.0),
        Anchor::Start,
        "b",
        if slim { "Assignments (numbers: in the table)" } else { "Assignments" },
    );
    let mut order: Vec<usize> = (0..lanes.len()).collect();
    order.sort_by_key(|one| picture.of.assignments[*one].assignment.from);
    for (number, one) in order.into_iter().enumerate() {
        let assigned = picture.of.assignments[one];
        let (from, to) = ends(assigned, picture, x);
        let y = top + LANE * said::many(lanes[one]);
        let area = Area::between((from, y + 2.0), (to, y + LANE - 3.0));
        let known = picture.of.history.intervals.iter().any(|interval| {
            interval.group_id == assigned.assignment.group_id
                && interval.mean.is_some()
                && interval.to > assigned.assignment.from
                && assigned.assignment.to.is_none_or(|to| interval.from < to)
        });
        // Over a time that is not known the hatching is seen through.
        svg.rect(if known { "box" } else { "thin" }, area);
        let site = assigned.site.map_or(String::new(), |site| format!(", {}", picture.names.site(site)));
        let whole = format!("{} {}{site}", number + 1, picture.names.group(assigned.assignment.group_id));
        let words = if slim { (number + 1).to_string() } else { shortened(&whole, area.width - 12.0, "") };
        if text_width(&words, "") + 4.0 <= area.width && words.len() > 1 {
            svg.text((from + 6.0, y + 18.0), Anchor::Start, if known { "" } else { "halo" }, &words);
        } else if slim || area.width < 16.0 {
            let number = (number + 1).to_string();
            svg.text((f64::midpoint(from, to), y + 18.0), Anchor::Middle, "halo", &number);
        } else {
            svg.text((from + 6.0, y + 18.0), Anchor::Start, "halo", &(number + 1).to_string());
        }
    }
    let away = |svg: &mut Svg, from: chrono::NaiveDate, to: chrono::NaiveDate| {
        let (from, to) = (x.at(day(from)), x.at(day(to)));
        let y = f64::midpoint(top, bottom);
        svg.line("away", (from, y), (to, y));
        if to - from > 40.0 {
            svg.text((f64::midpoint(from, to), y - 5.0), Anchor::Middle, "s halo", "away");
        }
    };
    for gap in &picture.of.history.gaps {
        let (from, to) = (x.at(day(gap.from)), x.at(day(gap.to)));
        if is_unknown(gap.kind) {
            if to - from > 54.0 {
                svg.text((f64::midpoint(from, to), bottom - 7.0), Anchor::Middle, "halo", "no data");
            }
        } else {
            away(svg, gap.from, gap.to);
        }
    }
    for absence in picture.of.absences {
        if absence.from < picture.of.history.to && absence.to > picture.of.history.from {
            away(svg, absence.from, absence.to);
        }
    }
}

fn eras(svg: &mut Svg, picture: &Picture<'_>, x: &Scale, panels: &Panels) {
    let (_, right) = x.ends();
    let slim = svg.plate().is_slim();
    let mut cuts: Vec<_> = picture.of.cuts.iter().filter(|cut| x.holds(day(cut.on))).collect();
    cuts.sort_by_key(|cut| cut.on);
    let last = cuts.len().saturating_sub(1);
    for (at, cut) in cuts.iter().enumerate() {
        let place = x.at(day(cut.on));
        let line = panels.lanes.1 + 15.0 + if slim { 17.0 * said::many((last - at) % 4) } else { 0.0 };
        svg.era(place, line - 2.0, panels.intensity.1);
        let room = cuts.get(at + 1).map_or(right + 190.0, |next| x.at(day(next.on))) - place - 14.0;
        if slim && place > right / 2.0 {
            svg.text((place - 8.0, line), Anchor::End, "halo", &shortened(&cut.name, place - 12.0, ""));
        } else {
            let room = if slim { right - place - 10.0 } else { room };
            if room > 30.0 {
                svg.text((place + 8.0, line), Anchor::Start, "halo", &shortened(&cut.name, room, ""));
            }
        }
    }
}

fn intensities(svg: &mut Svg, picture: &Picture<'_>, x: &Scale, panels: &Panels) {
    let (left, right) = x.ends();
    let (top, bottom) = panels.intensity;
    let y = Scale::of(!picture.noise(), picture.values, bottom, top);
    let unit = picture.unit.map_or("", crate::model::unit::Unit::symbol);
    let heading = match (picture.limit.is_some(), picture.noise()) {
        (true, _) => "Intensity, % of the limit, log axis".to_owned(),
        (false, true) => format!("8-hour level, {unit}"),
        (false, false) => format!("Intensity, {unit}, log axis"),
    };
    svg.text((0.0, top - 13.0), Anchor::Start, "b", &heading);
    for tick in y.ticks(20.0) {
        if tick.ruled {
            svg.line("tick", (left, tick.at), (right, tick.at));
        }
        svg.line("ax", (left - if tick.ruled { 6.0 } else { 4.0 }, tick.at), (left, tick.at));
        if tick.named {
            svg.text((left - 9.0, tick.at + 4.0), Anchor::End, "", &said::tick(tick.value));
        }
    }
    svg.line("ax", (left, top), (left, bottom));
    svg.line("ax", (left, bottom), (right, bottom));
    let place = |value: f64| y.at(picture.on_axis(value));
    let known = picture.of.history.intervals.iter().filter_map(|one| Some((one, one.mean.as_ref()?)));
    for (interval, mean) in known.clone() {
        let (from, to) = (x.at(day(interval.from)), x.at(day(interval.to)));
        let class = match interval.basis {
            Basis::Own => "bo",
            Basis::Group => "bg",
            Basis::Posterior => "bp",
            Basis::Judgement | Basis::None => "bj",
        };
        if let Some((lower, upper)) = mean.lower.zip(mean.upper) {
            svg.rect(class, Area::between((from, place(upper)), (to, place(lower))));
        }
    }
    let mut labels = Vec::new();
    for level in picture.of.levels {
        let Some(value) = picture.unit.and_then(|unit| level.unit.convert(level.value, unit)) else {
            continue;
        };
        svg.line(level.class(), (left, place(value)), (right, place(value)));
        labels.push((place(value), level));
    }
    for (interval, mean) in known {
        let class = match interval.basis {
            Basis::Own | Basis::Group => "est",
            Basis::Posterior => "estp",
            Basis::Judgement | Basis::None => "estj",
        };
        let (from, to) = (x.at(day(interval.from)), x.at(day(interval.to)));
        svg.line(class, (from, place(mean.estimate)), (to, place(mean.estimate)));
    }
    if svg.plate().is_slim() {
        let highest = labels.iter().map(|one| one.0).fold(f64::INFINITY, f64::min);
        for (at, level) in &labels {
            let line = if *at <= highest { at - 5.0 } else { at + 14.0 };
            let points: Vec<(f64, f64)> = picture
                .shifts
                .iter()
                .map(|shift| {
                    let value = shift.value.upper().unwrap_or(shift.value.lower());
                    (x.at(day(shift.view.shift_date)), place(value))
                })
                .collect();
            let words = level.named_short();
            let from = freer_side(&points, (left, right), line, text_width(&words, ""));
            svg.text((from, line), Anchor::Start, "halo", &words);
        }
    } else {
        let wanted: Vec<f64> = labels.iter().map(|one| one.0 + 4.0).collect();
        for (line, (_, level)) in apart(&wanted, top, bottom).into_iter().zip(&labels) {
            svg.text((right + 8.0, line), Anchor::Start, "", &level.named());
        }
    }
    let mut spread = Spread::default();
    for shift in &picture.shifts {
        let at = place(shift.value.upper().unwrap_or(shift.value.lower()));
        let across = spread.across(at, x.at(day(shift.view.shift_date)), 18.0).clamp(left + 1.0, right - 1.0);
        let dot = if picture.is_own(shift) { Dot::Filled } else { Dot::Open };
        let share = picture.limit.map_or(1.0, |limit| 100.0 / limit);
        svg.value(shift.value.scaled(share), dot, &y, across, Along::Up);
        if !shift.is_accepted() {
            svg.not_accepted((across, at));
        }
    }
}

/// The dose in stretches between gaps, each with its band.
fn doses(svg: &mut Svg, picture: &Picture<'_>, x: &Scale, (top, bottom): (f64, f64)) {
    let (left, right) = x.ends();
    let Some(view) = &picture.of.history.cumulative else { return };
    let all = picture.stretches.iter().flatten();
    let greatest = all.map(|point| point.band.map_or(point.value, |band| band.1.max(point.value)));
    let y = Scale::linear(span_from_zero(greatest.fold(0.0, f64::max)), bottom, top);
    svg.text(
        (0.0, top - 15.0),
        Anchor::Start,
        "b",
        &format!("Cumulative exposure, {}", dose_unit(&view.unit)),
    );
    for tick in y.ticks(24.0) {
        svg.line("tick", (left, tick.at), (right, tick.at));
        svg.line("ax", (left - 6.0, tick.at), (left, tick.at));
        svg.text((left - 9.0, tick.at + 4.0), Anchor::End, "", &said::tick(tick.value));
    }
    for stretch in &picture.stretches {
        let line = |of: &dyn Fn(&super::dose::Point) -> f64| -> Vec<(f64, f64)> {
            stretch.iter().map(|point| (x.at(day(point.on)), y.at(of(point)))).collect()
        };
        if stretch.iter().all(|point| point.band.is_some()) {
            let low = line(&|point| point.band.map_or(point.value, |band| band.0));
            let high = line(&|point| point.band.map_or(point.value, |band| band.1));
            let around: Vec<(f64, f64)> = high.iter().chain(low.iter().rev()).copied().collect();
            svg.path("bfill", &around, true);
            svg.path("bedge", &high, false);
            svg.path("bedge", &low, false);
        }
        svg.path("est", &line(&|point| point.value), false);
    }
    svg.line("ax", (left, top), (left, bottom));
    svg.line("ax", (left, bottom), (right, bottom));
    let words = dose(view);
    if svg.plate().is_slim() {
        svg.text((left + 6.0, top + 12.0), Anchor::Start, "halo", &words);
    } else {
        let at = picture
            .stretches
            .last()
            .and_then(|stretch| stretch.last())
            .map_or(bottom, |last| y.at(last.value));
        let (head, band) = words.split_once(" (").unwrap_or((&words, ""));
        svg.text((right + 8.0, at + 4.0), Anchor::Start, "b", head);
        svg.text((right + 8.0, at + 21.0), Anchor::Start, "s", band.trim_end_matches(')'));
    }
}

/// The place and the row of each pennant, in the order of dates: where two would cover each other the later stands lower.
fn pennant_rows(picture: &Picture<'_>, x: &Scale) -> Vec<(f64, usize)> {
    let mut free: Vec<f64> = Vec::new();
    let (left, right) = x.ends();
    ordered(picture)
        .iter()
        .map(|(due, _, _)| {
            let at = x.at(day(*due)).clamp(left + 12.0, right - 15.0);
            let row = free.iter().position(|free| *free <= at).unwrap_or(free.len());
            if row == free.len() {
                free.push(0.0);
            }
            free[row] = at + PENNANT_ROOM;
            (at, row)
        })
        .collect()
}
