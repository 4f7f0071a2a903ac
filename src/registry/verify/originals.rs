//! Whether every uploaded file is there byte for byte, and its digest stands in the journal.

use crate::access::scope::Scope;
use crate::model::facts::original::Original;
use crate::record;
use crate::registry::enter_pack::REGISTRY;
use crate::registry::journal::hex;
use crate::registry::originals::{OriginalState, left_out_before, of_digest, state};
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::verify::RecordFault;
use crate::store::backend::Tx;
use crate::store::originals;
use crate::store::versions::{self, AsOf, Page};
use sha2::{Digest as _, Sha256};
use std::collections::BTreeSet;

/// How many facts are held at once.
const CHUNK: i64 = 200;

record! {
    /// The uploaded files as they were found.
    pub struct OriginalsFound {
        /// How many files were held against their digests.
        files: i64,
        /// How many of their bytes.
        bytes: i64,
    }
}

/// Walks the files, one in memory at a time, and gives the first that is wrong.
pub(super) async fn walk(
    tx: &mut Tx,
    as_of: AsOf,
    progress: &mut (impl FnMut(Progress) + Send),
) -> Result<(OriginalsFound, Option<RecordFault>), Refusal> {
    let of = Some(originals::count(tx).await?);
    let mut found = OriginalsFound { files: 0, bytes: 0 };
    let mut there = BTreeSet::new();
    let mut after = Vec::new();
    while let Some((digest, bytes)) = originals::next(tx, &after).await? {
        found.files += 1;
        found.bytes += i64::try_from(bytes.len()).unwrap_or_default();
        let sha256 = hex(&digest);
        let named = of_digest(tx, as_of, &sha256).await?;
        let position = named.iter().map(|original| original.position).min();
        if Sha256::digest(&bytes)[..] != digest[..] {
            let what = format!("the bytes of the file {sha256} are not those that were uploaded");
            return Ok((found, Some(fault(position.unwrap_or_default(), what))));
        }
        if named.is_empty() {
            let what = format!("no entry of the journal names the file {sha256}");
            return Ok((found, Some(fault(0, what))));
        }
        there.insert(sha256);
        after = digest;
        progress(Progress { stage: Stage::Originals, done: found.files, of });
    }
    Ok((found, first_missing(tx, as_of, &there).await?))
}

/// The first fact whose file is missing, though something that it gave is still kept.
async fn first_missing(
    tx: &mut Tx,
    as_of: AsOf,
    there: &BTreeSet<String>,
) -> Result<Option<RecordFault>, Refusal> {
    let everything = Scope::everything(REGISTRY);
    let never_had = left_out_before(tx, as_of).await?;
    let mut page = Page { after: None, limit: CHUNK };
    loop {
        let some = versions::list::<Original>(tx, &everything, as_of, &[], Some(page)).await?;
        let Some(last) = some.last() else { return Ok(None) };
        page.after = Some(last.id);
        for original in &some {
            let sha256 = &original.fact.sha256;
            let known_to_miss = there.contains(sha256) || never_had.contains(sha256);
            if !known_to_miss && state(tx, as_of, sha256).await? != OriginalState::Gone {
                let what = format!("the file {sha256} of original {} is missing", original.id);
                return Ok(Some(fault(original.position, what)));
            }
        }
    }
}

fn fault(position: i64, what: String) -> RecordFault {
    RecordFault { position, ordinal: None, chain: None, what }
}
