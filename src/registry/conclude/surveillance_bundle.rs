//! Gathers what a bundle for a medical system holds: examinations to be offered, their workers, and their own averages.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::model::facts::worker::{Employment, Worker};
use crate::model::identifiers::WorkerId;
use crate::model::version::Version;
use crate::registry::conclude::shift_averages;
use crate::registry::duty_list;
use crate::registry::duty_view::{DutyView, is_examination};
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Page, Where};
use std::collections::BTreeSet;
use uuid::Uuid;

/// What the bundle is made of.
#[derive(Debug)]
pub struct Gathered {
    /// Examinations to be offered, in the order of their identifiers.
    pub duties: Vec<DutyView>,
    /// The workers they are about.
    pub workers: Vec<Version<Worker>>,
    /// Their employments.
    pub employments: Vec<Version<Employment>>,
    /// Their own averages for the agents of these duties, where the duty says why.
    pub averages: Vec<ShiftAverageView>,
}

/// Gathers it, as far as the caller sees it.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn gathered(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Gathered, Refusal> {
    caller.may(Action::Export)?;
    let everything = Page { after: None, limit: i64::MAX };
    let mut duties =
        duty_list::duties(tx, caller, as_of, &duty_list::Question::default(), everything).await?;
    duties.retain(|duty| is_examination(duty.kind) && duty.subject.worker_id.is_some());
    let ids: Vec<Uuid> = duties.iter().filter_map(|duty| Some(duty.subject.worker_id?.0)).collect();
    let workers = gather::many::<Worker>(tx, as_of, &ids, Where::Ids).await?;
    let scope = caller.may(Action::ReadDuties)?;
    let persons = persons(tx, as_of, &ids).await?.in_sight(tx, &scope, as_of).await?;
    let entries = persons.entries(ids);
    let mut employments = gather::many::<Employment>(tx, as_of, &entries, Where::Parents).await?;
    employments.retain(Version::stands);
    for employment in &mut employments {
        employment.parent = employment.parent.map(|entry| persons.stands_under(entry));
    }
    let asked: BTreeSet<(WorkerId, String)> = duties
        .iter()
        .filter(|duty| duty.window.is_some())
        .filter_map(|duty| Some((duty.subject.worker_id?, duty.agent_code.as_ref()?.to_string())))
        .collect();
    let mut averages = Vec::new();
    for (worker, agent_code) in asked {
        let question = shift_averages::Question {
            worker: Some(worker),
            agent_code: Some(agent_code),
            ..shift_averages::Question::default()
        };
        averages.extend(shift_averages::averages(tx, caller, as_of, &question, Asked::default()).await?);
    }
    Ok(Gathered { duties, workers, employments, averages })
}
