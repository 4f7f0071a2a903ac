//! The limits of an agent that hold for a group on a day, each with its source.

use crate::conclusions::limits::rule_set_on;
use crate::model::facts::agent::Limit;
use crate::model::identifiers::SiteId;
use crate::model::unit::Unit;
use crate::registry::conclude::sight::Sight;
use crate::registry::refusal::Refusal;
use chrono::NaiveDate;
use uuid::Uuid;

/// A limit in force.
#[derive(Debug, Clone, PartialEq)]
pub struct InForce {
    /// The limit.
    pub limit: Limit,
    /// Its level in the unit in which the agent's concentrations are given, where it converts.
    pub level: Option<(f64, Unit)>,
}

/// The limits in force for a group and an agent on a day: the law's first, then by authority, kind and averaging time.
///
/// # Errors
/// Only when storage fails.
pub async fn limits_in_force(
    sight: &mut Sight<'_>,
    group: Uuid,
    code: &str,
    on: NaiveDate,
) -> Result<Vec<InForce>, Refusal> {
    let (Some(group), Some(agent)) = (sight.group(group).await?, sight.agent(code).await?) else {
        return Ok(Vec::new());
    };
    let here = agent.at(SiteId(group.site.id));
    let unit = here.unit();
    let found = here.in_force(rule_set_on(&group, on), on).into_iter().map(|limit| InForce {
        level: unit.and_then(|unit| Some((here.level_in(limit, unit)?, unit))),
        limit: limit.clone(),
    });
    Ok(found.collect())
}
