//! A duty as a reader sees it: whoever sees only some of the sites it rests on learns that there are others and no more;
//! and whoever is not told of a physician's grounds sees of a duty that rests on one an examination to offer and its date.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::model::facts::agent::Verification;
use crate::model::facts::duty::{Duty, DutyAction, DutyActionKind, DutyKind, DutyStatus, Subject, Window};
use crate::model::facts::worker::Worker;
use crate::model::identifiers::{DutyId, WorkerId};
use crate::model::text::{Code, Line, Text};
use crate::model::version::Version;
use crate::record;
use crate::registry::escalation::{Escalation, escalation};
use crate::registry::gather::persons::{Persons, persons};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf};
use crate::surveillance::finding::{APPEARS, WHO_DECIDES};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

record! {
    /// What somebody did about a duty.
    pub struct ActionView {
        /// Itself, under which it is corrected; not where a duty rests on a physician's ground.
        id: Option<Uuid>,
        /// What was done.
        action: DutyActionKind,
        /// When.
        on: NaiveDate,
        /// The ground of a waiver; of an examination it is shown to the physician alone.
        note: Option<Text>,
    }
}

record! {
    /// A duty as it is handed out.
    ///
    /// Of one that rests on a physician's ground all but the physician see an examination to offer (`offer_examination`,
    /// whatever kind it is), whom it is about, who owes it, when it is due and how it stands; every other field is left out.
    pub struct DutyView {
        /// The duty.
        id: DutyId,
        /// What it asks for.
        kind: DutyKind,
        /// Whom it is about.
        subject: Subject,
        /// The agent.
        agent_code: Option<Code>,
        /// By when the clause asks.
        due_on: NaiveDate,
        /// When the registry learned of it.
        learned_on: Option<NaiveDate>,
        /// Days counted in the worst window.
        days_counted: Option<i64>,
        /// The worst window.
        window: Option<Window>,
        /// Whose clause asks for it: the law's that comes with the program, or another authority's.
        authority: Option<Code>,
        /// Row of the pack, or the code of another authority's clause.
        trigger_id: Option<Code>,
        /// Section and paragraph.
        clause: Option<String>,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Option<Verification>,
        /// Journal positions it rests on.
        basis: Option<Vec<i64>>,
        /// Who owes it.
        employer: Option<Line>,
        /// How it stands.
        status: DutyStatus,
        /// By how many days it was met late.
        days_late: Option<i64>,
        /// Of one that is overdue: by how many days, and who should hear of it next.
        escalation: Option<Escalation>,
        /// Why it was withdrawn.
        withdrawn: Option<Text>,
        /// The entry of the same worker under which it stands instead, where it was withdrawn for that; told to whoever sees all
        /// sites.
        recorded_under: Option<WorkerId>,
        /// What people did about it.
        actions: Vec<ActionView>,
        /// What is to be known of it.
        flags: Vec<String>,
        /// What it amounts to, and who decides.
        words: String,
        /// `true`, and told to the physician alone, where it rests on a medical ground.
        rests_on_medical_ground: Option<bool>,
        /// Counted up by every change.
        revision: Option<i64>,
        /// The position that brought this version.
        position: Option<i64>,
    }
}

/// Why a duty is withdrawn when later facts do not carry it.
pub const NO_LONGER_ASKED: &str = "the facts on record no longer ask for it";

/// Who reads duties: on which sites, and of which workers this reader is told medical grounds.
#[derive(Debug, Clone)]
pub struct Reader {
    /// The sites.
    pub scope: Scope,
    /// The workers, of those asked about, whose grounds the reader is told.
    told: BTreeSet<Uuid>,
    /// Who of those asked about has several entries.
    pub persons: Persons,
    /// Under which entry each of those asked about is told; nothing for whoever is out of sight.
    named: BTreeMap<Uuid, Uuid>,
}

impl Reader {
    /// The reader of duties about some workers.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn of(
        tx: &mut Tx,
        caller: &Caller,
        as_of: AsOf,
        scope: Scope,
        workers: &[Uuid],
    ) -> Result<Self, Refusal> {
        let told = match caller.may(Action::MedicalGrounds) {
            Ok(told) => {
                versions::in_sight(tx, &told, Worker::TABLE, as_of.position, workers.to_vec()).await?
            }
            Err(_) => BTreeSet::new(),
        };
        let persons = persons(tx, as_of, workers).await?;
        let named = persons.told(tx, &scope, as_of, workers.iter().copied()).await?;
        Ok(Self { scope, told, persons, named })
    }

    /// Whether the reader sees a worker, under whichever of his entries.
    pub fn sees(&self, worker: Uuid) -> bool {
        self.named.contains_key(&worker)
    }

    /// Whom a duty is about, under the entry that this reader is told.
    fn subject(&self, subject: &Subject) -> Subject {
        let worker = |entry: WorkerId| self.named.get(&entry.0).map_or(entry, |id| WorkerId(*id));
        Subject { worker_id: subject.worker_id.map(worker), ..subject.clone() }
    }

    /// Whether a duty rests on something that this reader is not told.
    pub fn is_kept_from(&self, duty: &Duty) -> bool {
        duty.is_medical() && !duty.subject.worker_id.is_some_and(|worker| self.told.contains(&worker.0))
    }

    /// Whether the reader is told the notes on a duty: of an examination they are the physician's.
    fn is_told_notes(&self, duty: &Duty) -> bool {
        !is_examination(duty.kind) || duty.subject.worker_id.is_some_and(|one| self.told.contains(&one.0))
    }

    /// A duty for this reader.
    pub fn view(&self, duty: &Version<Duty>, acts: &[Version<DutyAction>], today: NaiveDate) -> DutyView {
        let view = if self.is_kept_from(&duty.fact) {
            date_alone(duty, acts, today)
        } else {
            self.whole(duty, acts, today)
        };
        DutyView { subject: self.subject(&view.subject), ..view }
    }

    fn whole(&self, duty: &Version<Duty>, acts: &[Version<DutyAction>], today: NaiveDate) -> DutyView {
        let notes = self.is_told_notes(&duty.fact);
        // That there is another entry is told to whoever sees all sites.
        let moved = duty.fact.recorded_under.is_some();
        let fact = duty.fact.clone();
        let (status, days_late) = status(&fact, acts, today);
        let across = !fact.site_ids.iter().all(|site| self.scope.sites.holds(*site));
        let mut flags = fact.flags;
        if across {
            flags.push("days_across_sites".into());
        }
        if fact.due_on < fact.learned_on {
            flags.push("learned_after_due".into());
        }
        let escalation = escalation(fact.kind, status, fact.due_on, today);
        // Another authority's clause may be that of a site out of sight: it would tell which one.
        let kept = across && fact.authority.is_some();
        DutyView {
            id: DutyId(duty.id),
            kind: fact.kind,
            subject: fact.subject,
            agent_code: fact.agent_code,
            due_on: fact.due_on,
            learned_on: Some(fact.learned_on),
            days_counted: fact.days_counted.filter(|_| !across),
            window: fact.window.filter(|_| !across),
            authority: fact.authority.or_else(|| Code::new(STATUTORY_AUTHORITY)).filter(|_| !kept),
            trigger_id: fact.trigger_id.filter(|_| !kept),
            words: words(fact.kind, fact.clause.is_some()),
            clause: fact.clause.filter(|_| !kept),
            edition: fact.edition.filter(|_| !kept),
            verification: fact.verification.filter(|_| !kept),
            basis: Some(if across { Vec::new() } else { fact.basis }),
            employer: fact.employer,
            status,
            days_late,
            escalation,
            withdrawn: if moved && !self.scope.is_all() {
                Text::new(NO_LONGER_ASKED)
            } else {
                fact.withdrawn
            },
            recorded_under: fact.recorded_under.filter(|_| self.scope.is_all()),
            actions: acts.iter().map(|act| action(act, notes, true)).collect(),
            flags,
            rests_on_medical_ground: fact.rests_on_medical_ground,
            revision: Some(duty.revision),
            position: Some(duty.position),
        }
    }
}

/// An examination to offer and its date: all that is told of a duty that rests on a ground. When the registry learned of
/// it is left out too: with the due date it would tell the clause.
fn date_alone(duty: &Version<Duty>, acts: &[Version<DutyAction>], today: NaiveDate) -> DutyView {
    let (status, days_late) = status(&duty.fact, acts, today);
    DutyView {
        id: DutyId(duty.id),
        kind: DutyKind::OfferExamination,
        subject: duty.fact.subject.clone(),
        agent_code: None,
        due_on: duty.fact.due_on,
        learned_on: None,
        days_counted: None,
        window: None,
        authority: None,
        trigger_id: None,
        clause: None,
        edition: None,
        verification: None,
        basis: None,
        employer: duty.fact.employer.clone(),
        status,
        days_late,
        // By the kind that is shown, which tells nothing.
        escalation: escalation(DutyKind::OfferExamination, status, duty.fact.due_on, today),
        withdrawn: None,
        recorded_under: None,
        actions: acts.iter().map(|act| action(act, false, false)).collect(),
        flags: Vec::new(),
        words: words(DutyKind::OfferExamination, true),
        rests_on_medical_ground: None,
        revision: None,
        position: None,
    }
}

/// What a duty amounts to, and who decides.
fn words(kind: DutyKind, by_clause: bool) -> String {
    match (is_examination(kind), by_clause) {
        (true, _) => format!("{APPEARS}; {WHO_DECIDES}"),
        (false, true) => format!("appears to be triggered; {WHO_DECIDES}"),
        (false, false) => format!("recommended, no clause asks for it; {WHO_DECIDES}"),
    }
}

/// Its identifier tells when it was recorded, and is told to whoever is told of the duty itself.
fn action(act: &Version<DutyAction>, notes: bool, named: bool) -> ActionView {
    ActionView {
        id: named.then_some(act.id),
        action: act.fact.action,
        on: act.fact.on,
        note: act.fact.note.clone().filter(|_| notes),
    }
}

/// Whether a kind of duty is an examination, on which only the physician acts.
pub fn is_examination(kind: DutyKind) -> bool {
    matches!(kind, DutyKind::OfferExamination | DutyKind::PeriodicExamination | DutyKind::Audiogram)
}

/// Whether a duty is to be done still, and is an examination that rests on airborne exposure: while it stands, one that
/// rests on a ground of the same worker is shown to nobody but the physician.
pub fn stands_before_a_ground(duty: &Duty, acts: &[Version<DutyAction>], today: NaiveDate) -> bool {
    let airborne = matches!(duty.kind, DutyKind::OfferExamination | DutyKind::PeriodicExamination);
    airborne
        && !duty.is_medical()
        && matches!(status(duty, acts, today).0, DutyStatus::Open | DutyStatus::Overdue)
}

/// How a duty stands on a day, and by how many days it was met late.
fn status(duty: &Duty, acts: &[Version<DutyAction>], today: NaiveDate) -> (DutyStatus, Option<i64>) {
    if duty.withdrawn.is_some() {
        return (DutyStatus::Withdrawn, None);
    }
    let met = |on: NaiveDate| {
        let late = (on - duty.due_on).num_days();
        (DutyStatus::Met, (late > 0).then_some(late))
    };
    let ending = acts.iter().min_by_key(|act| (act.fact.on, act.id));
    match ending.map(|act| (act.fact.action, act.fact.on)) {
        Some((DutyActionKind::Waived, _)) => (DutyStatus::Waived, None),
        Some((DutyActionKind::Declined, _)) => (DutyStatus::Declined, None),
        Some((DutyActionKind::Offered | DutyActionKind::Completed | DutyActionKind::Notified, on)) => met(on),
        None if let Some(on) = duty.met_on => met(on),
        // What no clause asks for is never overdue.
        None if duty.due_on < today && duty.clause.is_some() => (DutyStatus::Overdue, None),
        None => (DutyStatus::Open, None),
    }
}
