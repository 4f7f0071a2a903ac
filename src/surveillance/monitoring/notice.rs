//! Telling people their results.
//!
//! One duty for a group and a sampling event, not one for each worker: every paragraph lets a posting tell all whom the
//! samples represent, clause and clock are the same for all of them, and who is represented is asked of the samples. Letters
//! are a worker's own, and show who was told in writing.

use crate::model::facts::duty::DutyKind;
use crate::model::identifiers::EventId;
use crate::surveillance::duties::OughtDuty;
use crate::surveillance::monitoring::owed::{Due, Facts, Question, duty};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::monitoring_rule::{MonitoringRule, MonitoringRuleType};
use crate::surveillance::round::{Bound, Reading};
use crate::words;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};

/// The notice must also say what is done about it.
const STATE_CORRECTIVE_ACTION: &str = "state_corrective_action";

/// A shift's results, as they came in.
#[derive(Debug, Clone, PartialEq)]
pub struct Received {
    /// The sampling event.
    pub event: EventId,
    /// The day on which the last result needed for the shift was received.
    pub on: NaiveDate,
    /// Journal positions.
    pub basis: BTreeSet<i64>,
}

words! {
    /// When the clock of a notice starts. The registry computes at once, so all three are the day of receipt.
    pub enum ClockStart {
        /// With the results.
        Receipt = "receipt of results",
        /// The same, and as soon as possible.
        ReceiptAsSoonAsPossible = "receipt of results (as soon as possible, no later than)",
        /// With the determination.
        Determination = "making the exposure determination",
        /// With the assessment.
        Assessment = "completing the exposure assessment",
    }
}

/// From which results on a notice says more, as the pack writes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SaysMore {
    /// From above a limit on.
    Above,
    /// From a limit on.
    AtOrAbove,
    /// Whatever the results.
    Always,
    /// The text asks for nothing more.
    Never,
}

impl SaysMore {
    /// `> TWA or STEL`: the limits behind the sign are the statute's own.
    pub fn of(rule: &MonitoringRule) -> Self {
        match rule.over_limit_notice_comparator.as_deref() {
            Some("always") => Self::Always,
            Some(text) if text.starts_with(">=") => Self::AtOrAbove,
            Some(text) if text.starts_with('>') => Self::Above,
            _ => Self::Never,
        }
    }
}

/// The row about notices, with its number of working days; `None` where the text sets none.
pub(super) fn rule<'p>(pack: &'p Pack, question: &Question<'p>) -> Option<(&'p MonitoringRule, u32)> {
    pack.monitoring_of(question.agent_code, question.rule_set).find_map(|rule| Some((rule, days(rule)?)))
}

/// Working days within which people are told; `None` where the row is about something else or its clock is not known.
pub(super) fn days(rule: &MonitoringRule) -> Option<u32> {
    if rule.rule_type != MonitoringRuleType::Notification {
        return None;
    }
    let working = rule
        .notify_day_kind
        .as_deref()
        .is_some_and(|kind| ["working days", "work days"].iter().any(|known| kind.starts_with(known)));
    ClockStart::from_word(rule.notify_clock_start.as_deref()?)?;
    rule.notify_within_days.filter(|_| working).and_then(|days| u32::try_from(days).ok())
}

/// The duties to tell people, one for each event; of several shifts in one the first clock counts.
pub(super) fn notices(pack: &Pack, question: &Question<'_>, facts: &Facts<'_>) -> Vec<OughtDuty> {
    let Some((rule, days)) = rule(pack, question) else { return Vec::new() };
    let clause = rule.clause();
    let mut events: BTreeMap<EventId, (NaiveDate, BTreeSet<i64>)> = BTreeMap::new();
    for received in &facts.received {
        let (first, basis) = events.entry(received.event).or_insert_with(|| (received.on, BTreeSet::new()));
        *first = received.on.min(*first);
        basis.extend(&received.basis);
    }
    let more = SaysMore::of(rule);
    events
        .into_iter()
        .map(|(event, (received_on, basis))| {
            let due = Due::On(question.working_days.add(received_on, days));
            let row = (&*rule.rule_id, &*clause);
            let mut duty = duty(question, DutyKind::NotifyResults, row, event.to_string(), due);
            duty.grounds.basis = basis;
            if says_more(more, question, facts, event) {
                duty.grounds.flags.push(STATE_CORRECTIVE_ACTION.to_owned());
            }
            duty
        })
        .collect()
}

/// Whether the results of an event ask for more than the results themselves.
fn says_more(more: SaysMore, question: &Question<'_>, facts: &Facts<'_>, event: EventId) -> bool {
    let only_above = match more {
        SaysMore::Always => return true,
        SaysMore::Never => return false,
        SaysMore::Above => true,
        SaysMore::AtOrAbove => false,
    };
    let over = |rounds: &[crate::surveillance::round::Round], limit: Option<f64>, is_limit| {
        limit.is_some_and(|value| {
            let bound = Bound { value, only_above, is_limit };
            let mut of_event = rounds.iter().filter(|round| round.event == event);
            of_event.any(|round| round.reading(bound) == Reading::Reaches)
        })
    };
    over(facts.rounds.eight_hour, question.levels.limit, true)
        || over(facts.rounds.short_term, question.short_term_limit, false)
}
