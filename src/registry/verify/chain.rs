//! One step along the journal: order, time, place in the chain, digest and hash of an entry. No storage.

use crate::registry::verify::RecordFault;
use crate::store::journal::{Entry, NOTHING_BEFORE, digest_of, hash_of};
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, BTreeSet};

/// Where a chain stands.
#[derive(Debug)]
struct Link {
    place: i64,
    head: Vec<u8>,
    position: i64,
    ordinal: i64,
}

/// Where the walk stands: the last entry of the whole journal and of each chain.
#[derive(Debug, Default)]
pub(in crate::registry) struct Walk {
    entries: i64,
    position: i64,
    ordinal: i64,
    at: Option<DateTime<Utc>>,
    chains: BTreeMap<String, Link>,
    /// Entries before which a journal that was taken over leaves something out.
    gaps: BTreeSet<(i64, i64)>,
    /// The last of them that was passed.
    last_gap: (i64, i64),
}

impl Walk {
    /// A walk along a journal that was taken over and leaves something out before these entries.
    pub(in crate::registry) fn with_gaps(gaps: BTreeSet<(i64, i64)>) -> Self {
        Self { gaps, ..Self::default() }
    }

    /// How many entries it has passed.
    pub(in crate::registry) fn entries(&self) -> i64 {
        self.entries
    }

    /// The position of the last entry that it has passed; 0 before the first.
    pub(in crate::registry) fn position(&self) -> i64 {
        self.position
    }

    /// The chains as far as they were walked: name, length, head.
    pub(in crate::registry) fn chains(&self) -> impl Iterator<Item = (&str, i64, &[u8])> {
        self.chains.iter().map(|(name, link)| (name.as_str(), link.place, link.head.as_slice()))
    }

    /// Takes the next entry, or says what is wrong with it.
    pub(in crate::registry) fn step(&mut self, entry: &Entry) -> Result<(), RecordFault> {
        self.follows(entry)?;
        let envelope = &entry.envelope;
        let link = self.chains.get(&envelope.chain);
        let place = link.map_or(0, |link| link.place) + 1;
        // What is left out of a chain was left out in a gap since its last entry; what follows it proves itself alone.
        let since = link.map_or((0, 0), |link| (link.position, link.ordinal));
        let may_leave_out = self.last_gap > since && envelope.place > place;
        if envelope.place != place && !may_leave_out {
            return Err(at(
                entry,
                format!("it stands at place {} of its chain; {place} is missing", envelope.place),
            ));
        }
        if !may_leave_out && entry.previous_hash != link.map_or(&NOTHING_BEFORE[..], |link| &link.head) {
            return Err(at(entry, "its previous hash is not that of the entry before it in the chain"));
        }
        match (&entry.image, &entry.salt) {
            (Some(image), Some(salt)) if digest_of(salt, image)[..] != entry.image_digest[..] => {
                return Err(at(entry, "its image is not the one that was digested"));
            }
            (Some(_), None) | (None, Some(_)) => {
                return Err(at(entry, "image and salt are removed together or not at all"));
            }
            _ => {}
        }
        if hash_of(&entry.previous_hash, envelope, &entry.image_digest)[..] != entry.entry_hash[..] {
            return Err(at(entry, "its hash is not that of its envelope"));
        }
        self.entries += 1;
        (self.position, self.ordinal, self.at) = (envelope.position, envelope.ordinal, Some(envelope.at));
        let link = Link {
            place: envelope.place,
            head: entry.entry_hash.clone(),
            position: envelope.position,
            ordinal: envelope.ordinal,
        };
        self.chains.insert(envelope.chain.clone(), link);
        Ok(())
    }

    /// Whether an entry comes next in the one order of all changes.
    fn follows(&mut self, entry: &Entry) -> Result<(), RecordFault> {
        let envelope = &entry.envelope;
        let same = envelope.position == self.position;
        let here = (envelope.position, envelope.ordinal);
        let after_a_gap = self.gaps.contains(&here) && here > (self.position, self.ordinal);
        if after_a_gap {
            self.last_gap = here;
        }
        let missing = |position, ordinal| {
            Err(RecordFault {
                position,
                ordinal: Some(ordinal),
                chain: None,
                what: "this entry is missing".into(),
            })
        };
        match (same, envelope.ordinal) {
            _ if after_a_gap => {}
            (true, ordinal) if ordinal != self.ordinal + 1 => {
                return missing(self.position, self.ordinal + 1);
            }
            (false, _) if envelope.position != self.position + 1 => return missing(self.position + 1, 1),
            (false, ordinal) if ordinal != 1 => return missing(envelope.position, 1),
            _ => {}
        }
        if self.at.is_some_and(|last| envelope.at < last || (same && envelope.at != last)) {
            return Err(at(entry, "its time is not that of its place in the order"));
        }
        Ok(())
    }

    /// Whether the journal ends where its heads say.
    pub(in crate::registry) fn ends_at(
        &self,
        position: i64,
        at: Option<DateTime<Utc>>,
        chains: &[(String, i64, Vec<u8>)],
    ) -> Result<(), RecordFault> {
        if position != self.position {
            let what =
                format!("the journal's head stands at {position}, its last entry at {}", self.position);
            let first = position.min(self.position) + 1;
            return Err(RecordFault { position: first, ordinal: None, chain: None, what });
        }
        if at < self.at {
            let what = "the journal's head is earlier than its last entry".into();
            return Err(RecordFault { position, ordinal: None, chain: None, what });
        }
        let named = chains.iter().map(|(name, entries, head)| (name.as_str(), *entries, head.as_slice()));
        for (name, link) in &self.chains {
            if !named.clone().any(|chain| chain == (name.as_str(), link.place, link.head.as_slice())) {
                let what = format!("the chain's head is not that of its last entry, at place {}", link.place);
                return Err(RecordFault {
                    position: link.position,
                    ordinal: Some(link.ordinal),
                    chain: Some(name.clone()),
                    what,
                });
            }
        }
        match chains.iter().find(|(name, ..)| !self.chains.contains_key(name)) {
            Some((name, entries, _)) => {
                let what = format!("none of this chain's {entries} entries is there");
                Err(RecordFault { position: 1, ordinal: None, chain: Some(name.clone()), what })
            }
            None => Ok(()),
        }
    }
}

/// A fault of an entry.
pub(super) fn at(entry: &Entry, what: impl Into<String>) -> RecordFault {
    RecordFault {
        position: entry.envelope.position,
        ordinal: Some(entry.envelope.ordinal),
        chain: Some(entry.envelope.chain.clone()),
        what: what.into(),
    }
}
