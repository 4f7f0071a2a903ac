//! In which edition the clauses behind duties were read, and how far they were checked against the text.

use crate::model::facts::agent::Verification;
use crate::model::facts::clause::Clause;
use crate::model::facts::duty::Duty;
use crate::model::facts::rules::PackRow;
use crate::model::shape::{Faults, Shape as _};
use crate::registry::gather;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::versions::{AsOf, Where};
use crate::surveillance::pack::editions::in_words;
use std::collections::{BTreeMap, BTreeSet};

/// How a clause was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Citation {
    /// The edition of the text.
    pub edition: Option<String>,
    /// How far it was checked.
    pub verification: Option<Verification>,
}

/// How each of these rows of the pack, or clauses of other authorities, was read.
///
/// # Errors
/// Only when storage fails.
pub async fn citations(
    tx: &mut Tx,
    as_of: AsOf,
    trigger_ids: BTreeSet<String>,
) -> Result<BTreeMap<String, Citation>, StoreError> {
    let ids: Vec<String> = trigger_ids.into_iter().collect();
    let mut found = BTreeMap::new();
    if ids.is_empty() {
        return Ok(found);
    }
    for row in gather::all::<PackRow>(tx, as_of, &[Where::TextIsOneOf("row_id", ids.clone())]).await? {
        let columns = &row.fact.columns;
        let verification = Verification::read(&columns["verification"], "", &mut Faults::default());
        let edition = columns["edition"].as_str().map(in_words);
        found.insert(row.fact.row_id.to_string(), Citation { edition, verification });
    }
    for clause in gather::all::<Clause>(tx, as_of, &[Where::TextIsOneOf("code", ids)]).await? {
        let Clause { edition, verification, .. } = clause.fact;
        let edition = edition.map(|edition| edition.to_string());
        found.insert(clause.fact.code.to_string(), Citation { edition, verification });
    }
    Ok(found)
}

/// A duty with the edition in which its clause is read on the day of writing: a later reading does not change what
/// people were told.
pub fn cited(duty: Duty, citations: &BTreeMap<String, Citation>) -> Duty {
    let cited = duty.trigger_id.as_ref().and_then(|id| citations.get(id.as_str()));
    match cited.cloned() {
        Some(Citation { edition, verification }) => Duty { edition, verification, ..duty },
        None => duty,
    }
}
