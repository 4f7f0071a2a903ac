//! Replays entries: each goes into the journal as it was, and what it brought goes into its version table. The versions
//! are a fold of the images and of nothing else.

use crate::registry::backup::Fault;
use crate::registry::backup::rows::Remains;
use crate::registry::refusal::Refusal;
use crate::registry::verify::Walk;
use crate::store::backend::Tx;
use crate::store::journal::{self, Entry};
use crate::store::tables::{self, Key, Table};
use crate::store::versions::{self, Placed};
use serde_json::Value;
use std::collections::BTreeSet;
use uuid::Uuid;

/// How many entries go into the journal with one statement.
const AT_ONCE: usize = 100;

/// Where a replay stands.
#[derive(Debug, Default)]
pub(in crate::registry) struct Replay {
    walk: Walk,
}

impl Replay {
    /// One of a journal that leaves something out before these entries.
    pub(in crate::registry) fn with_gaps(gaps: BTreeSet<(i64, i64)>) -> Self {
        Self { walk: Walk::with_gaps(gaps) }
    }

    /// How far it has walked.
    pub(in crate::registry) fn walk(&self) -> &Walk {
        &self.walk
    }

    /// Takes entries in their order, with what remains of those whose image is gone.
    pub(in crate::registry) async fn take(
        &mut self,
        tx: &mut Tx,
        entries: Vec<(Entry, Option<Remains>)>,
    ) -> Result<(), Refusal> {
        for (entry, remains) in &entries {
            self.walk.step(entry).map_err(|fault| {
                Fault::new(format!(
                    "the journal in the backup is not sound at position {}: {}",
                    fault.position, fault.what
                ))
            })?;
            bring(tx, entry, remains.as_ref()).await?;
        }
        let entries: Vec<Entry> = entries.into_iter().map(|(entry, _)| entry).collect();
        for some in entries.chunks(AT_ONCE) {
            journal::put(tx, some).await?;
        }
        Ok(())
    }
}

/// Ends the version before, and puts in the one that an entry brought.
async fn bring(tx: &mut Tx, entry: &Entry, remains: Option<&Remains>) -> Result<(), Refusal> {
    let envelope = &entry.envelope;
    let table = tables::of_kind(&envelope.kind).ok_or_else(|| {
        Fault::new(format!(
            "position {} is of a kind that this program does not know, {}: restore it with a newer version",
            envelope.position, envelope.kind
        ))
    })?;
    let version = match (&entry.image, remains) {
        (Some(image), _) => Some(of_image(entry, image)?),
        (None, Some(remains)) => Some(Placed {
            id: envelope.subject,
            position: envelope.position,
            revision: remains.revision,
            site: envelope.site.map(|site| site.0),
            parent: remains.parent_id,
            voided: remains.voided.clone(),
            body: remains.body.clone(),
        }),
        (None, None) => None,
    };
    if version.as_ref().is_none_or(|version| version.revision > 1) {
        versions::end_current(tx, table, envelope.subject, envelope.position).await?;
    }
    let Some(version) = version else { return Ok(()) };
    let keys = keys_of(table, &version.body).ok_or_else(|| {
        Fault::new(format!("position {} does not read as a {}", envelope.position, envelope.kind))
    })?;
    Ok(versions::put(tx, table, version, keys).await?)
}

/// The version that an image tells of.
fn of_image(entry: &Entry, image: &str) -> Result<Placed, Fault> {
    let envelope = &entry.envelope;
    let read = || -> Option<Placed> {
        let image: Value = serde_json::from_str(image).ok()?;
        let text = |name: &str| image.get(name).and_then(Value::as_str);
        let parent = text("parent_id").map(Uuid::parse_str).transpose().ok()?;
        Some(Placed {
            id: envelope.subject,
            position: envelope.position,
            revision: image.get("revision")?.as_i64()?,
            site: envelope.site.map(|site| site.0),
            parent,
            voided: text("voided").map(str::to_owned),
            body: image.get("fact")?.to_string(),
        })
    };
    read().ok_or_else(|| {
        Fault::new(format!("the image at position {} does not read as one", envelope.position))
    })
}

/// What the look-up columns must hold.
fn keys_of(table: &Table, body: &str) -> Option<Vec<Key>> {
    (table.keyed)(&serde_json::from_str(body).ok()?)
}
