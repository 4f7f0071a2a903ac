//! The field blanks that belong to a sample, and what they say of one agent.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::standing_result::is_used;
use crate::model::facts::sampling::SampleOutcome;
use crate::model::measured::Measured;
use crate::model::text::Code;
use crate::model::unit::Unit;

/// What the field blanks of the sample's medium and lot say.
#[derive(Debug, Clone, PartialEq)]
pub enum FieldBlanks {
    /// The event has none of this medium and lot.
    None,
    /// There were some, and none came through.
    Lost,
    /// There are some, and none has a usable mass of the agent yet.
    Awaited,
    /// Their masses in micrograms, in the order of their numbers.
    Masses(Vec<Measured>),
}

/// The field blanks for one agent of a sample: same event, same medium and lot, never borrowed from elsewhere.
pub fn field_blanks(evidence: &SampleEvidence, agent: &Code, asked: Asked) -> FieldBlanks {
    let sample = &evidence.sample.fact;
    let mut alike: Vec<_> = evidence
        .blanks
        .iter()
        .filter(|(blank, _)| blank.stands())
        .filter(|(blank, _)| blank.fact.medium == sample.medium && blank.fact.medium_lot == sample.medium_lot)
        .collect();
    alike.sort_by(|(one, _), (two, _)| one.fact.number.cmp(&two.fact.number));
    if alike.is_empty() {
        return FieldBlanks::None;
    }
    alike.retain(|(blank, _)| blank.fact.came_out() == SampleOutcome::Valid);
    if alike.is_empty() {
        return FieldBlanks::Lost;
    }
    let masses: Vec<Measured> = alike
        .iter()
        .flat_map(|(_, results)| results)
        .filter(|result| result.fact.agent_code == *agent && is_used(result, asked))
        .filter_map(|result| result.fact.mass.as_ref()?.in_unit(Unit::Ug))
        .collect();
    if masses.is_empty() { FieldBlanks::Awaited } else { FieldBlanks::Masses(masses) }
}
