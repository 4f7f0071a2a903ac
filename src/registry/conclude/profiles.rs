//! `GET /groups/{id}/profiles`.

use crate::access::caller::Caller;
use crate::conclusions::asked::Asked;
use crate::conclusions::profile_view::{ProfileView, profile_views};
use crate::model::facts::group::Group;
use crate::model::shape::Shape;
use crate::registry::conclude::derive;
use crate::registry::conclude::exposure;
use crate::registry::conclude::kept::KeptExposure;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::workers_named::name_workers;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::marks::MarkKind;
use crate::store::samples::agents_of_group;
use crate::store::versions::AsOf;
use serde_json::Value;
use uuid::Uuid;

/// The profiles of a group for one agent, or for every agent measured in it; newest era first. Workers are named only whom
/// the caller sees.
///
/// # Errors
/// [`Refusal::Unknown`] where the group is not in sight; a fault for an agent that is not known.
pub async fn profiles(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    group: Uuid,
    agent_code: Option<&str>,
    now: bool,
    asked: Asked,
) -> Result<Vec<Value>, Refusal> {
    recording::read::<Group>(tx, caller, as_of, group).await?;
    caller.may(crate::access::policy::Action::ReadSamples)?;
    let codes = match agent_code {
        Some(code) => {
            derive::must_be_agent(tx, as_of, code).await?;
            vec![code.to_owned()]
        }
        None => agents_of_group(tx, group, as_of.position).await?,
    };
    let mut items = Vec::new();
    for code in codes {
        let mut sight = if now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
        let body = match sight.stored(MarkKind::Profile, group, &code, asked).await? {
            Some(body) => body,
            None => of_agent(&mut sight, group, &code, asked).await?,
        };
        if let Value::Object(mut body) = body
            && let Some(Value::Array(found)) = body.remove("items")
        {
            items.extend(found);
        }
    }
    name_workers(tx, caller, as_of, &mut items).await?;
    Ok(items)
}

/// The profile of one agent as it is stored: what people read, and what histories take of it.
///
/// # Errors
/// Only when storage fails.
pub async fn of_agent(
    sight: &mut Sight<'_>,
    group: Uuid,
    code: &str,
    asked: Asked,
) -> Result<Value, Refusal> {
    let views: Vec<ProfileView> = match sight.knowledge(group, code, asked).await? {
        Some(known) => profile_views(&known.conclusion, asked),
        None => Vec::new(),
    };
    let mut body = derive::items(&views);
    if let Some(agent) = sight.agent(code).await?
        && let Some(exposure) = exposure::afresh(sight, group, &agent, asked).await?
    {
        body["exposure"] = KeptExposure::of(&exposure).to_json();
    }
    Ok(body)
}
