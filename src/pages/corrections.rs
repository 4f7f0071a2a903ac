//! What of the samples behind some numbers was corrected, and where the earlier value is read.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::sampling::Sample;
use crate::model::identifiers::SiteId;
use crate::model::version::Version;
use crate::pages::changes_told::{self, ChangeTold};
use crate::pages::stopped::Stopped;
use crate::pages::texts::Texts;
use crate::store::backend::Tx;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf, Where};
use std::collections::BTreeSet;
use uuid::Uuid;

/// How many are asked for at once.
const TOGETHER: usize = 400;

/// The way to the earlier values of something that was corrected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Corrected {
    /// The entries of the fact in the journal.
    pub address: String,
    /// What it is.
    pub words: String,
    /// Each correction: who, when, from what to what, and why; none for whoever may not read the journal.
    pub how: Vec<ChangeTold>,
    subject: Uuid,
}

impl Corrected {
    /// A fact that was corrected.
    pub fn new(subject: Uuid, words: String) -> Self {
        Self { address: format!("/journal?subject={subject}"), words, how: Vec::new(), subject }
    }
}

/// At most so many corrected facts are told in full beside the numbers of a page; of the others the journal tells.
const TOLD_MOST: usize = 12;

/// The same with who corrected each, when, from what to what, and why. Whoever may not read the journal is told that they
/// were corrected, and no more.
///
/// # Errors
/// Only when storage fails.
pub async fn explained(
    tx: &mut Tx,
    (caller, texts): (&Caller, &Texts),
    as_of: AsOf,
    mut corrected: Vec<Corrected>,
) -> Result<Vec<Corrected>, Stopped> {
    let reads = caller.may(Action::ReadJournal).is_ok();
    for (n, one) in corrected.iter_mut().enumerate() {
        if !reads {
            one.address.clear();
        } else if n < TOLD_MOST {
            one.how = changes_told::changes(tx, caller, as_of, one.subject, texts).await?;
            one.how.retain(|change| change.corrects);
        }
    }
    Ok(corrected)
}

/// What a page says of corrections of the fact that it is about.
#[derive(Debug, Clone, Default)]
pub struct OfFact {
    /// Where it is corrected; empty for whoever may not.
    pub form: String,
    /// The fact, where it was corrected.
    pub corrected: Vec<Corrected>,
}

/// The corrections of a fact whose pages stand below this address; `now` where it is looked at as known now.
///
/// # Errors
/// Only when storage fails.
pub async fn of_fact<F: Stored>(
    tx: &mut Tx,
    (caller, texts): (&Caller, &Texts),
    as_of: AsOf,
    (version, now): (&Version<F>, bool),
    below: &str,
) -> Result<OfFact, Stopped> {
    let corrected = (version.revision > 1).then(|| Corrected::new(version.id, texts.t("corrected-itself")));
    let address = format!("{below}/{}", version.id);
    Ok(OfFact {
        form: form(caller, now && version.stands(), version.site, &address),
        corrected: explained(tx, (caller, texts), as_of, corrected.into_iter().collect()).await?,
    })
}

/// Where a fact at this address is corrected; empty for whoever may not correct it, or where it cannot be.
pub fn form(caller: &Caller, open: bool, site: Option<SiteId>, address: &str) -> String {
    let may = caller.may(Action::Void).is_ok_and(|scope| site.is_none_or(|site| scope.sites.holds(site)));
    if open && may { format!("{address}/correction") } else { String::new() }
}

/// Those of some samples that were corrected, by number; of samples out of sight none.
///
/// # Errors
/// Only when storage fails.
pub async fn of_samples(
    tx: &mut Tx,
    (caller, texts): (&Caller, &Texts),
    as_of: AsOf,
    samples: BTreeSet<Uuid>,
) -> Result<Vec<Corrected>, Stopped> {
    let scope = caller.may(Action::ReadSamples)?;
    let mut found = Vec::new();
    for some in samples.into_iter().collect::<Vec<_>>().chunks(TOGETHER) {
        let samples = versions::list::<Sample>(tx, &scope, as_of, &[Where::Ids(some.to_vec())], None).await?;
        found.extend(samples.into_iter().filter(|sample| sample.revision > 1));
    }
    found.sort_by_key(|sample| sample.fact.number.to_string());
    let corrected = found
        .iter()
        .map(|sample| {
            let words = texts.with("corrected-sample", &[("what", sample.fact.number.as_str())]);
            Corrected::new(sample.id, words)
        })
        .collect();
    explained(tx, (caller, texts), as_of, corrected).await
}
