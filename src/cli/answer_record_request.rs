//! `doseward answer-record-request`: writes what is handed out on a request for a worker's records.

use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::export;
use crate::model::shape::Shape as _;
use crate::registry::anchor::ChainState;
use crate::registry::conclude::record_package::record_package;
use crate::registry::reading::Read;
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// Which request, and where to.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The request's identifier.
    request: Uuid,
    /// The folder that is made: the package as a paper (package.html) and as data (package.json).
    folder: PathBuf,
}

/// Writes the folder.
///
/// # Errors
/// The caller may not read the records, or nothing lets the one who asks have them; the folder cannot be written.
pub async fn run(session: &Session, options: Options) -> Result<(), Failure> {
    let (registry, caller) = (&session.registry, &session.caller);
    registry.settle().await?;
    let mut tx = registry.database.read().await?;
    let as_of = registry.as_of(&mut tx, None).await?;
    let package = record_package(&mut tx, caller, as_of, registry.seen_from(None), options.request).await?;
    let state = ChainState::at(&mut tx, as_of.position, None).await?;
    drop(tx);
    let read = Read {
        request: "doseward answer-record-request".into(),
        worker: Some(package.worker_id),
        scope: None,
        position: as_of.position,
        workers: 1,
        client: None,
        purpose: None,
    };
    // Who read whose exposure is on disk before the exposure is.
    registry.note_reading(caller, read).await?;
    let paper = export::record_package::write(&package, &state)
        .map_err(|error| Failure::Refused(error.to_string()))?;
    let data = serde_json::to_string_pretty(&package.to_json()).unwrap_or_default();
    let failed =
        |file: &Path, error: std::io::Error| Failure::Refused(format!("{}: {error}", file.display()));
    std::fs::create_dir(&options.folder).map_err(|error| failed(&options.folder, error))?;
    for (name, text) in [("package.html", paper), ("package.json", data)] {
        let file = options.folder.join(name);
        std::fs::write(&file, text).map_err(|error| failed(&file, error))?;
    }
    println!("{} results that measured this person in {}", package.own.len(), options.folder.display());
    println!("Look through it before it is handed out; what is missing stands at its head.");
    Ok(())
}
