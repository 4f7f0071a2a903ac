//! `doseward import`: takes facts in from a file, one transaction an event or report.

use crate::access::policy::Action;
use crate::cli::account::site_of;
use crate::cli::bundle;
use crate::cli::failure::{Failure, in_words};
use crate::cli::session::Session;
use crate::model::facts::agent::Agent;
use crate::model::facts::laboratory::LabReportDraft;
use crate::model::facts::original::OriginalKind;
use crate::model::magnitude;
use crate::model::shape::Shape as _;
use crate::registry::facts::laboratory::Report;
use crate::registry::facts::{laboratory, laboratory_csv, sampling};
use crate::registry::originals::FILE_MOST;
use crate::registry::originals::keep::{File, Gave};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};
use serde_json::Value;
use std::path::{Path, PathBuf};

/// What is taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Kind {
    /// Sampling events with their samples: a JSON file with one event or a list of them.
    SamplingEvents,
    /// One laboratory report: a JSON file, or a CSV file with its head in the options.
    LabReport,
    /// A signed bundle of another registry, into an empty one.
    Bundle,
}

/// What to take in, and where.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// What the file holds.
    kind: Kind,
    /// The file.
    file: PathBuf,
    /// The code of the site; not with a bundle.
    #[arg(long, value_name = "CODE")]
    site: Option<String>,
    /// With a bundle: the public key (PEM) with which it must be signed.
    #[arg(long, value_name = "FILE")]
    key: Option<PathBuf>,
    /// Checks everything and stores nothing.
    #[arg(long)]
    dry_run: bool,
    #[command(flatten)]
    head: Head,
}

/// The head of a laboratory report that comes as CSV.
#[derive(Debug, Default, clap::Args)]
#[command(next_help_heading = "Head of a report in CSV")]
pub(crate) struct Head {
    /// The report's number.
    #[arg(long)]
    report_number: Option<String>,
    /// Which part it is.
    #[arg(long)]
    part: Option<String>,
    /// Which revision it is.
    #[arg(long)]
    revision: Option<String>,
    /// The laboratory.
    #[arg(long)]
    laboratory: Option<String>,
    /// Its accreditation.
    #[arg(long)]
    accreditation: Option<String>,
    /// The day it was received.
    #[arg(long, value_name = "DATE")]
    received_on: Option<String>,
}

impl Head {
    /// The given ones by their names in the API.
    fn parameters(&self) -> Vec<(String, String)> {
        let all = [
            ("report_number", &self.report_number),
            ("part", &self.part),
            ("revision", &self.revision),
            ("laboratory", &self.laboratory),
            ("accreditation", &self.accreditation),
            ("received_on", &self.received_on),
        ];
        all.into_iter().filter_map(|(name, value)| Some((name.to_owned(), value.clone()?))).collect()
    }
}

impl Options {
    /// Whether a bundle is taken over, which wants an empty registry.
    pub(crate) fn is_bundle(&self) -> bool {
        self.kind == Kind::Bundle
    }

    fn site(&self) -> Result<&str, Failure> {
        self.site
            .as_deref()
            .ok_or_else(|| Failure::Misused("--site is required: the code of the site".into()))
    }
}

/// Takes a bundle over.
///
/// # Errors
/// As [`bundle::take_over`]; what goes with other files does not go with a bundle.
pub(crate) async fn take_over(database_url: &str, options: Options) -> Result<(), Failure> {
    if options.site.is_some() || !options.head.parameters().is_empty() {
        return Err(Failure::Misused("a bundle says itself of which site it is".into()));
    }
    bundle::take_over(database_url, &options.file, options.key.as_deref(), options.dry_run).await
}

/// Takes the file in.
///
/// # Errors
/// Every fault by event and pointer; what was recorded before the faulty event stays.
pub async fn run(session: &Session, options: Options) -> Result<(), Failure> {
    let site = options.site()?;
    if options.key.is_some() {
        return Err(Failure::Misused("--key goes with a bundle".into()));
    }
    let file = std::fs::read(&options.file)
        .map_err(|error| Failure::Refused(format!("{}: {error}", options.file.display())))?;
    if file.len() > FILE_MOST {
        let most = FILE_MOST >> 20;
        return Err(Failure::Refused(format!(
            "{}: must be at most {most} MiB, for the file is kept; take it in in parts",
            options.file.display()
        )));
    }
    match options.kind {
        Kind::SamplingEvents => take_events(session, &options, site, &file).await,
        Kind::LabReport => take_report(session, &options, site, &file).await,
        Kind::Bundle => Err(Failure::Misused("a bundle is taken over into an empty registry".into())),
    }
}

async fn take_events(session: &Session, options: &Options, site: &str, file: &[u8]) -> Result<(), Failure> {
    let original = File::json(OriginalKind::SamplingEvents, file);
    let (is_list, events) = match read_json(&options.file, file)? {
        Value::Array(events) => (true, events),
        event => (false, vec![event]),
    };
    for (n, event) in events.iter().enumerate() {
        let mut change = session.registry.begin_plain(&session.caller).await?;
        let site = site_of(&mut change, site).await?;
        let (version, samples) = sampling::record_event(&mut change, site, event)
            .await
            .map_err(|refusal| about(&options.file, &format!(", event {}", n + 1), &refusal))?;
        let pointer = if is_list { format!("/{n}") } else { String::new() };
        let rows = samples.iter().map(|sample| sample.id).collect();
        sampling::keep_file(&mut change, site, &original, Gave { thing: version.id, pointer, rows })
            .await
            .map_err(|refusal| about(&options.file, "", &refusal))?;
        let told = format!("{} with {} samples", version.fact.reference, samples.len());
        finish(session, change, options.dry_run, &told).await?;
    }
    Ok(())
}

async fn take_report(session: &Session, options: &Options, site: &str, file: &[u8]) -> Result<(), Failure> {
    let mut change = session.registry.begin_plain(&session.caller).await?;
    let site = site_of(&mut change, site).await?;
    let refused = |refusal: Refusal| about(&options.file, "", &refusal);
    let is_csv = options.file.extension().is_some_and(|end| end.eq_ignore_ascii_case("csv"));
    let report = if is_csv {
        let agents = known_agents(&mut change, session).await.map_err(refused)?;
        laboratory_csv::read(&options.head.parameters(), file, &agents)
            .map_err(|faults| refused(faults.into()))?
    } else if options.head.parameters().is_empty() {
        let body = read_json(&options.file, file)?;
        let draft = LabReportDraft::parse(&body).map_err(|faults| refused(faults.into()))?;
        Report { file: Some(File::json(OriginalKind::LabReport, file)), ..Report::from(draft) }
    } else {
        return Err(Failure::Misused("a report in JSON carries its head itself".into()));
    };
    let named = |refusal| if is_csv { laboratory_csv::named_by_column(refusal) } else { refusal };
    let recorded = laboratory::record_report(&mut change, site, report)
        .await
        .map_err(|refusal| refused(named(refusal)))?;
    let told = format!("{} with {} results", recorded.report.fact.report_number, recorded.results.len());
    finish(session, change, options.dry_run, &told).await
}

/// The agents that a row of a report may name.
async fn known_agents(change: &mut Change, session: &Session) -> Result<Vec<Agent>, Refusal> {
    let scope = session.caller.may(Action::ReadReference)?;
    let as_of = change.as_of();
    let agents = versions::list::<Agent>(&mut change.tx, &scope, as_of, &[Where::Standing], None).await?;
    Ok(agents.into_iter().map(|agent| agent.fact).collect())
}

/// Commits, or leaves nothing behind when it was only a try.
async fn finish(session: &Session, change: Change, dry_run: bool, told: &str) -> Result<(), Failure> {
    if dry_run {
        println!("would record {told}");
    } else {
        let position = change.position;
        session.registry.commit(change, None).await?;
        println!("recorded {told} at position {position}");
    }
    Ok(())
}

fn read_json(file: &Path, text: &[u8]) -> Result<Value, Failure> {
    let body = serde_json::from_slice(text)
        .map_err(|error| Failure::Refused(format!("{} is not JSON: {error}", file.display())))?;
    let faults = magnitude::faults_of(&body);
    if faults.is_empty() { Ok(body) } else { Err(about(file, "", &faults.into())) }
}

fn about(file: &Path, place: &str, refusal: &Refusal) -> Failure {
    Failure::Refused(format!("{}{place}: {}", file.display(), in_words(refusal)))
}
