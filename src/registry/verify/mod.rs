//! Proves the record: entries, chains, versions and the access log walked on one snapshot; the first fault is named. An
//! anchor from outside also proves that no tail was cut and nothing rewritten.
//!
//! Memory stays that of one chunk of entries, whatever the length of the journal.

pub mod access_log;
pub mod anchored;
mod chain;
mod conclusions;
mod letters;
pub mod originals;
mod rows;
mod taken_over;

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::record;
use crate::registry::anchor::keys;
use crate::registry::enter_pack::REGISTRY;
use crate::registry::journal::hex;
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::chains;
use crate::store::gaps;
use crate::store::journal::{self, Reading};
use crate::store::tables::TABLES;
use crate::store::versions;
use access_log::AccessLogFound;
use anchored::{AnchorFinding, Witness};
pub(super) use chain::Walk;
use originals::OriginalsFound;

/// How many entries are held at once.
const CHUNK: i64 = 500;

record! {
    /// A chain as it was found.
    pub struct ChainView {
        /// Its name.
        chain: String,
        /// How many entries it has.
        entries: i64,
        /// The hash of its last entry, in hexadecimal.
        head: String,
    }
}

record! {
    /// The first thing found wrong.
    pub struct RecordFault {
        /// The position it is at.
        position: i64,
        /// Which entry of that position, where it is an entry.
        ordinal: Option<i64>,
        /// The chain of that entry, where it is known.
        chain: Option<String>,
        /// What is wrong.
        what: String,
    }
}

record! {
    /// What the verification of the record found. The chain of medical grounds is shown to a physician alone; its entries
    /// are proved with the others.
    pub struct Verification {
        /// How many entries were walked, of the chains that are shown.
        entries: i64,
        /// The chains as far as they were walked.
        chains: Vec<ChainView>,
        /// The access log as far as it was walked.
        access_log: AccessLogFound,
        /// The uploaded files as far as they were walked.
        originals: OriginalsFound,
        /// Whether entries, chains, versions, stored conclusions, the access log, the uploaded files
        /// and the announcements of keys agree, and contain the anchor.
        sound: bool,
        /// The first thing wrong, if anything is.
        first_fault: Option<RecordFault>,
        /// What came of holding them against an anchor, if one was given.
        anchor: Option<AnchorFinding>,
    }
}

impl Verification {
    /// The same for a reader: whoever is not told of medical grounds sees neither their chain nor what is wrong in it.
    #[must_use]
    pub fn for_reader(mut self, caller: &Caller) -> Self {
        if caller.may(Action::MedicalGrounds).is_ok_and(|scope| scope.is_all()) {
            return self;
        }
        self.chains.retain(|chain| chain.chain != journal::MEDICAL);
        // All entries less those that are shown would be the count of those that are not.
        self.entries = self.chains.iter().map(|chain| chain.entries).sum();
        if let Some(anchor) = &mut self.anchor {
            anchor.without_medical();
        }
        let medical = |fault: &RecordFault| fault.chain.as_deref() == Some(journal::MEDICAL);
        if let Some(fault) = self.first_fault.as_mut().filter(|fault| medical(fault)) {
            *fault = RecordFault {
                position: fault.position,
                ordinal: None,
                chain: None,
                what: "an entry that is not shown is not as it was recorded".into(),
            };
        }
        self
    }
}

/// Proves the whole record, on one snapshot.
///
/// # Errors
/// Only when storage fails; what is found wrong is in the answer.
pub async fn verify(
    registry: &Registry,
    progress: impl FnMut(Progress) + Send,
) -> Result<Verification, Refusal> {
    verify_with(registry, None, progress).await
}

/// The same, and that the record still contains an anchor.
///
/// # Errors
/// Only when storage fails; what is found wrong is in the answer.
pub async fn verify_with(
    registry: &Registry,
    witness: Option<&Witness>,
    mut progress: impl FnMut(Progress) + Send,
) -> Result<Verification, Refusal> {
    let mut tx = registry.database.read().await?;
    let left_out = gaps::all(&mut tx).await?;
    let mut walk = Walk::with_gaps(left_out.clone());
    let mut fault = walk_entries(&mut tx, &mut walk, &mut progress).await?;
    if fault.is_none() {
        let (position, at) = journal::head(&mut tx).await?;
        let chains = chains::heads(&mut tx).await?;
        fault = walk.ends_at(position, at, &chains).err();
    }
    fault = earlier(fault, taken_over::first_wrong(&mut tx, &left_out).await?);
    let of = i64::try_from(TABLES.len()).ok();
    progress(Progress { stage: Stage::Versions, done: 0, of });
    // A lost entry may show only later in its chain; its version tells where it stood.
    fault = earlier(fault, version_without_entry(&mut tx).await?);
    progress(Progress { stage: Stage::Versions, done: of.unwrap_or_default(), of });
    if fault.is_none() {
        fault = conclusions::first_differing(registry, &mut tx, &mut progress).await?;
    }
    let (access_log, in_log) = access_log::walk(&mut tx, &mut progress).await?;
    fault = fault.or(in_log);
    let as_of = registry.now(&mut tx).await?;
    let (originals, in_files) = originals::walk(&mut tx, as_of, &mut progress).await?;
    fault = fault.or(in_files);
    if let (None, Some(what)) = (&fault, keys::first_wrong(&mut tx).await?) {
        fault = Some(RecordFault { position: 0, ordinal: None, chain: None, what });
    }
    let anchor = match witness {
        Some(witness) => Some(anchored::compare(&mut tx, witness).await?),
        None => None,
    };
    let sound = fault.is_none() && anchor.as_ref().is_none_or(|anchor| anchor.contained);
    let chains = walk
        .chains()
        .map(|(chain, entries, head)| ChainView { chain: chain.to_owned(), entries, head: hex(head) })
        .collect();
    Ok(Verification {
        entries: walk.entries(),
        chains,
        access_log,
        originals,
        sound,
        first_fault: fault,
        anchor,
    })
}

async fn walk_entries(
    tx: &mut Tx,
    walk: &mut Walk,
    progress: &mut (impl FnMut(Progress) + Send),
) -> Result<Option<RecordFault>, Refusal> {
    let of = Some(journal::count(tx).await?);
    let everything = Scope::everything(REGISTRY);
    let mut reading = Reading { medical: true, limit: CHUNK, ..Reading::default() };
    loop {
        let chunk = journal::entries(tx, &everything, &reading).await?;
        let Some(last) = chunk.last() else { return Ok(None) };
        reading.after = Some((last.envelope.position, last.envelope.ordinal));
        let rows = rows::Rows::of(tx, &chunk).await?;
        for entry in &chunk {
            if let Err(fault) = walk.step(entry).and_then(|()| rows.agree_with(entry)) {
                return Ok(Some(fault));
            }
        }
        progress(Progress { stage: Stage::Entries, done: walk.entries(), of });
    }
}

/// The earliest version that no entry brought.
async fn version_without_entry(tx: &mut Tx) -> Result<Option<RecordFault>, Refusal> {
    let mut first = None;
    for table in TABLES {
        if let Some((id, position, body)) = versions::first_without_entry(tx, table).await? {
            let what = format!("the version of {} {id} that began here has no entry", table.kind);
            let medical = serde_json::from_str(&body).is_ok_and(|fact| (table.medical)(&fact));
            let chain = medical.then(|| journal::MEDICAL.to_owned());
            first = earlier(first, Some(RecordFault { position, ordinal: None, chain, what }));
        }
    }
    Ok(first)
}

/// The one at the earlier position; the first where both stand at the same.
fn earlier(one: Option<RecordFault>, other: Option<RecordFault>) -> Option<RecordFault> {
    match (one, other) {
        (Some(one), Some(other)) => Some(if other.position < one.position { other } else { one }),
        (one, other) => one.or(other),
    }
}
