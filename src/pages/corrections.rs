//! What of the samples behind some numbers was corrected, and where the earlier value is read.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::sampling::Sample;
use crate::pages::stopped::Stopped;
use crate::pages::texts::Texts;
use crate::store::backend::Tx;
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
}

impl Corrected {
    /// A fact that was corrected.
    pub fn new(subject: Uuid, words: String) -> Self {
        Self { address: format!("/journal?subject={subject}"), words }
    }
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
    Ok(found
        .iter()
        .map(|sample| {
            let words = texts.with("corrected-sample", &[("what", sample.fact.number.as_str())]);
            Corrected::new(sample.id, words)
        })
        .collect())
}
