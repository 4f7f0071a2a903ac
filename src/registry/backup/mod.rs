//! Backup and restore: one format for both engines.
//!
//! A backup is a tar archive: a page that explains it, numbered chunks of JSON lines, each packed with gzip, then the
//! manifest and the list of checksums. It is read from one snapshot while writing goes on. A restore replays the journal
//! into the version tables, which proves that they are nothing but a fold of it, and takes the rest as it stands.

pub(in crate::registry) mod archive;
mod chunks;
pub(in crate::registry) mod file;
mod manifest;
pub(in crate::registry) mod replay;
pub mod restore;
pub(in crate::registry) mod rows;
pub mod save;

use crate::registry::refusal::Refusal;

/// The number of the format. Whoever changes it keeps reading the earlier ones.
const FORMAT: i64 = 1;
/// The section of journal entries, which comes first. The others are [carried tables](crate::store::carried).
const JOURNAL: &str = "journal";

/// What is wrong with a backup, or stands in the way of one.
#[derive(Debug, thiserror::Error)]
#[error("{0}")]
pub(in crate::registry) struct Fault(pub(in crate::registry) String);

impl Fault {
    pub(in crate::registry) fn new(what: impl Into<String>) -> Self {
        Self(what.into())
    }
}

impl From<Fault> for Refusal {
    fn from(fault: Fault) -> Self {
        Self::Unreadable(fault.0)
    }
}

impl From<std::io::Error> for Fault {
    fn from(error: std::io::Error) -> Self {
        match error.kind() {
            std::io::ErrorKind::UnexpectedEof => Self::new("the backup breaks off before its end"),
            _ => Self::new(error.to_string()),
        }
    }
}
