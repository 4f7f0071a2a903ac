//! Drafts: what somebody has begun on a page of a site and not sent yet. Only the account that began it sees it.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::identifiers::SiteId;
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Change, Registry};
use crate::store::drafts::{self, DraftKey};
use chrono::{DateTime, Duration, Utc};

/// A draft that nobody touched for so long is thrown away (our own choice).
pub const KEPT: Duration = Duration::days(30);

/// What a draft is to become.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DraftOf {
    /// A sampling event.
    SamplingEvent,
    /// A laboratory report from a file.
    LabReport,
}

/// A draft as it was kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Draft {
    /// What was typed, as the page wrote it.
    pub body: String,
    /// When it was kept.
    pub kept_at: DateTime<Utc>,
}

/// The key of a draft of somebody who may record samples at a site.
fn key(caller: &Caller, site: SiteId, of: DraftOf) -> Result<DraftKey, Refusal> {
    if !caller.may(Action::RecordSamples)?.sites.holds(site) {
        return Err(Refusal::Unknown);
    }
    let what = match of {
        DraftOf::SamplingEvent => "sampling_event",
        DraftOf::LabReport => "lab_report",
    };
    Ok(DraftKey { account: caller.account, site, what })
}

impl Registry {
    /// Keeps a draft in place of the one before.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] for a site on which the caller records nothing.
    pub async fn keep_draft(
        &self,
        caller: &Caller,
        site: SiteId,
        of: DraftOf,
        body: String,
    ) -> Result<(), Refusal> {
        let key = key(caller, site, of)?;
        let now = self.clock.now();
        let mut tx = self.database.write().await?;
        drafts::sweep(&mut tx, now - KEPT).await?;
        drafts::keep(&mut tx, key, body, now).await?;
        Ok(tx.commit().await?)
    }

    /// The draft of the caller, if there is one.
    ///
    /// # Errors
    /// As [`Self::keep_draft`].
    pub async fn draft(&self, caller: &Caller, site: SiteId, of: DraftOf) -> Result<Option<Draft>, Refusal> {
        let key = key(caller, site, of)?;
        let mut tx = self.database.read().await?;
        let found = drafts::find(&mut tx, key).await?;
        Ok(found.map(|(body, kept_at)| Draft { body, kept_at }))
    }

    /// Drops the draft of the caller.
    ///
    /// # Errors
    /// As [`Self::keep_draft`].
    pub async fn drop_draft(&self, caller: &Caller, site: SiteId, of: DraftOf) -> Result<(), Refusal> {
        let key = key(caller, site, of)?;
        let mut tx = self.database.write().await?;
        drafts::drop(&mut tx, key).await?;
        Ok(tx.commit().await?)
    }
}

/// Drops the draft of whoever sends it, together with what it becomes.
///
/// # Errors
/// As [`Registry::keep_draft`].
pub async fn sent(change: &mut Change, site: SiteId, of: DraftOf) -> Result<(), Refusal> {
    let key = key(&change.caller, site, of)?;
    Ok(drafts::drop(&mut change.tx, key).await?)
}
