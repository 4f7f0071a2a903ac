//! `doseward anchor`: writes an anchor of the record, to be kept outside.

use crate::cli::failure::Failure;
use crate::cli::session::Session;
use std::io::Write as _;
use std::path::{Path, PathBuf};

/// Where to.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The file that is written; one that is there already is left as it is.
    file: PathBuf,
    /// Writes the public key too, as PEM, into this file.
    #[arg(long, value_name = "FILE")]
    key: Option<PathBuf>,
}

/// Writes the anchor.
///
/// # Errors
/// The caller may not read the journal; the file is there already or cannot be written.
pub async fn run(session: &Session, options: Options) -> Result<(), Failure> {
    let signed = session.registry.anchor(&session.caller).await?;
    put(&options.file, &signed.to_string())?;
    if let Some(file) = &options.key {
        put(file, &session.registry.public_key().await?.public_key)?;
    }
    let chains = signed.anchor.chains.len() + signed.anchor.blinded.len();
    println!("{chains} chains at position {} in {}", signed.anchor.position, options.file.display());
    println!("Keep it where nobody can reach who can reach the database.");
    Ok(())
}

/// A witness is never written over.
pub(super) fn put(file: &Path, text: &str) -> Result<(), Failure> {
    std::fs::File::create_new(file)
        .and_then(|mut opened| {
            opened.write_all(text.as_bytes())?;
            opened.sync_all()
        })
        .map_err(|error| Failure::Refused(format!("{}: {error}", file.display())))
}
