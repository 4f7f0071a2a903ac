//! Duties about controls that follow from a group's monitoring: written plans, and checks of ventilation.

use crate::model::facts::duty::DutyKind;
use crate::surveillance::calendar::{add_days, add_months};
use crate::surveillance::duties::{FIRST_OCCASION, OughtDuty};
use crate::surveillance::level::Level;
use crate::surveillance::monitoring::additional::Effect;
use crate::surveillance::monitoring::interval::Interval;
use crate::surveillance::monitoring::occasion::RoundRef;
use crate::surveillance::monitoring::owed::{Due, Facts, Question, duty};
use crate::surveillance::monitoring::presumption::Presumed;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::further_rules::ControlRule;
use crate::surveillance::pack::monitoring_reading::{
    Asks, DayKind, MonitoringReading, Occurrence, RepeatAnchor,
};
use crate::surveillance::round::Round;
use crate::surveillance::short_term::ShortTermMove;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// The registry knows engineering controls, not which of them move air: the duty holds where ventilation is among them.
const WHERE_VENTILATION: &str = "where_ventilation_is_used";

/// The ventilation that controls a group's exposure.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ventilation {
    /// Since when it has stood there without a break.
    pub since: NaiveDate,
    /// The days on which it was checked.
    pub checked: BTreeSet<NaiveDate>,
    /// Journal positions.
    pub basis: BTreeSet<i64>,
}

/// The rows about controls that ask for something, with what is read in them.
fn rows<'p>(
    pack: &'p Pack,
    question: &Question<'p>,
    asks: Asks,
) -> impl Iterator<Item = (&'p ControlRule, &'p MonitoringReading)> {
    pack.controls_of(question.agent_code, question.rule_set).flat_map(move |rule| {
        let readings = pack.readings_of(&rule.row_id).filter(move |reading| reading.asks == asks);
        readings.map(move |reading| (rule, reading))
    })
}

/// Where the text asks for a plan whatever the exposure.
const WHATEVER_THE_LEVEL: &str = "any";

/// The duties to write a plan, from the first round that reached the level of the row until the standing falls from it; where
/// the text names no level, while the agent is expected.
pub(super) fn written_plans(
    pack: &Pack,
    question: &Question<'_>,
    facts: &Facts<'_>,
    short_term: &[ShortTermMove],
    presumed: Option<&Presumed>,
) -> Vec<OughtDuty> {
    let mut duties = Vec::new();
    for (rule, reading) in rows(pack, question, Asks::WritePlan) {
        let eight_hour = reading.eight_hour.as_deref();
        let clause = rule.clause();
        let row = (&*rule.row_id, &*clause);
        if eight_hour == Some(WHATEVER_THE_LEVEL) {
            duties.extend(while_expected(question, facts, row, reading));
            continue;
        }
        let needed =
            if eight_hour == Some(">limit") { Level::AboveLimit } else { Level::AtOrAboveActionLevel };
        let falls = facts.standing.iter().filter(|change| change.level < needed && change.clause.is_some());
        let by_average = eight_hour
            .and_then(|text| Interval::read(text, question.unit, question.unit, question.levels))
            .and_then(|interval| {
                spell(facts.rounds.eight_hour, interval, falls.map(|change| change.round.1).max())
            });
        let short = short_term.iter().rev().take_while(|change| change.level.is_reached()).last();
        let by_short = short.filter(|_| reading.short_term.is_some()).map(|change| change.round);
        let since = by_average.into_iter().chain(by_short).min_by_key(|(_, date)| *date);
        let taken = presumed.filter(|presumed| presumed.level >= needed);
        let (occasion, basis) = match (since, taken) {
            (Some((event, _)), _) => (event.to_string(), facts.behind(event)),
            (None, Some(presumed)) => (FIRST_OCCASION.to_owned(), presumed.basis.clone()),
            (None, None) => continue,
        };
        let mut duty = duty(question, DutyKind::WrittenPlan, row, occasion, plan_due(facts, reading));
        duty.grounds.basis = basis;
        duties.push(duty);
    }
    duties
}

/// The plan of a row that names no level: owed once, from the day on which the agent is expected.
fn while_expected(
    question: &Question<'_>,
    facts: &Facts<'_>,
    row: (&str, &str),
    reading: &MonitoringReading,
) -> Option<OughtDuty> {
    let expected = facts.expected.as_ref().filter(|e| e.from.is_none_or(|from| from <= question.today))?;
    let (occasion, due) = (FIRST_OCCASION.to_owned(), plan_due(facts, reading));
    let mut duty = duty(question, DutyKind::WrittenPlan, row, occasion, due);
    duty.grounds.basis.clone_from(&expected.basis);
    Some(duty)
}

/// When a plan is due: before the job begins, by the day on which the agent is first expected; else when it was learned.
fn plan_due(facts: &Facts<'_>, reading: &MonitoringReading) -> Due {
    let from = facts.expected.as_ref().and_then(|expected| expected.from);
    let days = reading.days.and_then(|days| u64::try_from(days).ok());
    match (reading.anchor, from, days) {
        (Some(RepeatAnchor::Expected), Some(from), Some(days)) => Due::On(add_days(from, days)),
        _ => Due::WhenLearned,
    }
}

/// The first round since the standing last fell that lies inside, if the standing has not fallen since.
fn spell(rounds: &[Round], interval: Interval, fell_on: Option<NaiveDate>) -> Option<RoundRef> {
    let reaching = rounds.iter().filter(|round| interval.reached(round));
    let since = reaching.filter(|round| fell_on.is_none_or(|fell| fell < round.date));
    since.map(|round| (round.event, round.date)).min_by_key(|(event, date)| (*date, *event))
}

/// The duties to check ventilation: at intervals from the last check, and within days of a change.
pub(super) fn ventilation_checks(pack: &Pack, question: &Question<'_>, facts: &Facts<'_>) -> Vec<OughtDuty> {
    let Some(ventilation) = &facts.ventilation else { return Vec::new() };
    let number = |value: Option<i64>| value.and_then(|value| u32::try_from(value).ok());
    let mut duties = Vec::new();
    for (rule, reading) in rows(pack, question, Asks::CheckVentilation) {
        let clause = rule.clause();
        let row = (&*rule.row_id, &*clause);
        if let Some(months) = number(reading.months) {
            let newest = ventilation.checked.iter().rev().find(|day| **day >= ventilation.since);
            let from = newest.copied().unwrap_or(ventilation.since);
            let due = Due::On(add_months(from, months));
            let mut duty = duty(question, DutyKind::CheckVentilation, row, from.to_string(), due);
            duty.grounds.basis.clone_from(&ventilation.basis);
            duty.grounds.flags.push(WHERE_VENTILATION.to_owned());
            duties.push(duty);
        }
        let Some(days) = number(reading.days) else {
            continue;
        };
        // The new ventilation is a change of control itself.
        let changes = facts.changes.iter().filter(|change| {
            let asks = reading.hangs_on(Occurrence::AnyChange)
                || (reading.hangs_on(Occurrence::Change) && change.effect == Effect::MayRaise);
            asks && ventilation.since <= change.from && change.from <= question.today
        });
        for change in changes {
            let due = match reading.day_kind {
                Some(DayKind::Working) => question.working_days.add(change.from, days),
                Some(DayKind::Calendar) | None => add_days(change.from, days.into()),
            };
            let occasion = change.occasion.clone();
            let mut duty = duty(question, DutyKind::CheckVentilation, row, occasion, Due::On(due));
            duty.grounds.flags.push(WHERE_VENTILATION.to_owned());
            duty.grounds.basis.clone_from(&change.basis);
            duty.grounds.met_on = ventilation.checked.range(change.from..).next().copied();
            duties.push(duty);
        }
    }
    duties
}
