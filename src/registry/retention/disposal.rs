//! Disposal: one person proposes, another carries it out, and what must be kept is not let go.

use crate::access::policy::Action;
use crate::model::facts::retention::{
    Disposal, DisposalDraft, DisposalGround, DisposalKind, DisposalStatus, DisposalSubject, Gone,
};
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::facts::standing_move::StandingMove;
use crate::model::facts::worker::Worker;
use crate::model::identifiers::{EventId, SiteId};
use crate::model::shape::{Faults, Shape as _};
use crate::model::text::Code;
use crate::model::version::Version;
use crate::registry::gather;
use crate::registry::originals::letting_go;
use crate::registry::reach::{self, Reach};
use crate::registry::refusal::Refusal;
use crate::registry::retention::belongings::{self, OfKind};
use crate::registry::retention::holds::{Concerned, are_held};
use crate::registry::retention::keeping::{self, Kept};
use crate::registry::writer::Change;
use crate::store::derived;
use crate::store::disposal::{ends_at, kind_of, overwrite, remove};
use crate::store::journal::MEDICAL;
use crate::store::marks::MarkKind;
use crate::store::tables::{self, Key, Table};
use crate::store::versions::{self, STILL, Where};
use crate::surveillance::pack::Pack;
use crate::surveillance::retention::Until;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// At most so many things in one disposal.
const SUBJECTS_MOST: usize = 200;

/// Kinds of which no version goes: who may do what, the rules, and what was disposed of.
const NEVER: &[&str] = &["account", "token", "site", "pack_row", "legal_hold", "disposal"];

/// `POST /disposals`: nothing goes yet.
///
/// # Errors
/// [`Refusal::Forbidden`]; every subject that must be kept, with the reason.
pub async fn propose(change: &mut Change, body: &Value) -> Result<Version<Disposal>, Refusal> {
    let scope = change.caller.may(Action::ManageRetention)?;
    let DisposalDraft { ground, subjects, because } = DisposalDraft::parse(body)?;
    if subjects.is_empty() || subjects.len() > SUBJECTS_MOST {
        return Err(Refusal::fault("/subjects", format!("must be 1 to {SUBJECTS_MOST}")));
    }
    may_go(change, ground, &subjects).await?;
    let disposal = Disposal {
        ground,
        subjects,
        because,
        status: DisposalStatus::Proposed,
        proposed_by: change.caller.account,
        decided_by: None,
        decided_on: None,
        gone: Vec::new(),
    };
    Ok(change.add(&scope, None, None, disposal).await?)
}

/// `POST /disposals/{id}/carrying-out`, by another person than the one who proposed it.
///
/// # Errors
/// [`Refusal::Unknown`]; a conflict where it is decided already, or for the person who proposed it; every subject that must
/// be kept by now.
pub async fn carry_out(change: &mut Change, id: Uuid, reason: &str) -> Result<Version<Disposal>, Refusal> {
    let old = proposed(change, id).await?;
    if old.fact.proposed_by == change.caller.account {
        return Err(Refusal::taken("this was proposed by the same account: another person carries it out"));
    }
    may_go(change, old.fact.ground, &old.fact.subjects).await?;
    overwrite(&mut change.tx).await?;
    let mut gone = Vec::new();
    let as_of = change.as_of();
    for subject in &old.fact.subjects {
        let parts = parts(change, subject).await?;
        let files = letting_go::files_behind(&mut change.tx, as_of, &parts).await?;
        for (table, id, revision) in parts {
            let removed = remove(&mut change.tx, table, id, revision).await?;
            // What stood in the medical chain is named to nobody: its envelopes are left there.
            if let (false, false, Some(kind)) =
                (removed.medical, removed.positions.is_empty(), Code::new(table.kind))
            {
                gone.push(Gone { kind, id, positions: removed.positions });
            }
        }
        letting_go::let_go(&mut change.tx, as_of, &files).await?;
    }
    decide(change, &old, DisposalStatus::CarriedOut, gone, ("carried out", reason)).await
}

/// `POST /disposals/{id}/rejection`: nothing goes.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict where it is decided already.
pub async fn reject(change: &mut Change, id: Uuid, reason: &str) -> Result<Version<Disposal>, Refusal> {
    let old = proposed(change, id).await?;
    decide(change, &old, DisposalStatus::Rejected, Vec::new(), ("rejected", reason)).await
}

async fn proposed(change: &mut Change, id: Uuid) -> Result<Version<Disposal>, Refusal> {
    let scope = change.caller.may(Action::ManageRetention)?;
    let as_of = change.as_of();
    let old = versions::find::<Disposal>(&mut change.tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    if old.fact.status == DisposalStatus::Proposed {
        Ok(old)
    } else {
        Err(Refusal::taken(format!("this is {} already", old.fact.status.as_str().replace('_', " "))))
    }
}

async fn decide(
    change: &mut Change,
    old: &Version<Disposal>,
    status: DisposalStatus,
    gone: Vec<Gone>,
    (deed, reason): (&'static str, &str),
) -> Result<Version<Disposal>, Refusal> {
    let scope = change.everything();
    let fact = Disposal {
        status,
        decided_by: Some(change.caller.account),
        decided_on: Some(change.as_of().date),
        gone,
        ..old.fact.clone()
    };
    Ok(change.alter(&scope, old, fact, None, deed, Some(reason)).await?)
}

/// The facts that go with a subject, and what becomes stale by it.
async fn parts(
    change: &mut Change,
    subject: &DisposalSubject,
) -> Result<Vec<(&'static Table, Uuid, Option<i64>)>, Refusal> {
    let found: Vec<OfKind> = match subject.kind {
        DisposalKind::SamplingEvent => {
            // Marked while its samples are there to be read.
            reach::mark(change, subject.id, &[Reach::Event(EventId(subject.id))]).await?;
            belongings::of_event(&mut change.tx, subject.id).await?
        }
        DisposalKind::Worker => {
            for kind in [MarkKind::Shifts, MarkKind::Summary] {
                for agent in derived::agents_of(&mut change.tx, kind, subject.id).await? {
                    derived::remove(&mut change.tx, kind, subject.id, &agent).await?;
                }
            }
            belongings::of_worker(&mut change.tx, subject.id).await?
        }
        DisposalKind::Version => {
            let table = kind_of(&mut change.tx, subject.id).await?;
            let table = table.and_then(|(kind, _)| tables::of_kind(&kind));
            return Ok(table.map(|table| (table, subject.id, subject.revision)).into_iter().collect());
        }
    };
    Ok(found
        .into_iter()
        .flat_map(|kind| kind.ids.into_iter().map(move |id| (kind.table, id, None)))
        .collect())
}

/// Refuses every subject that must be kept, each with the reason.
async fn may_go(
    change: &mut Change,
    ground: DisposalGround,
    subjects: &[DisposalSubject],
) -> Result<(), Refusal> {
    let as_of = change.as_of();
    let pack = gather::agents::pack(&mut change.tx, as_of).await?;
    let mut faults = Faults::default();
    let mut seen = BTreeSet::new();
    for (n, subject) in subjects.iter().enumerate() {
        let at = format!("/subjects/{n}");
        let of_version = subject.kind == DisposalKind::Version;
        if of_version != (ground == DisposalGround::SupersededContent) {
            faults.note(format!("{at}/kind"), format!("{} is no ground for it", ground.as_str()));
        } else if of_version != subject.revision.is_some() {
            faults.note(format!("{at}/revision"), "belongs to a version, and to nothing else");
        } else if !seen.insert((subject.kind.as_str(), subject.id, subject.revision)) {
            faults.note(format!("{at}/id"), "is there twice");
        } else {
            let why = match subject.kind {
                DisposalKind::SamplingEvent => keeps_event(change, &pack, subject.id).await?,
                DisposalKind::Worker => keeps_worker(change, &pack, subject.id).await?,
                DisposalKind::Version => keeps_version(change, subject).await?,
            };
            if let Some(why) = why {
                faults.note(format!("{at}/id"), why);
            }
        }
    }
    if faults.is_empty() {
        return Ok(());
    }
    // A refusal leaves nothing in the registry; that somebody tried stands in the log.
    tracing::warn!(account = %change.caller.account, faults = faults.len(), "a disposal was refused");
    Err(faults.into())
}

/// Why records are kept: their years are not over, or they are held.
async fn keeps(change: &mut Change, kept: &Kept) -> Result<Option<String>, Refusal> {
    let as_of = change.as_of();
    if are_held(&mut change.tx, as_of, &kept.concerned).await? {
        return Ok(Some("is held: no age lets it go while the hold stands".into()));
    }
    if kept.is_over(as_of.date) {
        return Ok(None);
    }
    let by = kept.items.iter().max_by_key(|item| (item.until.is_none(), item.until));
    let clause = by.map(|item| item.clause.clone()).unwrap_or_default();
    Ok(Some(match kept.until {
        Until::Day(day) => format!("is to be kept until {day} by {clause}"),
        Until::Employed => format!("is to be kept for years after an employment that lasts, by {clause}"),
        Until::InWords => format!("is to be kept as {clause} says"),
    }))
}

async fn keeps_event(change: &mut Change, pack: &Pack, id: Uuid) -> Result<Option<String>, Refusal> {
    let as_of = change.as_of();
    let Some(event) = gather::one::<SamplingEvent>(&mut change.tx, as_of, id).await? else {
        return Ok(Some("is no sampling event that is known".into()));
    };
    let kept = keeping::of_event(&mut change.tx, as_of, pack, &event).await?;
    if let Some(why) = keeps(change, &kept).await? {
        return Ok(Some(why));
    }
    let samples = gather::many::<Sample>(&mut change.tx, as_of, &[id], Where::Parents).await?;
    let groups: BTreeSet<Uuid> = samples.iter().filter_map(|sample| Some(sample.fact.group_id?.0)).collect();
    for group in groups {
        let of_group = [Where::Is("group_id", Key::Id(Some(group)))];
        let moves = gather::all::<StandingMove>(&mut change.tx, as_of, &of_group).await?;
        let last: BTreeMap<_, _> = moves
            .iter()
            .map(|one| ((&one.fact.agent_code, &one.fact.authority, one.fact.averaging.as_str()), one))
            .collect();
        let rests = |one: &&Version<StandingMove>| {
            one.fact.round.as_ref().is_some_and(|round| round.event_id.0 == id)
        };
        if last.into_values().any(|one| rests(&one)) {
            return Ok(Some(
                "still carries the present standing of a group: sample the group again first".into(),
            ));
        }
    }
    Ok(None)
}

async fn keeps_worker(change: &mut Change, pack: &Pack, id: Uuid) -> Result<Option<String>, Refusal> {
    let as_of = change.as_of();
    if gather::one::<Worker>(&mut change.tx, as_of, id).await?.is_none() {
        return Ok(Some("is no worker who is known".into()));
    }
    let kept = keeping::of_worker(&mut change.tx, as_of, pack, id).await?;
    if let Some(why) = keeps(change, &kept).await? {
        return Ok(Some(why));
    }
    let of_him = |ids| Where::IsOneOf("worker_id", ids);
    let samples = gather::many::<Sample>(&mut change.tx, as_of, &[id], of_him).await?;
    Ok((!samples.is_empty())
        .then(|| format!("is named by {} samples: their sampling events go first", samples.len())))
}

async fn keeps_version(change: &mut Change, subject: &DisposalSubject) -> Result<Option<String>, Refusal> {
    let unknown = || Some("is no earlier version of a fact that is known".to_owned());
    let Some((kind, chain)) = kind_of(&mut change.tx, subject.id).await? else { return Ok(unknown()) };
    let table = tables::of_kind(&kind).filter(|_| !NEVER.contains(&kind.as_str()) && chain != MEDICAL);
    let (Some(table), Some(revision)) = (table, subject.revision) else { return Ok(unknown()) };
    let Some((ends, site)) = ends_at(&mut change.tx, table, subject.id, revision).await? else {
        return Ok(unknown());
    };
    if ends == STILL {
        return Ok(Some("is what is known now: correct it first".into()));
    }
    let sites = site.map(|site| [SiteId(site)].into());
    let as_of = change.as_of();
    let held = are_held(&mut change.tx, as_of, &Concerned { sites, ..Concerned::default() }).await?;
    Ok(held.then(|| "is held: no version goes while the hold stands".into()))
}
