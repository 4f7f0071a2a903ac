//! The whole shifts of a task's group on which a control ran all the sampled time: what remains to be breathed with it.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::conclusions::shift_average_view::{ShiftAverageView, shift_average_view};
use crate::conclusions::verdict::task_sample::WholeShift;
use crate::model::facts::control::Task;
use crate::model::identifiers::ControlId;
use crate::registry::conclude::sight::Sight;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use std::collections::BTreeMap;
use uuid::Uuid;

/// Those shifts for an agent, by control: the very ones by which a verdict says whether what remains is sufficient.
///
/// # Errors
/// [`Refusal::Unknown`] where the task is not in sight.
pub async fn shifts_by_control(
    sight: &mut Sight<'_>,
    caller: &Caller,
    task: Uuid,
    code: &str,
) -> Result<BTreeMap<ControlId, Vec<ShiftAverageView>>, Refusal> {
    caller.may(Action::ReadSamples)?;
    let task = recording::read::<Task>(sight.tx, caller, sight.as_of, task).await?;
    let mut found: BTreeMap<ControlId, Vec<ShiftAverageView>> = BTreeMap::new();
    let Some(known) = sight.knowledge(task.fact.group_id.0, code, Asked::default()).await? else {
        return Ok(found);
    };
    for shift in &known.conclusion.shifts {
        let Some(whole) = WholeShift::of(shift) else { continue };
        for control in whole.ran {
            found.entry(control).or_default().push(shift_average_view(shift, Asked::default()));
        }
    }
    Ok(found)
}
