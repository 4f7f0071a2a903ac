//! The manifest: what a backup must hold, to the last row and the last head.

use crate::model::shape::Shape as _;
use crate::record;
use crate::registry::backup::{FORMAT, Fault, JOURNAL};
use crate::store::carried;
use crate::store::open::newest_schema;
use chrono::{DateTime, Utc};
use serde_json::Value;
use std::fmt::Write as _;

/// The name of the first member, which explains the others.
pub(super) const READ_ME: &str = "read-me.txt";
/// The name of the manifest.
pub(super) const MANIFEST: &str = "manifest.json";
/// The name of the list of checksums, which comes last.
pub(super) const CHECKSUMS: &str = "SHA256SUMS";
/// How the first member begins, before the number of the format.
const TITLE: &str = "Doseward backup, format ";

record! {
    /// A chain of the journal as it stood.
    pub(super) struct ChainHead {
        /// Its name.
        chain: String,
        /// How many entries it has.
        entries: i64,
        /// The hash of its last entry, in hexadecimal.
        head: String,
    }
}

record! {
    /// An entry of a journal that was taken over, before which something was left out that was not handed over.
    pub(super) struct Gap {
        /// Its position.
        position: i64,
        /// Its ordinal.
        ordinal: i64,
    }
}

record! {
    /// A chunk.
    pub(super) struct Chunk {
        /// The name of the member.
        file: String,
        /// Which section it belongs to.
        section: String,
        /// How many rows it holds, a line each.
        rows: i64,
        /// SHA-256 of the member, in hexadecimal.
        sha256: String,
    }
}

record! {
    /// What a backup holds.
    pub(super) struct Manifest {
        /// The number of the format.
        format: i64,
        /// The version of the program that wrote it.
        software: String,
        /// The number of the schema it was read from.
        schema: i64,
        /// The database it was read from.
        engine: String,
        /// When it was begun.
        made_at: DateTime<Utc>,
        /// The last position of the journal.
        position: i64,
        /// The time of the journal's head.
        position_at: Option<DateTime<Utc>>,
        /// The chains.
        chains: Vec<ChainHead>,
        /// Where a journal that was taken over leaves something out.
        gaps: Option<Vec<Gap>>,
        /// The chunks in their order.
        chunks: Vec<Chunk>,
    }
}

impl Manifest {
    /// How many rows a section has.
    pub(super) fn rows(&self, section: &str) -> i64 {
        self.chunks.iter().filter(|chunk| chunk.section == section).map(|chunk| chunk.rows).sum()
    }

    /// The manifest as it is written: JSON that people can read.
    pub(super) fn text(&self) -> String {
        format!("{:#}\n", self.to_json())
    }

    /// Reads one, and refuses what a newer program wrote.
    pub(super) fn parse_text(text: &[u8]) -> Result<Self, Fault> {
        let unreadable = || Fault::new("the backup's manifest is not as it was written");
        let value: Value = serde_json::from_slice(text).map_err(|_| unreadable())?;
        known_format(value["format"].as_i64().ok_or_else(unreadable)?)?;
        let schema = value["schema"].as_i64().ok_or_else(unreadable)?;
        if schema > newest_schema() {
            let known = newest_schema();
            return Err(Fault::new(format!(
                "the backup is of schema {schema}, and this program knows none above {known}: restore it with a newer version"
            )));
        }
        let manifest = Self::parse(&value).map_err(|_| unreadable())?;
        let known = |section: &str| section == JOURNAL || carried::of_section(section).is_some();
        match manifest.chunks.iter().find(|chunk| !known(&chunk.section)) {
            Some(chunk) => Err(Fault::new(format!(
                "the backup has a section {} that this program does not know: restore it with a newer version",
                chunk.section
            ))),
            None => Ok(manifest),
        }
    }
}

/// The name of a chunk: its number, from 1, and its section.
pub(super) fn chunk_name(number: usize, section: &str) -> String {
    format!("{number:06}-{section}.jsonl.gz")
}

fn known_format(format: i64) -> Result<(), Fault> {
    match format {
        1..=FORMAT => Ok(()),
        _ => Err(Fault::new(format!(
            "the backup is of format {format}, and this program knows none above {FORMAT}: restore it with a newer version"
        ))),
    }
}

/// Whether the first member is that of a backup, and of a format that is known.
pub(super) fn opens_a_backup(name: &str, content: &[u8]) -> Result<(), Fault> {
    let none = || Fault::new("the file is no backup of a registry");
    let title = str::from_utf8(content).ok().and_then(|text| text.lines().next()).ok_or_else(none)?;
    let number = title.strip_prefix(TITLE).filter(|_| name == READ_ME).ok_or_else(none)?;
    known_format(number.parse().map_err(|_| none())?)
}

/// A list of checksums as `sha256sum --check` reads it.
pub(super) fn checksums<'m>(members: impl Iterator<Item = (&'m str, &'m str)>) -> String {
    members.fold(String::new(), |mut list, (name, digest)| {
        writeln!(list, "{digest}  {name}").expect("writing to a String cannot fail");
        list
    })
}

/// The first member: how to read the others without any program of ours.
pub(super) fn read_me() -> String {
    let mut sections = String::new();
    for carried in carried::CARRIED {
        let names: Vec<&str> = carried.columns.iter().map(|(name, _)| *name).collect();
        writeln!(sections, "  {}: {}", carried.section, names.join(", "))
            .expect("writing to a String cannot fail");
    }
    include_str!("read_me.txt").replace("{format}", &FORMAT.to_string()).replace("{sections}\n", &sections)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn manifest() -> Manifest {
        let chunk = |number, section: &str, rows| Chunk {
            file: chunk_name(number, section),
            section: section.into(),
            rows,
            sha256: "00".into(),
        };
        Manifest {
            format: FORMAT,
            software: "0.1.0".into(),
            schema: newest_schema(),
            engine: "SQLite".into(),
            made_at: DateTime::UNIX_EPOCH,
            position: 2,
            position_at: None,
            chains: vec![],
            gaps: None,
            chunks: vec![chunk(1, "journal", 2), chunk(2, "journal", 1), chunk(3, "token-secrets", 5)],
        }
    }

    #[test]
    fn a_manifest_reads_back_and_counts_its_rows() {
        let manifest = manifest();
        let read = Manifest::parse_text(manifest.text().as_bytes()).unwrap();
        assert_eq!(read, manifest);
        assert_eq!((read.rows("journal"), read.rows("token-secrets"), read.rows("access-log")), (3, 5, 0));
    }

    #[test]
    fn what_a_newer_program_wrote_is_refused_in_a_sentence() {
        let newer = Manifest { format: FORMAT + 1, ..manifest() };
        let told = Manifest::parse_text(newer.text().as_bytes()).unwrap_err().0;
        assert_eq!(
            told,
            "the backup is of format 2, and this program knows none above 1: restore it with a newer version"
        );
        let newer = Manifest { schema: newest_schema() + 1, ..manifest() };
        let told = Manifest::parse_text(newer.text().as_bytes()).unwrap_err().0;
        assert!(told.starts_with(&format!("the backup is of schema {},", newest_schema() + 1)), "{told}");
        let mut newer = manifest();
        newer.chunks[2].section = "dreams".into();
        let told = Manifest::parse_text(newer.text().as_bytes()).unwrap_err().0;
        assert!(told.contains("a section dreams"), "{told}");
        let title = format!("{TITLE}{}\n", FORMAT + 1);
        assert!(opens_a_backup(READ_ME, title.as_bytes()).unwrap_err().0.contains("of format 2"));
    }

    #[test]
    fn anything_else_is_no_backup() {
        assert!(opens_a_backup(READ_ME, read_me().as_bytes()).is_ok());
        for (name, content) in [("read-me.txt", "Notes"), ("notes.txt", &*read_me()), ("read-me.txt", "")] {
            let told = opens_a_backup(name, content.as_bytes()).unwrap_err().0;
            assert_eq!(told, "the file is no backup of a registry");
        }
    }

    #[test]
    fn the_first_member_names_every_section_and_column() {
        let page = read_me();
        for carried in carried::CARRIED {
            assert!(page.contains(&format!("  {}: {}", carried.section, carried.columns[0].0)));
        }
    }
}
