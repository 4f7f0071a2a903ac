//! A sample with what it says.

use crate::access::caller::Caller;
use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::sample::sample_view;
use crate::model::facts::sampling::Sample;
use crate::model::shape::Shape;
use crate::model::version::Version;
use crate::registry::gather;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use serde_json::Value;
use std::collections::BTreeSet;
use uuid::Uuid;

/// `GET /samples/{id}`: the facts and the conclusions.
///
/// # Errors
/// [`Refusal::Unknown`] where there is none in sight.
pub async fn sample(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    id: Uuid,
    asked: Asked,
) -> Result<Value, Refusal> {
    let sample = recording::read::<Sample>(tx, caller, as_of, id).await?;
    let mut views = views(tx, as_of, vec![sample], asked).await?;
    views.pop().ok_or(Refusal::Unknown)
}

/// Samples as `GET /samples/{id}` shows them.
///
/// # Errors
/// Only when storage fails.
pub async fn views(
    tx: &mut Tx,
    as_of: AsOf,
    samples: Vec<Version<Sample>>,
    asked: Asked,
) -> Result<Vec<Value>, Refusal> {
    let order: Vec<Uuid> = samples.iter().map(|sample| sample.id).collect();
    let mut evidence = gather::samples::evidence(tx, as_of, samples).await?;
    evidence.sort_by_key(|found| order.iter().position(|id| *id == found.sample.id));
    let agents = gather::agents::agents(tx, as_of, agent_codes(&evidence)).await?;
    Ok(evidence
        .iter()
        .map(|found| {
            let mut view = recording::view(&found.sample);
            if let (Value::Object(view), Value::Object(said)) =
                (&mut view, sample_view(found, &agents, asked).to_json())
            {
                view.extend(said);
            }
            view
        })
        .collect())
}

/// The agents that occur among samples.
pub fn agent_codes(evidence: &[SampleEvidence]) -> BTreeSet<String> {
    let asked = evidence.iter().flat_map(|found| found.sample.fact.agent_codes.iter().flatten());
    let found = evidence.iter().flat_map(|found| found.results.iter().map(|result| &result.fact.agent_code));
    let read = evidence.iter().flat_map(|found| found.sample.fact.on_site_results.iter().flatten());
    asked.chain(found).chain(read.map(|read| &read.agent_code)).map(ToString::to_string).collect()
}
