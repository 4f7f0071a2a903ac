//! The command line of the registry.

use clap::Parser as _;
use doseward::cli::{self, Cli};
use std::process::ExitCode;

fn main() -> ExitCode {
    // Misuse (an unknown command, a missing argument) is told by the parser, which leaves with 2.
    let cli = Cli::parse();
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("doseward: the operating system gives no threads: {error}");
            return ExitCode::FAILURE;
        }
    };
    match runtime.block_on(cli::run(cli)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("doseward: {failure}");
            ExitCode::from(failure.exit_code())
        }
    }
}
