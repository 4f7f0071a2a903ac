//! A control on a task for one agent: the verdicts at each position in marks and words, what remains, what is missing.

use crate::conclusions::verdict::confounder::Confounder;
use crate::conclusions::verdict::view::{PROJECTED, VerdictView};
use crate::hygiene::control_effect::TargetAnswer;
use crate::hygiene::sufficiency::Sufficiency;
use crate::model::facts::sampling::Position;
use crate::model::printed::share::share;
use crate::pages::charts::left_of_exposure::reduction;
use crate::pages::charts::said;
use crate::pages::marks::{self, Mark};
use crate::pages::more_results::Missing;
use crate::pages::remarks;
use crate::pages::texts::Texts;
use crate::pages::told;

/// A fact at the head of a control: what it is called, its mark, and the numbers beside it.
pub struct HeadFact {
    /// What it is about.
    pub name: String,
    /// The answer.
    pub mark: Mark,
    /// Numbers and whatever they rest on.
    pub notes: Vec<String>,
}

/// The shape of what remains.
pub const fn sufficiency_shape(answer: Sufficiency) -> &'static str {
    match answer {
        Sufficiency::BelowActionLevel => "below",
        Sufficiency::BelowLimit => "al",
        Sufficiency::AboveLimit => "over",
        Sufficiency::Unsettled => "gap",
    }
}

/// Where the air was taken, and whether over a short time.
pub fn place(texts: &Texts, verdict: &VerdictView) -> String {
    let position = said::position(verdict.position);
    if verdict.short_term { texts.with("control-short-term", &[("what", &position)]) } else { position }
}

/// The verdict on what whole shifts of the breathing zone say; what a control is judged by first.
pub fn breathed(verdicts: &[VerdictView]) -> Option<&VerdictView> {
    verdicts.iter().find(|verdict| verdict.position == Position::BreathingZone && !verdict.short_term)
}

/// In words anyone understands, without a number.
pub fn plain(texts: &Texts, agent: &str, verdicts: &[VerdictView]) -> String {
    let Some(first) = breathed(verdicts) else { return texts.with("plain-nothing", &[("what", agent)]) };
    let mut told = vec![match first.verdict {
        Some(verdict) => texts.with(plain_verdict(verdict.as_str()), &[("what", agent)]),
        None => texts.with("plain-nothing", &[("what", agent)]),
    }];
    if first.confounded && first.verdict.is_some() {
        told.push(texts.t("plain-confounded"));
    }
    if let Some(answer) = first.sufficiency {
        told.push(texts.t(plain_remains(answer)));
    }
    told.join(" ")
}

fn plain_verdict(word: &str) -> &'static str {
    match word {
        "lowered" => "plain-lowered",
        "raised" => "plain-raised",
        "no_difference_shown" => "plain-no-difference",
        _ => "plain-undecided",
    }
}

const fn plain_remains(answer: Sufficiency) -> &'static str {
    match answer {
        Sufficiency::BelowActionLevel => "plain-below-action-level",
        Sufficiency::BelowLimit => "plain-below-limit",
        Sufficiency::AboveLimit => "plain-above-limit",
        Sufficiency::Unsettled => "plain-unsettled",
    }
}

/// What stands at the head: each position's verdict, the target, and what remains.
pub fn head(texts: &Texts, verdicts: &[VerdictView]) -> Vec<HeadFact> {
    let mut facts = Vec::new();
    for verdict in verdicts.iter().filter(|verdict| verdict.removal_efficiency.is_none()) {
        let mark = match verdict.verdict {
            Some(answer) => Mark::new(marks::verdict(answer), texts.word("verdict", answer.as_str())),
            None => Mark::new("gap", texts.t("site-no-verdict")),
        };
        let mut notes = Vec::new();
        let by = reduction(verdict);
        if !by.is_empty() {
            notes.push(texts.with("control-reduction", &[("what", &by)]));
        }
        let count = |n: Option<i64>| told::count(n.unwrap_or_default());
        let (without, with) = (count(verdict.n_without), count(verdict.n_with));
        notes.push(texts.with("control-shifts", &[("what", &without), ("who", &with)]));
        facts.push(HeadFact { name: place(texts, verdict), mark, notes });
    }
    let Some(first) = breathed(verdicts) else { return facts };
    if let (Some(answer), Some(target)) = (first.target, first.target_reduction_percent) {
        let shape = match answer {
            TargetAnswer::Met => "done",
            TargetAnswer::NotMet => "waived",
            TargetAnswer::Unsettled => "wait",
        };
        let chance = first.probability_target_met.map(|p| share(p, &[]));
        facts.push(HeadFact {
            name: texts.with("control-target", &[("what", &said::tick(target))]),
            mark: Mark::new(shape, texts.word("target", answer.as_str())),
            notes: chance
                .map(|chance| texts.with("control-target-chance", &[("what", &chance)]))
                .into_iter()
                .collect(),
        });
    }
    if let Some(answer) = first.sufficiency {
        let projected = first.flags.iter().any(|flag| flag == PROJECTED);
        let note = if projected { "control-remains-projected" } else { "control-remains-measured" };
        facts.push(HeadFact {
            name: texts.t("control-remains"),
            mark: Mark::new(sufficiency_shape(answer), texts.word("sufficiency", answer.as_str())),
            notes: vec![texts.t(note)],
        });
    }
    facts
}

/// What is open, and what would decide it.
pub fn missing(texts: &Texts, verdicts: &[VerdictView]) -> Vec<Missing> {
    let mut found = Vec::new();
    for verdict in verdicts {
        let place = place(texts, verdict);
        let asks = |key: &str| texts.with(key, &[("what", &place)]);
        if let Some(more) = verdict.further_samples {
            let needed = texts.n("missing-shifts-each", usize::try_from(more).unwrap_or_default());
            found.push(Missing { question: asks("missing-what-it-does"), needed });
        } else if verdict.verdict.is_none() && verdict.removal_efficiency.is_none() {
            found.push(Missing {
                question: asks("missing-what-it-does"),
                needed: texts.t("missing-both-states"),
            });
        }
        if verdict.confounders.contains(&Confounder::FewDates) {
            found.push(Missing { question: asks("missing-few"), needed: texts.t("missing-few-do") });
        }
        let others = verdict.confounders.iter().filter(|one| **one != Confounder::FewDates);
        let others: Vec<String> = others.map(|one| one.meaning().trim().to_owned()).collect();
        if !others.is_empty() {
            let what = others.join(" ");
            found.push(Missing {
                question: asks("missing-did-it"),
                needed: texts.with("missing-did-it-do", &[("what", &what)]),
            });
        }
        if verdict.sufficiency == Some(Sufficiency::Unsettled) {
            found.push(Missing {
                question: texts.t("missing-remains"),
                needed: texts.t("missing-remains-do"),
            });
        }
        if verdict.flags.iter().any(|flag| flag == PROJECTED) {
            found.push(Missing {
                question: texts.t("missing-projected"),
                needed: texts.t("missing-projected-do"),
            });
        }
        if verdict.not_accepted > 0 {
            let open = usize::try_from(verdict.not_accepted).unwrap_or_default();
            found.push(Missing {
                question: asks("missing-accepted-at"),
                needed: texts.n("missing-accepted-more", open),
            });
        }
    }
    found
}

/// What must be known of the verdicts, and which samples are not in them.
pub fn remarks_of(texts: &Texts, verdicts: &[VerdictView]) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    for verdict in verdicts {
        let place = place(texts, verdict);
        let of_flags = verdict.flags.iter().map(|flag| remarks::meaning(flag));
        for remark in of_flags.chain(remarks::excluded(verdict.excluded.iter().map(|one| one.reason))) {
            told.push(format!("{place}: {remark}"));
        }
    }
    told
}
