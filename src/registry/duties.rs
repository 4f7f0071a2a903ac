//! Duties: written by the registry when the facts ask for them, acted on by people.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::account::Role;
use crate::model::facts::duty::{Duty, DutyAction, DutyActionDraft, DutyActionKind, DutyKind, Subject};
use crate::model::identifiers::{DutyId, WorkerId};
use crate::model::shape::{Faults, Shape};
use crate::model::text::{Code, Text};
use crate::model::version::Version;
use crate::registry::duty_list::hidden_by_airborne;
use crate::registry::duty_view::{NO_LONGER_ASKED, Reader, is_examination};
use crate::registry::enter_pack::registry_itself;
use crate::registry::facts::worker::employments;
use crate::registry::gather;
use crate::registry::gather::citations::{citations, cited};
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Change, Registry};
use crate::store::backend::Tx;
use crate::store::marks::{Mark, MarkKind};
use crate::store::tables::Key;
use crate::store::versions::{self, AsOf, Where};
use crate::surveillance::duties::{
    About, DutyChange, DutyGrounds, DutyKey, OughtDuty, StandingDuty, difference,
};
use chrono::NaiveDate;
use serde_json::Value;
use std::collections::BTreeMap;
use uuid::Uuid;

pub use crate::registry::duty_view::{ActionView, DutyView};

/// The duties of one subject and agent that follow from the same conclusion: what of them no longer ought to stand is
/// withdrawn, and no other duty is touched.
#[derive(Debug, Clone)]
pub struct Family {
    /// Whom or what they are about.
    pub about: About,
    /// The other entries of the same person.
    pub also: Vec<WorkerId>,
    /// For which agent.
    pub agent_code: String,
    /// What they ask for.
    pub kinds: &'static [DutyKind],
    /// By whose clauses.
    pub whose: Whose,
    /// Whether they are those that rest on medical grounds, or the others.
    pub medical: bool,
}

/// Whose clauses raised a duty.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Whose {
    /// The law that comes with the program.
    TheLaw,
    /// Other authorities: a state, another country, the company itself.
    Others,
}

impl Whose {
    /// Of a duty as it is written.
    fn of(duty: &Duty) -> Self {
        if duty.authority.is_none() { Self::TheLaw } else { Self::Others }
    }
}

/// What a worker's summary asks for.
pub const OF_A_SUMMARY: &[DutyKind] =
    &[DutyKind::OfferExamination, DutyKind::PeriodicExamination, DutyKind::Audiogram];

/// The duties of a family that ought to stand.
#[derive(Debug, Clone)]
pub struct Ought {
    /// Which duties are meant.
    pub family: Family,
    /// Those that ought to stand.
    pub duties: Vec<OughtDuty>,
    /// The day on which the registry learned of it.
    pub learned_on: NaiveDate,
}

async fn actions(tx: &mut Tx, as_of: AsOf, duty: Uuid) -> Result<Vec<Version<DutyAction>>, Refusal> {
    Ok(gather::all::<DutyAction>(tx, as_of, &[Where::Parent(duty)]).await?)
}

/// Whether an action answers a kind of duty: an examination is offered, done or declined; results are told.
pub fn fits(kind: DutyKind, action: DutyActionKind) -> bool {
    match action {
        DutyActionKind::Waived => true,
        DutyActionKind::Offered | DutyActionKind::Declined => is_examination(kind),
        DutyActionKind::Notified => kind == DutyKind::NotifyResults,
        DutyActionKind::Completed => kind != DutyKind::NotifyResults,
    }
}

/// Whether a kind of duty is the caller's to answer: examinations are the physician's, notices and record requests the
/// hygienist's and the coordinator's, all else the hygienist's.
pub fn may_answer(caller: &Caller, kind: DutyKind) -> bool {
    match kind {
        kind if is_examination(kind) => caller.is(Role::Physician),
        DutyKind::NotifyResults | DutyKind::AnswerRecordRequest => {
            caller.is(Role::Hygienist) || caller.is(Role::Coordinator)
        }
        _ => caller.is(Role::Hygienist),
    }
}

/// `POST /duties/{id}/actions`.
///
/// # Errors
/// [`Refusal::Unknown`] out of sight, [`Refusal::Forbidden`] where the role may not act on this kind, faults.
pub async fn act(change: &mut Change, duty: Uuid, body: &Value) -> Result<DutyView, Refusal> {
    let (found, reader) = answerable(change, duty).await?;
    let action = DutyActionDraft::parse(body)?;
    faults_of(change, &found, &reader, &action).await?;
    if found.fact.withdrawn.is_some() {
        return Err(Refusal::taken("this duty was withdrawn"));
    }
    let action = DutyAction {
        action: action.action,
        on: action.on,
        note: action.note,
        rests_on_medical_ground: found.fact.rests_on_medical_ground,
    };
    let (everything, as_of) = (change.everything(), change.as_of());
    change.add(&everything, None, Some(duty), action).await?;
    reaches(change, &found);
    let acts = actions(&mut change.tx, as_of, duty).await?;
    Ok(reader.view(&found, &acts, as_of.date))
}

/// A duty that the caller sees and may answer, and the caller as its reader.
pub(super) async fn answerable(change: &mut Change, duty: Uuid) -> Result<(Version<Duty>, Reader), Refusal> {
    let scope = change.caller.may(Action::ActOnDuties)?;
    let (everything, as_of) = (change.everything(), change.as_of());
    let found =
        versions::find::<Duty>(&mut change.tx, &everything, as_of, duty).await?.ok_or(Refusal::Unknown)?;
    let workers: Vec<Uuid> = found.fact.subject.worker_id.iter().map(|worker| worker.0).collect();
    let caller = change.caller.clone();
    let reader = Reader::of(&mut change.tx, &caller, as_of, scope.clone(), &workers).await?;
    if !workers.iter().all(|worker| reader.sees(*worker)) {
        return Err(Refusal::Unknown);
    }
    let group = found.fact.subject.group_id;
    if group.is_some() && !found.fact.site_ids.iter().all(|site| scope.sites.holds(*site)) {
        return Err(Refusal::Unknown);
    }
    if reader.is_kept_from(&found.fact) {
        // One that the reader does not see among his duties is not there for him.
        let of_worker = [Where::IsOneOf("worker_id", reader.persons.entries(workers))];
        let all = gather::all::<Duty>(&mut change.tx, as_of, &of_worker).await?;
        let hidden = hidden_by_airborne(&mut change.tx, &reader, as_of, &all).await?;
        return Err(if hidden.contains(&duty) { Refusal::Unknown } else { Refusal::Forbidden });
    }
    if may_answer(&caller, found.fact.kind) { Ok((found, reader)) } else { Err(Refusal::Forbidden) }
}

/// Refuses what is no answer to a duty, or cannot have been done then.
pub(super) async fn faults_of(
    change: &mut Change,
    duty: &Version<Duty>,
    reader: &Reader,
    action: &DutyActionDraft,
) -> Result<(), Refusal> {
    let (everything, as_of) = (change.everything(), change.as_of());
    let mut faults = Faults::default();
    if !fits(duty.fact.kind, action.action) {
        let detail = format!("{} is no answer to {}", action.action, duty.fact.kind);
        faults.note("/action", detail);
    }
    if action.action == DutyActionKind::Waived && action.note.is_none() {
        faults.note("/note", "is required for a waiver: its ground");
    }
    if action.on > as_of.date {
        faults.note("/on", "must not lie in the future");
    }
    if let Some(worker) = duty.fact.subject.worker_id {
        let entries = reader.persons.entries(vec![worker.0]);
        let known = employments(&mut change.tx, &everything, as_of, entries).await?;
        if known.first().is_some_and(|first| action.on < first.fact.from) {
            faults.note("/on", "must not lie before the worker's first employment");
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(faults.into()) }
}

/// Marks what follows from what is done about a duty.
pub(super) fn reaches(change: &mut Change, duty: &Version<Duty>) {
    let Some(agent) = duty.fact.agent_code.as_ref().map(ToString::to_string) else { return };
    if let Some(group) = duty.fact.subject.group_id {
        // What is done about a group may begin the next occasion: ventilation that was checked is due again.
        change.mark(Mark { kind: MarkKind::Profile, subject: group.0, agent: agent.clone() });
    }
    if let Some(worker) = duty.fact.subject.worker_id
        && is_examination(duty.fact.kind)
    {
        // The next examination is counted from this one.
        change.mark(Mark { kind: MarkKind::Summary, subject: worker.0, agent });
    }
}

impl Registry {
    /// Writes the difference between the duties of a family that ought to stand and those that do.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn write_duties(&self, ought: &Ought) -> Result<(), Refusal> {
        let mut tx = self.database.read().await?;
        let as_of = self.now(&mut tx).await?;
        let changes = changes(&mut tx, as_of, ought).await?;
        drop(tx);
        if changes.is_empty() {
            return Ok(());
        }
        let mut change = self.begin_plain(&registry_itself()).await?;
        let as_of = change.as_of();
        let scope = change.everything();
        let clauses = ought.duties.iter().map(|duty| duty.key.trigger_id.clone()).collect();
        let citations = citations(&mut change.tx, as_of, clauses).await?;
        for next in self::changes(&mut change.tx, as_of, ought).await? {
            match next {
                Next::New(fact) => {
                    let fact = cited(*fact, &citations);
                    // The identifier is shown to everybody: of a duty on a ground it tells the date that is shown beside
                    // it, and not when the registry learned of the ground.
                    let id = if fact.is_medical() { change.new_id_of(fact.due_on) } else { change.new_id() };
                    change.add_as(&scope, id, None, None, fact).await?;
                }
                Next::After(old, fact, deed) => {
                    let fact = if fact.withdrawn.is_none() { cited(*fact, &citations) } else { *fact };
                    change.alter(&scope, &old, fact, None, deed, None).await?;
                }
            }
        }
        self.commit(change, None).await
    }
}

/// A version of a duty that the registry writes.
enum Next {
    /// A new duty.
    New(Box<Duty>),
    /// What follows a version, and what is done with the duty.
    After(Box<Version<Duty>>, Box<Duty>, &'static str),
}

impl Next {
    fn after(old: Version<Duty>, fact: Duty, deed: &'static str) -> Self {
        Self::After(Box::new(old), Box::new(fact), deed)
    }

    /// A duty is withdrawn where it stands under another entry of the same person.
    fn recorded_under(old: Version<Duty>, entry: WorkerId) -> Self {
        let fact = Duty {
            withdrawn: Text::new("recorded under another entry of the same worker"),
            recorded_under: Some(entry),
            ..old.fact.clone()
        };
        Self::after(old, fact, "withdrawn")
    }
}

/// The duties of a family as they are written.
#[derive(Default)]
struct Written {
    /// Those that stand, by identifier.
    own: BTreeMap<Uuid, Version<Duty>>,
    /// The same and those of other entries on which somebody acted, as they are compared.
    standing: Vec<StandingDuty>,
    /// Those that stand under other entries of the same person, and nobody acted on them.
    elsewhere: BTreeMap<DutyKey, Version<Duty>>,
    /// Under which other entry somebody acted on them.
    acted_elsewhere: BTreeMap<DutyKey, WorkerId>,
    /// Those that were withdrawn since they stood under another entry.
    moved_away: BTreeMap<DutyKey, Version<Duty>>,
}

async fn written(tx: &mut Tx, as_of: AsOf, family: &Family) -> Result<Written, Refusal> {
    let mut of_family = vec![Where::Is("agent_code", Key::Text(Some(family.agent_code.clone())))];
    match family.about {
        About::Worker(worker) => {
            let entries = std::iter::once(&worker).chain(&family.also).map(|entry| entry.0).collect();
            of_family.push(Where::IsOneOf("worker_id", entries));
        }
        About::Group(group) => of_family.push(Where::Is("group_id", Key::Id(Some(group.0)))),
        About::Site(_) => {}
    }
    let mut found = Written::default();
    for duty in gather::all::<Duty>(tx, as_of, &of_family).await? {
        let about = about(&duty.fact.subject);
        let here = about == Some(family.about);
        let other = duty.fact.subject.worker_id.filter(|worker| !here && family.also.contains(worker));
        let same = duty.fact.is_medical() == family.medical && Whose::of(&duty.fact) == family.whose;
        if !same || !(here || other.is_some()) || !family.kinds.contains(&duty.fact.kind) {
            continue;
        }
        if duty.fact.withdrawn.is_some() {
            if here && duty.fact.recorded_under.is_some() {
                let key = standing_duty(&duty, family, false).key;
                found.moved_away.insert(key, duty);
            }
            continue;
        }
        let ended = !actions(tx, as_of, duty.id).await?.is_empty();
        let known = standing_duty(&duty, family, ended);
        match other {
            Some(_) if !ended => {
                found.elsewhere.insert(known.key, duty);
            }
            Some(entry) => {
                found.acted_elsewhere.insert(known.key.clone(), entry);
                found.standing.push(known);
            }
            None => {
                found.standing.push(known);
                found.own.insert(duty.id, duty);
            }
        }
    }
    Ok(found)
}

/// What is to be written so that the duties that stand are those that ought to. One person has one duty for a clause and an
/// occasion, under whichever entry somebody acted on it, else under the one that stays.
async fn changes(tx: &mut Tx, as_of: AsOf, ought: &Ought) -> Result<Vec<Next>, Refusal> {
    let Written { mut own, mut standing, elsewhere, acted_elsewhere, mut moved_away } =
        written(tx, as_of, &ought.family).await?;
    let mut next = Vec::new();
    standing.retain(|duty| {
        let acted = acted_elsewhere.get(&duty.key).filter(|_| !duty.ended);
        let twice = acted.and_then(|entry| Some((*entry, own.remove(&duty.id.0)?)));
        next.extend(twice.map(|(entry, old)| Next::recorded_under(old, entry)));
        acted.is_none()
    });
    for wanted in difference(&ought.duties, &standing) {
        match wanted {
            DutyChange::Raise(duty) => {
                if let Some(old) = moved_away.remove(&duty.key) {
                    let grounds = due_as_first_set(duty.grounds, &old.fact);
                    let fact = Duty { withdrawn: None, recorded_under: None, ..old.fact.clone() };
                    next.push(Next::after(old, with_grounds(fact, grounds), "raised again"));
                    continue;
                }
                let known = elsewhere.get(&duty.key).map(|known| &known.fact);
                let learned_on = known.map_or(ought.learned_on, |known| known.learned_on);
                let grounds = match known {
                    Some(known) => due_as_first_set(duty.grounds, known),
                    None => duty.grounds,
                };
                let fact = new_duty(&OughtDuty { key: duty.key, grounds }, learned_on);
                next.extend(fact.map(|fact| Next::New(Box::new(fact))));
            }
            DutyChange::Change { id, grounds } => {
                let Some(old) = own.remove(&id.0) else { continue };
                let fact = with_grounds(old.fact.clone(), grounds);
                next.push(Next::after(old, fact, "changed"));
            }
            DutyChange::Withdraw(id) => {
                let Some(old) = own.remove(&id.0) else { continue };
                let why = Text::new(NO_LONGER_ASKED);
                let fact = Duty { withdrawn: why, ..old.fact.clone() };
                next.push(Next::after(old, fact, "withdrawn"));
            }
        }
    }
    if let About::Worker(stays) = ought.family.about {
        next.extend(elsewhere.into_values().map(|old| Next::recorded_under(old, stays)));
    }
    Ok(next)
}

/// A due date that runs from the day of learning stays as it was first set, under whichever entry.
fn due_as_first_set(mut grounds: DutyGrounds, known: &Duty) -> DutyGrounds {
    if grounds.due_from_learning && known.flags.iter().any(|flag| flag == DUE_FROM_LEARNING) {
        grounds.due_on = known.due_on;
    }
    grounds
}

/// Whom or what a written duty is about.
fn about(subject: &Subject) -> Option<About> {
    let worker = subject.worker_id.map(About::Worker);
    worker.or(subject.group_id.map(About::Group)).or(subject.site_id.map(About::Site))
}

/// The same as it is written.
fn subject(about: About) -> Subject {
    let nobody = Subject { worker_id: None, group_id: None, site_id: None };
    match about {
        About::Worker(worker) => Subject { worker_id: Some(worker), ..nobody },
        About::Group(group) => Subject { group_id: Some(group), ..nobody },
        About::Site(site) => Subject { site_id: Some(site), ..nobody },
    }
}

fn standing_duty(duty: &Version<Duty>, family: &Family, ended: bool) -> StandingDuty {
    let fact = &duty.fact;
    let due_from_learning = fact.flags.iter().any(|flag| flag == DUE_FROM_LEARNING);
    let flags = fact.flags.iter().filter(|flag| *flag != DUE_FROM_LEARNING);
    StandingDuty {
        id: DutyId(duty.id),
        key: DutyKey {
            kind: fact.kind,
            about: family.about,
            agent_code: family.agent_code.clone(),
            trigger_id: fact.trigger_id.as_ref().map(ToString::to_string).unwrap_or_default(),
            occasion: fact.occasion.to_string(),
        },
        grounds: DutyGrounds {
            clause: fact.clause.clone().unwrap_or_default(),
            due_on: fact.due_on,
            due_from_learning,
            met_on: fact.met_on,
            days_counted: fact.days_counted,
            window: fact.window.clone(),
            basis: fact.basis.iter().copied().collect(),
            sites: fact.site_ids.iter().copied().collect(),
            employer: fact.employer.clone(),
            flags: flags.cloned().collect(),
            authority: fact.authority.clone(),
            medical: fact.is_medical(),
        },
        ended,
    }
}

/// Marks a due date that runs from the day on which the registry learned of it.
const DUE_FROM_LEARNING: &str = "due_from_learning";

fn new_duty(duty: &OughtDuty, learned_on: NaiveDate) -> Option<Duty> {
    let blank = Duty {
        kind: duty.key.kind,
        subject: subject(duty.key.about),
        agent_code: Code::new(&duty.key.agent_code),
        authority: None,
        trigger_id: Code::new(&duty.key.trigger_id),
        occasion: Code::new(&duty.key.occasion)?,
        clause: None,
        edition: None,
        verification: None,
        due_on: duty.grounds.due_on,
        learned_on,
        met_on: None,
        days_counted: None,
        window: None,
        basis: Vec::new(),
        employer: None,
        withdrawn: None,
        recorded_under: None,
        flags: Vec::new(),
        site_ids: Vec::new(),
        rests_on_medical_ground: None,
    };
    Some(with_grounds(blank, duty.grounds.clone()))
}

fn with_grounds(duty: Duty, grounds: DutyGrounds) -> Duty {
    let mut flags = grounds.flags;
    if grounds.due_from_learning {
        flags.push(DUE_FROM_LEARNING.into());
    }
    Duty {
        clause: Some(grounds.clause).filter(|clause| !clause.is_empty()),
        due_on: grounds.due_on,
        met_on: grounds.met_on,
        days_counted: grounds.days_counted,
        window: grounds.window,
        basis: grounds.basis.into_iter().collect(),
        employer: grounds.employer,
        authority: grounds.authority,
        site_ids: grounds.sites.into_iter().collect(),
        rests_on_medical_ground: grounds.medical.then_some(true),
        flags,
        ..duty
    }
}
