//! Which criterion of noise meets which level, and what one says where only the other was read.

use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY};
use crate::hygiene::noise::bound_by_other_threshold;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::measured::Measured;
use crate::model::unit::Unit;
use chrono::NaiveDate;

/// Whose recommended limit is met by the criterion that counts all levels.
pub const NIOSH_AUTHORITY: &str = "NIOSH";

/// The criteria in the order in which they are shown: the one that the limit is met by first.
pub const CRITERIA: [NoiseCriterion; 3] =
    [NoiseCriterion::OshaLimit, NoiseCriterion::OshaActionLevel, NoiseCriterion::Niosh];

/// The criterion that a level of noise is met by: an action level by the one with the threshold of 80 dBA, NIOSH's limit
/// by its own, every other limit by the one with the threshold of 90 dBA.
pub fn criterion_met(authority: &str, kind: LimitKind) -> NoiseCriterion {
    match kind {
        _ if authority == NIOSH_AUTHORITY => NoiseCriterion::Niosh,
        LimitKind::ActionLevel => NoiseCriterion::OshaActionLevel,
        _ => NoiseCriterion::OshaLimit,
    }
}

/// What is known of the level by one criterion: its own value, else what the other threshold says of it.
pub fn level_by(
    wanted: NoiseCriterion,
    known: impl Fn(NoiseCriterion) -> Option<Measured>,
) -> Option<Measured> {
    let bound = |from| bound_by_other_threshold(known(from)?, from, wanted);
    known(wanted).or_else(|| CRITERIA.into_iter().filter(|from| *from != wanted).find_map(bound))
}

/// Whose level of which kind a criterion meets first of all.
pub const fn level_of_criterion(criterion: NoiseCriterion) -> (&'static str, LimitKind) {
    match criterion {
        NoiseCriterion::OshaLimit => (STATUTORY_AUTHORITY, LimitKind::Twa),
        NoiseCriterion::OshaActionLevel => (STATUTORY_AUTHORITY, LimitKind::ActionLevel),
        NoiseCriterion::Niosh => (NIOSH_AUTHORITY, LimitKind::Twa),
    }
}

/// The level that the profile of a criterion is read against, with the one who set it and its kind.
pub fn level_read_against(
    agent: &AgentEvidence,
    criterion: NoiseCriterion,
    (rule_set, on): (RuleSet, NaiveDate),
    unit: Unit,
) -> Option<(&'static str, LimitKind, f64)> {
    let (authority, kind) = level_of_criterion(criterion);
    Some((authority, kind, agent.level(authority, kind, rule_set, on, unit)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use NoiseCriterion::{Niosh, OshaActionLevel, OshaLimit};

    // 29 CFR 1910.95(c)(1) and (d)(2)(i): the action level by levels from 80 dBA; Table G-16 begins at 90 dBA.
    #[test]
    fn each_level_is_met_by_its_own_criterion() {
        assert_eq!(criterion_met("OSHA", LimitKind::ActionLevel), OshaActionLevel);
        assert_eq!(criterion_met("OSHA", LimitKind::Twa), OshaLimit);
        assert_eq!(criterion_met("Company", LimitKind::Twa), OshaLimit);
        assert_eq!(criterion_met("NIOSH", LimitKind::Twa), Niosh);
    }

    #[test]
    fn the_other_threshold_bounds_what_was_not_read() {
        let known = |of: NoiseCriterion| move |asked| (asked == of).then_some(Measured::Value(88.0));
        assert_eq!(level_by(OshaLimit, known(OshaLimit)), Some(Measured::Value(88.0)));
        assert_eq!(level_by(OshaActionLevel, known(OshaLimit)), Some(Measured::Above(88.0)));
        assert_eq!(level_by(Niosh, known(OshaLimit)), None);
        assert_eq!(level_by(OshaLimit, known(Niosh)), None);
    }
}
