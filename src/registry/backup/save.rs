//! Writes a backup, from one snapshot, while writing goes on.

use crate::access::caller::Caller;
use crate::access::scope::Scope;
use crate::model::facts::worker::Worker;
use crate::registry::backup::chunks::Writer;
use crate::registry::backup::file::Unfinished;
use crate::registry::backup::manifest::{ChainHead, Gap, Manifest};
use crate::registry::backup::rows::{self, Remains};
use crate::registry::backup::{Fault, JOURNAL};
use crate::registry::enter_pack::REGISTRY;
use crate::registry::journal::hex;
use crate::registry::progress::{Progress, Stage};
use crate::registry::reading::Read;
use crate::registry::refusal::Refusal;
use crate::registry::verify::{RecordFault, Walk};
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::carried::CARRIED;
use crate::store::chains;
use crate::store::gaps;
use crate::store::journal::{self, Entry, Reading};
use crate::store::open::newest_schema;
use crate::store::tables::{self, Stored as _};
use crate::store::versions;
use std::collections::BTreeSet;
use std::io::BufWriter;
use std::path::Path;

/// How many entries are held at once.
const CHUNK: i64 = 500;

/// A backup that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saved {
    /// The last position it holds.
    pub position: i64,
    /// How many entries it holds.
    pub entries: i64,
    /// How many rows beside them.
    pub rows: i64,
    /// SHA-256 of the whole file, in hexadecimal.
    pub sha256: String,
}

type To = Writer<BufWriter<Unfinished>>;

/// Writes a backup to a file that is not there yet, or may be replaced. The reading leaves its line in the access log
/// before anything is written.
///
/// # Errors
/// The file is there already or cannot be written; the record is not sound, so that a backup could not be restored.
pub async fn save(
    registry: &Registry,
    caller: &Caller,
    path: &Path,
    replace: bool,
    mut progress: impl FnMut(Progress) + Send,
) -> Result<Saved, Refusal> {
    let file = Unfinished::begin(path, replace)?;
    let mut tx = registry.database.read().await?;
    let (position, position_at) = journal::head(&mut tx).await?;
    let workers = versions::how_many(&mut tx, Worker::TABLE).await?;
    let request = "doseward backup".to_owned();
    let (scope, workers) = (Some("backup".to_owned()), usize::try_from(workers).unwrap_or_default());
    registry
        .note_reading(
            caller,
            Read { request, worker: None, scope, position, workers, client: None, purpose: None },
        )
        .await?;

    let made_at = registry.clock.now();
    let seconds = u64::try_from(made_at.timestamp()).unwrap_or_default();
    let mut writer = Writer::begin(BufWriter::new(file), seconds)?;
    let walk = save_journal(&mut tx, &mut writer, &mut progress).await?;
    walk.ends_at(position, position_at, &chains::heads(&mut tx).await?).map_err(|fault| not_sound(&fault))?;
    let rows = save_carried(&mut tx, &mut writer, &mut progress).await?;
    let gaps = gaps::all(&mut tx).await?;
    drop(tx);
    let manifest = Manifest {
        format: 0,
        software: env!("CARGO_PKG_VERSION").into(),
        schema: newest_schema(),
        engine: registry.database.engine().into(),
        made_at,
        position,
        position_at,
        chains: heads(&walk),
        gaps: gaps_of(&gaps),
        chunks: Vec::new(),
    };
    let (_, file) = writer.end(manifest)?;
    let file = file.into_inner().map_err(|error| Fault::from(error.into_error()))?;
    let sha256 = hex(&file.finish()?);
    Ok(Saved { position, entries: walk.entries(), rows, sha256 })
}

/// Where a journal that was taken over leaves something out; nothing where none was.
fn gaps_of(gaps: &BTreeSet<(i64, i64)>) -> Option<Vec<Gap>> {
    let gaps: Vec<Gap> =
        gaps.iter().map(|(position, ordinal)| Gap { position: *position, ordinal: *ordinal }).collect();
    (!gaps.is_empty()).then_some(gaps)
}

/// The chains as they were walked.
pub(super) fn heads(walk: &Walk) -> Vec<ChainHead> {
    let head = |(chain, entries, head): (&str, i64, &[u8])| ChainHead {
        chain: chain.to_owned(),
        entries,
        head: hex(head),
    };
    walk.chains().map(head).collect()
}

fn not_sound(fault: &RecordFault) -> Fault {
    Fault::new(format!(
        "the record is not sound, and a backup of it could not be restored: position {}: {}",
        fault.position, fault.what
    ))
}

async fn save_journal(
    tx: &mut Tx,
    writer: &mut To,
    progress: &mut (impl FnMut(Progress) + Send),
) -> Result<Walk, Refusal> {
    let of = Some(journal::count(tx).await?);
    let everything = Scope::everything(REGISTRY);
    let mut reading = Reading { medical: true, limit: CHUNK, ..Reading::default() };
    let mut walk = Walk::with_gaps(gaps::all(tx).await?);
    loop {
        let chunk = journal::entries(tx, &everything, &reading).await?;
        let Some(last) = chunk.last() else { return Ok(walk) };
        reading.after = Some((last.envelope.position, last.envelope.ordinal));
        for entry in &chunk {
            walk.step(entry).map_err(|fault| not_sound(&fault))?;
            let remains = if entry.image.is_none() { remains_of(tx, entry).await? } else { None };
            writer.line(JOURNAL, &rows::of_entry(entry, remains))?;
        }
        progress(Progress { stage: Stage::Entries, done: walk.entries(), of });
    }
}

/// What the registry still holds of a version whose image was lawfully removed: the journal cannot tell it any more.
pub(in crate::registry) async fn remains_of(tx: &mut Tx, entry: &Entry) -> Result<Option<Remains>, Refusal> {
    let envelope = &entry.envelope;
    let Some(table) = tables::of_kind(&envelope.kind) else { return Ok(None) };
    let here = (envelope.position, envelope.position);
    let row = versions::linked(tx, table, vec![envelope.subject], here).await?.pop();
    Ok(row.map(|row| Remains {
        revision: row.revision,
        parent_id: row.parent_id,
        voided: row.voided,
        body: row.body,
    }))
}

/// Everything beside the journal; gives how many rows that was.
async fn save_carried(
    tx: &mut Tx,
    writer: &mut To,
    progress: &mut (impl FnMut(Progress) + Send),
) -> Result<i64, Refusal> {
    let (mut done, mut of) = (0, 0);
    for carried in CARRIED {
        of += carried.count(tx).await?;
    }
    for carried in CARRIED {
        let mut last = None;
        loop {
            let page = carried.page(tx, last.as_deref()).await?;
            for row in &page {
                writer.line(carried.section, &rows::of_cells(carried, row))?;
                done += 1;
            }
            progress(Progress { stage: Stage::Rows, done, of: Some(of) });
            let Some(row) = page.into_iter().next_back() else { break };
            last = Some(row);
        }
    }
    Ok(done)
}
