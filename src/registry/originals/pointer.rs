//! From a fact to its row in a file, and the file itself.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::laboratory::HeldRow;
use crate::model::facts::original::{Original, OriginalKind};
use crate::model::version::Version;
use crate::record;
use crate::registry::gather;
use crate::registry::originals::{OriginalState, digest_of, state};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::originals;
use crate::store::versions::{self, AsOf, Where};
use serde_json::Value;
use uuid::Uuid;

record! {
    /// In which columns of the file a value stands.
    pub struct FromColumns {
        /// The field of the fact.
        field: String,
        /// The columns.
        columns: Vec<String>,
    }
}

record! {
    /// Where in which file stood what was first recorded.
    pub struct FromFile {
        /// The file; its bytes are at `/originals/{id}/file`.
        original_id: Uuid,
        /// SHA-256 of its bytes, in hexadecimal.
        sha256: String,
        /// Its media type.
        media_type: String,
        /// Which row, from 0, the heading not counted: as in the pointers of faults. Absent of a whole report or event.
        row: Option<i64>,
        /// The JSON pointer in a file that is JSON; empty is the whole file.
        pointer: Option<String>,
        /// In which columns each value stands, in a file that has columns.
        columns: Option<Vec<FromColumns>>,
    }
}

/// Which columns of a laboratory's file a field of a result comes from.
const COLUMNS_OF: &[(&str, &[&str])] = &[
    ("sample_id", &["sample_number"]),
    ("agent_code", &["agent"]),
    ("mass", &["quantity", "comparator", "value", "unit"]),
    ("concentration", &["quantity", "comparator", "value", "unit"]),
    ("reporting_limit", &["reporting_limit", "unit"]),
    ("detection_limit", &["detection_limit", "unit"]),
    ("blank_corrected", &["blank_corrected"]),
    ("estimated", &["estimated"]),
    ("replaces", &["replaces"]),
    ("analysed_on", &["analysed_on"]),
];

/// Where a fact that was recorded under a report or event came from; nothing where it was not sent as a file.
///
/// `fields` are those that the answer shows.
///
/// # Errors
/// Only when storage fails.
pub async fn of_row(
    tx: &mut Tx,
    as_of: AsOf,
    parent: Option<Uuid>,
    fact: Uuid,
    fields: &Value,
) -> Result<Option<FromFile>, Refusal> {
    let Some(parent) = parent else { return Ok(None) };
    let Some(original) = under(tx, as_of, parent).await? else { return Ok(None) };
    let mut place = original.fact.gave.iter().position(|id| *id == fact);
    if place.is_none() {
        // A row that waited for its sample became a result of its own.
        let held = gather::all::<HeldRow>(tx, as_of, &[Where::Parent(parent)]).await?;
        let held = held.iter().find(|held| held.fact.result_id.is_some_and(|result| result.0 == fact));
        place = held.and_then(|held| original.fact.gave.iter().position(|id| *id == held.id));
    }
    Ok(place.map(|row| told(&original, Some(row), fields)))
}

/// The file that a report or event as a whole came from.
///
/// # Errors
/// Only when storage fails.
pub async fn of_thing(tx: &mut Tx, as_of: AsOf, thing: Uuid) -> Result<Option<FromFile>, Refusal> {
    Ok(under(tx, as_of, thing).await?.map(|original| told(&original, None, &Value::Null)))
}

async fn under(tx: &mut Tx, as_of: AsOf, thing: Uuid) -> Result<Option<Version<Original>>, Refusal> {
    Ok(gather::all::<Original>(tx, as_of, &[Where::Parent(thing)]).await?.into_iter().next())
}

fn told(original: &Version<Original>, row: Option<usize>, fields: &Value) -> FromFile {
    let fact = &original.fact;
    let list = match fact.holds {
        OriginalKind::LabReport => "results",
        OriginalKind::SamplingEvents => "samples",
    };
    let pointer = match row {
        Some(row) => format!("{}/{list}/{row}", fact.pointer),
        None => fact.pointer.clone(),
    };
    let columns = |there: &Vec<String>| {
        let in_file = |columns: &[&str]| -> Vec<String> {
            columns
                .iter()
                .filter(|name| there.iter().any(|column| column == *name))
                .map(|c| (*c).into())
                .collect()
        };
        let of_field = |(field, columns): &(&str, &[&str])| {
            let columns = in_file(columns);
            (fields.get(*field).is_some() && !columns.is_empty())
                .then(|| FromColumns { field: (*field).to_owned(), columns })
        };
        COLUMNS_OF.iter().filter_map(of_field).collect()
    };
    FromFile {
        original_id: original.id,
        sha256: fact.sha256.clone(),
        media_type: fact.media_type.clone(),
        row: row.and_then(|row| i64::try_from(row).ok()),
        pointer: fact.columns.is_none().then_some(pointer),
        columns: row.and(fact.columns.as_ref()).map(columns),
    }
}

/// A file for whoever may read what it gave: the fact and its bytes.
///
/// # Errors
/// [`Refusal::Unknown`] out of sight; a conflict where something that it gave was disposed of.
pub async fn read(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    id: Uuid,
) -> Result<(Version<Original>, Vec<u8>), Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    let original = versions::find::<Original>(tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    match state(tx, as_of, &original.fact.sha256).await? {
        OriginalState::Open => {}
        OriginalState::Closed => {
            return Err(Refusal::taken(
                "something that this file gave was disposed of: it is kept for the rest, and closed",
            ));
        }
        OriginalState::Gone => {
            return Err(Refusal::taken("all that this file gave was disposed of, and the file with it"));
        }
    }
    let bytes = originals::get(tx, &digest_of(&original.fact.sha256)?).await?;
    let bytes =
        bytes.ok_or_else(|| Refusal::Unreadable(format!("the bytes of original {id} are missing")))?;
    Ok((original, bytes))
}
