//! Writes a bundle, from one snapshot, while writing goes on.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::account::{Grant, Role};
use crate::model::facts::original::Original;
use crate::model::facts::site::Site;
use crate::model::facts::worker::Worker;
use crate::registry::anchor::key::PrivateKey;
use crate::registry::backup::archive::Archive;
use crate::registry::backup::rows;
use crate::registry::backup::save::remains_of;
use crate::registry::bundle::chosen::Chosen;
use crate::registry::bundle::manifest::{
    ANCHOR, CHECKSUMS, FORMAT, FileLine, GAPS, KEY, MANIFEST, Manifest, READ_ME, SIGNATURE, checksums,
    not_carried, read_me,
};
use crate::registry::bundle::tables::{Writing, line, schema};
use crate::registry::bundle::{BundleOf, of_bundle};
use crate::registry::enter_pack::REGISTRY;
use crate::registry::gather;
use crate::registry::journal::hex;
use crate::registry::originals::{OriginalState, digest_of, left_out_before, state};
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::gaps;
use crate::store::journal::{self, Reading};
use crate::store::open::newest_schema;
use crate::store::originals;
use crate::store::tables::TABLES;
use crate::store::versions::{AsOf, Where};
use chrono::{DateTime, SubsecRound as _, Utc};
use sha2::{Digest as _, Sha256};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Write;

/// How many entries are held at once.
const CHUNK: i64 = 500;
/// A file of the journal ends with the entry that brings it to this many bytes.
const FULL: usize = 4 << 20;

/// What was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written {
    /// The position of the snapshot.
    pub position: i64,
    /// How many entries of the journal.
    pub entries: i64,
    /// How many rows of tables.
    pub rows: i64,
    /// How many uploaded files.
    pub originals: i64,
    /// How many workers are named.
    pub workers: usize,
    /// SHA-256 of the list of checksums, which is what was signed, in hexadecimal.
    pub checksums: String,
    /// The fingerprint of the key, in hexadecimal.
    pub key: String,
}

/// Members, each noted for the manifest.
struct Members<W> {
    archive: Archive<W>,
    files: Vec<FileLine>,
}

impl<W: Write> Members<W> {
    fn add(&mut self, name: &str, content: &[u8], rows: Option<i64>) -> Result<(), Refusal> {
        self.archive.add(name, content).map_err(of_bundle)?;
        self.files.push(FileLine {
            name: name.to_owned(),
            sha256: hex(&Sha256::digest(content)),
            bytes: i64::try_from(content.len()).unwrap_or(i64::MAX),
            rows,
        });
        Ok(())
    }
}

/// The entries that went in.
#[derive(Default)]
struct Entries {
    count: i64,
    last: i64,
    last_at: Option<DateTime<Utc>>,
}

/// Writes a bundle of what is known now, or was known at an instant; gives back what it was written to.
///
/// # Errors
/// [`Refusal::Forbidden`]; [`Refusal::Unknown`] for a site or worker that there is not; what is written to fails.
pub async fn write<W: Write + Send>(
    registry: &Registry,
    caller: &Caller,
    of: BundleOf,
    as_known_on: Option<DateTime<Utc>>,
    to: W,
    mut progress: impl FnMut(Progress) + Send,
) -> Result<(Written, W), Refusal> {
    caller.may(Action::HandOver)?;
    let key = registry.signing_key().await?;
    let anchor = registry.anchor(&reader_of(of)).await?;
    let mut tx = registry.database.read().await?;
    let as_of = registry.as_of(&mut tx, as_known_on).await?;
    must_be_there(&mut tx, as_of, of).await?;
    let chosen = Chosen::of(&mut tx, as_of, of).await?;
    let now = registry.clock.now().trunc_subsecs(6);
    let seconds = u64::try_from(now.timestamp()).unwrap_or_default();
    let mut members = Members { archive: Archive::new(to, seconds), files: Vec::new() };
    members.add(READ_ME, read_me(&of.to_string()).as_bytes(), None)?;
    let rows = write_tables(&mut tx, as_of, &chosen, &mut members, &mut progress).await?;
    let entries = write_journal(&mut tx, as_of, &chosen, &mut members, &mut progress).await?;
    let (originals, left_out) = write_originals(&mut tx, as_of, &chosen, &mut members).await?;
    drop(tx);
    members.add(ANCHOR, anchor.to_string().as_bytes(), None)?;
    members.add(KEY, key.public().to_pem().as_bytes(), None)?;
    let manifest = Manifest {
        format: FORMAT,
        scope: of.to_string(),
        software: env!("CARGO_PKG_VERSION").into(),
        schema: newest_schema(),
        as_known_on: as_known_on.unwrap_or(now),
        position: as_of.position,
        last_position: entries.last,
        last_at: entries.last_at,
        entries: entries.count,
        key: hex(&key.public().fingerprint()),
        not_carried: Some(not_carried(of)),
        files_left_out: (!left_out.is_empty()).then_some(left_out),
        files: members.files,
    };
    let (checksums, to) = end(members.archive, &manifest, &key)?;
    let (position, entries, workers) = (as_of.position, entries.count, chosen.workers.len());
    Ok((Written { position, entries, rows, originals, workers, checksums, key: manifest.key }, to))
}

/// Manifest, checksums and signature; gives SHA-256 of what was signed.
fn end<W: Write>(
    mut archive: Archive<W>,
    manifest: &Manifest,
    key: &PrivateKey,
) -> Result<(String, W), Refusal> {
    let text = manifest.text();
    archive.add(MANIFEST, text.as_bytes()).map_err(of_bundle)?;
    let own = hex(&Sha256::digest(&text));
    let files = manifest.files.iter().map(|file| (file.name.as_str(), file.sha256.as_str()));
    let list = checksums(files.chain([(MANIFEST, own.as_str())]));
    archive.add(CHECKSUMS, list.as_bytes()).map_err(of_bundle)?;
    archive.add(SIGNATURE, &key.sign(list.as_bytes())).map_err(of_bundle)?;
    Ok((hex(&Sha256::digest(&list)), archive.end().map_err(of_bundle)?))
}

/// Who would see of the chains what the bundle may tell of them: of a site its own and the corporation's.
fn reader_of(of: BundleOf) -> Caller {
    let site_ids = match of {
        BundleOf::All => None,
        BundleOf::Site(site) => Some(vec![site]),
        BundleOf::Worker(_) => Some(Vec::new()),
    };
    Caller { account: REGISTRY, grants: vec![Grant { role: Role::Hygienist, site_ids }], console_user: None }
}

async fn must_be_there(tx: &mut Tx, as_of: AsOf, of: BundleOf) -> Result<(), Refusal> {
    let there = match of {
        BundleOf::All => true,
        BundleOf::Site(site) => gather::one::<Site>(tx, as_of, site.0).await?.is_some(),
        BundleOf::Worker(worker) => gather::one::<Worker>(tx, as_of, worker.0).await?.is_some(),
    };
    if there { Ok(()) } else { Err(Refusal::Unknown) }
}

async fn write_tables<W: Write>(
    tx: &mut Tx,
    as_of: AsOf,
    chosen: &Chosen,
    members: &mut Members<W>,
    progress: &mut (impl FnMut(Progress) + Send),
) -> Result<i64, Refusal> {
    let mut rows = 0;
    for table in TABLES {
        let mut writing = Writing::of(table);
        let mut number = 1;
        while let Some(part) = writing.next(tx, as_of.position, chosen).await? {
            let name = match number {
                1 => format!("data/{}.csv", table.kind),
                _ => format!("data/{}-{number}.csv", table.kind),
            };
            members.add(&name, part.text.as_bytes(), Some(part.rows))?;
            rows += part.rows;
            number += 1;
            progress(Progress { stage: Stage::Rows, done: rows, of: None });
        }
        if number > 1 {
            members.add(&format!("data/{}.schema.json", table.kind), schema(table).as_bytes(), None)?;
        }
    }
    Ok(rows)
}

async fn write_journal<W: Write>(
    tx: &mut Tx,
    as_of: AsOf,
    chosen: &Chosen,
    members: &mut Members<W>,
    progress: &mut (impl FnMut(Progress) + Send),
) -> Result<Entries, Refusal> {
    let of = Some(journal::count(tx).await?);
    let everything = Scope::everything(REGISTRY);
    let until = Some(as_of.position);
    let mut reading = Reading { medical: true, limit: CHUNK, until, ..Reading::default() };
    let mut entries = Entries::default();
    // A registry that was taken over itself hands its gaps on.
    let known = gaps::all(tx).await?;
    let (mut gaps, mut left_out, mut passed) = (BTreeSet::new(), false, 0);
    let (mut text, mut rows, mut number) = (String::new(), 0, 0);
    loop {
        let chunk = journal::entries(tx, &everything, &reading).await?;
        let ended = chunk.is_empty();
        for entry in &chunk {
            let envelope = &entry.envelope;
            let here = (envelope.position, envelope.ordinal);
            reading.after = Some(here);
            passed += 1;
            left_out |= known.contains(&here);
            let held = envelope.chain != journal::MEDICAL
                && chosen.holds(&envelope.kind, envelope.subject, envelope.site.map(|site| site.0));
            if !held {
                left_out = true;
                continue;
            }
            if std::mem::take(&mut left_out) {
                gaps.insert(here);
            }
            let remains = if entry.image.is_none() { remains_of(tx, entry).await? } else { None };
            text += &rows::of_entry(entry, remains).to_string();
            text.push('\n');
            rows += 1;
            entries.count += 1;
            (entries.last, entries.last_at) = (envelope.position, Some(envelope.at));
        }
        if rows > 0 && (ended || text.len() >= FULL) {
            number += 1;
            members.add(&format!("journal/{number:06}.jsonl"), text.as_bytes(), Some(rows))?;
            (text, rows) = (String::new(), 0);
        }
        progress(Progress { stage: Stage::Entries, done: passed, of });
        if ended {
            break;
        }
    }
    let mut list = line(["position", "ordinal"].into_iter());
    for (position, ordinal) in &gaps {
        list += &line([position.to_string().as_str(), ordinal.to_string().as_str()].into_iter());
    }
    members.add(GAPS, list.as_bytes(), i64::try_from(gaps.len()).ok())?;
    Ok(entries)
}

/// The uploaded files, each once; gives how many, and the digests of those that are not handed over because something that
/// they gave was disposed of.
async fn write_originals<W: Write>(
    tx: &mut Tx,
    as_of: AsOf,
    chosen: &Chosen,
    members: &mut Members<W>,
) -> Result<(i64, Vec<String>), Refusal> {
    let none: &[Where] = &[];
    let mut files = BTreeMap::new();
    for original in gather::all::<Original>(tx, as_of, none).await? {
        if chosen.holds("original", original.id, original.site.map(|site| site.0)) {
            files.insert(original.fact.sha256, original.fact.media_type);
        }
    }
    let never_had = left_out_before(tx, as_of).await?;
    let (mut count, mut left_out) = (0, Vec::new());
    for (sha256, media_type) in files {
        let bytes = match state(tx, as_of, &sha256).await? {
            OriginalState::Open => match originals::get(tx, &digest_of(&sha256)?).await? {
                None if !never_had.contains(&sha256) => {
                    return Err(StoreError::Damaged(format!("the file {sha256} is missing")).into());
                }
                there => there,
            },
            OriginalState::Closed => None,
            OriginalState::Gone => continue,
        };
        let Some(bytes) = bytes else {
            left_out.push(sha256);
            continue;
        };
        let end = if media_type == "text/csv" { "csv" } else { "json" };
        members.add(&format!("originals/{sha256}.{end}"), &bytes, None)?;
        count += 1;
    }
    Ok((count, left_out))
}
