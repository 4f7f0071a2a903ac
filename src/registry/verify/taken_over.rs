//! Whether a journal leaves something out only where a bundle that was taken over did.

use crate::access::scope::Scope;
use crate::model::facts::hand_over::TakenOver;
use crate::registry::bundle::digest_of_gaps;
use crate::registry::enter_pack::REGISTRY;
use crate::registry::refusal::Refusal;
use crate::registry::verify::RecordFault;
use crate::store::backend::Tx;
use crate::store::journal;
use crate::store::versions::{self, AsOf};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// What is wrong with the gaps, if anything is: they are those of the newest bundle, or there are none.
pub(super) async fn first_wrong(
    tx: &mut Tx,
    gaps: &BTreeSet<(i64, i64)>,
) -> Result<Option<RecordFault>, Refusal> {
    let (position, _) = journal::head(tx).await?;
    let as_of = AsOf { position, date: NaiveDate::default() };
    let taken = versions::list::<TakenOver>(tx, &Scope::everything(REGISTRY), as_of, &[], None).await?;
    // A bundle of a registry that took one over holds that registry's gaps among its own.
    let last = taken.last();
    let right = match last {
        Some(taken) => taken.fact.gaps_sha256 == digest_of_gaps(gaps),
        None => gaps.is_empty(),
    };
    let first = gaps.first().map_or(1, |(position, _)| *position);
    Ok((!right).then(|| RecordFault {
        position: last.map_or(first, |taken| taken.position),
        ordinal: None,
        chain: None,
        what: "the journal leaves something out that was not left out when it was taken over".into(),
    }))
}
