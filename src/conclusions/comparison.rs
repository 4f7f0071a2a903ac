//! Comparing a shift with the limits of its own day.

use crate::conclusions::limits::AgentEvidence;
use crate::hygiene::short_term::{CEILING_MINUTES, any_reaches, said_of_window};
use crate::model::facts::agent::{Limit, LimitKind};
use crate::model::facts::rule_set::RuleSet;
use crate::model::measured::{Answer, Measured};
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::{record, words};
use chrono::NaiveDate;

words! {
    /// The answer of a comparison with a level.
    pub enum ComparisonAnswer {
        /// Certainly below the level.
        Below = "below",
        /// Certainly at or above the level.
        AtOrAbove = "at_or_above",
        /// What is known does not decide.
        CannotTell = "cannot_tell",
    }
}

impl From<Answer> for ComparisonAnswer {
    fn from(answer: Answer) -> Self {
        match answer {
            Answer::Below => Self::Below,
            Answer::AtOrAbove => Self::AtOrAbove,
            Answer::CannotTell => Self::CannotTell,
        }
    }
}

record! {
    /// A shift against one limit in force on its date.
    pub struct Comparison {
        /// Who set the limit.
        authority: Code,
        /// What kind of limit it is.
        kind: LimitKind,
        /// The limit.
        value: f64,
        /// Its unit.
        unit: Unit,
        /// Whether the shift reaches it.
        answer: ComparisonAnswer,
    }
}

/// What was measured over some minutes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// The mean over it, in the unit of the comparison, both flows of a changed one included.
    pub mean: Measured,
    /// Its minutes.
    pub minutes: f64,
    /// Whether it was taken as a short-term sample.
    pub short_term: bool,
}

/// Compares one shift of one worker with every limit in force; limits in units that do not convert are left out.
///
/// `eight_hour_twa` gives the average that a limit is met by (of noise, each limit by its own criterion).
pub fn compare(
    agent: &AgentEvidence,
    (rule_set, on): (RuleSet, NaiveDate),
    unit: Unit,
    eight_hour_twa: impl Fn(&Limit) -> Option<Measured>,
    stretches: &[Stretch],
) -> Vec<Comparison> {
    agent
        .in_force(rule_set, on)
        .into_iter()
        .filter_map(|limit| {
            let level = agent.level_in(limit, unit)?;
            let answer = match limit.kind {
                LimitKind::Twa | LimitKind::ActionLevel => eight_hour_twa(limit)?.against(level),
                LimitKind::Stel | LimitKind::Excursion | LimitKind::Ceiling => {
                    against_short_term(level, window(limit), stretches)?
                }
                LimitKind::Peak => return None,
            };
            Some(Comparison {
                authority: limit.authority.clone(),
                kind: limit.kind,
                value: level,
                unit,
                answer: answer.into(),
            })
        })
        .collect()
}

fn window(limit: &Limit) -> f64 {
    // Averaging times are minutes of a shift, far below 2^52.
    #[expect(clippy::cast_precision_loss, reason = "minutes of a shift")]
    limit.averaging_minutes.map_or(CEILING_MINUTES, |minutes| minutes as f64)
}

/// A short-term limit against what was measured; `None` without stretches.
fn against_short_term(level: f64, window: f64, stretches: &[Stretch]) -> Option<Answer> {
    let said = |stretch: &Stretch| said_of_window(stretch.mean, stretch.minutes, window);
    let of_all = any_reaches(stretches.iter().map(said), level);
    if of_all == Some(Answer::AtOrAbove) {
        return of_all;
    }
    // Where short-term samples were taken they speak for the shift; filters of the whole shift then add nothing.
    let chosen = stretches.iter().any(|stretch| stretch.short_term);
    any_reaches(stretches.iter().filter(|stretch| stretch.short_term == chosen).map(said), level)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stretch(mean: Measured, minutes: f64, short_term: bool) -> Stretch {
        Stretch { mean, minutes, short_term }
    }

    // The rules are this registry's; the numbers are invented, no published source.
    #[test]
    fn a_sample_longer_than_the_window_shows_an_excess_and_never_its_absence() {
        let long = |mean| [stretch(Measured::Value(mean), 240.0, false)];
        assert_eq!(against_short_term(5.0, 15.0, &long(6.0)), Some(Answer::AtOrAbove));
        assert_eq!(against_short_term(5.0, 15.0, &long(0.1)), Some(Answer::CannotTell));
        assert_eq!(against_short_term(5.0, 15.0, &[]), None);
    }

    #[test]
    fn short_term_samples_speak_for_the_shift() {
        let short = stretch(Measured::Value(2.0), 15.0, true);
        let long = stretch(Measured::Value(0.1), 240.0, false);
        assert_eq!(against_short_term(5.0, 15.0, &[short, long]), Some(Answer::Below));
        let vague = stretch(Measured::Below(7.0), 15.0, true);
        assert_eq!(against_short_term(5.0, 15.0, &[short, vague, long]), Some(Answer::CannotTell));
        let over = stretch(Measured::Value(5.0), 15.0, true);
        assert_eq!(against_short_term(5.0, 15.0, &[vague, over]), Some(Answer::AtOrAbove));
    }
}
