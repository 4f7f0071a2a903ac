//! What the four derived tables hold.

use crate::conclusions::asked::Asked;
use crate::model::shape::Shape;
use crate::registry::conclude::kept::KeptShift;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::{exposure, profiles, shift_averages, verdicts};
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use serde_json::{Value, json};
use uuid::Uuid;

pub use crate::registry::conclude::summary::summary;

/// Views as the body of a row.
pub fn items<T: Shape>(views: &[T]) -> Value {
    json!({"items": views.iter().map(Shape::to_json).collect::<Vec<_>>()})
}

/// `group_profile`.
///
/// # Errors
/// Only when storage fails.
pub async fn profile(sight: &mut Sight<'_>, group: Uuid, agent: &str) -> Result<Value, Refusal> {
    profiles::of_agent(sight, group, agent, Asked::default()).await
}

/// `control_verdict`.
///
/// # Errors
/// Only when storage fails.
pub async fn verdict(sight: &mut Sight<'_>, task: Uuid, agent: &str) -> Result<Value, Refusal> {
    verdicts::of_agent(sight, task, agent, Asked::default()).await
}

/// `worker_shifts`.
///
/// # Errors
/// Only when storage fails.
pub async fn shifts(sight: &mut Sight<'_>, worker: Uuid, code: &str) -> Result<Value, Refusal> {
    let samples = gather::samples::of_workers(sight.tx, sight.as_of, &[worker]).await?;
    let shifts = shift_averages::of_agent(sight.tx, sight.as_of, &samples, code, Asked::default()).await?;
    let own = match sight.agent(code).await? {
        Some(agent) => exposure::own_shifts(&shifts, &samples, &agent),
        None => Vec::new(),
    };
    Ok(json!({"own": own.iter().map(|shift| KeptShift::of(shift).to_json()).collect::<Vec<_>>()}))
}

/// Refuses a question about an agent that is not known.
///
/// # Errors
/// A fault, or when storage fails.
pub async fn must_be_agent(tx: &mut Tx, as_of: AsOf, code: &str) -> Result<(), Refusal> {
    match gather::agents::agent(tx, as_of, code).await? {
        Some(_) => Ok(()),
        None => Err(Refusal::fault("/agent_code", format!("is no agent that is known: {code}"))),
    }
}
