//! Two entries that are one person: saying so, and taking them apart again. Facts stay under the entry for which they were
//! recorded, so nothing is lost either way.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::worker::{Alias, AliasDraft, Assignment, Employment, Worker};
use crate::model::identifiers::WorkerId;
use crate::model::shape::{Faults, Shape as _};
use crate::model::text::Text;
use crate::model::version::Version;
use crate::registry::facts::refer;
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::place::{Place, Under};
use crate::registry::reach::{self, Reach};
use crate::registry::recording::{self, Recorded};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};
use serde_json::Value;
use uuid::Uuid;

/// Where the entry that stays is named.
const STAYS: &str = "/of_worker_id";

impl Recorded for Alias {
    const UNDER: Under = Under::Worker;
    const RECORD: Action = Action::MergeWorkers;
    const READ: Action = Action::ReadAliases;
    const VOID: Action = Action::MergeWorkers;
    const FIXED: &'static [(&'static str, &'static str)] = &[
        ("closed_at", "is when it was closed: close it, or merge the entries again"),
        ("closing_reason", "was given when it was closed"),
    ];

    async fn check(
        &mut self,
        place: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let (Some(entry), stays) = (place.parent, self.of_worker_id.0) else { return Ok(()) };
        if !self.holds() {
            return Ok(());
        }
        if entry == stays {
            faults.note(STAYS, "must be another entry");
            return Ok(());
        }
        let as_of = change.as_of();
        let known = gather::many::<Worker>(&mut change.tx, as_of, &[entry, stays], Where::Ids).await?;
        match known.iter().find(|worker| worker.id == stays) {
            None => faults.note(STAYS, "is no worker that is known"),
            Some(worker) if !worker.stands() => faults.note(STAYS, "is void"),
            Some(_) => {}
        }
        if known.iter().any(|worker| worker.id == entry && !worker.stands()) {
            faults.note("", "this worker is void");
        }
        // One step, never a chain: whoever stays is an alias of nobody, and whoever does not has none of his own.
        let persons = persons(&mut change.tx, as_of, &[entry, stays]).await?;
        let (of_entry, of_stays) = (persons.person(entry), persons.person(stays));
        if of_stays.id != stays {
            let detail = format!("is recorded under {} already: name that entry", of_stays.id);
            faults.note(STAYS, detail);
        }
        if of_entry.id != entry {
            faults.note("", format!("this worker is recorded under {} already", of_entry.id));
        } else if !of_entry.others.is_empty() {
            let detail = "other entries are recorded under this worker: close their aliases first, or let this one stay";
            faults.note("", detail);
        }
        if faults.is_empty() {
            assigned_twice(change, &[entry], &of_stays.entries(), faults).await?;
        }
        Ok(())
    }

    async fn remarks(&self, place: &Place, change: &mut Change) -> Result<Vec<&'static str>, Refusal> {
        let Some(entry) = place.parent else { return Ok(Vec::new()) };
        let as_of = change.as_of();
        let of = |entry| [Where::Parent(entry)];
        let own = gather::all::<Employment>(&mut change.tx, as_of, &of(entry)).await?;
        let others = gather::all::<Employment>(&mut change.tx, as_of, &of(self.of_worker_id.0)).await?;
        let meet = |one: &Employment, other: &Employment| {
            one.employer == other.employer && refer::spans_meet((one.from, one.to), (other.from, other.to))
        };
        let overlap = own.iter().any(|one| others.iter().any(|other| meet(&one.fact, &other.fact)));
        Ok(if overlap { vec![EMPLOYMENTS_OVERLAP] } else { Vec::new() })
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        let entry = place.parent.map(WorkerId);
        entry.map(|entry| Reach::Joined(entry, self.of_worker_id)).into_iter().collect()
    }
}

/// Said where both entries are employed by the same employer on the same days.
const EMPLOYMENTS_OVERLAP: &str = "employments_overlap";

/// One person is in a group once: two assignments to it on the same days would count every day twice.
async fn assigned_twice(
    change: &mut Change,
    entries: &[Uuid],
    others: &[Uuid],
    faults: &mut Faults,
) -> Result<(), Refusal> {
    let as_of = change.as_of();
    let of = |entries: &[Uuid]| [Where::Parents(entries.to_vec())];
    let own = gather::all::<Assignment>(&mut change.tx, as_of, &of(entries)).await?;
    let theirs = gather::all::<Assignment>(&mut change.tx, as_of, &of(others)).await?;
    for one in &own {
        let twice = theirs.iter().find(|other| {
            other.fact.group_id == one.fact.group_id
                && refer::spans_meet((one.fact.from, one.fact.to), (other.fact.from, other.fact.to))
        });
        if let Some(other) = twice {
            let detail = format!(
                "assignments {} and {} are to the same group on the same days: end or void one of them",
                one.id, other.id
            );
            faults.note(STAYS, detail);
        }
    }
    Ok(())
}

/// Says that an entry is the same person as another one, which stays.
///
/// # Errors
/// Every fault in it; [`Refusal::Forbidden`] for whoever does not merge workers of all sites.
pub async fn merge(change: &mut Change, entry: Uuid, body: &Value) -> Result<Version<Alias>, Refusal> {
    change.caller.may(Action::MergeWorkers)?;
    AliasDraft::parse(body)?;
    recording::record::<Alias>(change, Under::Worker, Some(entry), body).await
}

/// Closes an alias: the entries are two persons again, and every conclusion is what it would be without it.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict where it is closed or void already.
pub async fn close(change: &mut Change, id: Uuid, reason: &Text) -> Result<Version<Alias>, Refusal> {
    let scope = change.caller.may(Action::MergeWorkers)?;
    let as_of = change.as_of();
    let old = versions::find::<Alias>(&mut change.tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    if !old.stands() {
        return Err(Refusal::taken("this is void: it joins nobody"));
    }
    if !old.fact.holds() {
        return Err(Refusal::taken("this is closed already"));
    }
    let fact = Alias { closed_at: Some(change.at), closing_reason: Some(reason.clone()), ..old.fact.clone() };
    let version = change.alter(&scope, &old, fact, None, "closed", Some(reason.as_str())).await?;
    let reached = version.fact.reach(&Place::of(&version));
    reach::mark(change, id, &reached).await?;
    Ok(version)
}

/// Refuses to void a worker while an alias joins him with another entry.
///
/// # Errors
/// A conflict.
pub async fn must_stand_alone(change: &mut Change, worker: Uuid) -> Result<(), Refusal> {
    let as_of = change.as_of();
    if persons(&mut change.tx, as_of, &[worker]).await?.is_empty() {
        return Ok(());
    }
    Err(Refusal::taken("an alias joins this worker with another entry: close it first"))
}
