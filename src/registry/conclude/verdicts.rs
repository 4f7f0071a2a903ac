//! `GET /tasks/{id}/control-verdicts`.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::verdict::conclude::control_verdicts;
use crate::conclusions::verdict::task_sample::{TaskEvidence, WholeShift};
use crate::model::facts::control::Task;
use crate::model::facts::sampling::Position;
use crate::registry::conclude::derive;
use crate::registry::conclude::sight::Sight;
use crate::registry::gather;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::marks::MarkKind;
use crate::store::samples::agents_of_task;
use crate::store::versions::AsOf;
use serde_json::Value;
use uuid::Uuid;

/// The verdicts on the controls of a task for one agent, or for every agent measured on it.
///
/// # Errors
/// [`Refusal::Unknown`] where the task is not in sight; a fault for an agent that is not known.
pub async fn verdicts(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    task: Uuid,
    agent_code: Option<&str>,
    now: bool,
    asked: Asked,
) -> Result<Vec<Value>, Refusal> {
    caller.may(Action::ReadSamples)?;
    recording::read::<Task>(tx, caller, as_of, task).await?;
    let codes = match agent_code {
        Some(code) => {
            derive::must_be_agent(tx, as_of, code).await?;
            vec![code.to_owned()]
        }
        None => agents_of_task(tx, task, as_of.position).await?,
    };
    let mut items = Vec::new();
    for code in codes {
        let mut sight = if now { Sight::of_now(tx, as_of) } else { Sight::new(tx, as_of) };
        let body = match sight.stored(MarkKind::Verdict, task, &code, asked).await? {
            Some(body) => body,
            None => of_agent(&mut sight, task, &code, asked).await?,
        };
        if let Value::Object(mut body) = body
            && let Some(Value::Array(found)) = body.remove("items")
        {
            items.extend(found);
        }
    }
    Ok(items)
}

/// The verdicts of one agent as they are stored.
///
/// # Errors
/// Only when storage fails.
pub async fn of_agent(sight: &mut Sight<'_>, task: Uuid, code: &str, asked: Asked) -> Result<Value, Refusal> {
    let nothing = derive::items::<crate::conclusions::verdict::view::VerdictView>(&[]);
    let Some(found) = gather::one::<Task>(sight.tx, sight.as_of, task).await? else { return Ok(nothing) };
    let Some(agent) = sight.agent(code).await? else { return Ok(nothing) };
    let Some(known) = sight.knowledge(found.fact.group_id.0, code, asked).await? else { return Ok(nothing) };
    let mut samples = gather::samples::by(sight.tx, sight.as_of, "task_id", &[task]).await?;
    // Background is measured for the group as well as for the task.
    for other in known.samples.iter() {
        let background = other.sample.fact.position == Position::Background;
        if background && samples.iter().all(|sample: &SampleEvidence| sample.sample.id != other.sample.id) {
            samples.push(other.clone());
        }
    }
    let whole_shifts: Vec<WholeShift> = known.conclusion.shifts.iter().filter_map(WholeShift::of).collect();
    let evidence = TaskEvidence {
        task: &found,
        group: &known.group,
        agent: &agent,
        samples: &samples,
        whole_shifts: &whole_shifts,
    };
    Ok(derive::items(&control_verdicts(&evidence, asked)))
}
