//! What becomes of a file when something that it gave is disposed of.
//!
//! A file holds rows of several samples, and so of several workers, and cannot be cut without losing its digest. It stays
//! as long as one of its rows is to be kept, closed to everybody; its bytes go with the last of them. The fact with the
//! digest stays: it names nobody.

use crate::model::facts::laboratory::{HeldRow, LabResult};
use crate::model::facts::original::Original;
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::registry::gather;
use crate::registry::originals::{OriginalState, digest_of, state};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::originals;
use crate::store::tables::{Stored as _, Table};
use crate::store::versions::{AsOf, Where};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The digests of the files that gave one of these facts; asked before they go.
pub(in crate::registry) async fn files_behind(
    tx: &mut Tx,
    as_of: AsOf,
    parts: &[(&'static Table, Uuid, Option<i64>)],
) -> Result<BTreeSet<String>, Refusal> {
    let of = |kind: &str| -> Vec<Uuid> {
        parts.iter().filter(|(table, ..)| table.kind == kind).map(|(_, id, _)| *id).collect()
    };
    let mut things = of(SamplingEvent::TABLE.kind);
    for table in [Sample::TABLE, LabResult::TABLE, HeldRow::TABLE] {
        things.extend(originals::parents_of(tx, table, &of(table.kind)).await?);
    }
    let found = gather::many::<Original>(tx, as_of, &things, Where::Parents).await?;
    Ok(found.into_iter().map(|original| original.fact.sha256).collect())
}

/// Removes the bytes of those of them of which nothing is left.
pub(in crate::registry) async fn let_go(
    tx: &mut Tx,
    as_of: AsOf,
    files: &BTreeSet<String>,
) -> Result<(), Refusal> {
    for sha256 in files {
        if state(tx, as_of, sha256).await? == OriginalState::Gone
            && let Ok(digest) = digest_of(sha256)
        {
            originals::remove(tx, &digest).await?;
        }
    }
    Ok(())
}
