//! A worker's years of noise by level, in place of a dose: levels are not added up.

use crate::conclusions::history::noise_levels::LevelBand;
use crate::conclusions::history::view::HistoryView;
use crate::pages::charts::figure::{Column, Figure, Row, Said, Table};
use crate::pages::charts::said;
use crate::pages::charts::scale::{Scale, span_from_zero};
use crate::pages::charts::svg::{Anchor, Area, Plate, Svg};

const fn words(band: LevelBand) -> &'static str {
    match band {
        LevelBand::Below80 => "below 80 dBA",
        LevelBand::From80 => "80 to below 85 dBA",
        LevelBand::From85 => "85 to below 90 dBA",
        LevelBand::From90 => "90 dBA and above",
        LevelBand::NotKnown => "not known",
    }
}

/// The years of full time in each band; `None` where the history is not one of noise.
pub fn noise_years(id: &str, history: &HistoryView) -> Option<Figure> {
    let bands: Vec<(LevelBand, f64)> =
        history.years_by_level.as_ref()?.iter().map(|one| (one.band, one.years)).collect();
    let mut desc = vec!["Years of full time by the mean level of the groups worked in.".to_owned()];
    desc.extend(bands.iter().map(|(band, years)| format!("{}: {} years.", words(*band), said::bare(*years))));
    if let Some(mean) = &history.equal_energy_mean {
        let of = |value: f64| said::number(value, mean.unit, &[]);
        let band = mean.lower.zip(mean.upper);
        let band =
            band.map_or_else(String::new, |(lower, upper)| format!(" ({} to {})", of(lower), of(upper)));
        desc.push(format!(
            "Mean level by equal energy {}{band} {}, over {} years.",
            of(mean.estimate),
            mean.unit.symbol(),
            said::bare(mean.years)
        ));
    }
    let rows = bands.iter().map(|(band, years)| {
        let cells = [words(*band).to_owned(), said::bare(*years)];
        if *band == LevelBand::NotKnown { Row::unknown(cells) } else { Row::of(cells) }
    });
    let said = Said {
        title: "Years of noise by level".to_owned(),
        desc,
        notes: Vec::new(),
        key: Vec::new(),
        table: Table {
            caption: "Years of full time by level.".to_owned(),
            columns: vec![Column::text("8-hour level"), Column::number("Years")],
            rows: rows.collect(),
        },
    };
    Some(Figure::drawn(said, |plate| draw(id, plate, &bands)))
}

fn draw(id: &str, plate: Plate, bands: &[(LevelBand, f64)]) -> Svg {
    let (left, right) = (plate.pick(200.0, 140.0), plate.width() - plate.pick(110.0, 70.0));
    let bottom = 6.0 + 30.0 * said::many(bands.len());
    let mut svg = Svg::new(id, plate, bottom + 46.0);
    let most = bands.iter().map(|one| one.1).fold(0.0, f64::max);
    let axis = Scale::linear(span_from_zero(most), left, right);
    for (at, (band, years)) in bands.iter().enumerate() {
        let y = 6.0 + 30.0 * said::many(at);
        svg.text((left - 10.0, y + 14.0), Anchor::End, "", words(*band));
        let area = Area::between((left, y), (axis.at(*years), y + 18.0));
        if *years > 0.0 && *band == LevelBand::NotKnown {
            svg.hatch(area);
            svg.rect("thin", area);
        } else if *years > 0.0 {
            svg.rect("box", area);
        }
        svg.text((axis.at(*years) + 6.0, y + 14.0), Anchor::Start, "halo", &said::bare(*years));
    }
    for tick in axis.ticks(44.0) {
        svg.line("ax", (tick.at, bottom), (tick.at, bottom + 5.0));
        svg.text((tick.at, bottom + 19.0), Anchor::Middle, "", &said::tick(tick.value));
    }
    svg.line("ax", (left, bottom), (right, bottom));
    svg.text((right, bottom + 38.0), Anchor::End, "s", "years of full time");
    svg
}
