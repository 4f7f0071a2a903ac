//! `doseward restore`: restores a backup into an empty registry.

use crate::cli::failure::Failure;
use crate::cli::progress::Telling;
use crate::cli::session::{Session, must_be_the_console};
use crate::cli::verify;
use crate::registry::backup::restore::Backup;
use crate::registry::enter_pack;
use crate::service;
use std::path::PathBuf;

/// What is restored.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The backup.
    file: PathBuf,
}

/// Looks the backup through, restores it, computes what follows from it, and proves the record.
///
/// # Errors
/// The backup is damaged or newer than this program; the registry is not empty; storage fails.
pub async fn run(database_url: &str, options: Options) -> Result<(), Failure> {
    must_be_the_console()?;
    let mut telling = Telling::new();
    // Before the database is opened, or made: a file that is no good leaves no trace.
    let backup = Backup::open(&options.file, |progress| telling.hear(progress));
    telling.end();
    let backup = backup?;
    let registry = service::open_without_rules(database_url).await?;
    let mut telling = Telling::new();
    let restored = backup.restore(&registry, |progress| telling.hear(progress)).await;
    telling.end();
    let restored = restored?;
    println!(
        "{} entries up to position {} and {} rows beside them restored on {}",
        restored.entries,
        restored.position,
        restored.rows,
        registry.database.engine()
    );
    if restored.written_since > 0 {
        println!(
            "{} positions follow: duties and moves of standing that are due by now",
            restored.written_since
        );
    }
    let caller = enter_pack::console(&crate::cli::operator::operator());
    verify::run(&Session { registry, caller }, verify::Options::default()).await
}
