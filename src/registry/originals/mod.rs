//! Uploaded files, kept byte for byte: each with its SHA-256 in the journal, and each fact that came out of one points to
//! its row.
//!
//! The bytes stand once for each digest. Several facts may name them (a file with several events, a file sent twice), and
//! they stay as long as one of what they gave is kept.

pub mod keep;
pub mod letting_go;
pub mod pointer;
pub mod reparse;

use crate::model::facts::hand_over::TakenOver;
use crate::model::facts::laboratory::{HeldRow, LabResult};
use crate::model::facts::original::{Original, OriginalKind};
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::version::Version;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::originals;
use crate::store::tables::{Key, Stored as _, Table};
use crate::store::versions::{AsOf, Where};
use crate::words;
use std::collections::BTreeSet;
use uuid::Uuid;

/// The most bytes of a file that is kept.
pub const FILE_MOST: usize = 32 << 20;

words! {
    /// How much of what a file gave is still kept.
    pub enum OriginalState {
        /// All of it.
        Open = "open",
        /// Something was disposed of: the file is kept for the rest, and is shown to nobody.
        Closed = "closed",
        /// Nothing: the bytes went with the last of it.
        Gone = "gone",
    }
}

/// The digests of files that a bundle which was taken over did not bring, because something that they gave was disposed of.
pub(super) async fn left_out_before(tx: &mut Tx, as_of: AsOf) -> Result<BTreeSet<String>, Refusal> {
    let taken = gather::all::<TakenOver>(tx, as_of, &[]).await?;
    Ok(taken.into_iter().flat_map(|taken| taken.fact.files_left_out.unwrap_or_default()).collect())
}

/// The facts that name a digest.
pub(super) async fn of_digest(
    tx: &mut Tx,
    as_of: AsOf,
    sha256: &str,
) -> Result<Vec<Version<Original>>, Refusal> {
    let named = [Where::Is("sha256", Key::Text(Some(sha256.to_owned())))];
    Ok(gather::all::<Original>(tx, as_of, &named).await?)
}

/// How much is kept of what the file under a digest gave.
pub(super) async fn state(tx: &mut Tx, as_of: AsOf, sha256: &str) -> Result<OriginalState, Refusal> {
    let (mut given, mut there) = (0, 0);
    for original in of_digest(tx, as_of, sha256).await? {
        let (tables, ids) = what_it_gave(&original);
        given += ids.len();
        there += originals::still_there(tx, tables, &ids).await?;
    }
    Ok(match there {
        there if there == given => OriginalState::Open,
        0 => OriginalState::Gone,
        _ => OriginalState::Closed,
    })
}

/// The facts that a file gave and in which tables they stand. A report's head names nobody and is never disposed of.
fn what_it_gave(original: &Version<Original>) -> (&'static [&'static Table], Vec<Uuid>) {
    let mut ids = original.fact.gave.clone();
    match original.fact.holds {
        OriginalKind::LabReport => (&[LabResult::TABLE, HeldRow::TABLE], ids),
        OriginalKind::SamplingEvents => {
            ids.extend(original.parent);
            (&[SamplingEvent::TABLE, Sample::TABLE], ids)
        }
    }
}

/// The 32 bytes of a digest that is written in hexadecimal.
pub(in crate::registry) fn digest_of(sha256: &str) -> Result<Vec<u8>, Refusal> {
    let pair = |at: usize| sha256.get(at..at + 2).and_then(|pair| u8::from_str_radix(pair, 16).ok());
    let bytes: Option<Vec<u8>> = (0..64).step_by(2).map(pair).collect();
    bytes
        .filter(|_| sha256.len() == 64)
        .ok_or_else(|| Refusal::Unreadable(format!("{sha256} is no digest of a file")))
}
