//! What was voided, or put to another use, after its result was known: every conclusion that leaves it out says so.

use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::standing_result::is_voided;
use crate::model::text::Code;

/// Whether a sample, itself or with its event, was voided after a result of it was known.
///
/// Nothing is reported for a void sample, so that whatever is there, of any agent, was known before.
pub fn sample_voided_after_result(evidence: &SampleEvidence) -> bool {
    let read_on_site = evidence.sample.fact.on_site_results.iter().flatten().next().is_some();
    let void = !(evidence.sample.stands() && evidence.event.stands());
    void && (read_on_site || !evidence.results.is_empty())
}

/// Whether a sample's use was changed by a correction after a result of it was known: of what is left out or beside by the
/// corrected use, that is the reason.
pub fn use_changed_after_result(evidence: &SampleEvidence) -> bool {
    evidence.sample.fact.changed_after_result == Some(true)
        || evidence.event.fact.changed_after_result == Some(true)
}

/// Whether a result of the agent that stood was voided, which is always after it was known; a replaced one that is
/// voided takes nothing out of any conclusion.
pub fn result_voided(evidence: &SampleEvidence, agent: &Code) -> bool {
    evidence
        .results
        .iter()
        .any(|result| result.fact.agent_code == *agent && result.fact.stands && is_voided(result))
}
