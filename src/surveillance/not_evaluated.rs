//! Which rows on surveillance the engine does not evaluate, and what of the others it leaves to people.

use crate::surveillance::pack::Pack;
use crate::surveillance::pack::surveillance_detail::DetailKind;
use crate::surveillance::pack::surveillance_rule::SurveillanceRule;

/// A row, or a part of it, that people must look after.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftToPeople {
    /// Row of the pack.
    pub row: String,
    /// The agent, or a subject that is none.
    pub agent_code: String,
    /// The clause as it is cited.
    pub clause: String,
    /// Why, or what.
    pub why: String,
}

impl LeftToPeople {
    fn of(rule: &SurveillanceRule, why: String) -> Self {
        let (row, agent_code) = (rule.trigger_id.clone(), rule.agent_code.clone());
        Self { row, agent_code, clause: rule.clause(), why }
    }
}

/// Why a clause is not evaluated at all; `None` where it is.
pub fn why_not(pack: &Pack, rule: &SurveillanceRule) -> Option<&'static str> {
    let of_an_agent =
        pack.agents.iter().any(|known| pack.is_about(&rule.agent_code, known.agent.code.as_str()));
    if of_an_agent {
        return None;
    }
    Some(if rule.threshold_value.is_none() && rule.metric.as_deref() == Some("respirator_required") {
        "is about no one agent: whoever must wear a respirator, against whatever it is"
    } else {
        "is about no one agent: its levels are those of every agent on the site"
    })
}

/// The rows that are not evaluated, in the order of the pack.
pub fn not_evaluated(pack: &Pack) -> Vec<LeftToPeople> {
    let rows = pack.surveillance.iter();
    rows.filter_map(|rule| {
        let why = why_not(pack, rule)?.to_owned();
        Some(LeftToPeople::of(rule, why))
    })
    .collect()
}

/// What of evaluated rows depends on things that are not kept here, in the order of the pack.
pub fn left_as_notes(pack: &Pack) -> Vec<LeftToPeople> {
    let mut found = Vec::new();
    for rule in &pack.surveillance {
        for detail in pack.details_of(&rule.trigger_id).filter(|detail| detail.kind == DetailKind::Note) {
            let why = detail.text.clone().unwrap_or_default();
            found.push(LeftToPeople::of(rule, why));
        }
    }
    found
}

/// The kinds of record whose rules set a date here: how long exposure and medical records are kept, and by when a request is
/// answered.
const RECORDS_READ: [&str; 3] = ["exposure_record", "medical_record", "access_deadline"];

/// The rules about records that set no date here, in the order of the pack.
pub fn records_left_alone(pack: &Pack) -> Vec<LeftToPeople> {
    let rows = pack.records.iter().filter(|rule| !RECORDS_READ.contains(&rule.record_type.as_str()));
    rows.map(|rule| {
        let said = [&rule.retention_rule, &rule.access_rule, &rule.transfer_rule, &rule.note];
        let said: Vec<&str> = said.into_iter().flatten().map(String::as_str).collect();
        LeftToPeople {
            row: rule.record_id.clone(),
            agent_code: rule.agent_code.clone(),
            clause: rule.clause(),
            why: left(&format!("{}: {}", rule.record_type.replace('_', " "), said.join("; "))),
        }
    })
    .collect()
}

/// The notes about respirators: what limits a factor in a way that no fact of this registry tells.
pub fn respirators_left_alone(pack: &Pack) -> Vec<LeftToPeople> {
    let notes = pack.respirators.iter().filter(|row| row.apf.is_none());
    notes
        .map(|row| LeftToPeople {
            row: row.row_id.clone(),
            agent_code: "*".into(),
            clause: format!("29 CFR {}", row.paragraph),
            why: left(row.condition.as_deref().or(row.note.as_deref()).unwrap_or(&row.mode)),
        })
        .collect()
}

/// What people see to, as a cell of a table.
fn left(said: &str) -> String {
    format!("left to people: {}", said.replace('|', "/").replace('\n', " "))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_rows_about_no_agent_are_left_out() {
        let rows: Vec<_> = not_evaluated(Pack::built_in()).into_iter().map(|left| left.row).collect();
        assert_eq!(rows, ["ST077", "ST078"]);
        assert!(left_as_notes(Pack::built_in()).iter().all(|left| !left.why.is_empty()));
        let records = records_left_alone(Pack::built_in());
        assert!(records.iter().any(|left| left.why.contains("transfer")), "{records:?}");
        assert_eq!(respirators_left_alone(Pack::built_in()).len(), 10);
    }
}
