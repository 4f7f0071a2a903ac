//! A verdict in plain words: never a per cent without its interval and the number of shifts, never above "more than 99".

use crate::conclusions::verdict::change_in_words::PerCents;
use crate::conclusions::verdict::confounder::Confounder;
use crate::conclusions::verdict::thresholds::DATES_ENOUGH;
use crate::hygiene::control_effect::{ControlEffect, TargetAnswer, Verdict};
use crate::hygiene::efficiency::RemovalEfficiency;
use crate::model::facts::sampling::Position;
use crate::model::printed::exact;

/// What is to be said.
#[derive(Debug, Clone, Copy)]
pub struct Told<'t> {
    /// The control's title.
    pub control: &'t str,
    /// Where the air was taken.
    pub position: Position,
    /// Whether short-term samples were compared.
    pub short_term: bool,
    /// The figures.
    pub effect: &'t ControlEffect,
    /// The reduction asked for.
    pub target_percent: f64,
    /// What else differed.
    pub confounders: &'t [Confounder],
    /// Over how many dates.
    pub date_count: usize,
}

/// A control by its title, in quotation marks: titles of several words would run into the sentence.
pub(super) fn named(title: &str) -> String {
    format!("the control “{title}”")
}

/// The sentence of a verdict.
pub fn sentence(told: &Told<'_>) -> String {
    // Where nothing is compared there is nothing to be called too few.
    let compared = told.effect.n_without > 0 && told.effect.n_with > 0;
    let few =
        if compared && told.date_count < DATES_ENOUGH { "Too few to describe this group: " } else { "" };
    format!("{few}{}{}", capitalised_unless(!few.is_empty(), &body(told)), further(told))
}

/// How much more would settle an undecided verdict.
fn further(told: &Told<'_>) -> String {
    let Some(further) = told.effect.further_samples else { return String::new() };
    let conditions = if told.confounders.iter().any(|one| *one != Confounder::FewDates) {
        ", under the same conditions in both"
    } else {
        ""
    };
    format!(
        " About {further} further {} in each state would settle it at the present difference and spread{conditions}.",
        if further == 1 { "shift" } else { "shifts" }
    )
}

fn body(told: &Told<'_>) -> String {
    let Told { effect, .. } = *told;
    let control = named(told.control);
    let (without, with) = (effect.n_without, effect.n_with);
    let over = format!("{} without and {} with {control}", shifts(without), with);
    if without == 0 || with == 0 {
        let air = air(told);
        return format!("nothing to compare: {air} was measured on {over}.");
    }
    let Some(verdict) = effect.verdict else {
        return format!(
            "undecided: the results of {over} are too few, or too few of them detected, for a figure."
        );
    };
    let reduction = effect.reduction_percent;
    let asked = [told.target_percent];
    let percents = PerCents::beside(&asked);
    let said = match (verdict, reduction.estimate, reduction.lower_95, reduction.upper_95) {
        (Verdict::Lowered, Some(estimate), Some(lower), Some(upper)) => {
            format!(
                "was lower by {} (95 % interval {} to {})",
                percents.reduction(estimate),
                percents.reduction(lower),
                percents.reduction(upper)
            )
        }
        (Verdict::Raised, Some(estimate), Some(lower), Some(upper)) => format!(
            "was higher by {} (95 % interval {} to {})",
            percents.increase(-estimate),
            percents.increase(-upper),
            percents.increase(-lower)
        ),
        (Verdict::Lowered, _, Some(lower), _) => {
            format!("was lower by {} (95 % limit)", percents.at_least(lower))
        }
        (Verdict::Raised, _, _, Some(upper)) => {
            format!("was higher by {} (95 % limit)", percents.increase_of_at_least(-upper))
        }
        (Verdict::NoDifferenceShown, _, lower, upper) => {
            format!("showed no difference ({})", percents.between(lower, upper))
        }
        (_, _, lower, upper) => format!("may be lower or not ({})", percents.between(lower, upper)),
    };
    let (air, over) = (air(told), format!("over {over}"));
    let target = target(told);
    match reservation(told.confounders) {
        None if verdict == Verdict::Undecided => format!("undecided: {air} {said} {over}; {target}."),
        None => format!("with {control} {air} {said} {over}; {target}."),
        Some(but) => {
            let shown = match verdict {
                Verdict::Lowered | Verdict::Raised => format!("that {control} did it"),
                Verdict::NoDifferenceShown | Verdict::Undecided => format!("what {control} does"),
            };
            let undecided = if verdict == Verdict::Undecided { "undecided: " } else { "" };
            format!("{undecided}with {control} {air} {said} {over}, but {but}: this does not show {shown}.")
        }
    }
}

/// The sentence of a removal efficiency; `alone` is the control that ran there, absent where others ran beside it: what
/// several hold back together is no single one's.
pub fn removal_sentence(
    alone: Option<&str>,
    pairs: usize,
    date_count: usize,
    found: &RemovalEfficiency,
) -> String {
    let percents = PerCents::beside(&[]);
    let held_by = alone.map_or_else(|| "what ran there together".to_owned(), named);
    let few = if date_count < DATES_ENOUGH { "Too few to describe this group: " } else { "" };
    let over = format!("{pairs} simultaneous {}", if pairs == 1 { "pair" } else { "pairs" });
    let said = match (found.efficiency_percent, found.lower_95, found.upper_95) {
        (Some(efficiency), ..) if found.at_least => {
            format!(
                "{held_by} holds back {} of what enters the filter ({over}).",
                percents.at_least(efficiency)
            )
        }
        (Some(efficiency), Some(lower), Some(upper)) => format!(
            "{held_by} holds back {} of what enters the filter (95 % interval {} to {}, {over}).",
            percents.reduction(efficiency),
            percents.reduction(lower),
            percents.reduction(upper)
        ),
        (Some(_), ..) => format!(
            "too few results for a figure of what {held_by} holds back of what enters the filter ({over})."
        ),
        (None, ..) => format!("no pair tells what {held_by} holds back of what enters the filter."),
    };
    format!("{few}{}", capitalised_unless(!few.is_empty(), &said))
}

pub(super) fn capitalised_unless(after_colon: bool, text: &str) -> String {
    let mut letters = text.chars();
    match letters.next() {
        Some(first) if !after_colon => first.to_uppercase().chain(letters).collect(),
        _ => text.to_owned(),
    }
}

pub(super) fn shifts(count: usize) -> String {
    format!("{count} {}", if count == 1 { "shift" } else { "shifts" })
}

fn air(told: &Told<'_>) -> &'static str {
    match (told.position, told.short_term) {
        (Position::BreathingZone, false) => "exposure in the breathing zone",
        (Position::BreathingZone, true) => "short-term exposure in the breathing zone",
        (_, false) => "the concentration at the same place in the room",
        (_, true) => "the short-term concentration at the same place in the room",
    }
}

fn target(told: &Told<'_>) -> String {
    let asked = format!("the target of {} % lower", exact(told.target_percent));
    match told.effect.target {
        Some(TargetAnswer::Met) => format!("{asked} is met"),
        Some(TargetAnswer::NotMet) => format!("{asked} is not met"),
        Some(TargetAnswer::Unsettled) | None => format!("{asked} is unsettled"),
    }
}

/// What else may explain the difference.
pub(super) fn reservation(confounders: &[Confounder]) -> Option<String> {
    let mut differed = Vec::new();
    let mut clauses = Vec::new();
    for confounder in confounders {
        match confounder {
            Confounder::ArcTime => differed.push("the welding time"),
            Confounder::Tasks => differed.push("the part of the shift sampled"),
            Confounder::Materials => differed.push("the materials"),
            Confounder::Workers => differed.push("the workers"),
            Confounder::Locations => differed.push("the places"),
            Confounder::SampledMinutes => differed.push("the sampled time"),
            Confounder::Background => differed.push("the background"),
            Confounder::OrderInTime => clauses.push("all of one state came before the other"),
            Confounder::FewDates => clauses.push("one state has fewer than three dates"),
            Confounder::Selection => clauses.push("the shifts without it were chosen for being bad"),
        }
    }
    let mut parts = Vec::new();
    if !differed.is_empty() {
        parts.push(format!("{} also differed", listed(&differed)));
    }
    parts.extend(clauses.into_iter().map(str::to_owned));
    let parts: Vec<&str> = parts.iter().map(String::as_str).collect();
    (!parts.is_empty()).then(|| listed(&parts))
}

fn listed(words: &[&str]) -> String {
    match words {
        [first @ .., last] if !first.is_empty() => format!("{} and {last}", first.join(", ")),
        _ => words.concat(),
    }
}
