//! `doseward serve`: runs the service until it is told to stop.

use crate::cli::failure::Failure;
use crate::service::Service;
use crate::settings::{LogFormat, Settings};
use std::io::IsTerminal as _;
use tokio::signal::unix::{SignalKind, signal};
use tracing_subscriber::EnvFilter;

/// Serves; says `listening on http://…` once it does.
///
/// # Errors
/// What stands in the way of the start.
pub async fn run(settings: &Settings) -> Result<(), Failure> {
    start_logging(settings, &settings.log_level);
    let service = Service::build(settings).await?;
    println!("listening on http://{}", service.address());
    serve(service).await
}

/// Serves until SIGTERM or SIGINT; requests in flight are still answered.
pub(super) async fn serve(service: Service) -> Result<(), Failure> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let stop = async move {
        tokio::select! {
            _ = terminate.recv() => {}
            _ = interrupt.recv() => {}
        }
    };
    Ok(service.serve(stop).await?)
}

/// Log lines go to standard error: standard output is for what was asked.
pub(super) fn start_logging(settings: &Settings, level: &str) {
    // The level was checked when the settings were read.
    let filter = EnvFilter::try_new(level).unwrap_or_default();
    let lines = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    let lines = lines.with_ansi(std::io::stderr().is_terminal());
    match settings.log_format {
        LogFormat::Json => lines.json().init(),
        LogFormat::Text => lines.init(),
    }
}
