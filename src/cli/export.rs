//! `doseward export`: takes a data set out as a file.

use crate::cli::bundle;
use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::export::csv::{self, Reader};
use crate::export::taken::{Format, Taken};
use crate::model::identifiers::WorkerId;
use crate::model::shape::parse_instant;
use crate::registry::conclude::history_rows::Moment;
use crate::registry::conclude::{duty_rows, sample_rows, surveillance_rows};
use crate::registry::reading::Read;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;
use std::io::Write as _;
use std::path::PathBuf;

/// What is taken out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Dataset {
    /// Who must be offered surveillance, by when, under which clause.
    Surveillance,
    /// Every sample with its concentrations.
    Samples,
    /// Every duty.
    Duties,
    /// Every worker's exposure, a row for each agent and interval.
    Histories,
    /// The journal with its hashes.
    Journal,
    /// The whole record of a site, a worker or all, signed, as a tar archive to be handed over.
    Bundle,
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
    #[command(flatten)]
    bundle: bundle::Of,
}

/// Writes the file.
///
/// # Errors
/// The caller may not take data out; the file cannot be written.
pub async fn run(session: &Session, options: Options) -> Result<(), Failure> {
    match (options.dataset, options.bundle.is_all()) {
        (Dataset::Bundle, _) => {
            return bundle::run(session, options.bundle, options.as_known_on, &options.file).await;
        }
        (_, false) => {
            return Err(Failure::Misused("--site and --worker go with a bundle alone".into()));
        }
        _ => {}
    }
    let reader = if options.for_spreadsheet { Reader::Spreadsheet } else { Reader::Program };
    let (registry, caller) = (&session.registry, &session.caller);
    if options.as_known_on.is_none() {
        // Duties are facts: what the latest facts ask for is written before they are read.
        registry.settle().await?;
    }
    let mut tx = registry.database.read().await?;
    let as_of = registry.as_of(&mut tx, options.as_known_on).await?;
    let now = registry.seen_from(options.as_known_on);
    let moment = Moment { as_of, now, of_now: options.as_known_on.is_none() };
    let content = match options.dataset {
        Dataset::Surveillance => {
            let rows = surveillance_rows::rows(&mut tx, caller, as_of).await?;
            let workers = named(rows.iter().map(|row| row.worker_id));
            Content::Whole { rows: rows.len(), workers, file: csv::write(&rows, reader) }
        }
        Dataset::Samples => {
            let rows = sample_rows::rows(&mut tx, caller, as_of).await?;
            let workers = named(rows.iter().map(|row| row.worker_id));
            Content::Whole { rows: rows.len(), workers, file: csv::write(&rows, reader) }
        }
        Dataset::Duties => {
            let rows = duty_rows::rows(&mut tx, caller, as_of).await?;
            let workers = named(rows.iter().map(|row| row.worker_id));
            Content::Whole { rows: rows.len(), workers, file: csv::write(&rows, reader) }
        }
        Dataset::Histories => {
            Content::Growing(Taken::histories(&mut tx, caller, moment, Format::Csv, reader).await?)
        }
        Dataset::Journal => {
            Content::Growing(Taken::journal(&mut tx, caller, moment, Format::Csv, reader).await?)
        }
        Dataset::Bundle => return Ok(()),
    };
    // Who read whose exposure is on disk before the exposure is.
    let workers = match &content {
        Content::Whole { workers, .. } => *workers,
        Content::Growing(taken) => taken.workers,
    };
    let request = format!("doseward export {}", options.dataset.name());
    let scope = Some("export".to_owned());
    let position = as_of.position;
    let read = Read { request, worker: None, scope, position, workers, client: None, purpose: None };
    registry.note_reading(caller, read).await?;
    let failed = |error: std::io::Error| Failure::Refused(format!("{}: {error}", options.file.display()));
    let rows = match content {
        Content::Whole { rows, file, .. } => {
            std::fs::write(&options.file, file).map_err(failed)?;
            rows
        }
        Content::Growing(mut taken) => {
            // The earlier file stays until the new one is whole.
            let mut growing = options.file.clone().into_os_string();
            growing.push(".part");
            let growing = PathBuf::from(growing);
            let mut file = std::fs::File::create(&growing).map_err(failed)?;
            while let Some(part) = taken.next(&mut tx).await? {
                file.write_all(&part).map_err(failed)?;
            }
            file.sync_all().map_err(failed)?;
            std::fs::rename(&growing, &options.file).map_err(failed)?;
            taken.rows()
        }
    };
    println!("{rows} rows as known at position {} in {}", as_of.position, options.file.display());
    Ok(())
}

/// What goes into the file.
enum Content {
    /// All of it.
    Whole { rows: usize, workers: usize, file: Vec<u8> },
    /// A part at a time.
    Growing(Taken),
}

impl Dataset {
    const fn name(self) -> &'static str {
        match self {
            Self::Surveillance => "surveillance",
            Self::Samples => "samples",
            Self::Duties => "duties",
            Self::Histories => "histories",
            Self::Journal => "journal",
            Self::Bundle => "bundle",
        }
    }
}

/// How many workers are named.
fn named(workers: impl Iterator<Item = Option<WorkerId>>) -> usize {
    workers.flatten().collect::<BTreeSet<_>>().len()
}

fn instant(text: &str) -> Result<DateTime<Utc>, String> {
    parse_instant(text)
        .ok_or_else(|| "must be an instant with its offset, such as 2026-03-02T07:30:00-07:00".into())
}
