//! How dates, numbers and states are said in figures.

use crate::conclusions::history::basis::{Basis, GapKind};
use crate::hygiene::control_effect::Verdict;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::duty::DutyStatus;
use crate::model::facts::sampling::Position;
use crate::model::facts::standing_move::StandingValue;
use crate::model::measured::Measured;
use crate::model::printed::{Printing, Resolution};
use crate::model::unit::Unit;
use crate::pages::texts::{Texts, english};
use chrono::NaiveDate;

/// The texts of figures: those of the one language that there is.
fn texts() -> &'static Texts {
    english()
}

/// A day: `2 Nov 2026`.
pub fn date(date: NaiveDate) -> String {
    date.format("%-d %b %Y").to_string()
}

/// A time from its first day to the first day no longer: `2 Nov 2026 to 4 Dec 2026`, the last day being said.
pub fn period(from: Option<NaiveDate>, to: Option<NaiveDate>) -> String {
    let last = to.map(|to| to.pred_opt().unwrap_or(to));
    match (from, last) {
        (Some(from), Some(last)) => {
            texts().with("period-from-to", &[("day", &date(from)), ("by", &date(last))])
        }
        (Some(from), None) => texts().with("period-since", &[("day", &date(from))]),
        (None, Some(last)) => texts().with("period-to", &[("day", &date(last))]),
        (None, None) => texts().t("period-always"),
    }
}

/// Figures of a value in a unit, without the unit, beside the levels it was compared with.
pub fn number(value: f64, unit: Unit, levels: &[f64]) -> String {
    Printing::of(Resolution::of(unit, 2)).beside(levels).number(value)
}

/// What is known of a value with its unit, beside the levels it was compared with.
pub fn measured(measured: Measured, unit: Unit, levels: &[f64]) -> String {
    Printing::of(Resolution::of(unit, 2)).beside(levels).measured(measured, unit)
}

/// A number without unit, in two figures.
pub fn bare(value: f64) -> String {
    Printing::of(Resolution::Figures(2)).number(value)
}

/// A change in per cent, beside a target.
pub fn per_cent(value: f64, target: &[f64]) -> String {
    Printing::of(Resolution::PerCent).beside(target).number(value)
}

/// The number of an axis: in all its digits.
pub fn tick(value: f64) -> String {
    // Ticks are a digit times a power of ten, whose product may carry a tail of binary dust.
    crate::model::printed::exact(crate::model::rounding::significant(value))
}

/// So many of a thing, by the key of its text: `1 result`, `3 results`.
pub fn count(number: i64, key: &str) -> String {
    texts().n(key, usize::try_from(number).unwrap_or_default())
}

/// A number of things as a number of an axis.
pub fn whole(number: i64) -> f64 {
    // Counts of results and days are far below 2^53.
    #[expect(clippy::cast_precision_loss, reason = "counts of results and days")]
    {
        number as f64
    }
}

/// How many things a list has.
pub fn many(count: usize) -> f64 {
    f64::from(u32::try_from(count).unwrap_or(u32::MAX))
}

/// How many things a list has, to be said.
pub fn counted(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// Where a group stands.
pub fn standing(value: StandingValue) -> String {
    texts().word("standing", value.as_str())
}

/// What a control did.
pub fn verdict(verdict: Verdict) -> String {
    texts().word("verdict", verdict.as_str())
}

/// Where the air was taken.
pub fn position(position: Position) -> String {
    texts().word("figure-position", position.as_str())
}

/// Whose mean a time has.
pub fn basis(basis: Basis) -> String {
    texts().word("basis", basis.as_str())
}

/// Why nothing is known of a time.
pub fn gap(kind: GapKind) -> String {
    texts().word("gap", kind.as_str())
}

/// What kind of a limit it is.
pub fn limit_kind(kind: LimitKind) -> String {
    texts().word("limit-kind", kind.as_str())
}

/// How a duty stands.
pub fn duty(status: DutyStatus) -> String {
    texts().word("figure-duty", status.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_day_of_a_period_is_said() {
        let day = |text: &str| text.parse::<NaiveDate>().ok();
        assert_eq!(period(day("2026-11-02"), day("2026-12-05")), "2 Nov 2026 to 4 Dec 2026");
        assert_eq!(period(None, day("2026-01-01")), "to 31 Dec 2025");
    }

    #[test]
    fn ticks_carry_no_binary_dust() {
        assert_eq!([0.1 + 0.2, 3.0 * 0.1, 1000.0].map(tick), ["0.3", "0.3", "1000"]);
    }
}
