//! Every duty as rows of a table, whatever it is about.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::identifiers::{DutyId, GroupId, SiteId, WorkerId};
use crate::record;
use crate::registry::duty_list::{self, Question};
use crate::registry::duty_view::DutyView;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Page};
use chrono::NaiveDate;

record! {
    /// A duty.
    pub struct DutyRow {
        /// The duty.
        duty_id: DutyId,
        /// What is to be done.
        kind: String,
        /// The worker it is about.
        worker_id: Option<WorkerId>,
        /// The group it is about.
        group_id: Option<GroupId>,
        /// The site it is about.
        site_id: Option<SiteId>,
        /// Who owes it.
        employer: Option<String>,
        /// The agent.
        agent_code: Option<String>,
        /// Whose clause asks for it.
        authority: Option<String>,
        /// Row of the pack, or the code of another authority's clause.
        trigger_id: Option<String>,
        /// Section and paragraph.
        clause: Option<String>,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Option<String>,
        /// By when the clause asks.
        due_on: NaiveDate,
        /// When the registry learned of it.
        learned_on: Option<NaiveDate>,
        /// How it stands.
        status: String,
        /// By how many days it was met late.
        days_late: Option<i64>,
        /// The latest action on it.
        last_action: Option<String>,
        /// The day of that action.
        last_action_on: Option<NaiveDate>,
        /// Why it was withdrawn.
        withdrawn: Option<String>,
        /// What is to be known of it.
        flags: Vec<String>,
        /// What it amounts to, and who decides.
        words: String,
    }
}

/// Every duty in sight, in order of due date and of being raised.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn rows(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Vec<DutyRow>, Refusal> {
    caller.may(Action::Export)?;
    let everything = Page { after: None, limit: i64::MAX };
    let duties = duty_list::duties(tx, caller, as_of, &Question::default(), everything).await?;
    let mut rows: Vec<DutyRow> = duties.into_iter().map(row).collect();
    rows.sort_by_key(|row| (row.due_on, row.duty_id));
    Ok(rows)
}

fn row(duty: DutyView) -> DutyRow {
    let last = duty.actions.iter().max_by_key(|act| act.on);
    DutyRow {
        duty_id: duty.id,
        kind: duty.kind.to_string(),
        worker_id: duty.subject.worker_id,
        group_id: duty.subject.group_id,
        site_id: duty.subject.site_id,
        employer: duty.employer.map(|employer| employer.to_string()),
        agent_code: duty.agent_code.map(|code| code.to_string()),
        authority: duty.authority.map(|whose| whose.to_string()),
        trigger_id: duty.trigger_id.map(|id| id.to_string()),
        clause: duty.clause,
        edition: duty.edition,
        verification: duty.verification.map(|how| how.to_string()),
        due_on: duty.due_on,
        learned_on: duty.learned_on,
        status: duty.status.to_string(),
        days_late: duty.days_late,
        last_action: last.map(|act| act.action.to_string()),
        last_action_on: last.map(|act| act.on),
        withdrawn: duty.withdrawn.map(|why| why.to_string()),
        flags: duty.flags,
        words: duty.words,
    }
}
