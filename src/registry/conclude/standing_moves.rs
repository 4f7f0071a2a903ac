//! The moves of a group's standing that follow from the facts, with the journal positions behind them.

use crate::conclusions::asked::Asked;
use crate::conclusions::standing_moves::{OughtMoves, limbs};
use crate::model::identifiers::{EventId, GroupId, SampleId};
use crate::registry::conclude::exposure::Positions;
use crate::registry::conclude::sight::Sight;
use crate::registry::refusal::Refusal;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Every move of a group's standing for an agent; of a void group none. `None` where group or agent is not known.
///
/// # Errors
/// Only when storage fails.
pub async fn ought_moves(
    sight: &mut Sight<'_>,
    group: Uuid,
    code: &str,
) -> Result<Option<OughtMoves>, Refusal> {
    let Some(known) = sight.knowledge(group, code, Asked::default()).await? else { return Ok(None) };
    let agent_code = known.conclusion.agent_code.clone();
    let positions = Positions::of(&known.samples, &agent_code);
    let mut of_event: BTreeMap<EventId, Vec<SampleId>> = BTreeMap::new();
    for found in known.samples.iter().filter(|found| found.sample.fact.group_id == Some(GroupId(group))) {
        if found.results.iter().any(|result| result.fact.agent_code == agent_code) {
            of_event.entry(EventId(found.event.id)).or_default().push(SampleId(found.sample.id));
        }
    }
    let behind = |samples: Vec<SampleId>| positions.behind(samples.into_iter());
    Ok(Some(OughtMoves {
        group: GroupId(group),
        limbs: if known.group.group.stands() { limbs(&known.conclusion) } else { Vec::new() },
        basis: of_event.into_iter().map(|(event, samples)| (event, behind(samples))).collect(),
        learned_on: sight.as_of.date,
        agent_code,
    }))
}
