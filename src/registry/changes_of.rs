//! What was done with a fact, from its recording on: when, by whom, why, and what it was after each.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::identifiers::{AccountId, SiteId};
use crate::registry::journal::{JournalQuestion, page};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use chrono::{DateTime, Utc};
use serde_json::Value;
use uuid::Uuid;

/// How many changes of one fact are told.
const MOST: i64 = 200;

/// A change of a fact.
#[derive(Debug, Clone, PartialEq)]
pub struct ChangeOf {
    /// When it was recorded.
    pub at: DateTime<Utc>,
    /// By which account.
    pub account: AccountId,
    /// The site of the fact, if it is of one.
    pub site: Option<SiteId>,
    /// What was done: `recorded`, `corrected`, `accepted`, `voided` …
    pub deed: String,
    /// Why.
    pub reason: Option<String>,
    /// The fact after it.
    pub fact: Value,
}

/// The changes of a fact in their order; none for whoever may not read the journal.
///
/// # Errors
/// Only when storage fails.
pub async fn changes_of(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    subject: Uuid,
) -> Result<Vec<ChangeOf>, Refusal> {
    if caller.may(Action::ReadJournal).is_err() {
        return Ok(Vec::new());
    }
    let until = Some(as_of.position);
    let question =
        JournalQuestion { subject: Some(subject), until, limit: MOST, ..JournalQuestion::default() };
    let entries = page(tx, caller, as_of, &question).await?.items;
    Ok(entries
        .into_iter()
        .filter_map(|entry| {
            let mut image = entry.image?;
            let reason = image["reason"].as_str().or_else(|| image["voided"].as_str()).map(str::to_owned);
            Some(ChangeOf {
                at: entry.at,
                account: entry.account_id,
                site: entry.site_id,
                deed: entry.deed,
                reason,
                fact: image["fact"].take(),
            })
        })
        .collect())
}
