//! The command line: one file a command. Commands translate; what they do is done by the registry's use cases.

pub mod account;
pub mod anchor;
pub mod answer_record_request;
pub mod backup;
mod bundle;
pub mod demo;
pub mod export;
pub mod failure;
pub mod import;
pub mod key;
mod operator;
pub mod preview_limit;
mod progress;
pub mod rebuild;
pub mod reparse;
pub mod restore;
pub mod serve;
pub mod session;
pub mod token;
pub mod verify;

use crate::settings::Settings;
use failure::Failure;
use session::Session;
use std::path::PathBuf;

/// A shared exposure registry: what every worker was exposed to, which controls lowered it, who must be offered surveillance.
///
/// Settings come from the environment (DOSEWARD_DATABASE_URL, DOSEWARD_LISTEN, …) or from the TOML file that
/// DOSEWARD_CONFIG names. Commands that write act as the account of DOSEWARD_TOKEN, or else as the console.
#[derive(Debug, clap::Parser)]
#[command(name = "doseward", version, propagate_version = true)]
pub struct Cli {
    /// Settings as a TOML file, in place of the one that DOSEWARD_CONFIG names; the environment goes before it.
    #[arg(long, global = true, value_name = "FILE")]
    config: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

/// What to do.
#[derive(Debug, clap::Subcommand)]
enum Command {
    /// Runs the service until it is told to stop.
    Serve,
    /// Loads an invented employer into a registry of its own and serves it on loopback.
    Demo(demo::Options),
    /// Makes accounts.
    #[command(subcommand)]
    Account(account::Command),
    /// Makes bearer tokens for programs.
    #[command(subcommand)]
    Token(token::Command),
    /// Takes facts in from a file.
    Import(import::Options),
    /// Takes a data set out as a CSV file, or the whole record of a site, a worker or all as a signed bundle.
    Export(export::Options),
    /// Writes everything that is handed out on a request for a worker's records.
    AnswerRecordRequest(answer_record_request::Options),
    /// Tells what a proposed limit or action level would change at every site; stores nothing.
    PreviewLimit(preview_limit::Options),
    /// Writes a signed anchor of the record, to be kept outside.
    Anchor(anchor::Options),
    /// Replaces the key that signs anchors and bundles, and lists those that have signed.
    #[command(subcommand)]
    Key(key::Command),
    /// Proves the journal: chains, versions and stored conclusions, or names the first fault.
    Verify(verify::Options),
    /// Computes every stored conclusion anew.
    Rebuild,
    /// Reads every uploaded file again with this release and lists what would be read otherwise; changes nothing.
    Reparse,
    /// Writes the whole registry to one file, while it is in use.
    Backup(backup::Options),
    /// Restores a backup into an empty registry, on either database, and proves it.
    Restore(restore::Options),
}

/// Does what the command line says.
///
/// # Errors
/// Why it was not done; the exit code goes with it.
pub async fn run(cli: Cli) -> Result<(), Failure> {
    let settings = Settings::from_environment(cli.config.as_deref())?;
    let session = || Session::open(&settings);
    match cli.command {
        Command::Serve => serve::run(&settings).await,
        Command::Demo(options) => demo::run(&settings, options).await,
        Command::Account(command) => {
            let session = Session::open_or_make(&settings).await?;
            account::run(&session, command).await
        }
        Command::Token(command) => token::run(&session().await?, command).await,
        Command::Import(options) if options.is_bundle() => {
            import::take_over(settings.database_url.reveal(), options).await
        }
        Command::Import(options) => import::run(&session().await?, options).await,
        Command::Export(options) => export::run(&session().await?, options).await,
        Command::AnswerRecordRequest(options) => answer_record_request::run(&session().await?, options).await,
        Command::PreviewLimit(options) => preview_limit::run(&session().await?, options).await,
        Command::Anchor(options) => anchor::run(&session().await?, options).await,
        Command::Key(command) => key::run(&session().await?, command).await,
        Command::Verify(options) => verify::run(&session().await?, options).await,
        Command::Rebuild => rebuild::run(&session().await?).await,
        Command::Reparse => reparse::run(&session().await?).await,
        Command::Backup(options) => backup::run(settings.database_url.reveal(), options).await,
        Command::Restore(options) => restore::run(settings.database_url.reveal(), options).await,
    }
}
