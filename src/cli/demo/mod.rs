//! `doseward demo`: the invented employer, loaded and served on loopback.

mod desk;
mod directory;
mod load;
mod office;
mod people;
mod seed;
mod tour;

use crate::api::{App, dispatch};
use crate::cli::failure::Failure;
use crate::cli::progress;
use crate::cli::serve;
use crate::cli::session::Session;
use crate::pages::settings::PageSettings;
use crate::service::Service;
use crate::settings::Settings;
use desk::Desk;
use directory::Directory;
use std::net::Ipv4Addr;
use std::path::PathBuf;
use tokio::net::TcpListener;
use tour::Guide;

/// The port that is asked for first.
const PORT: u16 = 8470;

/// Where the demonstration lives, and what it does.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The directory of its registry; made where it is missing, kept over restarts.
    #[arg(long, default_value = "doseward-demo", value_name = "DIRECTORY")]
    directory: PathBuf,
    /// Loads and ends, without serving.
    #[arg(long)]
    no_serve: bool,
    /// Throws an earlier demonstration in the directory away first.
    #[arg(long)]
    fresh: bool,
}

/// Loads the demonstration where it is not there yet, serves it, and says how to look at it.
///
/// # Errors
/// A refused request with its file and line, or what stands in the way of the start.
pub async fn run(settings: &Settings, options: Options) -> Result<(), Failure> {
    let directory = Directory::open(&options.directory, options.fresh)?;
    println!("The demonstration lives in {}", directory.path().display());
    let session = Session::open_as_console(&directory.database_url()).await?;
    let mut note = directory.note();
    note.tokens = people::tokens(&session, &note.tokens).await?;
    note.passwords = people::passwords(&session, &note.passwords).await?;
    directory.keep(&note)?;
    let desk = Desk::new(dispatch::router(App::new(session.registry.clone())), note.tokens.clone());
    if note.names.is_empty() {
        println!("Loading the invented employer Quillfeather Ropeways, request by request:");
        note.names = load::load(&desk).await?;
        println!("Working out what follows from them …");
        let waiting = progress::spinner();
        session.registry.settle().await?;
        waiting.finish_and_clear();
        let done = office::work(&desk, &session.registry, &note.names).await?;
        println!(
            "{} first examinations were offered and {} followed them; {} letters, {} notices and other duties are done.",
            done.offered, done.followed, done.letters, done.others
        );
        println!("What is late, declined, waived or still to come was left so.");
        directory.keep(&note)?;
    } else {
        println!("It is loaded already (--fresh would load it anew).");
    }
    if options.no_serve {
        session.registry.database.close().await;
        return Ok(());
    }
    serve::start_logging(settings, log_level(settings));
    let codes = people::codes(&session).await?;
    let pages = PageSettings { demonstration: true, ..PageSettings::default() };
    let service = Service::with(session.registry, listen().await?)?.with_pages(pages);
    let guide = Guide { address: format!("http://{}", service.address()), note: &note, codes: &codes };
    let tour = directory.keep_tour(&guide.tour())?;
    println!("{}", guide.welcome(&tour)?);
    serve::serve(service).await
}

/// Only what goes wrong is logged, unless more was asked for: a line a request would bury the welcome.
fn log_level(settings: &Settings) -> &str {
    if std::env::var_os("DOSEWARD_LOG_LEVEL").is_some() { &settings.log_level } else { "warn" }
}

/// The usual port, or any free one where it is taken.
async fn listen() -> Result<TcpListener, Failure> {
    match TcpListener::bind((Ipv4Addr::LOCALHOST, PORT)).await {
        Ok(listener) => Ok(listener),
        Err(_) => Ok(TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await?),
    }
}
