//! The rules about monitoring that the engine does not read, each with its reason: nothing is left out in silence.

use crate::surveillance::monitoring::notice;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::monitoring_reading::Asks;
use crate::surveillance::pack::monitoring_rule::{MonitoringRule, MonitoringRuleType};

/// A row that is not evaluated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotEvaluated {
    /// Row of the pack.
    pub rule_id: String,
    /// Its agent.
    pub agent_code: String,
    /// The clause as it is cited.
    pub clause: String,
    /// Why.
    pub reason: String,
}

/// Why rows of a kind say nothing that a date or a standing could be made of; `None` where they do.
fn by_kind(kind: MonitoringRuleType) -> Option<&'static str> {
    match kind {
        MonitoringRuleType::Accuracy => {
            Some("how exact a method must be: the accuracy of a method is printed, never derived")
        }
        MonitoringRuleType::SampleRule => {
            Some("how samples are taken and placed: for whoever plans the round to judge")
        }
        MonitoringRuleType::LabRule => Some("what a laboratory must do: its accreditation is no fact here"),
        MonitoringRuleType::PriorData => {
            Some("a permission to use earlier data: a judgement of a hygienist records it")
        }
        MonitoringRuleType::Exemption => {
            Some("a permission to leave monitoring out: the duty is waived by a person")
        }
        MonitoringRuleType::None => Some("the section has no rule about monitoring"),
        MonitoringRuleType::Option
        | MonitoringRuleType::StopInitial
        | MonitoringRuleType::Frequency
        | MonitoringRuleType::StepDown
        | MonitoringRuleType::Additional
        | MonitoringRuleType::Notification
        | MonitoringRuleType::VentilationCheck
        | MonitoringRuleType::Presumption
        | MonitoringRuleType::Initial => None,
    }
}

/// Why a row is not evaluated; `Ok` where it is.
///
/// # Errors
/// A row that is neither read nor has a reason: the pack is not complete.
fn why(pack: &Pack, rule: &MonitoringRule) -> Result<Option<String>, String> {
    let mut readings = pack.readings_of(&rule.rule_id).peekable();
    if readings.peek().is_none() {
        return match by_kind(rule.rule_type) {
            Some(reason) => Ok(Some(reason.to_owned())),
            None if notice::days(rule).is_some() => Ok(None),
            None => Err(format!("{} is neither read nor listed with a reason", rule.rule_id)),
        };
    }
    let nothing = readings.find(|reading| reading.asks == Asks::Nothing);
    match nothing.map(|reading| (reading, reading.reason.clone())) {
        None => Ok(None),
        Some((_, Some(reason))) => Ok(Some(reason)),
        Some((reading, None)) => Err(format!("{} has no reason", reading.reading_id)),
    }
}

/// Every row about monitoring, and every row about checking ventilation or writing plans, that is not evaluated, in the order
/// of the tables.
///
/// # Errors
/// A row that is neither read nor has a reason.
pub fn not_evaluated(pack: &Pack) -> Result<Vec<NotEvaluated>, String> {
    let mut rows = Vec::new();
    for rule in &pack.monitoring {
        if let Some(reason) = why(pack, rule)? {
            let (rule_id, agent_code) = (rule.rule_id.clone(), rule.agent_code.clone());
            rows.push(NotEvaluated { rule_id, agent_code, clause: rule.clause(), reason });
        }
    }
    for rule in &pack.controls {
        let reason = match pack.readings_of(&rule.row_id).next() {
            Some(reading) if reading.asks != Asks::Nothing => continue,
            Some(reading) => {
                reading.reason.clone().ok_or_else(|| format!("{} has no reason", rule.row_id))?
            }
            None => "about how controls are chosen, not about when something is due".to_owned(),
        };
        let (rule_id, agent_code) = (rule.row_id.clone(), rule.agent_code.clone());
        rows.push(NotEvaluated { rule_id, agent_code, clause: rule.clause(), reason });
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_row_that_nobody_reads_is_a_fault() {
        let mut pack = Pack::built_in().clone();
        assert!(not_evaluated(&pack).is_ok());
        let mut row = pack.monitoring[2].clone();
        row.rule_id = "MT999".into();
        pack.monitoring.push(row);
        assert_eq!(not_evaluated(&pack).unwrap_err(), "MT999 is neither read nor listed with a reason");
    }

    #[test]
    fn every_reading_belongs_to_a_row_and_reads_its_numbers() {
        let pack = Pack::built_in();
        for reading in &pack.monitoring_readings {
            let rule = pack.monitoring.iter().find(|rule| rule.rule_id == reading.rule_id);
            let control = pack.controls.iter().any(|rule| rule.row_id == reading.rule_id);
            assert!(rule.is_some() || control, "{}", reading.reading_id);
            let Some(rule) = rule else { continue };
            // Numbers of the row itself, or the agent's own limits where a note names them.
            let cells = [rule.lower.as_deref(), rule.upper.as_deref()];
            let own = pack.agent(&rule.agent_code).map_or(&[][..], |known| &known.limits);
            let mut known: Vec<f64> = cells.into_iter().flatten().flat_map(numbers).collect();
            known.extend(own.iter().filter_map(|limit| limit.value.number_in(limit.value.unit)));
            let bounds = [&reading.eight_hour, &reading.short_term];
            for number in bounds.into_iter().flatten().flat_map(|bound| numbers(bound)) {
                let there = known.iter().any(|known| known.total_cmp(&number).is_eq());
                assert!(there, "{}: {number}", reading.reading_id);
            }
            // Table 1 of 1910.1052(d)(3) has two intervals in one row.
            let one_interval = rule.agent_code != "methylene_chloride";
            if rule.rule_type == MonitoringRuleType::Frequency
                && reading.asks != Asks::Nothing
                && one_interval
            {
                assert_eq!(reading.months, rule.repeat_within_months, "{}", reading.reading_id);
            }
        }
    }

    fn numbers(text: &str) -> Vec<f64> {
        let words = text.split(|c: char| !c.is_ascii_digit() && c != '.');
        words.filter_map(|word| word.parse().ok()).collect()
    }
}
