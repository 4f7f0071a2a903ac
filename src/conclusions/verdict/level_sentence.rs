//! A verdict on noise in plain words: decibels with their interval and the number of shifts, never a per cent of exposure.

use crate::conclusions::verdict::change_in_words::{decibels, decibels_at_least, decibels_between};
use crate::conclusions::verdict::confounder::Confounder;
use crate::conclusions::verdict::sentence::{capitalised_unless, named, reservation, shifts};
use crate::conclusions::verdict::thresholds::DATES_ENOUGH;
use crate::hygiene::control_effect::Verdict;
use crate::hygiene::level_difference::LevelDifference;
use crate::model::facts::sampling::Position;

/// What is to be said.
#[derive(Debug, Clone, Copy)]
pub(super) struct ToldLevel<'t> {
    /// The control's title.
    pub(super) control: &'t str,
    /// Where it was measured.
    pub(super) position: Position,
    /// Whether short-term samples were compared.
    pub(super) short_term: bool,
    /// The figures.
    pub(super) found: &'t LevelDifference,
    /// What else differed.
    pub(super) confounders: &'t [Confounder],
    /// Over how many dates.
    pub(super) date_count: usize,
}

/// The sentence of a verdict on noise.
pub(super) fn level_sentence(told: &ToldLevel<'_>) -> String {
    let compared = told.found.n_without > 0 && told.found.n_with > 0;
    let few =
        if compared && told.date_count < DATES_ENOUGH { "Too few to describe this group: " } else { "" };
    format!("{few}{}", capitalised_unless(!few.is_empty(), &body(told)))
}

fn body(told: &ToldLevel<'_>) -> String {
    let found = told.found;
    let control = named(told.control);
    let over = format!("{} without and {} with {control}", shifts(found.n_without), found.n_with);
    let level = match (told.position, told.short_term) {
        (Position::BreathingZone, false) => "the noise level at the ear",
        (Position::BreathingZone, true) => "the short-term noise level at the ear",
        (_, false) => "the noise level at the same place in the room",
        (_, true) => "the short-term noise level at the same place in the room",
    };
    if found.n_without == 0 || found.n_with == 0 {
        return format!("nothing to compare: {level} was measured on {over}.");
    }
    let Some(verdict) = found.verdict else {
        return format!(
            "undecided: the levels of {over} are too few, or too few of them read, for a figure."
        );
    };
    let (estimate, lower, upper) =
        (found.difference.estimate, found.difference.lower_95, found.difference.upper_95);
    let said = match (verdict, estimate, lower, upper) {
        (Verdict::Lowered, Some(estimate), Some(lower), Some(upper)) => format!(
            "was lower by {} (95 % interval {} to {})",
            decibels(-estimate),
            decibels(-upper),
            decibels(-lower)
        ),
        (Verdict::Raised, Some(estimate), Some(lower), Some(upper)) => format!(
            "was higher by {} (95 % interval {} to {})",
            decibels(estimate),
            decibels(lower),
            decibels(upper)
        ),
        (Verdict::Lowered, _, _, Some(upper)) => format!("was lower by {}", decibels_at_least(-upper)),
        (Verdict::Raised, _, Some(lower), _) => format!("was higher by {}", decibels_at_least(lower)),
        (Verdict::NoDifferenceShown, _, lower, upper) => {
            format!("showed no difference ({})", decibels_between(lower, upper))
        }
        (_, _, lower, upper) => format!("may be lower or not ({})", decibels_between(lower, upper)),
    };
    let over = format!("over {over}");
    match reservation(told.confounders) {
        None if verdict == Verdict::Undecided => format!("undecided: {level} {said} {over}."),
        None => format!("with {control} {level} {said} {over}."),
        Some(but) => {
            let shown = match verdict {
                Verdict::Lowered | Verdict::Raised => format!("that {control} did it"),
                Verdict::NoDifferenceShown | Verdict::Undecided => format!("what {control} does"),
            };
            let undecided = if verdict == Verdict::Undecided { "undecided: " } else { "" };
            format!("{undecided}with {control} {level} {said} {over}, but {but}: this does not show {shown}.")
        }
    }
}
