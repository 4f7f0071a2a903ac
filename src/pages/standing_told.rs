//! Where a group stands and how it came to stand there, in marks and words.

use crate::conclusions::group_standing::StandingView;
use crate::model::facts::standing_move::{Averaging, MoveCause, StandingValue};
use crate::model::shape::Joined;
use crate::pages::charts::figure::{Column, Row, Table};
use crate::pages::marks::{self, Mark};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::registry::standing_moves::StandingMoveView;

/// Where a group stands by one limit.
pub struct StandingTold {
    /// The mark with its word.
    pub mark: Mark,
    /// By whose limit and which averages.
    pub by: String,
    /// Since when, by which round and clause.
    pub since: String,
}

/// Whose limit, and which averages.
fn by(texts: &Texts, authority: &str, averaging: Option<Averaging>, minutes: Option<i64>) -> String {
    let Some(averaging) = averaging.filter(|averaging| *averaging != Averaging::EightHour) else {
        return texts.with("standing-by", &[("by", authority)]);
    };
    let word = texts.word("averaging", averaging.as_str());
    let minutes =
        minutes.map(|minutes| texts.n("limits-minutes", usize::try_from(minutes).unwrap_or_default()));
    let what = minutes.map_or_else(|| word.clone(), |minutes| format!("{word}, {minutes}"));
    texts.with("standing-by-short", &[("by", authority), ("what", &what)])
}

/// Where a group stands, by each limit.
pub fn standing(texts: &Texts, views: &[StandingView]) -> Vec<StandingTold> {
    views
        .iter()
        .map(|view| {
            let mut since = Vec::new();
            since.extend(view.since.map(|day| texts.with("standing-since", &[("day", &told::day(day))])));
            since.extend(
                view.round
                    .as_ref()
                    .map(|round| texts.with("standing-round", &[("day", &told::day(round.date))])),
            );
            since.extend(view.clause.clone());
            StandingTold {
                mark: Mark::new(marks::standing(view.value), texts.word("standing", view.value.as_str())),
                by: by(texts, view.authority.as_str(), view.averaging, view.averaging_minutes),
                since: since.join("; "),
            }
        })
        .collect()
}

/// The moves of a standing as they were written, the latest first; nothing where it never moved.
pub fn moves_table(texts: &Texts, moves: &[StandingMoveView]) -> Option<Table> {
    let rows: Vec<Row> = moves
        .iter()
        .rev()
        .map(|Joined(_, Joined(one, tail))| {
            let word = |value: StandingValue| texts.word("standing", value.as_str());
            let mut why = Vec::new();
            why.extend(
                one.round
                    .as_ref()
                    .map(|round| texts.with("standing-round", &[("day", &told::day(round.date))])),
            );
            if one.cause == MoveCause::TakenBack {
                why.push(texts.t("standing-taken-back"));
            }
            why.extend(one.clause.clone());
            if tail.taken_back_by.is_some() {
                why.push(texts.t("standing-taken-back-since"));
            }
            Row::of([
                one.since.map_or_else(|| texts.t("standing-from-the-beginning"), told::day),
                word(one.value),
                word(one.value_before),
                by(texts, one.authority.as_str(), Some(one.averaging), one.averaging_minutes),
                why.join("; "),
                texts.with(
                    "standing-learned",
                    &[("day", &told::day(one.learned_on)), ("entry", &told::count(tail.position))],
                ),
            ])
        })
        .collect();
    (!rows.is_empty()).then(|| Table {
        caption: texts.t("standing-moves-caption"),
        columns: [
            "standing-from",
            "standing-stands",
            "standing-before",
            "standing-whose",
            "standing-why",
            "standing-written",
        ]
        .map(|key| Column::text(texts.t(key)))
        .to_vec(),
        rows,
    })
}
