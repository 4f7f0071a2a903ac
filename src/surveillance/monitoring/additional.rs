//! Monitoring after something changed: required where exposure may rise, recommended where it should fall.

use crate::model::facts::duty::DutyKind;
use crate::surveillance::calendar::add_months;
use crate::surveillance::duties::OughtDuty;
use crate::surveillance::monitoring::occasion::RoundRef;
use crate::surveillance::monitoring::owed::{Due, Facts, Question, duty};
use crate::surveillance::monitoring::track::Track;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::monitoring_reading::{Asks, Averages, Occurrence};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// No clause asks for it.
const RECOMMENDED: &str = "recommended";

/// Months in which a recommended round should show what a change did: this registry's choice, no text has a date.
const RECOMMENDED_WITHIN_MONTHS: u32 = 3;

/// What a change does to exposure.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effect {
    /// It may raise it: a recorded change that says so, or a control that was taken away.
    MayRaise,
    /// It should lower it: a control that was put in, or a recorded change that says so.
    ShouldLower,
    /// An uncontrolled release.
    Release,
}

/// Something that changed in a group's work.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkChange {
    /// What tells it from every other change: the fact that says so, and which end of it.
    pub occasion: String,
    /// The first day of the changed work.
    pub from: NaiveDate,
    /// What it does to exposure.
    pub effect: Effect,
    /// Journal positions.
    pub basis: BTreeSet<i64>,
}

/// The duties to sample after each change; those that a round has met since say so.
///
/// Before a first round has told, initial monitoring is owed and nothing beside it.
pub(super) fn after_changes(
    pack: &Pack,
    question: &Question<'_>,
    facts: &Facts<'_>,
    tracks: &[Track],
    told: Option<RoundRef>,
) -> Vec<OughtDuty> {
    let Some((_, told)) = told else { return Vec::new() };
    let done = done(facts, tracks);
    let changes = facts.changes.iter().filter(|change| told < change.from && change.from <= question.today);
    changes
        .filter_map(|change| {
            let row = row(pack, question, change.effect);
            let (row, due, flag) = match (&row, change.effect) {
                (Some((rule_id, clause)), _) => ((&**rule_id, &**clause), Due::WhenLearned, None),
                (None, Effect::Release) => return None,
                (None, Effect::MayRaise | Effect::ShouldLower) => {
                    let due = add_months(change.from, RECOMMENDED_WITHIN_MONTHS);
                    (("", ""), Due::On(due), Some(RECOMMENDED.to_owned()))
                }
            };
            let mut duty = duty(question, DutyKind::MonitorAgain, row, change.occasion.clone(), due);
            duty.grounds.basis.clone_from(&change.basis);
            duty.grounds.met_on = done.iter().copied().find(|date| change.from <= *date);
            duty.grounds.flags.extend(flag);
            Some(duty)
        })
        .collect()
}

/// The row that requires monitoring after such a change, with its clause.
fn row(pack: &Pack, question: &Question<'_>, effect: Effect) -> Option<(String, String)> {
    let what = match effect {
        Effect::MayRaise => Occurrence::Change,
        Effect::Release => Occurrence::Release,
        Effect::ShouldLower => return None,
    };
    let mut rules = pack.monitoring_of(question.agent_code, question.rule_set);
    let rule = rules.find(|rule| {
        let mut readings = pack.readings_of(&rule.rule_id);
        readings.any(|reading| reading.asks == Asks::Additional && reading.hangs_on(what))
    })?;
    Some((rule.rule_id.clone(), rule.clause()))
}

/// The dates of rounds that count as monitoring done, in order.
fn done(facts: &Facts<'_>, tracks: &[Track]) -> BTreeSet<NaiveDate> {
    let main = tracks.iter().find(|track| track.averages != Averages::ShortTerm);
    if let Some(track) = main {
        return track.done.iter().map(|(_, date)| *date).collect();
    }
    let rounds = facts.rounds.eight_hour.iter().filter(|round| round.may_lower() == Some(true));
    rounds.map(|round| round.date).collect()
}
