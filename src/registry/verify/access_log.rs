//! Whether every line of the access log stands where it was written, says what it said, and the last is the last.

use crate::record;
use crate::registry::journal::hex;
use crate::registry::progress::{Progress, Stage};
use crate::registry::refusal::Refusal;
use crate::registry::verify::RecordFault;
use crate::store::access_log::{self, Placed, digest_of};
use crate::store::backend::Tx;
use crate::store::journal::NOTHING_BEFORE;

/// How many lines are held at once.
const CHUNK: i64 = 500;
/// What a fault of the log names in place of a chain.
pub(super) const LOG: &str = "access-log";

record! {
    /// The access log as it was found.
    pub struct AccessLogFound {
        /// How many lines were walked.
        lines: i64,
        /// Their running digest, in hexadecimal.
        digest: String,
        /// Lines that an earlier release has written beside; the next start takes them in.
        without_place: i64,
    }
}

/// Walks the lines, and gives the first that is wrong.
pub(super) async fn walk(
    tx: &mut Tx,
    progress: &mut (impl FnMut(Progress) + Send),
) -> Result<(AccessLogFound, Option<RecordFault>), Refusal> {
    let (lines, head) = access_log::head(tx).await?;
    let (mut place, mut before, mut fault) = (0, NOTHING_BEFORE.to_vec(), None);
    'log: loop {
        let chunk = access_log::placed(tx, place, CHUNK).await?;
        if chunk.is_empty() {
            break;
        }
        for placed in chunk {
            match follows(&placed, place + 1, &before) {
                Ok(digest) => (place, before) = (place + 1, digest),
                Err(what) => {
                    fault = Some(fault_at(placed.line.position, what));
                    break 'log;
                }
            }
        }
        progress(Progress { stage: Stage::AccessLog, done: place, of: Some(lines) });
    }
    if fault.is_none() && (place, &before) != (lines, &head) {
        let what = format!("the log's head stands at line {lines}, its last line is {place} or another one");
        fault = Some(fault_at(0, what));
    }
    let without_place = access_log::without_place(tx).await?;
    Ok((AccessLogFound { lines: place, digest: hex(&before), without_place }, fault))
}

/// The digest of a line that is the next one, or what is wrong with it.
fn follows(placed: &Placed, place: i64, before: &[u8]) -> Result<Vec<u8>, String> {
    if placed.place != Some(place) {
        return Err(format!("line {place} is missing"));
    }
    let digest = digest_of(before, place, &placed.line);
    if placed.digest.as_deref() == Some(&digest[..]) {
        Ok(digest.to_vec())
    } else {
        Err(format!("line {place} is not as it was written"))
    }
}

fn fault_at(position: i64, what: String) -> RecordFault {
    RecordFault { position, ordinal: None, chain: Some(LOG.into()), what }
}
