//! Whether the check value that stands at the foot of a letter is that of its text.

use crate::model::facts::letter::Letter;
use crate::registry::facts::letters::check_value;
use crate::store::tables::Stored as _;
use serde_json::Value;
use uuid::Uuid;

/// What is wrong with the letter of a version row, if it is a letter and anything is.
pub(super) fn differs(kind: &str, id: Uuid, body: &str) -> Option<String> {
    if kind != Letter::TABLE.kind {
        return None;
    }
    let letter: Value = serde_json::from_str(body).ok()?;
    let (text, printed) = (letter["body"].as_str()?, letter["sha256"].as_str()?);
    (check_value(text) != printed).then(|| format!("the check value of letter {id} is not that of its text"))
}
