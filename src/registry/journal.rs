//! The journal as people read it: envelopes for whoever sees the site, images for whoever may read the fact.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::{
    account, agent, clause, control, duty, group, hand_over, laboratory, letter, original, retention, rules,
    sampling, site, standing_move, worker,
};
use crate::model::identifiers::{AccountId, SiteId};
use crate::record;
use crate::registry::duty_view::is_examination;
use crate::registry::gather;
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::journal::{self, Entry, REFERENCE, Reading};
use crate::store::tables::{self, Sees, Stored};
use crate::store::versions::{self, AsOf, Where};
use chrono::{DateTime, Utc};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use uuid::Uuid;

record! {
    /// An entry of the journal. The image is left out for whoever may not read the fact.
    pub struct JournalEntryView {
        /// Position of the request in the one order of all changes.
        position: i64,
        /// Which entry of that request, from 1.
        ordinal: i64,
        /// The chain it belongs to.
        chain: String,
        /// Its place in the chain, from 1.
        place: i64,
        /// When it was recorded.
        at: DateTime<Utc>,
        /// By which account.
        account_id: AccountId,
        /// The kind of fact.
        kind: String,
        /// What was done with it.
        deed: String,
        /// The fact.
        subject_id: Uuid,
        /// The site it belongs to.
        site_id: Option<SiteId>,
        /// Format number of the image.
        format: i64,
        /// SHA-256 of salt and image, in hexadecimal.
        image_digest: String,
        /// SHA-256 of the previous hash, the envelope and the image's digest, in hexadecimal.
        entry_hash: String,
        /// The hash of the entry before in the chain, in hexadecimal.
        previous_hash: String,
        /// What was recorded.
        image: Option<Value>,
    }
}

/// What is asked of the journal.
#[derive(Debug, Clone, Copy, Default)]
pub struct JournalQuestion {
    /// Only entries of this site.
    pub site: Option<SiteId>,
    /// Only entries about this fact.
    pub subject: Option<Uuid>,
    /// Only entries about facts of this kind, as the journal names it.
    pub kind: Option<&'static str>,
    /// After this one.
    pub after: Option<JournalCursor>,
    /// Up to this position.
    pub until: Option<i64>,
    /// At most how many.
    pub limit: i64,
}

/// A place in the one order of all entries; written `position.ordinal`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct JournalCursor {
    /// The position.
    pub position: i64,
    /// The entry of that request.
    pub ordinal: i64,
}

impl JournalCursor {
    /// Reads what [`Display`](std::fmt::Display) wrote.
    pub fn parse(text: &str) -> Option<Self> {
        let (position, ordinal) = text.split_once('.')?;
        Some(Self { position: position.parse().ok()?, ordinal: ordinal.parse().ok()? })
    }
}

impl std::fmt::Display for JournalCursor {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}.{}", self.position, self.ordinal)
    }
}

/// A page of the journal.
#[derive(Debug, Clone)]
pub struct JournalPage {
    /// The entries, in the one order of all changes.
    pub items: Vec<JournalEntryView>,
    /// Where the next page begins, if there is one.
    pub next: Option<JournalCursor>,
    /// The position it was read at.
    pub position: i64,
    /// The workers whom its images name: reading them leaves a line in the access log.
    pub workers: BTreeSet<Uuid>,
}

/// The action that reading a fact of a kind takes.
const READING: &[(&str, Action)] = &[
    (site::Site::TABLE.kind, site::Site::READ),
    (account::Account::TABLE.kind, account::Account::READ),
    (account::Token::TABLE.kind, Action::ManageAccounts),
    (agent::Agent::TABLE.kind, agent::Agent::READ),
    (agent::Limit::TABLE.kind, agent::Limit::READ),
    (clause::Clause::TABLE.kind, clause::Clause::READ),
    (rules::ComparedWith::TABLE.kind, rules::ComparedWith::READ),
    (rules::MixtureSet::TABLE.kind, rules::MixtureSet::READ),
    (rules::PackRow::TABLE.kind, Action::ReadReference),
    (site::RuleSetChange::TABLE.kind, site::RuleSetChange::READ),
    (site::MonitoringOption::TABLE.kind, site::MonitoringOption::READ),
    (site::Holiday::TABLE.kind, site::Holiday::READ),
    (site::Release::TABLE.kind, site::Release::READ),
    (group::Group::TABLE.kind, group::Group::READ),
    (group::Condition::TABLE.kind, group::Condition::READ),
    (group::GroupChange::TABLE.kind, group::GroupChange::READ),
    (group::ExpectedAgent::TABLE.kind, group::ExpectedAgent::READ),
    (group::JoinedEra::TABLE.kind, group::JoinedEra::READ),
    (group::Judgement::TABLE.kind, group::Judgement::READ),
    (control::Task::TABLE.kind, control::Task::READ),
    (control::Control::TABLE.kind, control::Control::READ),
    (control::ControlPeriod::TABLE.kind, control::ControlPeriod::READ),
    (worker::Worker::TABLE.kind, worker::Worker::READ),
    (worker::Employment::TABLE.kind, worker::Employment::READ),
    (worker::EarlierExposure::TABLE.kind, worker::EarlierExposure::READ),
    (worker::Assignment::TABLE.kind, worker::Assignment::READ),
    (worker::WorkedDay::TABLE.kind, worker::WorkedDay::READ),
    (worker::Absence::TABLE.kind, worker::Absence::READ),
    (worker::Alias::TABLE.kind, worker::Alias::READ),
    (worker::MedicalGround::TABLE.kind, worker::MedicalGround::READ),
    (worker::RecordRequest::TABLE.kind, worker::RecordRequest::READ),
    (worker::RespiratorConfirmation::TABLE.kind, worker::RespiratorConfirmation::READ),
    (sampling::SamplingEvent::TABLE.kind, sampling::SamplingEvent::READ),
    (sampling::Sample::TABLE.kind, sampling::Sample::READ),
    (laboratory::LabReport::TABLE.kind, laboratory::LabReport::READ),
    (laboratory::LabResult::TABLE.kind, laboratory::LabResult::READ),
    (laboratory::HeldRow::TABLE.kind, laboratory::HeldRow::READ),
    (sampling::DirectReadings::TABLE.kind, sampling::DirectReadings::READ),
    (duty::Duty::TABLE.kind, Action::ReadDuties),
    (duty::DutyAction::TABLE.kind, Action::ReadDuties),
    (standing_move::StandingMove::TABLE.kind, Action::ReadSamples),
    (letter::Letter::TABLE.kind, Action::ReadHistories),
    (retention::LegalHold::TABLE.kind, Action::ReadRetention),
    (retention::Disposal::TABLE.kind, Action::ReadRetention),
    (hand_over::HandOver::TABLE.kind, hand_over::HandOver::READ),
    (hand_over::TakenOver::TABLE.kind, Action::ReadReference),
    (original::Original::TABLE.kind, Action::ReadSamples),
];

/// The kinds of facts whose entries a reader of the journal may meet: those of the medical chain only where he reads it.
pub fn kinds(caller: &Caller) -> Vec<&'static str> {
    let medical = caller.may(Action::MedicalGrounds).is_ok();
    let kinds = READING.iter().map(|(kind, _)| *kind);
    kinds.filter(|kind| medical || *kind != worker::MedicalGround::TABLE.kind).collect()
}

impl Registry {
    /// A page of the journal, as far as the caller sees it.
    ///
    /// # Errors
    /// [`Refusal::Forbidden`] for a role without journal; [`Refusal::Unknown`] for a site out of sight.
    pub async fn journal(&self, caller: &Caller, question: &JournalQuestion) -> Result<JournalPage, Refusal> {
        let mut tx = self.database.read().await?;
        let as_of = self.now(&mut tx).await?;
        page(&mut tx, caller, as_of, question).await
    }
}

/// How many workers a reader of the journal sees, and so may find named in its images.
///
/// # Errors
/// [`Refusal::Forbidden`] for a role that takes nothing out, or has no journal.
pub async fn workers_in_sight(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<usize, Refusal> {
    caller.may(Action::Export)?;
    caller.may(Action::ReadJournal)?;
    let Ok(scope) = caller.may(Action::ReadWorkers) else { return Ok(0) };
    Ok(versions::ids(tx, &scope, worker::Worker::TABLE, as_of.position).await?.len())
}

/// A page of the journal from a snapshot, as far as the caller sees it.
///
/// # Errors
/// As [`Registry::journal`].
pub async fn page(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    question: &JournalQuestion,
) -> Result<JournalPage, Refusal> {
    let scope = caller.may(Action::ReadJournal)?;
    let position = as_of.position;
    if let Some(site) = question.site {
        let known = versions::in_sight(tx, &scope, site::Site::TABLE, position, vec![site.0]).await?;
        let exists = versions::exists(tx, site::Site::TABLE, site.0).await?;
        if !exists || !known.contains(&site.0) {
            return Err(Refusal::Unknown);
        }
    }
    let reading = Reading {
        after: question.after.map(|after| (after.position, after.ordinal)),
        subject: question.subject,
        site: question.site,
        kind: question.kind,
        until: question.until,
        // Envelopes of that chain name no site: they are for a physician of all of them.
        medical: caller.may(Action::MedicalGrounds).is_ok_and(|scope| scope.is_all()),
        limit: question.limit + 1,
    };
    let mut entries = journal::entries(tx, &scope, &reading).await?;
    let more = i64::try_from(entries.len()).is_ok_and(|found| found > question.limit);
    if more {
        entries.pop();
    }
    let last = entries.last().map(|entry| &entry.envelope);
    let next =
        last.filter(|_| more).map(|last| JournalCursor { position: last.position, ordinal: last.ordinal });
    let readable = readable(tx, caller, position, &entries).await?;
    let others = noted_in_sight_of_all(tx, as_of, &entries).await?;
    let mut workers = BTreeSet::new();
    let mut items = Vec::with_capacity(entries.len());
    for entry in entries {
        let image = if readable.contains(&(entry.envelope.kind.clone(), entry.envelope.subject)) {
            image_for(caller, &entry, &others)
        } else {
            None
        };
        if let Some(image) = &image {
            note_workers(&entry, image, &mut workers);
        }
        items.push(view(entry, image));
    }
    Ok(JournalPage { items, next, position, workers })
}

/// Kind and subject of those entries whose fact the caller may read.
async fn readable(
    tx: &mut Tx,
    caller: &Caller,
    position: i64,
    entries: &[Entry],
) -> Result<BTreeSet<(String, Uuid)>, Refusal> {
    let mut of_kind: BTreeMap<&str, BTreeSet<Uuid>> = BTreeMap::new();
    for entry in entries {
        of_kind.entry(&entry.envelope.kind).or_default().insert(entry.envelope.subject);
    }
    let mut readable = BTreeSet::new();
    for (kind, subjects) in of_kind {
        let Some((_, action)) = READING.iter().find(|(read, _)| *read == kind) else { continue };
        let Ok(scope) = caller.may(*action) else { continue };
        let Some(table) = tables::of_kind(kind) else { continue };
        // What everybody may ask for but is no reference (a duty counts days over all sites) shows more than one
        // site: its image is for those with all of them.
        if table.sees == Sees::Everyone && !scope.is_all() && !REFERENCE.contains(&kind) {
            continue;
        }
        let seen = versions::in_sight(tx, &scope, table, position, subjects.into_iter().collect()).await?;
        readable.extend(seen.into_iter().map(|id| (kind.to_owned(), id)));
    }
    Ok(readable)
}

/// The image for somebody who may read the fact; a note on an examination is the physician's.
fn image_for(caller: &Caller, entry: &Entry, others: &BTreeSet<Uuid>) -> Option<Value> {
    let image: Value = serde_json::from_str(entry.image.as_ref()?).ok()?;
    let noted = entry.envelope.kind == duty::DutyAction::TABLE.kind && image["fact"].get("note").is_some();
    let of_another = duty_of(&image).is_some_and(|duty| others.contains(&duty));
    (!noted || of_another || caller.may(Action::MedicalGrounds).is_ok()).then_some(image)
}

fn duty_of(image: &Value) -> Option<Uuid> {
    image["parent_id"].as_str().and_then(|id| Uuid::parse_str(id).ok())
}

/// The duties behind these entries that are no examinations: a note on one of them is for whoever reads the duty.
async fn noted_in_sight_of_all(
    tx: &mut Tx,
    as_of: AsOf,
    entries: &[Entry],
) -> Result<BTreeSet<Uuid>, Refusal> {
    let acts = entries.iter().filter(|entry| entry.envelope.kind == duty::DutyAction::TABLE.kind);
    let duties: Vec<Uuid> =
        acts.filter_map(|entry| duty_of(&serde_json::from_str(entry.image.as_ref()?).ok()?)).collect();
    let found = gather::many::<duty::Duty>(tx, as_of, &duties, Where::Ids).await?;
    Ok(found.into_iter().filter(|duty| !is_examination(duty.fact.kind)).map(|duty| duty.id).collect())
}

/// The workers whom an image names.
fn note_workers(entry: &Entry, image: &Value, workers: &mut BTreeSet<Uuid>) {
    let id = |value: &Value| value.as_str().and_then(|text| Uuid::parse_str(text).ok());
    let fact = &image["fact"];
    workers.extend(id(&fact["worker_id"]));
    workers.extend(id(&fact["of_worker_id"]));
    workers.extend(id(&fact["subject"]["worker_id"]));
    for shift in fact["shifts"].as_array().into_iter().flatten() {
        workers.extend(id(&shift["worker_id"]));
    }
    let kind = entry.envelope.kind.as_str();
    if kind == worker::Worker::TABLE.kind {
        workers.insert(entry.envelope.subject);
    }
    let of_worker = tables::of_kind(kind).is_some_and(|table| table.sees == Sees::OfWorker)
        || [worker::Assignment::TABLE.kind, worker::WorkedDay::TABLE.kind].contains(&kind);
    if of_worker {
        workers.extend(id(&image["parent_id"]));
    }
}

fn view(entry: Entry, image: Option<Value>) -> JournalEntryView {
    let Entry { envelope, image_digest, previous_hash, entry_hash, .. } = entry;
    JournalEntryView {
        position: envelope.position,
        ordinal: envelope.ordinal,
        chain: envelope.chain,
        place: envelope.place,
        at: envelope.at,
        account_id: envelope.account,
        kind: envelope.kind,
        deed: envelope.deed,
        subject_id: envelope.subject,
        site_id: envelope.site,
        format: envelope.format,
        image_digest: hex(&image_digest),
        entry_hash: hex(&entry_hash),
        previous_hash: hex(&previous_hash),
        image,
    }
}

/// Bytes in hexadecimal.
pub(crate) fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(2 * bytes.len()), |mut text, byte| {
        write!(text, "{byte:02x}").expect("writing to a String cannot fail");
        text
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_of_fact_says_what_reading_its_image_takes() {
        let named: Vec<&str> = READING.iter().map(|(kind, _)| *kind).collect();
        let kinds: Vec<&str> = tables::TABLES.iter().map(|table| table.kind).collect();
        assert_eq!(named, kinds);
    }

    #[test]
    fn a_cursor_reads_back_what_it_wrote() {
        let cursor = JournalCursor { position: 12, ordinal: 3 };
        assert_eq!(JournalCursor::parse(&cursor.to_string()), Some(cursor));
        assert_eq!(JournalCursor::parse("12"), None);
        assert_eq!(JournalCursor::parse("a.1"), None);
    }
}
