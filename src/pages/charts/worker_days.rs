//! Days of workers at each site in four parts, with all of them as the denominator.

use crate::conclusions::history::assessed_days::AssessedDays;
use crate::model::printed::share::share;
use crate::model::text::Code;
use crate::pages::charts::figure::{Column, Figure, KeyMark, Row, Said, Table};
use crate::pages::charts::names::Names;
use crate::pages::charts::said;
use crate::pages::charts::scale::Scale;
use crate::pages::charts::svg::{Anchor, Area, Plate, Svg, shortened, text_width};
use chrono::NaiveDate;

/// The days of a site for one agent.
#[derive(Debug, Clone, Copy)]
pub struct SiteDays<'a> {
    /// The agent.
    pub agent: &'a Code,
    /// The days, with their site.
    pub days: &'a AssessedDays,
    /// The shift date of the newest result in a profile of the site's groups.
    pub newest: Option<NaiveDate>,
}

/// The parts in the order of the bar, with their words.
const PARTS: [(&str, &str); 4] = [
    ("boxf", "settled at or above"),
    ("boxd", "cannot tell"),
    ("box", "settled below"),
    ("hatch", "not assessed"),
];

/// The numbers of the parts, in the same order.
fn parts(days: &AssessedDays) -> [i64; 4] {
    [days.settled_at_or_above, days.cannot_tell, days.settled_below, days.not_assessed]
}

/// A bar each site and agent, in the order given: it is no rank. `None` without any day.
pub fn worker_days(id: &str, sites: &[SiteDays<'_>], names: &Names) -> Option<Figure> {
    let sites: Vec<&SiteDays<'_>> = sites.iter().filter(|site| site.days.total() > 0).collect();
    (!sites.is_empty()).then_some(())?;
    let mut desc = vec![
        "Days of workers in the last twelve months, in four parts of all of them; what is not assessed is no good day.".to_owned(),
    ];
    let mut rows = Vec::new();
    for site in &sites {
        let total = said::whole(site.days.total());
        let numbers = parts(site.days);
        let each: Vec<String> = numbers
            .iter()
            .zip(PARTS)
            .map(|(number, (_, words))| format!("{words} {}", share(said::whole(*number) / total, &[])))
            .collect();
        let newest = site.newest.map_or_else(|| "no result".to_owned(), said::date);
        desc.push(format!(
            "{}, {}: of {} {}; newest result: {newest}.",
            names.site(site.days.site_id),
            names.agent(site.agent),
            said::count(site.days.total(), "count-day"),
            each.join(", ")
        ));
        let mut cells = vec![names.site(site.days.site_id).to_owned(), names.agent(site.agent).to_owned()];
        cells.push(said::tick(total));
        cells.extend(numbers.iter().map(|number| said::tick(said::whole(*number))));
        cells.push(newest);
        rows.push(Row::of(cells));
    }
    let marks = [KeyMark::BarAtOrAbove, KeyMark::BarCannotTell, KeyMark::BarBelow, KeyMark::Gap];
    let mut columns = vec![Column::text("Site"), Column::text("Agent"), Column::number("Worker-days")];
    columns.extend(PARTS.iter().map(|(_, words)| Column::number(*words)));
    columns.push(Column::text("Newest result"));
    let said = Said {
        title: "Days of workers by what is settled of them, last twelve months".to_owned(),
        desc,
        notes: Vec::new(),
        key: marks.into_iter().zip(PARTS).map(|(mark, (_, words))| (mark, words.to_owned())).collect(),
        table: Table { caption: "The same days, counted.".to_owned(), columns, rows },
    };
    Some(Figure::drawn(said, |plate| draw(id, plate, &sites, names)))
}

fn draw(id: &str, plate: Plate, sites: &[&SiteDays<'_>], names: &Names) -> Svg {
    let slim = plate.is_slim();
    let (left, right) = (plate.pick(400.0, 1.0), plate.width() - plate.pick(230.0, 1.0));
    let (step, top) = (plate.pick(38.0, 62.0), 4.0);
    let bottom = top + step * said::many(sites.len()) + 4.0;
    let mut svg = Svg::new(id, plate, bottom + 42.0);
    let axis = Scale::linear((0.0, 1.0), left, right);
    for (at, site) in sites.iter().enumerate() {
        let y = top + step * said::many(at) + if slim { 36.0 } else { 8.0 };
        let place = names.site(site.days.site_id);
        let agent = names.agent(site.agent);
        let days = said::count(site.days.total(), "count-worker-day");
        let newest =
            site.newest.map_or_else(|| "no result".to_owned(), |date| format!("newest {}", said::date(date)));
        if slim {
            svg.text(
                (0.0, y - 21.0),
                Anchor::Start,
                "b",
                &shortened(&format!("{place}, {agent}"), 350.0, "b"),
            );
            svg.text((0.0, y - 5.0), Anchor::Start, "s", &format!("{days}, {newest}"));
        } else {
            svg.text((0.0, y + 14.0), Anchor::Start, "b", &shortened(place, 196.0, "b"));
            svg.text((204.0, y + 14.0), Anchor::Start, "", &shortened(agent, 186.0, ""));
            svg.text((right + 14.0, y + 7.0), Anchor::Start, "", &days);
            svg.text((right + 14.0, y + 23.0), Anchor::Start, "s", &newest);
        }
        let total = said::whole(site.days.total());
        let mut from = 0.0;
        for (number, (class, _)) in parts(site.days).into_iter().zip(PARTS) {
            if number == 0 {
                continue;
            }
            let to = from + said::whole(number) / total;
            let area = Area::between((axis.at(from), y), (axis.at(to), y + 20.0));
            if class == "hatch" {
                svg.hatch(area);
                svg.rect("thin", area);
            } else {
                svg.rect(class, area);
            }
            let words = share(said::whole(number) / total, &[]);
            if text_width(&words, "") + 10.0 < area.width {
                let style = match class {
                    "boxf" => "on",
                    "hatch" => "halo",
                    _ => "",
                };
                svg.text((f64::midpoint(area.x, area.right()), y + 15.0), Anchor::Middle, style, &words);
            }
            from = to;
        }
    }
    for tick in axis.ticks(60.0) {
        svg.line("ax", (tick.at, bottom), (tick.at, bottom + 6.0));
        svg.text((tick.at, bottom + 20.0), Anchor::Middle, "", &said::tick(100.0 * tick.value));
    }
    svg.line("ax", (left, bottom), (right, bottom));
    svg.text((right, bottom + 38.0), Anchor::End, "s", "% of all worker-days");
    svg
}
