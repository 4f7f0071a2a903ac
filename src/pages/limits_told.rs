//! The limits in force as a table, each with whose it is, where it is written and how far that was checked.

use crate::model::printed::{Printing, Resolution};
use crate::pages::charts::figure::{Column, Row, Table};
use crate::pages::charts::said;
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::registry::conclude::limits_in_force::InForce;

/// The table; nothing where no limit is in force.
pub fn limits_table(texts: &Texts, agent: &str, limits: &[InForce]) -> Option<Table> {
    let rows: Vec<Row> = limits
        .iter()
        .map(|one| {
            let limit = &one.limit;
            let averaged = match limit.averaging_minutes {
                Some(480) => texts.t("limits-eight-hours"),
                Some(minutes) => texts.n("limits-minutes", usize::try_from(minutes).unwrap_or_default()),
                None => texts.t("limits-instant"),
            };
            let edition = limit
                .edition
                .as_ref()
                .map(|edition| texts.with("duty-edition", &[("what", edition.as_str())]));
            let checked = limit.verification.map(|checked| checked.in_words().to_owned());
            let written: Vec<String> =
                [Some(limit.source.to_string()), edition, checked].into_iter().flatten().collect();
            Row::of([
                told::heading(&said::limit_kind(limit.kind)),
                limit.authority.to_string(),
                Printing::of(Resolution::Figures(2)).quantity(&limit.value),
                averaged,
                written.join("; "),
            ])
        })
        .collect();
    (!rows.is_empty()).then(|| Table {
        caption: texts.with("limits-caption", &[("what", agent)]),
        columns: vec![
            Column::text(texts.t("limits-kind")),
            Column::text(texts.t("limits-authority")),
            Column::number(texts.t("limits-value")),
            Column::text(texts.t("limits-averaged")),
            Column::text(texts.t("limits-source")),
        ],
        rows,
    })
}
