//! What a letter tells of a shift: the values with the limits of their day, and whether it must say more.

use crate::conclusions::comparison::{Comparison, ComparisonAnswer};
use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY};
use crate::conclusions::shift_average::{ShiftTwa, both};
use crate::conclusions::use_of_result::LeftOutReason;
use crate::hygiene::short_term::{CEILING_MINUTES, said_of_window};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::letter::{LetterLimit, LetterResult, LimitReading};
use crate::model::measured::{Answer, Measured};
use crate::model::quantity::Quantity;
use crate::model::text::Code;
use crate::surveillance::monitoring::notice::SaysMore;

/// The divisor of an 8-hour average, in minutes.
const EIGHT_HOURS: f64 = 480.0;

/// Why a day is no measure of other days; a reader who was not there himself must know it.
const UNLIKE: &[LeftOutReason] = &[
    LeftOutReason::WorstCase,
    LeftOutReason::Complaint,
    LeftOutReason::ControlTrial,
    LeftOutReason::NotRepresentative,
    LeftOutReason::Upset,
    LeftOutReason::Emergency,
];

/// The results of a shift: its 8-hour average, then each short-term value. `measured`: the reader wore the sampler;
/// `figures`: how many significant figures the data have.
pub fn results(shift: &ShiftTwa, measured: bool, figures: u32, agent: &AgentEvidence) -> Vec<LetterResult> {
    let unlike = |reason: &&LeftOutReason| UNLIKE.contains(reason);
    let unlike_other_days: Vec<Code> =
        shift.uses.reasons.iter().filter(unlike).filter_map(|reason| Code::new(reason.as_str())).collect();
    let result = |value: Measured, minutes: f64, sampled: f64, limits: Vec<LetterLimit>| LetterResult {
        shift_date: shift.shift_date,
        measured,
        value: Quantity::computed(value, shift.unit),
        figures: i64::from(figures),
        averaging_minutes: minutes,
        criterion: shift.criterion,
        sampled_minutes: sampled,
        unlike_other_days: unlike_other_days.clone(),
        limits,
    };
    let mut results = Vec::new();
    if let Some(value) = shift.compared() {
        results.push(result(value, EIGHT_HOURS, shift.sampled_minutes, of_shift(shift, value, agent)));
    }
    for peak in &shift.peaks {
        let value = both(peak.mean, peak.at_lower_flow);
        results.push(result(value, peak.minutes, peak.minutes, of_peak(shift, value, peak.minutes, agent)));
    }
    results
}

fn is_short(kind: LimitKind) -> bool {
    matches!(kind, LimitKind::Stel | LimitKind::Excursion | LimitKind::Ceiling)
}

/// The limits beside an 8-hour average. Of limits over a short time only what a filter of the whole shift can show: that
/// one was reached.
fn of_shift(shift: &ShiftTwa, value: Measured, agent: &AgentEvidence) -> Vec<LetterLimit> {
    let tells = |comparison: &&Comparison| {
        !is_short(comparison.kind)
            || (shift.peaks.is_empty() && comparison.answer == ComparisonAnswer::AtOrAbove)
    };
    let reading = |comparison: &Comparison| match comparison.answer {
        ComparisonAnswer::Below => LimitReading::Below,
        ComparisonAnswer::CannotTell => LimitReading::CannotTell,
        ComparisonAnswer::AtOrAbove if !is_short(comparison.kind) && !surpasses(value, comparison.value) => {
            LimitReading::At
        }
        ComparisonAnswer::AtOrAbove => LimitReading::Above,
    };
    let told = shift.comparisons.iter().filter(tells);
    told.filter_map(|comparison| beside(comparison, shift, agent, |_| reading(comparison))).collect()
}

fn of_peak(shift: &ShiftTwa, value: Measured, minutes: f64, agent: &AgentEvidence) -> Vec<LetterLimit> {
    let short = shift.comparisons.iter().filter(|comparison| is_short(comparison.kind));
    short
        .filter_map(|comparison| {
            beside(comparison, shift, agent, |window| {
                let said = said_of_window(value, minutes, window);
                match said.against(comparison.value) {
                    Answer::Below => LimitReading::Below,
                    Answer::CannotTell => LimitReading::CannotTell,
                    Answer::AtOrAbove if surpasses(said, comparison.value) => LimitReading::Above,
                    Answer::AtOrAbove => LimitReading::At,
                }
            })
        })
        .collect()
}

fn surpasses(value: Measured, level: f64) -> bool {
    value.exceeds(level) == Answer::AtOrAbove
}

/// A comparison with where its limit is written.
fn beside(
    comparison: &Comparison,
    shift: &ShiftTwa,
    agent: &AgentEvidence,
    reading: impl FnOnce(f64) -> LimitReading,
) -> Option<LetterLimit> {
    let on = shift.shift_date;
    let limit = &agent
        .limits
        .iter()
        .filter(|limit| limit.stands())
        .find(|limit| {
            let fact = &limit.fact;
            (limit.site.is_none() || limit.site == shift.site)
                && fact.authority == comparison.authority
                && fact.kind == comparison.kind
                && fact.from.is_none_or(|from| from <= on)
                && fact.to.is_none_or(|to| on < to)
                && agent.level_in(fact, comparison.unit) == Some(comparison.value)
        })?
        .fact;
    // Averaging times are minutes of a shift, far below 2^52.
    #[expect(clippy::cast_precision_loss, reason = "minutes of a shift")]
    let window = limit.averaging_minutes.map_or(CEILING_MINUTES, |minutes| minutes as f64);
    Some(LetterLimit {
        authority: comparison.authority.clone(),
        kind: comparison.kind,
        value: Quantity::computed(Measured::Value(comparison.value), comparison.unit),
        averaging_minutes: limit.averaging_minutes,
        source: limit.source.clone(),
        reading: reading(window),
    })
}

/// Whether a result asks for more than the result itself: by the paragraph's sign, against the statute's own limits.
pub fn must_say_more(results: &[LetterResult], more: SaysMore) -> bool {
    let over = |reading: LimitReading| match more {
        SaysMore::Always => true,
        SaysMore::Never => false,
        SaysMore::Above => reading == LimitReading::Above,
        SaysMore::AtOrAbove => matches!(reading, LimitReading::At | LimitReading::Above),
    };
    more == SaysMore::Always && !results.is_empty()
        || results.iter().flat_map(|result| &result.limits).any(|limit| {
            limit.authority.as_str() == STATUTORY_AUTHORITY
                && limit.kind != LimitKind::ActionLevel
                && over(limit.reading)
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::facts::sampling::NoiseCriterion;
    use crate::model::text::Line;
    use crate::model::unit::Unit;

    fn with(authority: &str, kind: LimitKind, reading: LimitReading) -> Vec<LetterResult> {
        let value = |number| Quantity::computed(Measured::Value(number), Unit::UgPerM3);
        let limit = LetterLimit {
            authority: Code::new(authority).unwrap(),
            kind,
            value: value(5.0),
            averaging_minutes: Some(480),
            source: Line::new("invented").unwrap(),
            reading,
        };
        vec![LetterResult {
            shift_date: "2026-02-03".parse().unwrap(),
            measured: true,
            value: value(5.0),
            figures: 2,
            averaging_minutes: 480.0,
            criterion: None::<NoiseCriterion>,
            sampled_minutes: 480.0,
            unlike_other_days: Vec::new(),
            limits: vec![limit],
        }]
    }

    // 29 CFR 1910.1026(d)(4)(ii): "exceeds"; 1926.62(d)(8): "at or above"; 1910.1017(n): every notice of vinyl chloride.
    // As the pack's rows have them; the rest is this registry's rule.
    #[test]
    fn the_sign_of_the_paragraph_decides_from_where_on_a_letter_says_more() {
        let of_law = |reading| with(STATUTORY_AUTHORITY, LimitKind::Twa, reading);
        let table = [
            (LimitReading::Below, [false, false, true, false]),
            (LimitReading::CannotTell, [false, false, true, false]),
            (LimitReading::At, [false, true, true, false]),
            (LimitReading::Above, [true, true, true, false]),
        ];
        for (reading, expected) in table {
            let signs = [SaysMore::Above, SaysMore::AtOrAbove, SaysMore::Always, SaysMore::Never];
            assert_eq!(signs.map(|sign| must_say_more(&of_law(reading), sign)), expected, "{reading:?}");
        }
        assert!(!must_say_more(&[], SaysMore::Always));
    }

    #[test]
    fn neither_an_action_level_nor_a_company_limit_makes_a_letter_say_more() {
        let above =
            |authority, kind| must_say_more(&with(authority, kind, LimitReading::Above), SaysMore::Above);
        assert!(above(STATUTORY_AUTHORITY, LimitKind::Stel));
        assert!(!above(STATUTORY_AUTHORITY, LimitKind::ActionLevel));
        assert!(!above("Own works", LimitKind::Twa));
    }
}
