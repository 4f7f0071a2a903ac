//! `doseward backup`: writes the whole registry to one file.

use crate::cli::failure::Failure;
use crate::cli::progress::Telling;
use crate::cli::session::Session;
use crate::registry::backup::save;
use std::path::PathBuf;

/// Where the backup is written.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The file; it must not be there yet.
    file: PathBuf,
    /// Writes over an earlier file, once the new one is whole.
    #[arg(long)]
    replace: bool,
}

/// Writes the backup, and says what it holds and what its checksum is.
///
/// # Errors
/// The file is there already or cannot be written; the record is not sound; storage fails.
pub async fn run(database_url: &str, options: Options) -> Result<(), Failure> {
    let session = Session::open_for_the_whole(database_url).await?;
    let mut telling = Telling::new();
    let hear = |progress| telling.hear(progress);
    let saved = save::save(&session.registry, &session.caller, &options.file, options.replace, hear).await;
    telling.end();
    let saved = saved?;
    println!(
        "{} entries up to position {} and {} rows beside them in {}",
        saved.entries,
        saved.position,
        saved.rows,
        options.file.display()
    );
    println!("sha256 {}", saved.sha256);
    Ok(())
}
