//! Gathers the facts a conclusion is drawn from, as they were known at a position. Reads all sites: what a caller gets
//! to see of a conclusion is decided where it is handed out.

pub mod agents;
pub mod citations;
pub mod groups;
pub mod persons;
pub mod samples;
pub mod surveilled;
pub mod workers;

use crate::access::scope::Scope;
use crate::model::version::Version;
use crate::registry::enter_pack::REGISTRY;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf, Where};
use uuid::Uuid;

/// How many identifiers go into one statement.
pub(crate) const AT_ONCE: usize = 400;

/// Every standing fact that meets the restrictions, of whatever site.
pub(crate) async fn all<F: Stored>(
    tx: &mut Tx,
    as_of: AsOf,
    restrictions: &[Where],
) -> Result<Vec<Version<F>>, StoreError> {
    let mut with: Vec<Where> = restrictions.to_vec();
    with.push(Where::Standing);
    versions::list(tx, &Scope::everything(REGISTRY), as_of, &with, None).await
}

/// One fact, of whatever site, void or not.
pub(crate) async fn one<F: Stored>(
    tx: &mut Tx,
    as_of: AsOf,
    id: Uuid,
) -> Result<Option<Version<F>>, StoreError> {
    versions::find(tx, &Scope::everything(REGISTRY), as_of, id).await
}

/// Facts by a long list of identifiers, void ones too, in the order in which they were recorded.
pub(crate) async fn many<F: Stored>(
    tx: &mut Tx,
    as_of: AsOf,
    ids: &[Uuid],
    restriction: impl Fn(Vec<Uuid>) -> Where,
) -> Result<Vec<Version<F>>, StoreError> {
    let mut sorted = ids.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let mut found = Vec::new();
    for some in sorted.chunks(AT_ONCE) {
        let with = [restriction(some.to_vec())];
        found.extend(versions::list(tx, &Scope::everything(REGISTRY), as_of, &with, None).await?);
    }
    found.sort_by_key(|version: &Version<F>| version.id);
    Ok(found)
}
