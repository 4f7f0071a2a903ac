//! Periodic monitoring: every time that a track of a group was or is due.

use crate::model::facts::duty::DutyKind;
use crate::model::facts::site::MonitoringChoice;
use crate::surveillance::duties::OughtDuty;
use crate::surveillance::monitoring::owed::{Due, Facts, Question, duty};
use crate::surveillance::monitoring::standard::Standard;
use crate::surveillance::monitoring::track::Track;
use crate::surveillance::pack::monitoring_reading::Averages;

/// A round cannot tell on which side of a level it lies.
pub(super) const REPORTING_LIMIT_TOO_HIGH: &str = "reporting_limit_too_high";
/// A round has results that are flagged or not accepted yet.
pub(super) const NOT_ACCEPTED: &str = "not_accepted_or_flagged";
/// The short-term average is to be sampled.
const SAMPLE_SHORT_TERM: &str = "sample_short_term";
/// A step down waits for short-term results only.
pub(super) const SHORT_TERM_NOT_MEASURED: &str = "short_term_not_measured";
/// The standard leaves a choice, and the site has stated none: the scheduled option is taken.
const OPTION_NOT_STATED: &str = "option_not_stated";

/// The duties to sample again at the standard's intervals; those that rounds have met say so.
///
/// Where the standard leaves the choice, the intervals bind only who follows the scheduled option; a site that has stated
/// none is taken to follow it.
pub(super) fn periodic(
    question: &Question<'_>,
    facts: &Facts<'_>,
    standard: &Standard,
    tracks: &[Track],
) -> Vec<OughtDuty> {
    let option = facts.option_on(question.today);
    if standard.has_option && option == Some(MonitoringChoice::Performance) {
        return Vec::new();
    }
    let mut duties = Vec::new();
    for track in tracks {
        let is_short = track.averages == Averages::ShortTerm;
        for occasion in &track.occasions {
            let event = occasion.follows.0;
            let which = if is_short { format!("{event} short_term") } else { event.to_string() };
            let row = (&*occasion.rule_id, &*occasion.clause);
            let mut duty = duty(question, DutyKind::MonitorAgain, row, which, Due::On(occasion.due_on));
            duty.grounds.basis = facts.behind(event);
            duty.grounds.met_on = occasion.met_by.map(|(_, date)| date);
            let open = occasion.met_by.is_none();
            let flags = [
                (open && occasion.cannot_tell, REPORTING_LIMIT_TOO_HIGH),
                (open && occasion.not_accepted, NOT_ACCEPTED),
                (is_short, SAMPLE_SHORT_TERM),
                (open && track.short_term_missing, SHORT_TERM_NOT_MEASURED),
                (open && standard.has_option && option.is_none(), OPTION_NOT_STATED),
            ];
            let raised = flags.into_iter().filter(|(raised, _)| *raised);
            duty.grounds.flags = raised.map(|(_, flag)| flag.to_owned()).collect();
            duties.push(duty);
        }
    }
    duties
}
