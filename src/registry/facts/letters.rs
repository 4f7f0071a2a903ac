//! Issuing letters to workers: one to everybody whom an event's samples measured or represent; after a correction a new
//! one takes the place of the old. Sending or handing them out is a person's act, and so is saying that people were told.

use crate::access::policy::Action;
use crate::model::facts::letter::{Letter, LetterDraft, LetterLink, LetterSays};
use crate::model::facts::sampling::SamplingEvent;
use crate::model::identifiers::{LetterId, WorkerId};
use crate::model::shape::Shape as _;
use crate::model::text::{Code, Paper};
use crate::model::version::Version;
use crate::record;
use crate::registry::conclude::letters::{ToSay, to_say};
use crate::registry::enter_pack::registry_itself;
use crate::registry::gather;
use crate::registry::journal::hex;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};
use chrono::NaiveDate;
use serde_json::Value;
use sha2::{Digest, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

record! {
    /// Somebody who got a letter that no longer holds.
    pub struct Outdated {
        /// The letter that no longer holds.
        letter_id: LetterId,
        /// Who received it.
        worker_id: WorkerId,
        /// Name.
        name: String,
        /// When it was issued.
        issued_on: NaiveDate,
        /// The letter that takes its place.
        amended_by: LetterId,
    }
}

/// What came of asking for letters.
#[derive(Debug)]
pub struct Issued {
    /// The letters that hold now, those of before among them.
    pub letters: Vec<Version<Letter>>,
    /// Who received one that this request amended.
    pub outdated: Vec<Outdated>,
    /// Whether anything was written.
    pub written: bool,
}

/// What a letter says besides its facts: the day, and the letter before it with what that one said.
#[derive(Debug, Clone, Copy)]
pub struct Dated<'l> {
    /// The day of issue.
    pub on: NaiveDate,
    /// The letter whose place it takes.
    pub before: Option<&'l Letter>,
}

/// Issues the letters of an event about an agent. `write` makes the text of a letter of what it says.
///
/// # Errors
/// [`Refusal::Unknown`] where the event is not in sight; every fault of the body; a fault where nobody was measured, or where
/// the corrective action is missing.
pub async fn issue<W>(change: &mut Change, event: Uuid, body: &Value, write: W) -> Result<Issued, Refusal>
where
    W: Fn(&LetterSays, Dated<'_>) -> Result<String, Refusal> + Send + Sync,
{
    let scope = change.caller.may(Action::IssueLetters)?;
    let as_of = change.as_of();
    let event = versions::find::<SamplingEvent>(&mut change.tx, &scope, as_of, event)
        .await?
        .ok_or(Refusal::Unknown)?;
    let draft = LetterDraft::parse(body)?;
    let before = standing(change, event.id, &draft.agent_code).await?;
    let recipients: BTreeSet<WorkerId> = before.keys().copied().collect();
    let mut to_say = to_say(&mut change.tx, as_of, &event, draft.agent_code.as_str(), &recipients).await?;
    if to_say.is_empty() {
        return Err(Refusal::fault("/agent_code", "has no result of a worker in this event yet"));
    }
    add_what_the_writer_says(&mut to_say, &draft, &before)?;
    let issued_by = change.caller.account;
    let everything = change.everything();
    let mut issued = Issued { letters: Vec::new(), outdated: Vec::new(), written: false };
    for one in to_say {
        let old = of_reader(&before, &one);
        if let Some(old) = old.filter(|old| old.fact.says == one.says) {
            issued.letters.push(old.clone());
            continue;
        }
        let text = write(&one.says, Dated { on: as_of.date, before: old.map(|old| &old.fact) })?;
        let Some((body, sha256)) = frozen(&text) else {
            return Err(Refusal::taken("a letter would be too long"));
        };
        let letter = Letter {
            worker_id: one.worker,
            agent_code: draft.agent_code.clone(),
            says: one.says,
            body,
            sha256,
            issued_on: as_of.date,
            issued_by,
            basis: one.basis.into_iter().collect(),
            amends: old.map(link),
            amended_by: None,
        };
        // What is issued is written by the registry, whoever asked for it.
        let caller = std::mem::replace(&mut change.caller, registry_itself());
        let written = write_down(change, &everything, &event, letter, old).await;
        change.caller = caller;
        let new = written?;
        issued.outdated.extend(old.map(|old| Outdated {
            letter_id: LetterId(old.id),
            worker_id: old.fact.worker_id,
            name: old.fact.says.name.clone(),
            issued_on: old.fact.issued_on,
            amended_by: LetterId(new.id),
        }));
        issued.letters.push(new);
        issued.written = true;
    }
    Ok(issued)
}

async fn write_down(
    change: &mut Change,
    everything: &crate::access::scope::Scope,
    event: &Version<SamplingEvent>,
    letter: Letter,
    old: Option<&Version<Letter>>,
) -> Result<Version<Letter>, Refusal> {
    let new = change.add(everything, event.site, Some(event.id), letter).await?;
    if let Some(old) = old {
        let fact = Letter { amended_by: Some(link(&new)), ..old.fact.clone() };
        change.alter(everything, old, fact, None, "amended", None).await?;
    }
    Ok(new)
}

/// The letters of an event about an agent whose place no other has taken.
async fn standing(
    change: &mut Change,
    event: Uuid,
    agent: &Code,
) -> Result<BTreeMap<WorkerId, Version<Letter>>, Refusal> {
    let as_of = change.as_of();
    let all = gather::all::<Letter>(&mut change.tx, as_of, &[Where::Parent(event)]).await?;
    Ok(all
        .into_iter()
        .filter(|letter| letter.fact.agent_code == *agent && letter.fact.amended_by.is_none())
        .map(|mut letter| {
            letter.fact.says = letter.fact.says.as_computed();
            (letter.fact.worker_id, letter)
        })
        .collect())
}

/// What is done and whom to ring: as sent, else as in the letter before, else (for whoever gets a first letter) as in the
/// others' letters before.
fn add_what_the_writer_says(
    to_say: &mut [ToSay],
    draft: &LetterDraft,
    before: &BTreeMap<WorkerId, Version<Letter>>,
) -> Result<(), Refusal> {
    let names = to_say.iter().map(|one| one.says.name.as_str());
    let action = draft.corrective_action.as_ref().map(|action| action.as_str().to_lowercase());
    if action.is_some_and(|action| names.into_iter().any(|name| action.contains(&name.to_lowercase()))) {
        return Err(Refusal::fault("/corrective_action", "must name no worker: others read it too"));
    }
    let any = before.values().next();
    for one in to_say {
        let old = of_reader(before, one).or(any).map(|old| &old.fact.says);
        let (action, contact) = old.map(|old| (&old.corrective_action, &old.contact)).unzip();
        one.says.corrective_action = draft.corrective_action.clone().or_else(|| action.cloned().flatten());
        one.says.contact = draft.contact.clone().or_else(|| contact.cloned().flatten());
        if let (Some(contents), None) = (&one.says.must_state, &one.says.corrective_action) {
            let clause = one.says.clause.as_deref().unwrap_or("the standard");
            let detail = format!("is required: a result is such that {clause} asks for it ({contents})");
            return Err(Refusal::fault("/corrective_action", detail));
        }
    }
    Ok(())
}

/// The letter that a reader got before, under whichever of his entries.
fn of_reader<'l>(
    before: &'l BTreeMap<WorkerId, Version<Letter>>,
    one: &ToSay,
) -> Option<&'l Version<Letter>> {
    let others = one.person.entries().into_iter().map(WorkerId);
    std::iter::once(one.worker).chain(others).find_map(|worker| before.get(&worker))
}

fn link(letter: &Version<Letter>) -> LetterLink {
    LetterLink { letter_id: LetterId(letter.id), issued_on: letter.fact.issued_on }
}

fn frozen(text: &str) -> Option<(Paper, Code)> {
    let body = Paper::new(text)?;
    let sha256 = Code::new(&check_value(body.as_str()))?;
    Some((body, sha256))
}

/// The check value of a letter's text: the SHA-256 of its UTF-8 bytes, in hexadecimal.
pub(crate) fn check_value(text: &str) -> String {
    hex(&Sha256::digest(text))
}
