//! An authority's action level of a group over time, as rule sets and limits change.

use crate::conclusions::evidence::GroupEvidence;
use crate::conclusions::limits::{AgentEvidence, rule_set_on};
use crate::model::facts::agent::LimitKind;
use crate::model::identifiers::SiteId;
use crate::model::unit::Unit;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// A stretch of time with one action level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LevelPeriod {
    /// The first day; the first period has none.
    pub from: Option<NaiveDate>,
    /// The level; absent where none is in force.
    pub level: Option<f64>,
}

/// The action levels that an authority has for a group in a unit, oldest first; equal neighbours are one.
pub fn action_levels(
    agent: &AgentEvidence,
    authority: &str,
    group: &GroupEvidence,
    unit: Unit,
) -> Vec<LevelPeriod> {
    let agent = &*agent.at(SiteId(group.site.id));
    let mut cuts: BTreeSet<NaiveDate> = group
        .site_rule_sets
        .iter()
        .chain(&group.group_rule_sets)
        .filter(|change| change.stands())
        .map(|change| change.fact.from)
        .collect();
    let limits = agent.limits.iter().filter(|limit| limit.stands());
    cuts.extend(limits.flat_map(|limit| [limit.fact.from, limit.fact.to]).flatten());
    let on = |date| agent.level(authority, LimitKind::ActionLevel, rule_set_on(group, date), date, unit);
    let before = cuts.first().and_then(NaiveDate::pred_opt).unwrap_or(NaiveDate::MIN);
    let mut periods = vec![LevelPeriod { from: None, level: on(before) }];
    for cut in cuts {
        let level = on(cut);
        if periods.last().is_none_or(|last| last.level != level) {
            periods.push(LevelPeriod { from: Some(cut), level });
        }
    }
    periods
}

/// The level on a date.
pub fn level_on(periods: &[LevelPeriod], date: NaiveDate) -> Option<f64> {
    periods.iter().rev().find(|period| period.from.is_none_or(|from| from <= date))?.level
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{agent, group};

    #[test]
    fn the_action_level_follows_the_rule_sets_of_the_group() {
        // 29 CFR 1910.1026(b), 1926.1126(b): 2.5 ug/m3 in both, so that there is one period.
        let chromium = action_levels(&agent("chromium_vi"), "OSHA", &group(None), Unit::MgPerM3);
        assert_eq!(chromium.last().unwrap().level, Some(0.0025));
        // 29 CFR 1910.1025(b): 30 ug/m3.
        assert_eq!(
            action_levels(&agent("lead"), "OSHA", &group(None), Unit::UgPerM3).last().unwrap().level,
            Some(30.0)
        );
    }
}
