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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_rows_about_no_agent_are_left_out() {
        let rows: Vec<_> = not_evaluated(Pack::built_in()).into_iter().map(|left| left.row).collect();
        assert_eq!(rows, ["ST077", "ST078"]);
        assert!(left_as_notes(Pack::built_in()).iter().all(|left| !left.why.is_empty()));
    }
}
