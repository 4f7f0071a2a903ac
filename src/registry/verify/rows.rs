//! The version rows that a chunk of entries brought, and whether each agrees with its entry.

use crate::registry::refusal::Refusal;
use crate::registry::verify::RecordFault;
use crate::registry::verify::chain::at;
use crate::registry::verify::letters;
use crate::store::backend::Tx;
use crate::store::journal::Entry;
use crate::store::tables::{self, Key, Table};
use crate::store::versions::{self, LinkedRow, STILL};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How many look-ups are asked for at once: engines bound the number of values a statement takes.
const LOOK_UPS: usize = 100;

/// The version rows of a chunk of entries.
#[derive(Debug, Default)]
pub(super) struct Rows {
    rows: BTreeMap<(String, Uuid, i64), LinkedRow>,
    /// Those whose look-up columns hold what the image says.
    keyed: BTreeSet<(String, Uuid, i64)>,
}

impl Rows {
    /// Reads the rows that these entries brought.
    pub(super) async fn of(tx: &mut Tx, chunk: &[Entry]) -> Result<Self, Refusal> {
        let (Some(first), Some(last)) = (chunk.first(), chunk.last()) else { return Ok(Self::default()) };
        let span = (first.envelope.position, last.envelope.position);
        let mut of_kind: BTreeMap<&str, Vec<&Entry>> = BTreeMap::new();
        for entry in chunk {
            of_kind.entry(&entry.envelope.kind).or_default().push(entry);
        }
        let mut rows = Self::default();
        for (kind, entries) in of_kind {
            let Some(table) = tables::of_kind(kind) else { continue };
            let ids: BTreeSet<Uuid> = entries.iter().map(|entry| entry.envelope.subject).collect();
            for row in versions::linked(tx, table, ids.into_iter().collect(), span).await? {
                rows.rows.insert((kind.to_owned(), row.id, row.known_from), row);
            }
            if !table.keys.is_empty() {
                rows.look_up(tx, table, &entries).await?;
            }
        }
        Ok(rows)
    }

    async fn look_up(&mut self, tx: &mut Tx, table: &Table, entries: &[&Entry]) -> Result<(), Refusal> {
        let wanted: Vec<(Uuid, i64, Vec<Key>)> = entries
            .iter()
            .filter_map(|entry| {
                let keys = (table.keyed)(&fact_of(entry)?)?;
                Some((entry.envelope.subject, entry.envelope.position, keys))
            })
            .collect();
        for part in wanted.chunks(LOOK_UPS) {
            let found = versions::keyed_as(tx, table, part.to_vec()).await?;
            self.keyed.extend(found.into_iter().map(|(id, position)| (table.kind.to_owned(), id, position)));
        }
        Ok(())
    }

    /// Whether the version that an entry brought is there, says what the image says, and ends where the next begins.
    pub(super) fn agree_with(&self, entry: &Entry) -> Result<(), RecordFault> {
        let envelope = &entry.envelope;
        let Some(table) = tables::of_kind(&envelope.kind) else {
            return Err(at(entry, format!("there is no kind of fact {}", envelope.kind)));
        };
        let key = (envelope.kind.clone(), envelope.subject, envelope.position);
        let Some(row) = self.rows.get(&key) else {
            // What was disposed of leaves its envelope and digest, and neither image nor version.
            let disposed_of = entry.image.is_none();
            return if disposed_of { Ok(()) } else { Err(at(entry, "the version it brought is missing")) };
        };
        if entry.image.is_none() {
            return Err(at(entry, "its image is gone and its version is not"));
        }
        if row.site_id != envelope.site.map(|site| site.0) {
            return Err(at(entry, "its version stands at another site"));
        }
        if !ends_in_time(row) {
            return Err(at(entry, "its version does not end where the next one begins"));
        }
        if let Some(what) = letters::differs(&envelope.kind, row.id, &row.body) {
            return Err(at(entry, what));
        }
        let Some(text) = &entry.image else { return Ok(()) };
        let Ok(image) = serde_json::from_str::<Value>(text) else {
            return Err(at(entry, "its image does not read as JSON"));
        };
        let fact = image["fact"].to_string();
        let differing = [
            ("id", id_of(&image, "id") == Some(envelope.subject)),
            ("revision", image["revision"] == row.revision),
            ("site", id_of(&image, "site_id") == row.site_id),
            ("parent", id_of(&image, "parent_id") == row.parent_id),
            ("voiding", image.get("voided").and_then(Value::as_str) == row.voided.as_deref()),
            ("fact", fact == row.body),
            ("look-up columns", table.keys.is_empty() || self.keyed.contains(&key)),
        ];
        match differing.iter().find(|(_, same)| !same) {
            Some((what, _)) => Err(at(entry, format!("the {what} of its version and of its image differ"))),
            None => Ok(()),
        }
    }
}

/// Whether a version ends where its fact's next entry stands or its next version begins. One of the two is enough:
/// where the other is lost or moved, the fault is there and not here.
fn ends_in_time(row: &LinkedRow) -> bool {
    match (row.next_entry, row.next_version) {
        (None, None) => row.known_to == STILL,
        (entry, version) => [entry, version].contains(&Some(row.known_to)),
    }
}

fn id_of(image: &Value, member: &str) -> Option<Uuid> {
    image.get(member).and_then(Value::as_str).and_then(|text| Uuid::parse_str(text).ok())
}

fn fact_of(entry: &Entry) -> Option<Value> {
    let mut image: Value = serde_json::from_str(entry.image.as_ref()?).ok()?;
    Some(image["fact"].take())
}
