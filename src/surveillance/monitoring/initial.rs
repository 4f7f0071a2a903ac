//! Initial monitoring: the agent is expected in a group, and no round has told yet.

use crate::model::facts::duty::DutyKind;
use crate::model::facts::site::MonitoringChoice;
use crate::surveillance::calendar::add_days;
use crate::surveillance::duties::{FIRST_OCCASION, OughtDuty};
use crate::surveillance::monitoring::occasion::RoundRef;
use crate::surveillance::monitoring::owed::{Due, Facts, Question, duty};
use crate::surveillance::monitoring::periodic::{
    NOT_ACCEPTED, REPORTING_LIMIT_TOO_HIGH, SHORT_TERM_NOT_MEASURED,
};
use crate::surveillance::monitoring::presumption::Presumed;
use crate::surveillance::monitoring::track::{State, Track};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::monitoring_reading::{Asks, RepeatAnchor};

/// The standard takes a level for granted until it is measured.
const PRESUMED_ABOVE_LIMIT: &str = "presumed_above_limit";

/// The duty to monitor for the first time; met by the first round that told.
pub(super) fn initial(
    pack: &Pack,
    question: &Question<'_>,
    facts: &Facts<'_>,
    tracks: &[Track],
    told: Option<RoundRef>,
    presumed: Option<&Presumed>,
) -> Option<OughtDuty> {
    let expected = facts.expected.as_ref().filter(|e| e.from.is_none_or(|from| from <= question.today))?;
    if facts.option_on(question.today) == Some(MonitoringChoice::Performance) && facts.characterised {
        return None;
    }
    let (rule, reading) = pack.monitoring_of(question.agent_code, question.rule_set).find_map(|rule| {
        let mut readings = pack.readings_of(&rule.rule_id);
        readings.find(|reading| reading.asks == Asks::Initial).map(|reading| (rule, reading))
    })?;
    let days = reading.days.and_then(|days| u64::try_from(days).ok());
    let due = match (reading.anchor, expected.from, days) {
        (Some(RepeatAnchor::Expected), Some(from), Some(days)) => Due::On(add_days(from, days)),
        _ => Due::WhenLearned,
    };
    let clause = rule.clause();
    let mut duty =
        duty(question, DutyKind::MonitorAgain, (&rule.rule_id, &clause), FIRST_OCCASION.to_owned(), due);
    duty.grounds.basis.clone_from(&expected.basis);
    duty.grounds.met_on = told.map(|(_, date)| date);
    if told.is_none() {
        let waiting = || tracks.iter().filter(|track| track.state == State::Unknown);
        let flags = [
            (waiting().any(|track| track.cannot_tell), REPORTING_LIMIT_TOO_HIGH),
            (waiting().any(|track| track.not_accepted), NOT_ACCEPTED),
            (waiting().any(|track| track.short_term_missing), SHORT_TERM_NOT_MEASURED),
        ];
        let raised = flags.into_iter().filter(|(raised, _)| *raised);
        duty.grounds.flags = raised.map(|(_, flag)| flag.to_owned()).collect();
    }
    if let Some(presumed) = presumed {
        duty.grounds.flags.push(PRESUMED_ABOVE_LIMIT.to_owned());
        duty.grounds.basis.extend(&presumed.basis);
    }
    Some(duty)
}
