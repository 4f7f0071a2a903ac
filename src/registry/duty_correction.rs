//! What somebody did about a duty, read and corrected: it was always so. The earlier version stays readable in the journal.

use crate::access::policy::Action;
use crate::model::facts::duty::{Duty, DutyAction, DutyActionDraft, DutyActionKind};
use crate::model::identifiers::DutyId;
use crate::model::shape::{Faults, Shape as _};
use crate::model::text::Text;
use crate::model::version::Version;
use crate::record;
use crate::registry::correcting::{Expected, REASON, merge};
use crate::registry::duties::{answerable, faults_of, reaches};
use crate::registry::duty_view::Reader;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Change, Moved};
use chrono::NaiveDate;
use serde_json::Value;
use uuid::Uuid;

record! {
    /// What somebody did about a duty.
    pub struct ActView {
        /// Itself.
        id: Uuid,
        /// The duty.
        duty_id: Option<DutyId>,
        /// What was done.
        action: DutyActionKind,
        /// When.
        on: NaiveDate,
        /// The ground of a waiver.
        note: Option<Text>,
        /// 1 at first, one more with every correction.
        revision: i64,
        /// The journal position that brought this revision.
        position: i64,
    }
}

/// `GET /actions/{id}`: for whoever may act on the duty.
///
/// # Errors
/// [`Refusal::Unknown`] out of sight, [`Refusal::Forbidden`] where the role may not act on this kind.
pub async fn read(change: &mut Change, id: Uuid) -> Result<ActView, Refusal> {
    let (act, ..) = found(change, id).await?;
    Ok(view(&act))
}

/// `PATCH /actions/{id}`: a merge patch (RFC 7396) of what was recorded wrongly, with a reason. `expected` says which revision
/// the caller read.
///
/// # Errors
/// As of acting on the duty; [`Refusal::Stale`]; every fault in the corrected act.
pub async fn correct(
    change: &mut Change,
    id: Uuid,
    expected: &Expected,
    body: &Value,
) -> Result<ActView, Refusal> {
    let (old, duty, reader) = found(change, id).await?;
    if !expected.holds(old.revision) {
        return Err(Refusal::Stale);
    }
    let Value::Object(fields) = body else {
        return Err(Refusal::fault("", "must be an object with the changed fields and a reason"));
    };
    let mut fields = fields.clone();
    let reason = fields.remove(REASON).and_then(|reason| reason.as_str().and_then(Text::new));
    let mut faults = Faults::default();
    if reason.is_none() {
        faults.note("/reason", "is required: why the record was wrong");
    }
    if fields.is_empty() {
        faults.note("", "must hold at least one field to correct");
    }
    let (Some(reason), true) = (reason, faults.is_empty()) else { return Err(faults.into()) };
    let mut whole = sent(&old.fact).to_json();
    merge(&mut whole, &Value::Object(fields));
    let draft = DutyActionDraft::parse(&whole)?;
    faults_of(change, &duty, &reader, &draft).await?;
    if draft == sent(&old.fact) {
        return Err(Refusal::fault("", "changes nothing"));
    }
    let DutyActionDraft { action, on, note } = draft;
    let fact = DutyAction { action, on, note, ..old.fact.clone() };
    let everything = change.everything();
    change.end(&old).await?;
    let moved = Moved { parent: old.parent, fact, reason: reason.as_str() };
    let corrected = change.correct(&everything, &old, moved).await?;
    reaches(change, &duty);
    Ok(view(&corrected))
}

/// What was done, the duty it answers, and the caller as its reader.
async fn found(
    change: &mut Change,
    id: Uuid,
) -> Result<(Version<DutyAction>, Version<Duty>, Reader), Refusal> {
    change.caller.may(Action::ActOnDuties)?;
    let as_of = change.as_of();
    let act = gather::one::<DutyAction>(&mut change.tx, as_of, id).await?.ok_or(Refusal::Unknown)?;
    let (duty, reader) = answerable(change, act.parent.ok_or(Refusal::Unknown)?).await?;
    Ok((act, duty, reader))
}

fn sent(act: &DutyAction) -> DutyActionDraft {
    DutyActionDraft { action: act.action, on: act.on, note: act.note.clone() }
}

fn view(act: &Version<DutyAction>) -> ActView {
    ActView {
        id: act.id,
        duty_id: act.parent.map(DutyId),
        action: act.fact.action,
        on: act.fact.on,
        note: act.fact.note.clone(),
        revision: act.revision,
        position: act.position,
    }
}
