//! `doseward export`: takes a data set out as a file.

use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::export::csv::{self, Reader};
use crate::model::identifiers::WorkerId;
use crate::model::shape::parse_instant;
use crate::registry::conclude::{sample_rows, surveillance_rows};
use crate::registry::reading::Read;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;
use std::path::PathBuf;

/// What is taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Dataset {
    /// Who must be offered surveillance, by when, under which clause.
    Surveillance,
    /// Every sample with its concentrations.
    Samples,
}

/// What to take out, and where to.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The data set.
    dataset: Dataset,
    /// The CSV file that is written; an earlier one is replaced.
    file: PathBuf,
    /// As it was known at this instant (RFC 3339 with offset).
    #[arg(long, value_name = "INSTANT", value_parser = instant)]
    as_known_on: Option<DateTime<Utc>>,
    /// Guards cells that a spreadsheet would take for formulae.
    #[arg(long)]
    for_spreadsheet: bool,
}

/// Writes the file.
///
/// # Errors
/// The caller may not take data out; the file cannot be written.
pub async fn run(session: &Session, options: Options) -> Result<(), Failure> {
    let reader = if options.for_spreadsheet { Reader::Spreadsheet } else { Reader::Program };
    let (registry, caller) = (&session.registry, &session.caller);
    let mut tx = registry.database.read().await?;
    let as_of = registry.as_of(&mut tx, options.as_known_on).await?;
    let (name, rows, workers, file) = match options.dataset {
        Dataset::Surveillance => {
            let rows = surveillance_rows::rows(&mut tx, caller, as_of).await?;
            let workers = named(rows.iter().map(|row| row.worker_id));
            ("surveillance", rows.len(), workers, csv::write(&rows, reader))
        }
        Dataset::Samples => {
            let rows = sample_rows::rows(&mut tx, caller, as_of).await?;
            let workers = named(rows.iter().map(|row| row.worker_id));
            ("samples", rows.len(), workers, csv::write(&rows, reader))
        }
    };
    drop(tx);
    // Who read whose exposure is on disk before the exposure is.
    let request = format!("doseward export {name}");
    let scope = Some("export".to_owned());
    let read = Read { request, worker: None, scope, position: as_of.position, workers };
    registry.note_reading(caller, read).await?;
    std::fs::write(&options.file, file)
        .map_err(|error| Failure::Refused(format!("{}: {error}", options.file.display())))?;
    println!("{rows} rows as known at position {} in {}", as_of.position, options.file.display());
    Ok(())
}

/// How many workers are named.
fn named(workers: impl Iterator<Item = Option<WorkerId>>) -> usize {
    workers.flatten().collect::<BTreeSet<_>>().len()
}

fn instant(text: &str) -> Result<DateTime<Utc>, String> {
    parse_instant(text)
        .ok_or_else(|| "must be an instant with its offset, such as 2026-03-02T07:30:00-07:00".into())
}
