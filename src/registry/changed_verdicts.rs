//! Verdicts that the results of the last days changed: what is said now of a control, beside what was said before.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::hygiene::control_effect::Verdict;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::sampling::Sample;
use crate::model::identifiers::SiteId;
use crate::model::version::Version;
use crate::registry::conclude::verdicts::verdicts;
use crate::registry::gather;
use crate::registry::outstanding::{NEWS, lately};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Where};
use chrono::{Days, NaiveTime};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The most tasks that are looked at: what was said before is worked out from the facts, task by task.
const TASKS_MOST: usize = 20;

/// A verdict that is another one than it was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChangedVerdict {
    /// The task.
    pub task: Uuid,
    /// Its title.
    pub task_title: String,
    /// Its site.
    pub site: Option<SiteId>,
    /// The control's title.
    pub control_title: String,
    /// The agent.
    pub agent_code: String,
    /// What was said before; nothing where nothing could be said.
    pub before: Option<Verdict>,
    /// What is said now.
    pub now: Option<Verdict>,
    /// The same in a sentence.
    pub sentence: String,
}

/// Agent, control and position of a verdict, with what it says.
fn said(verdict: &Value) -> ((String, String, String), Option<Verdict>) {
    let text = |field: &str| verdict[field].as_str().unwrap_or_default().to_owned();
    let word = verdict["verdict"].as_str().and_then(Verdict::from_word);
    ((text("agent_code"), text("control_id"), text("position")), word)
}

/// The verdicts that results of the last days changed, on the caller's sites. What is new altogether is none of them.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn changed_verdicts(
    registry: &Registry,
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
) -> Result<Vec<ChangedVerdict>, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    let Some(then) = as_of.date.checked_sub_days(Days::new(NEWS)) else { return Ok(Vec::new()) };
    let then = registry.as_of(tx, Some(then.and_time(NaiveTime::MIN).and_utc())).await?;
    let results = lately::<LabResult>(tx, &scope, as_of, NEWS).await?;
    let samples: Vec<Uuid> = results.iter().map(|result| result.fact.sample_id.0).collect();
    let samples = gather::many::<Sample>(tx, as_of, &samples, Where::Ids).await?;
    let tasks: BTreeSet<Uuid> =
        samples.iter().filter_map(|sample| sample.fact.task_id).map(|task| task.0).collect();
    let known = Where::Ids(tasks.into_iter().collect());
    // A task that was not known then has no verdict that could have changed.
    let tasks: Vec<Version<Task>> = versions::list(tx, &scope, then, &[known, Where::Standing], None).await?;
    let mut changed = Vec::new();
    for task in tasks.into_iter().take(TASKS_MOST) {
        let before = verdicts(tx, caller, then, task.id, None, false, Asked::default()).await?;
        let before: BTreeMap<_, _> = before.iter().map(said).collect();
        for verdict in verdicts(tx, caller, as_of, task.id, None, true, Asked::default()).await? {
            let (of, now) = said(&verdict);
            let Some(earlier) = before.get(&of).copied().filter(|earlier| *earlier != now) else { continue };
            let control = Uuid::parse_str(&of.1).unwrap_or_default();
            let control = gather::one::<Control>(tx, as_of, control).await?;
            changed.push(ChangedVerdict {
                task: task.id,
                task_title: task.fact.title.to_string(),
                site: task.site,
                control_title: control.map(|control| control.fact.title.to_string()).unwrap_or_default(),
                agent_code: of.0,
                before: earlier,
                now,
                sentence: verdict["sentence"].as_str().unwrap_or_default().to_owned(),
            });
        }
    }
    Ok(changed)
}
