//! What stands in a bundle beside its contents: the page that explains it, the manifest, the list of checksums.

use crate::model::shape::Shape as _;
use crate::record;
use crate::registry::bundle::{BundleOf, wrong};
use crate::registry::refusal::Refusal;
use crate::store::open::newest_schema;
use chrono::{DateTime, Utc};
use serde_json::Value;
use std::fmt::Write as _;

/// The number of the format.
pub(super) const FORMAT: i64 = 1;
/// The first member, which explains the others.
pub(super) const READ_ME: &str = "read-me.txt";
/// The manifest.
pub(super) const MANIFEST: &str = "manifest.json";
/// The list of checksums of all members before it.
pub(super) const CHECKSUMS: &str = "SHA256SUMS";
/// The signature over that list: 64 bytes.
pub(super) const SIGNATURE: &str = "SHA256SUMS.sig";
/// The public key that it was signed with.
pub(super) const KEY: &str = "public-key.pem";
/// The anchor.
pub(super) const ANCHOR: &str = "anchor.txt";
/// Where the journal leaves something out.
pub(super) const GAPS: &str = "journal/gaps.csv";

record! {
    /// A file of a bundle.
    pub(super) struct FileLine {
        /// Its name.
        name: String,
        /// SHA-256, in hexadecimal.
        sha256: String,
        /// How many bytes.
        bytes: i64,
        /// How many rows or entries, where it has any.
        rows: Option<i64>,
    }
}

record! {
    /// What a bundle holds.
    pub(super) struct Manifest {
        /// The number of the format.
        format: i64,
        /// Whose record it is: `all`, `site` or `worker` with the identifier.
        scope: String,
        /// The version of the program that wrote it.
        software: String,
        /// The number of the schema it was read from.
        schema: i64,
        /// The moment: as the record was known then.
        as_known_on: DateTime<Utc>,
        /// The last position of the journal at that moment.
        position: i64,
        /// The position of the last entry that is in here.
        last_position: i64,
        /// The time of that entry.
        last_at: Option<DateTime<Utc>>,
        /// How many entries of the journal are in here.
        entries: i64,
        /// Fingerprint of the key that signs, in hexadecimal.
        key: String,
        /// What of it is not in here, and what comes of that, in words.
        not_carried: Option<Vec<String>>,
        /// SHA-256 of the uploaded files that are not in here, because something that they gave was disposed of.
        files_left_out: Option<Vec<String>>,
        /// The files.
        files: Vec<FileLine>,
    }
}

impl Manifest {
    /// As it is written.
    pub(super) fn text(&self) -> String {
        format!("{:#}\n", self.to_json())
    }

    /// Reads one, and refuses what a newer program wrote.
    pub(super) fn parse_text(text: &[u8]) -> Result<Self, Refusal> {
        let unreadable = || wrong("the bundle's manifest does not read as one");
        let value: Value = serde_json::from_slice(text).map_err(|_| unreadable())?;
        let number = |name: &str| value[name].as_i64().ok_or_else(unreadable);
        let (format, schema) = (number("format")?, number("schema")?);
        if format > FORMAT || schema > newest_schema() {
            return Err(wrong(format!(
                "the bundle is of format {format} and schema {schema}, and this program knows none above {FORMAT} and {}: \
                 take it over with a newer version",
                newest_schema()
            )));
        }
        Self::parse(&value).map_err(|_| unreadable())
    }
}

/// What a bundle does not hold, and what comes of that where it is taken over.
pub(super) fn not_carried(of: BundleOf) -> Vec<String> {
    let medical =
        "The medical chain: grounds, and the duties that rest on one. They go from physician to physician.";
    let elsewhere = "Exposure elsewhere: assignments, work and samples on other sites, and earlier exposures. An export of \
                     histories has no row here for an agent that a worker met elsewhere alone.";
    let duties = "Duties on workers who were elsewhere too, under another entry, on another site or with an earlier employer: \
                  they may rest on both, and are raised anew from what is here. They have another duty_id and learned_on in \
                  the export of duties, and without the days elsewhere also another due_on, status, days_late, clause, \
                  withdrawn, flags or words; what was done about them (last_action, last_action_on) stays behind, and one \
                  that days elsewhere alone asked for is not there. Duties on the site, its groups and on workers who were \
                  here alone are the same in every column.";
    let others = "Everybody else: fellow workers, sampling events and direct readings, and the sites beyond the groups, tasks \
                  and controls that he worked with. It is to be read, and not to be taken over.";
    let said: &[&str] = match of {
        BundleOf::All => &[medical],
        BundleOf::Site(_) => &[medical, elsewhere, duties],
        BundleOf::Worker(_) => &[medical, others],
    };
    said.iter().map(|said| (*said).to_owned()).collect()
}

/// A list of checksums as `sha256sum --check` reads it.
pub(super) fn checksums<'f>(files: impl Iterator<Item = (&'f str, &'f str)>) -> String {
    files.fold(String::new(), |mut list, (name, digest)| {
        writeln!(list, "{digest}  {name}").expect("writing to a String cannot fail");
        list
    })
}

/// The page that explains it.
pub(super) fn read_me(scope: &str) -> String {
    include_str!("read_me.txt").replace("{format}", &FORMAT.to_string()).replace("{scope}", scope)
}
