//! Whether a journal leaves something out only where a bundle that was taken over did.

use crate::access::scope::Scope;
use crate::model::facts::hand_over::TakenOver;
use crate::registry::bundle::digest_of_gaps;
use crate::registry::enter_pack::REGISTRY;
use crate::registry::refusal::Refusal;
use crate::registry::verify::RecordFault;
use crate::store::backend::Tx;
use crate::store::gaps as gaps_store;
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
    let Some(last) = taken.last() else {
        let first = gaps.first().map_or(1, |(position, _)| *position);
        return Ok((!gaps.is_empty()).then(|| fault(first, LEAVES_OUT)));
    };
    if last.fact.gaps_sha256 != digest_of_gaps(gaps) {
        return Ok(Some(fault(last.position, LEAVES_OUT)));
    }
    // Beside a gap a chain does not tell whether one entry more is missing: their number does.
    let there = gaps_store::count_before(tx, last.position).await?;
    Ok((there != last.fact.entries).then(|| {
        let what = format!("of {} entries that were taken over {there} are there", last.fact.entries);
        fault(last.position, what)
    }))
}

/// Said of a gap that nobody handed over.
const LEAVES_OUT: &str = "the journal leaves something out that was not left out when it was taken over";

fn fault(position: i64, what: impl Into<String>) -> RecordFault {
    RecordFault { position, ordinal: None, chain: None, what: what.into() }
}
