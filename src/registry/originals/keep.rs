//! Keeping a file with the facts that it gave, in their transaction.

use crate::access::scope::Scope;
use crate::model::facts::original::{Original, OriginalKind, SaidBeside};
use crate::model::identifiers::SiteId;
use crate::model::text::Code;
use crate::model::version::Version;
use crate::registry::journal::hex;
use crate::registry::originals::FILE_MOST;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::originals;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;
use std::sync::Arc;
use uuid::Uuid;

/// A file as it came.
#[derive(Clone, PartialEq, Eq)]
pub struct File {
    /// What it holds.
    pub holds: OriginalKind,
    /// Its bytes.
    pub bytes: Arc<[u8]>,
    /// Its media type.
    pub media_type: &'static str,
    /// Its columns, where it has any.
    pub columns: Option<Vec<String>>,
    /// What was said beside it.
    pub beside: Vec<(String, String)>,
    /// What somebody said that its own names of agents stand for.
    pub named: Vec<(String, String)>,
}

impl std::fmt::Debug for File {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "a {} of {} bytes", self.media_type, self.bytes.len())
    }
}

impl File {
    /// A file in JSON.
    pub fn json(holds: OriginalKind, bytes: &[u8]) -> Self {
        Self {
            holds,
            bytes: bytes.into(),
            media_type: "application/json",
            columns: None,
            beside: Vec::new(),
            named: Vec::new(),
        }
    }

    /// A file in CSV, with what was said beside it.
    pub fn csv(holds: OriginalKind, bytes: &[u8], columns: Vec<String>, beside: &[(String, String)]) -> Self {
        let (columns, beside) = (Some(columns), beside.to_vec());
        Self { holds, bytes: bytes.into(), media_type: "text/csv", columns, beside, named: Vec::new() }
    }
}

impl File {
    /// The same, with what somebody said that its own names of agents stand for.
    #[must_use]
    pub fn naming(self, named: &BTreeMap<String, Code>) -> Self {
        let named = named.iter().map(|(name, code)| (name.clone(), code.to_string())).collect();
        Self { named, ..self }
    }
}

/// What a file gave: a report or an event, where that stands in the file, and the facts of its rows in their order.
#[derive(Debug)]
pub struct Gave {
    /// The report or event.
    pub thing: Uuid,
    /// Where it stands in the file.
    pub pointer: String,
    /// The facts of its rows.
    pub rows: Vec<Uuid>,
}

/// Keeps a file with what it gave.
///
/// # Errors
/// A file that is larger than [`FILE_MOST`]; storage fails.
pub async fn keep(
    change: &mut Change,
    scope: &Scope,
    site: SiteId,
    file: &File,
    gave: Gave,
) -> Result<Version<Original>, Refusal> {
    if file.bytes.len() > FILE_MOST {
        return Err(Refusal::fault("", format!("must be at most {} MiB", FILE_MOST >> 20)));
    }
    let digest: [u8; 32] = Sha256::digest(&file.bytes).into();
    originals::put(&mut change.tx, digest, &file.bytes).await?;
    let said = |(name, value): &(String, String)| SaidBeside { name: name.clone(), value: value.clone() };
    let original = Original {
        holds: file.holds,
        sha256: hex(&digest),
        bytes: i64::try_from(file.bytes.len()).unwrap_or(i64::MAX),
        media_type: file.media_type.to_owned(),
        columns: file.columns.clone(),
        pointer: gave.pointer,
        beside: (!file.beside.is_empty()).then(|| file.beside.iter().map(said).collect()),
        named: (!file.named.is_empty()).then(|| file.named.iter().map(said).collect()),
        gave: gave.rows,
    };
    Ok(change.add(scope, Some(site), Some(gave.thing), original).await?)
}
