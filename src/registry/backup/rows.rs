//! The lines of a chunk: journal entries, and rows of carried tables, as JSON objects.

use crate::model::identifiers::{AccountId, SiteId};
use crate::model::shape::{Shape as _, parse_instant, write_instant};
use crate::record;
use crate::registry::backup::Fault;
use crate::registry::journal::hex;
use crate::store::carried::{Carried, Cell, Column};
use crate::store::journal::{Entry, Envelope};
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD as BASE64;
use chrono::{DateTime, SubsecRound as _, Utc};
use serde_json::{Map, Value};
use uuid::Uuid;

record! {
    /// The version that an entry brought, where its image was lawfully removed and the version still stands.
    pub(in crate::registry) struct Remains {
        /// Its revision.
        revision: i64,
        /// What it is recorded under.
        parent_id: Option<Uuid>,
        /// Why it is voided.
        voided: Option<String>,
        /// The fact's JSON.
        body: String,
    }
}

record! {
    /// An entry of the journal.
    struct EntryLine {
        position: i64,
        ordinal: i64,
        chain: String,
        place: i64,
        at: DateTime<Utc>,
        account_id: AccountId,
        kind: String,
        deed: String,
        subject_id: Uuid,
        site_id: Option<SiteId>,
        format: i64,
        image: Option<String>,
        salt: Option<String>,
        image_digest: String,
        previous_hash: String,
        entry_hash: String,
        remains: Option<Remains>,
    }
}

/// An entry as a line, with what remains of its version where the image is gone.
pub(in crate::registry) fn of_entry(entry: &Entry, remains: Option<Remains>) -> Value {
    let envelope = entry.envelope.clone();
    EntryLine {
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
        image: entry.image.clone(),
        salt: entry.salt.as_deref().map(hex),
        image_digest: hex(&entry.image_digest),
        previous_hash: hex(&entry.previous_hash),
        entry_hash: hex(&entry.entry_hash),
        remains,
    }
    .to_json()
}

/// Reads an entry back.
pub(in crate::registry) fn entry(line: &Value) -> Result<(Entry, Option<Remains>), Fault> {
    let unreadable = || Fault::new("an entry of the backup does not read as one");
    let line = EntryLine::parse(line).map_err(|_| unreadable())?;
    let bytes = |text: &str| unhex(text).ok_or_else(unreadable);
    let envelope = Envelope {
        position: line.position,
        ordinal: line.ordinal,
        chain: line.chain,
        place: line.place,
        at: line.at,
        account: line.account_id,
        kind: line.kind,
        deed: line.deed,
        subject: line.subject_id,
        site: line.site_id,
        format: line.format,
    };
    let entry = Entry {
        envelope,
        image: line.image,
        salt: line.salt.as_deref().map(bytes).transpose()?,
        image_digest: bytes(&line.image_digest)?,
        previous_hash: bytes(&line.previous_hash)?,
        entry_hash: bytes(&line.entry_hash)?,
    };
    Ok((entry, line.remains))
}

/// A row of a carried table as a line.
pub(in crate::registry) fn of_cells(carried: &Carried, cells: &[Cell]) -> Value {
    let mut line = Map::new();
    for ((name, column), cell) in carried.columns.iter().zip(cells) {
        let value = match cell {
            Cell::Id(id) => id.map(|id| id.to_string().into()),
            Cell::Text(text) => text.clone().map(Value::String),
            Cell::Number(number) => number.map(Value::from),
            // As exact as both engines keep it.
            Cell::Instant(at) => at.map(|at| write_instant(at.trunc_subsecs(6)).into()),
            Cell::Bytes(bytes) if *column == Column::Digest => {
                bytes.as_deref().map(|bytes| hex(bytes).into())
            }
            Cell::Bytes(bytes) => bytes.as_ref().map(|bytes| BASE64.encode(bytes).into()),
        };
        if let Some(value) = value {
            line.insert((*name).to_owned(), value);
        }
    }
    Value::Object(line)
}

/// Reads a row of a carried table back. A column that the line does not name is one that there was not yet.
pub(in crate::registry) fn cells(carried: &Carried, line: &Value) -> Result<Vec<Cell>, Fault> {
    let unreadable = |name: &str| {
        Fault::new(format!("the {name} of a row of {} in the backup does not read as one", carried.section))
    };
    let one = |(name, column): &(&'static str, Column)| {
        let value = line.get(name);
        let text = || value.and_then(Value::as_str);
        let read = match column {
            Column::Id if value.is_none() => Some(Cell::Id(None)),
            Column::Id => text().and_then(|text| Uuid::parse_str(text).ok()).map(|id| Cell::Id(Some(id))),
            Column::Text if value.is_none() => Some(Cell::Text(None)),
            Column::Text => text().map(|text| Cell::Text(Some(text.to_owned()))),
            Column::Number if value.is_none() => Some(Cell::Number(None)),
            Column::Number => value.and_then(Value::as_i64).map(|number| Cell::Number(Some(number))),
            Column::Instant if value.is_none() => Some(Cell::Instant(None)),
            Column::Instant => text().and_then(parse_instant).map(|at| Cell::Instant(Some(at))),
            Column::Digest | Column::Bytes if value.is_none() => Some(Cell::Bytes(None)),
            Column::Digest => text().and_then(unhex).map(|bytes| Cell::Bytes(Some(bytes))),
            Column::Bytes => {
                text().and_then(|text| BASE64.decode(text).ok()).map(|bytes| Cell::Bytes(Some(bytes)))
            }
        };
        read.ok_or_else(|| unreadable(name))
    };
    carried.columns.iter().map(one).collect()
}

/// Reads hexadecimal.
pub(in crate::registry) fn unhex(text: &str) -> Option<Vec<u8>> {
    let digit = |byte: u8| char::from(byte).to_digit(16);
    let pair = |pair: &[u8]| u8::try_from(digit(pair[0])? * 16 + digit(pair[1])?).ok();
    text.len().is_multiple_of(2).then(|| text.as_bytes().chunks_exact(2).map(pair).collect()).flatten()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const EVERYTHING: Carried = Carried {
        section: "everything",
        table: "everything",
        columns: &[
            ("id", Column::Id),
            ("name", Column::Text),
            ("count", Column::Number),
            ("at", Column::Instant),
            ("sha256", Column::Digest),
            ("content", Column::Bytes),
        ],
        key: 1,
        at_once: 1,
    };

    #[test]
    fn a_row_of_every_kind_of_column_reads_back_the_same() {
        let at = parse_instant("2026-03-02T08:00:00.000125Z").unwrap();
        let every_byte: Vec<u8> = (0..=255).collect();
        let full = vec![
            Cell::Id(Some(Uuid::from_u128(7))),
            Cell::Text(Some("\"quoted\"\n\u{b5}g/m\u{b3}".into())),
            Cell::Number(Some(i64::MAX)),
            Cell::Instant(Some(at)),
            Cell::Bytes(Some(vec![0, 0xff, 0x10])),
            Cell::Bytes(Some(every_byte)),
        ];
        let mut bare = full.clone();
        (bare[0], bare[1]) = (Cell::Id(None), Cell::Text(None));
        for row in [full, bare] {
            let line = of_cells(&EVERYTHING, &row).to_string();
            assert!(!line.contains('\n'), "one line: {line}");
            assert_eq!(cells(&EVERYTHING, &serde_json::from_str(&line).unwrap()).unwrap(), row);
        }
        let line = json!({"count": 1, "at": "2026-03-02T08:00:00Z", "sha256": "0g", "content": ""});
        assert!(cells(&EVERYTHING, &line).unwrap_err().0.contains("sha256"));
    }

    #[test]
    fn hexadecimal_reads_back_and_nothing_else_does() {
        assert_eq!(unhex("00ff1a"), Some(vec![0, 255, 26]));
        for wrong in ["0", "0x", "\u{e9}", "zz"] {
            assert_eq!(unhex(wrong), None, "{wrong}");
        }
    }
}
