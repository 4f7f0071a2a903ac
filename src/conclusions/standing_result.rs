//! Which result of a sample stands for an agent.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::SampleEvidence;
use crate::model::facts::laboratory::{BlankCorrected, LabResult, ResultStatus};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::SampleId;
use crate::model::text::Code;
use crate::model::version::Version;
use std::collections::BTreeSet;

/// Whether conclusions use a result: it stands, nobody voided it, and it is accepted where only such are asked for.
pub fn is_used(result: &Version<LabResult>, asked: Asked) -> bool {
    result.stands()
        && result.fact.stands
        && result.fact.status != ResultStatus::Voided
        && (!asked.accepted_only || result.fact.status == ResultStatus::Accepted)
}

/// Whether a result is voided, itself or as a fact.
pub fn is_voided(result: &Version<LabResult>) -> bool {
    !result.stands() || result.fact.status == ResultStatus::Voided
}

/// A result to conclude from: a laboratory's, or one read on site that has no result of its own.
#[derive(Debug, Clone)]
pub struct Reported {
    /// The result's identifier; absent for a value read on site that is kept on the sample only.
    pub id: Option<uuid::Uuid>,
    /// The result.
    pub result: LabResult,
}

/// The results of a sample that conclusions use, by agent, one for each (and each criterion of noise).
///
/// A value read on site counts where no result of that agent and criterion was ever entered; nobody can accept it.
pub fn used_results(evidence: &SampleEvidence, asked: Asked) -> Vec<Reported> {
    if !evidence.sample.stands() {
        return Vec::new();
    }
    let mut used: Vec<&Version<LabResult>> =
        evidence.results.iter().filter(|result| is_used(result, asked)).collect();
    used.sort_by_key(|result| (&result.fact.agent_code, result.fact.criterion, result.position, result.id));
    let mut seen: BTreeSet<(&Code, Option<NoiseCriterion>)> = BTreeSet::new();
    let mut chosen: Vec<Reported> = used
        .into_iter()
        .filter(|result| seen.insert((&result.fact.agent_code, result.fact.criterion)))
        .map(|result| Reported { id: Some(result.id), result: result.fact.clone() })
        .collect();
    if !asked.accepted_only {
        chosen.extend(read_on_site(evidence));
    }
    chosen
}

/// Values read on site that have no result of their own.
pub fn read_on_site(evidence: &SampleEvidence) -> Vec<Reported> {
    let sample = &evidence.sample.fact;
    sample
        .on_site_results
        .iter()
        .flatten()
        .filter(|read| {
            !evidence.results.iter().any(|result| {
                result.fact.agent_code == read.agent_code && result.fact.criterion == read.criterion
            })
        })
        .map(|read| Reported {
            id: None,
            result: LabResult {
                sample_id: SampleId(evidence.sample.id),
                agent_code: read.agent_code.clone(),
                status: ResultStatus::Submitted,
                stands: true,
                mass: None,
                concentration: Some(read.value.clone()),
                criterion: read.criterion,
                reporting_limit: None,
                detection_limit: None,
                blank_corrected: BlankCorrected::Unknown,
                estimated: false,
                replaces: None,
                analysed_on: None,
                reason: None,
                marks: None,
            },
        })
        .collect()
}
