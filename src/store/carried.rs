//! What a registry keeps beside the journal and what follows from it: tables that are carried whole into a backup and out
//! of it again.
//!
//! One list. A table that is described here is backed up and restored; nothing else need be written for it.

use crate::store::backend::{Query, Tx};
use crate::store::error::StoreError;
use chrono::{DateTime, Utc};
use sqlx::{ColumnIndex, Decode, Type};
use uuid::Uuid;

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Column {
    /// An identifier, or nothing.
    Id,
    /// A text, or nothing.
    Text,
    /// A whole number, or nothing.
    Number,
    /// An instant, or nothing.
    Instant,
    /// A short value of fixed length, such as a digest, or nothing.
    Digest,
    /// Bytes of any length, or nothing.
    Bytes,
}

/// A value of a column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Cell {
    /// An identifier.
    Id(Option<Uuid>),
    /// A text.
    Text(Option<String>),
    /// A whole number.
    Number(Option<i64>),
    /// An instant.
    Instant(Option<DateTime<Utc>>),
    /// Bytes.
    Bytes(Option<Vec<u8>>),
}

/// A table that is carried whole.
#[derive(Debug)]
pub struct Carried {
    /// What its part of a backup is called.
    pub section: &'static str,
    /// The table.
    pub table: &'static str,
    /// Its columns; those of its key come first.
    pub columns: &'static [(&'static str, Column)],
    /// How many of them make up the key.
    pub key: usize,
    /// How many rows are held at once.
    pub at_once: i64,
}

/// Every table that is carried, in the order in which a backup holds them.
pub const CARRIED: &[Carried] = &[
    Carried {
        section: "account-secrets",
        table: "account_secret",
        columns: &[
            ("account_id", Column::Id),
            ("password_hash", Column::Text),
            ("changed_at", Column::Instant),
        ],
        key: 1,
        at_once: 500,
    },
    Carried {
        section: "token-secrets",
        table: "token_secret",
        columns: &[("token_id", Column::Id), ("digest", Column::Digest)],
        key: 1,
        at_once: 500,
    },
    Carried {
        section: "first-answers",
        table: "idempotency",
        columns: &[
            ("account_id", Column::Id),
            ("key", Column::Text),
            ("route", Column::Text),
            ("body_digest", Column::Digest),
            ("status", Column::Number),
            ("location", Column::Text),
            ("body", Column::Text),
            ("stored_at", Column::Instant),
        ],
        key: 2,
        at_once: 100,
    },
    Carried {
        section: "access-log",
        table: "access_line",
        columns: &[
            ("id", Column::Id),
            ("at", Column::Instant),
            ("account_id", Column::Id),
            ("request", Column::Text),
            ("worker_id", Column::Id),
            ("scope", Column::Text),
            ("position", Column::Number),
            ("workers", Column::Number),
            ("client", Column::Text),
            ("purpose", Column::Text),
            ("place", Column::Number),
            ("digest", Column::Digest),
        ],
        key: 1,
        at_once: 500,
    },
    Carried {
        section: "signing-keys",
        table: "signing_key",
        columns: &[
            ("fingerprint", Column::Digest),
            ("public_key", Column::Bytes),
            ("private_key", Column::Bytes),
            ("made_at", Column::Instant),
        ],
        key: 1,
        at_once: 100,
    },
    Carried {
        section: "key-announcements",
        table: "key_announcement",
        columns: &[("place", Column::Number), ("statement", Column::Text)],
        key: 1,
        at_once: 100,
    },
    Carried {
        section: "second-factors",
        table: "second_factor",
        columns: &[
            ("account_id", Column::Id),
            ("secret", Column::Bytes),
            ("confirmed_at", Column::Instant),
            ("last_step", Column::Number),
        ],
        key: 1,
        at_once: 500,
    },
    // A row at a time: each is a whole file.
    Carried {
        section: "originals",
        table: "original_bytes",
        columns: &[("digest", Column::Digest), ("bytes", Column::Bytes)],
        key: 1,
        at_once: 1,
    },
    Carried {
        section: "blinding-secret",
        table: "blinding_secret",
        columns: &[("one", Column::Number), ("secret", Column::Bytes)],
        key: 1,
        at_once: 1,
    },
];

/// The carried table of a part of a backup.
pub fn of_section(section: &str) -> Option<&'static Carried> {
    CARRIED.iter().find(|carried| carried.section == section)
}

impl Carried {
    fn names(&self) -> impl Iterator<Item = &'static str> {
        self.columns.iter().map(|(name, _)| *name)
    }

    /// Rows in the order of their key after a key; an empty page is the end.
    pub async fn page(&self, tx: &mut Tx, after: Option<&[Cell]>) -> Result<Vec<Vec<Cell>>, StoreError> {
        let mut query = listed(tx.query("SELECT "), self.names()).push(" FROM ").push(self.table);
        if let Some(after) = after {
            query = listed(query.push(" WHERE ("), self.names().take(self.key)).push(") > (");
            query = bound(query, &after[..self.key]).push(")");
        }
        query = listed(query.push(" ORDER BY "), self.names().take(self.key));
        query = query.push(" LIMIT ").push_bind(self.at_once);
        query.fetch_with(|row| cells(row, self.columns), |row| cells(row, self.columns)).await
    }

    /// Puts rows in.
    pub async fn put(&self, tx: &mut Tx, rows: &[Vec<Cell>]) -> Result<(), StoreError> {
        if rows.is_empty() {
            return Ok(());
        }
        let mut query = listed(tx.query("INSERT INTO ").push(self.table).push(" ("), self.names());
        for (n, row) in rows.iter().enumerate() {
            query = bound(query.push(if n == 0 { ") VALUES (" } else { "), (" }), row);
        }
        query.push(")").execute().await?;
        Ok(())
    }

    /// How many rows there are.
    pub async fn count(&self, tx: &mut Tx) -> Result<i64, StoreError> {
        let (rows,): (i64,) = tx.query("SELECT count(*) FROM ").push(self.table).fetch_one().await?;
        Ok(rows)
    }
}

fn listed(mut query: Query<'_>, names: impl Iterator<Item = &'static str>) -> Query<'_> {
    for (n, name) in names.enumerate() {
        query = query.push(if n == 0 { "" } else { ", " }).push(name);
    }
    query
}

fn bound<'q>(mut query: Query<'q>, cells: &[Cell]) -> Query<'q> {
    for (n, cell) in cells.iter().enumerate() {
        query = query.push(if n == 0 { "" } else { ", " });
        query = match cell.clone() {
            Cell::Id(id) => query.push_bind(id),
            Cell::Text(text) => query.push_bind(text),
            Cell::Number(number) => query.push_bind(number),
            Cell::Instant(at) => query.push_bind(at),
            Cell::Bytes(bytes) => query.push_bind(bytes),
        };
    }
    query
}

/// Reads the columns of a row, of whichever engine.
fn cells<'r, R: sqlx::Row>(row: &'r R, columns: &[(&str, Column)]) -> sqlx::Result<Vec<Cell>>
where
    usize: ColumnIndex<R>,
    Option<Uuid>: Decode<'r, R::Database> + Type<R::Database>,
    Option<String>: Decode<'r, R::Database> + Type<R::Database>,
    Option<i64>: Decode<'r, R::Database> + Type<R::Database>,
    Option<DateTime<Utc>>: Decode<'r, R::Database> + Type<R::Database>,
    Option<Vec<u8>>: Decode<'r, R::Database> + Type<R::Database>,
{
    let one = |(n, (_, column)): (usize, &(&str, Column))| {
        Ok(match column {
            Column::Id => Cell::Id(row.try_get(n)?),
            Column::Text => Cell::Text(row.try_get(n)?),
            Column::Number => Cell::Number(row.try_get(n)?),
            Column::Instant => Cell::Instant(row.try_get(n)?),
            Column::Digest | Column::Bytes => Cell::Bytes(row.try_get(n)?),
        })
    };
    columns.iter().enumerate().map(one).collect()
}
