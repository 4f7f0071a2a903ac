//! Which entries of workers are one person. Facts keep the entry under which they were recorded; whatever is asked about a
//! person is gathered by all of his entries, and stands under the one that stays.
//!
//! An alias always points to an entry that is none itself, so a person is one entry and those recorded as the same.

use crate::access::scope::Scope;
use crate::model::facts::worker::{Alias, Worker};
use crate::model::identifiers::WorkerId;
use crate::registry::gather;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Stored as _;
use crate::store::versions::{self, AsOf, Where};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// One person: the entry under which conclusions stand, and the others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// The entry that stays.
    pub id: Uuid,
    /// The others, in the order in which they were entered.
    pub others: Vec<Uuid>,
}

impl Person {
    /// Whoever has one entry alone.
    pub fn alone(id: Uuid) -> Self {
        Self { id, others: Vec::new() }
    }

    /// Every entry, the one that stays first.
    pub fn entries(&self) -> Vec<Uuid> {
        std::iter::once(self.id).chain(self.others.iter().copied()).collect()
    }

    /// The other entries as an answer tells them; nothing where there is none.
    pub fn also_known_as(&self) -> Option<Vec<WorkerId>> {
        let others: Vec<WorkerId> = self.others.iter().map(|id| WorkerId(*id)).collect();
        (!others.is_empty()).then_some(others)
    }
}

/// Those among some workers who have several entries.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Persons {
    under: BTreeMap<Uuid, Uuid>,
    others: BTreeMap<Uuid, BTreeSet<Uuid>>,
}

impl Persons {
    /// The entry under which what concerns an entry stands: itself, if nothing else is known.
    pub fn stands_under(&self, entry: Uuid) -> Uuid {
        self.under.get(&entry).copied().unwrap_or(entry)
    }

    /// The same of a worker.
    pub fn worker(&self, entry: WorkerId) -> WorkerId {
        WorkerId(self.stands_under(entry.0))
    }

    /// The person behind an entry.
    pub fn person(&self, entry: Uuid) -> Person {
        let id = self.stands_under(entry);
        Person { id, others: self.others.get(&id).into_iter().flatten().copied().collect() }
    }

    /// Every entry of whoever stands behind some entries.
    pub fn entries(&self, of: impl IntoIterator<Item = Uuid>) -> Vec<Uuid> {
        let found: BTreeSet<Uuid> = of.into_iter().flat_map(|entry| self.person(entry).entries()).collect();
        found.into_iter().collect()
    }

    /// Whether nobody among them has several entries.
    pub fn is_empty(&self) -> bool {
        self.under.is_empty()
    }

    fn join(&mut self, stays: Uuid, other: Uuid) {
        self.under.insert(other, stays);
        self.others.entry(stays).or_default().insert(other);
    }

    /// The same as a reader may know it: entries out of his sight are nobody's. Where the one that stays is among them, the
    /// first that he sees stands in its place.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn in_sight(&self, tx: &mut Tx, scope: &Scope, as_of: AsOf) -> Result<Self, StoreError> {
        if scope.is_all() || self.is_empty() {
            return Ok(self.clone());
        }
        let mut known = Self::default();
        for stays in self.others.keys() {
            let entries = self.person(*stays).entries();
            let seen = versions::in_sight(tx, scope, Worker::TABLE, as_of.position, entries.clone()).await?;
            let mut seen = entries.into_iter().filter(|entry| seen.contains(entry));
            if let Some(first) = seen.next() {
                seen.for_each(|other| known.join(first, other));
            }
        }
        Ok(known)
    }

    /// For a reader: under which entry each of these persons is told, as far as any entry of his is in sight.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn told(
        &self,
        tx: &mut Tx,
        scope: &Scope,
        as_of: AsOf,
        of: impl IntoIterator<Item = Uuid>,
    ) -> Result<BTreeMap<Uuid, Uuid>, StoreError> {
        let asked: BTreeSet<Uuid> = of.into_iter().collect();
        let entries = self.entries(asked.iter().copied());
        let mut seen = BTreeSet::new();
        for some in entries.chunks(gather::AT_ONCE) {
            seen.extend(versions::in_sight(tx, scope, Worker::TABLE, as_of.position, some.to_vec()).await?);
        }
        let told = |entry: &Uuid| self.person(*entry).entries().into_iter().find(|one| seen.contains(one));
        Ok(asked.iter().filter_map(|entry| Some((*entry, told(entry)?))).collect())
    }
}

/// Who of some workers has several entries.
///
/// # Errors
/// Only when storage fails.
pub async fn persons(tx: &mut Tx, as_of: AsOf, entries: &[Uuid]) -> Result<Persons, StoreError> {
    let mut found = Persons::default();
    if entries.is_empty() {
        return Ok(found);
    }
    let own = gather::many::<Alias>(tx, as_of, entries, Where::Parents).await?;
    let mut stay: Vec<Uuid> = entries.to_vec();
    stay.extend(own.iter().map(|alias| alias.fact.of_worker_id.0));
    for alias in gather::many::<Alias>(tx, as_of, &stay, |ids| Where::IsOneOf("of_worker_id", ids)).await? {
        if let Some(other) = alias.parent.filter(|_| alias.stands() && alias.fact.holds()) {
            found.join(alias.fact.of_worker_id.0, other);
        }
    }
    Ok(found)
}

/// The person behind one entry.
///
/// # Errors
/// Only when storage fails.
pub async fn person(tx: &mut Tx, as_of: AsOf, entry: Uuid) -> Result<Person, StoreError> {
    Ok(persons(tx, as_of, &[entry]).await?.person(entry))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_has_several_entries_stands_under_one() {
        let [one, two, three, four] = [1, 2, 3, 4].map(Uuid::from_u128);
        let mut persons = Persons::default();
        persons.join(three, one);
        persons.join(three, two);
        assert_eq!(persons.stands_under(one), three);
        assert_eq!(persons.stands_under(three), three);
        assert_eq!(persons.person(two), Person { id: three, others: vec![one, two] });
        assert_eq!(persons.person(four), Person::alone(four));
        assert_eq!(persons.entries([two, four]), [one, two, three, four]);
    }
}
