//! What a standard takes for granted of a listed task until it is measured.

use crate::model::facts::group::ConditionKind;
use crate::surveillance::level::Level;
use crate::surveillance::monitoring::owed::{DatedCondition, Question};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::monitoring_reading::{Asks, Occurrence};
use std::collections::BTreeSet;

/// A standing that holds until a round tells.
#[derive(Debug, Clone, PartialEq)]
pub struct Presumed {
    /// Where the group is taken to stand.
    pub level: Level,
    /// Row of the pack.
    pub rule_id: String,
    /// The clause as it is cited.
    pub clause: String,
    /// Journal positions of the conditions.
    pub basis: BTreeSet<i64>,
}

/// What is presumed of a group on the day of asking, by the conditions recorded of it.
pub(super) fn presumed(
    pack: &Pack,
    question: &Question<'_>,
    conditions: &[DatedCondition],
) -> Option<Presumed> {
    let holding: Vec<_> = conditions.iter().filter(|condition| condition.holds(question.today)).collect();
    pack.monitoring_of(question.agent_code, question.rule_set).find_map(|rule| {
        let reading = pack.readings_of(&rule.rule_id).find(|reading| reading.asks == Asks::Presume)?;
        let kind = reading.hangs_on(Occurrence::ListedTask).then_some(ConditionKind::ListedTask)?;
        let meant = holding.iter().filter(|condition| {
            condition.kind == kind && condition.rule_id.as_ref().is_none_or(|id| *id == rule.rule_id)
        });
        let basis: Vec<_> = meant.map(|condition| &condition.basis).collect();
        (!basis.is_empty()).then(|| Presumed {
            level: match reading.eight_hour.as_deref() {
                Some(">limit") => Level::AboveLimit,
                _ => Level::AtOrAboveActionLevel,
            },
            rule_id: rule.rule_id.clone(),
            clause: rule.clause(),
            basis: basis.into_iter().flatten().copied().collect(),
        })
    })
}
