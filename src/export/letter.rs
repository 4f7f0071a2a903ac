//! Letters to workers as papers, in plain words: the text that is frozen on issue, and the page around it.

use crate::export::paper::{STYLE, foot, words};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::letter::{Letter, LetterLimit, LetterResult, LetterSays, LimitReading};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::measured::Measured;
use crate::model::printed::{Printing, Resolution, exact, precision};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::registry::anchor::ChainState;
use askama::Template;
use chrono::NaiveDate;

/// The divisor of an 8-hour average, in minutes.
const EIGHT_HOURS: f64 = 480.0;

/// A row of results.
struct ResultRow {
    on: String,
    whose: &'static str,
    value: String,
    over: String,
}

#[derive(Template)]
#[template(path = "letter_body.html")]
struct Body<'l> {
    says: &'l LetterSays,
    on: NaiveDate,
    before: Option<&'l Letter>,
    before_gave: Vec<String>,
    whose: Vec<&'static str>,
    below: bool,
    rows: Vec<ResultRow>,
    unlike: Vec<String>,
    meaning: Vec<String>,
    noise: bool,
}

#[derive(Template)]
#[template(path = "letter.html")]
struct Page<'l> {
    style: &'static str,
    letter: &'l Letter,
    overtaken: bool,
    foot: String,
}

/// The text of a letter, to be frozen: issued on a day, in place of one before where there is one.
///
/// # Errors
/// Never for a letter: the template writes into memory.
pub fn body(says: &LetterSays, on: NaiveDate, before: Option<&Letter>) -> Result<String, askama::Error> {
    let below = |result: &&LetterResult| matches!(result.value.measured, Measured::Below(_));
    let before_gave = before.map(|old| old.says.results.as_slice()).unwrap_or_default();
    Body {
        says,
        on,
        before,
        before_gave: before_gave.iter().map(given_before).collect(),
        whose: whose(says),
        below: says.results.iter().any(|result| below(&result)),
        rows: says.results.iter().map(row).collect(),
        unlike: unlike_days(&says.results),
        meaning: meaning(&says.results),
        noise: says.results.iter().any(|result| result.criterion.is_some()),
    }
    .render()
}

/// The page: the frozen text, what became of the letter since (`overtaken`: what it rests on was corrected, and no other
/// has taken its place yet), and at every foot its check value and how the record stood. The foot is not part of what was
/// frozen.
///
/// # Errors
/// Never for a letter: the template writes into memory.
pub fn page(letter: &Letter, overtaken: bool, state: &ChainState) -> Result<String, askama::Error> {
    Page { style: STYLE, letter, overtaken, foot: foot(state) }.render()
}

/// Measured on the reader, or represented by somebody else's sampler: the reader must know which.
fn whose(says: &LetterSays) -> Vec<&'static str> {
    let measured = says.results.iter().any(|result| result.measured);
    let represented = says.results.iter().any(|result| !result.measured);
    let own = measured.then_some("You wore a sampler. Results marked “you” were measured on you.");
    let others = represented.then_some(if measured {
        "On other days a co-worker in your group wore one, while you were assigned to the same work. Those results represent \
         you: they were measured on the co-worker and not on you."
    } else {
        "You did not wear a sampler. A co-worker in your group did, while you were assigned to the same work. What was found \
         represents you: it was measured on the co-worker and not on you."
    });
    own.into_iter().chain(others).collect()
}

fn row(result: &LetterResult) -> ResultRow {
    ResultRow {
        on: result.shift_date.to_string(),
        whose: if result.measured { "you" } else { "a co-worker in your group" },
        value: value(result),
        over: over(result),
    }
}

/// The figure beside its limits: no rounding across one.
fn value(result: &LetterResult) -> String {
    let unit = result.value.unit;
    let levels: Vec<f64> = result.limits.iter().filter_map(|limit| limit.value.number_in(unit)).collect();
    let figures = u32::try_from(result.figures).unwrap_or(precision::FEWEST);
    let printing = Printing::of(Resolution::of(unit, figures));
    printing.beside(&levels).measured(result.value.measured, unit)
}

fn over(result: &LetterResult) -> String {
    let rule = match result.criterion {
        Some(NoiseCriterion::OshaLimit) => ", counting noise from 90 dBA on",
        Some(NoiseCriterion::OshaActionLevel) => ", counting noise from 80 dBA on",
        Some(NoiseCriterion::Niosh) => ", counting all noise",
        None => "",
    };
    if result.averaging_minutes >= EIGHT_HOURS {
        return format!("8 hours ({} minutes sampled){rule}", exact(result.sampled_minutes));
    }
    format!("{} minutes{rule}", exact(result.averaging_minutes))
}

fn given_before(result: &LetterResult) -> String {
    format!("{} for {}, over {}", value(result), result.shift_date, over(result))
}

/// Each day once.
fn unlike_days(results: &[LetterResult]) -> Vec<String> {
    let mut lines: Vec<String> = results.iter().filter_map(unlike).collect();
    lines.dedup();
    lines
}

fn unlike(result: &LetterResult) -> Option<String> {
    let reasons: Vec<String> = result.unlike_other_days.iter().map(Code::as_str).map(of_reason).collect();
    let reasons = (!reasons.is_empty()).then(|| reasons.join("; "))?;
    Some(format!("{} was not a day like others: {reasons}.", result.shift_date))
}

fn of_reason(reason: &str) -> String {
    match reason {
        "worst_case" => "we looked for the worst case".to_owned(),
        "complaint" => "we measured because somebody had complained".to_owned(),
        "control_trial" => "we tried what a control does".to_owned(),
        "not_representative" => "the work was not as usual".to_owned(),
        "upset" => "something had gone wrong in the process".to_owned(),
        other => format!("there was an {}", words(other)),
    }
}

/// What the results mean: each limit once for all results that show the same of it, in the order in which they come.
fn meaning(results: &[LetterResult]) -> Vec<String> {
    let mut lines: Vec<(String, LimitReading, Vec<&LetterResult>)> = Vec::new();
    let mut without = Vec::new();
    for result in results {
        if result.limits.is_empty() {
            let line = format!("For the result of {} we know no limit to set beside it.", result.shift_date);
            if !without.contains(&line) {
                without.push(line);
            }
        }
        for limit in &result.limits {
            let is_set = set(limit);
            match lines.iter_mut().find(|(known, reading, _)| *known == is_set && *reading == limit.reading) {
                Some((.., of)) => of.push(result),
                None => lines.push((is_set, limit.reading, vec![result])),
            }
        }
    }
    let told = lines.iter().map(|(is_set, reading, of)| format!("{is_set} {}", against(of, *reading)));
    told.chain(without).collect()
}

/// What the limit was.
fn set(limit: &LetterLimit) -> String {
    format!(
        "The {} of {} was {} averaged over {} ({}).",
        of_limit(limit.kind),
        limit.authority,
        level(limit),
        limit_minutes(limit),
        limit.source
    )
}

/// What results show of it, day by day.
fn against(results: &[&LetterResult], reading: LimitReading) -> String {
    let mut days: Vec<(NaiveDate, Vec<String>)> = Vec::new();
    for result in results {
        match days.last_mut().filter(|(day, _)| *day == result.shift_date) {
            Some((_, values)) => values.push(value(result)),
            None => days.push((result.shift_date, vec![value(result)])),
        }
    }
    let days: Vec<String> =
        days.iter().map(|(day, values)| format!("{day} ({})", values.join("; "))).collect();
    let days = match days.split_last() {
        Some((last, [])) => last.clone(),
        Some((last, before)) => format!("{} and {last}", before.join(", ")),
        None => String::new(),
    };
    let (results, is, does) =
        if results.len() == 1 { ("result", "is", "does") } else { ("results", "are", "do") };
    let shown = match reading {
        LimitReading::Below => format!("{is} below it"),
        LimitReading::At => format!("{is} exactly at it"),
        LimitReading::Above => format!("{is} above it"),
        LimitReading::CannotTell => format!("{does} not tell whether it was reached"),
    };
    format!("The {results} of {days} {shown}.")
}

fn level(limit: &LetterLimit) -> String {
    let Measured::Value(value) = limit.value.measured else { return "not known".to_owned() };
    let unit: Unit = limit.value.unit;
    format!("{} {}", exact(value), unit.symbol())
}

fn limit_minutes(limit: &LetterLimit) -> String {
    match limit.averaging_minutes {
        Some(480) => "8 hours".to_owned(),
        Some(minutes) => format!("{minutes} minutes"),
        None if matches!(limit.kind, LimitKind::Twa | LimitKind::ActionLevel) => "8 hours".to_owned(),
        None => "the shortest time that can be measured".to_owned(),
    }
}

fn of_limit(kind: LimitKind) -> &'static str {
    match kind {
        LimitKind::Twa => "limit",
        LimitKind::Stel => "short-term limit",
        LimitKind::Ceiling => "ceiling limit",
        LimitKind::Excursion => "excursion limit",
        LimitKind::ActionLevel => "action level",
        LimitKind::Peak => "peak limit",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::shape::Shape as _;
    use serde_json::{Value, json};

    fn result(on: &str, value: f64, reading: &str) -> LetterResult {
        let limit = json!({"authority": "OSHA", "kind": "twa", "value": {"value": 5.0, "unit": "ug/m3"},
            "averaging_minutes": 480, "source": "29 CFR 1910.1026(c)", "reading": reading});
        let body: Value = json!({"shift_date": on, "measured": true, "value": {"value": value, "unit": "ug/m3"},
            "figures": 2, "averaging_minutes": 480.0, "sampled_minutes": 430.0, "unlike_other_days": ["upset"],
            "limits": [limit]});
        LetterResult::parse(&body).unwrap()
    }

    // Invented numbers; 29 CFR 1910.1026(c): 5 ug/m3.
    #[test]
    fn a_limit_is_named_once_for_all_results_that_show_the_same_of_it() {
        let set = "The limit of OSHA was 5 µg/m³ averaged over 8 hours (29 CFR 1910.1026(c)).";
        let results = [
            result("2026-03-02", 1.2, "below"),
            result("2026-03-02", 1.4, "below"),
            result("2026-03-03", 6.1, "above"),
            result("2026-03-04", 0.9, "below"),
        ];
        assert_eq!(
            meaning(&results),
            [
                format!(
                    "{set} The results of 2026-03-02 (1.2 µg/m³; 1.4 µg/m³) and 2026-03-04 (0.90 µg/m³) are below it."
                ),
                format!("{set} The result of 2026-03-03 (6.1 µg/m³) is above it."),
            ]
        );
        assert_eq!(unlike_days(&results[..2]).len(), 1);
    }
}
