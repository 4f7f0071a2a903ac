//! `doseward export bundle` and `doseward import bundle`: the whole record of a site, a worker or all, handed over and taken
//! over.

use crate::cli::account::site_of;
use crate::cli::failure::Failure;
use crate::cli::progress::Telling;
use crate::cli::session::{Session, must_be_the_console};
use crate::cli::verify;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::registry::anchor::key::PublicKey;
use crate::registry::bundle::{Bundle, BundleOf, write};
use crate::registry::enter_pack;
use crate::registry::reading::Read;
use crate::service;
use chrono::{DateTime, Utc};
use std::io::{BufWriter, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::{Path, PathBuf};
use uuid::Uuid;

/// Whose record a bundle holds; everything where neither is given.
#[derive(Debug, Clone, Default, clap::Args)]
#[command(next_help_heading = "Whose record a bundle holds")]
pub(crate) struct Of {
    /// The site with this code.
    #[arg(long, value_name = "CODE", conflicts_with = "worker")]
    site: Option<String>,
    /// The worker with this identifier.
    #[arg(long, value_name = "ID")]
    worker: Option<Uuid>,
}

impl Of {
    /// Whether nothing narrows it.
    pub(crate) const fn is_all(&self) -> bool {
        self.site.is_none() && self.worker.is_none()
    }
}

/// Writes a bundle to a file that is not there yet, and says what was signed.
///
/// # Errors
/// The caller may not hand records over; there is no such site or worker; the file is there or cannot be written.
pub(crate) async fn run(
    session: &Session,
    of: Of,
    as_known_on: Option<DateTime<Utc>>,
    file: &Path,
) -> Result<(), Failure> {
    let (registry, caller) = (&session.registry, &session.caller);
    if as_known_on.is_none() {
        // What the latest facts ask for is written before it is handed over.
        registry.settle().await?;
    }
    let of = match (of.site, of.worker) {
        (Some(code), _) => {
            let mut change = registry.begin_plain(caller).await?;
            BundleOf::Site(SiteId(site_of(&mut change, &code).await?))
        }
        (None, Some(worker)) => BundleOf::Worker(WorkerId(worker)),
        (None, None) => BundleOf::All,
    };
    let failed = |error: std::io::Error| Failure::Refused(format!("{}: {error}", file.display()));
    // It appears under its name only when all of it is on the disk.
    let growing = PathBuf::from(format!("{}.unfinished", file.display()));
    if file.exists() {
        return Err(Failure::Refused(format!("{} is there already", file.display())));
    }
    let to = std::fs::OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&growing);
    let to = BufWriter::new(to.map_err(failed)?);
    let mut telling = Telling::new();
    let written =
        write::write(registry, caller, of, as_known_on, to, |progress| telling.hear(progress)).await;
    telling.end();
    let written = match written {
        Ok((written, mut to)) => {
            to.flush().map_err(failed)?;
            to.get_ref().sync_all().map_err(failed)?;
            written
        }
        Err(refusal) => {
            drop(std::fs::remove_file(&growing));
            return Err(refusal.into());
        }
    };
    let (worker, scope) = match of {
        BundleOf::Worker(worker) => (Some(worker), None),
        BundleOf::Site(site) => (None, Some(format!("site {site}"))),
        BundleOf::All => (None, Some("export".to_owned())),
    };
    let request = "doseward export bundle".to_owned();
    let (position, workers) = (written.position, written.workers);
    // Who read whose exposure is on disk before the file has its name.
    registry
        .note_reading(caller, Read { request, worker, scope, position, workers, client: None, purpose: None })
        .await?;
    std::fs::rename(&growing, file).map_err(failed)?;
    println!(
        "{} entries, {} rows and {} files of {of} as known at position {position} in {}",
        written.entries,
        written.rows,
        written.originals,
        file.display()
    );
    println!("checksums {}", written.checksums);
    println!("signed with the key {}", written.key);
    Ok(())
}

/// Looks a bundle through, takes it over into an empty registry, and proves the record. A dry run only looks.
///
/// # Errors
/// The bundle is damaged, not signed with the key, or of a worker; the registry is not empty; storage fails.
pub(crate) async fn take_over(
    database_url: &str,
    file: &Path,
    key: Option<&Path>,
    dry_run: bool,
) -> Result<(), Failure> {
    must_be_the_console()?;
    let key = match key {
        Some(path) => {
            let told = |what: String| Failure::Refused(format!("{}: {what}", path.display()));
            let text = std::fs::read_to_string(path).map_err(|error| told(error.to_string()))?;
            Some(PublicKey::from_pem(&text).map_err(told)?)
        }
        None => None,
    };
    let bundle = Bundle::open(file, key)?;
    println!("{} entries of {}, whole", bundle.entries(), bundle.scope());
    println!("checksums {}", bundle.signature.checksums);
    println!("signed with the key {}", bundle.signature.key);
    if key.is_none() {
        println!(
            "The key lies in the bundle itself: hold it against what its owner told you by another way."
        );
    }
    if dry_run {
        return Ok(());
    }
    let registry = service::open_without_rules(database_url).await?;
    let caller = enter_pack::console(&crate::cli::operator::operator());
    let mut telling = Telling::new();
    let taken = bundle.take_over(&registry, &caller, |progress| telling.hear(progress)).await;
    telling.end();
    let taken = taken?;
    println!(
        "{} entries and {} files taken over on {}; before {} entries something was left out; position {} says so",
        taken.entries,
        taken.originals,
        registry.database.engine(),
        taken.gaps,
        taken.position
    );
    verify::run(&Session { registry, caller }, verify::Options::default()).await
}
