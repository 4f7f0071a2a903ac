//! The service as a process of its own.

use crate::length;
use std::process::{ExitStatus, Stdio};
use std::time::Instant;
use tokio::io::{AsyncBufReadExt as _, AsyncReadExt as _, BufReader, Lines};
use tokio::process::{Child, ChildStdout, Command};

/// The service; killed when it is dropped.
pub(crate) struct Running {
    process: Child,
    /// `http://127.0.0.1:<port>`.
    pub(crate) address: String,
    _lines: Lines<BufReader<ChildStdout>>,
}

/// `doseward serve` on a database, on any port; the test may add to it.
pub(crate) fn serve(url: &str) -> Command {
    let mut command = doseward(url);
    command.arg("serve").env("DOSEWARD_LISTEN", "127.0.0.1:0");
    command
}

/// `doseward` on a database.
pub(crate) fn doseward(url: &str) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_doseward"));
    settings(&mut command, url);
    command
}

/// What every start has in common.
pub(crate) fn settings(command: &mut Command, url: &str) {
    for name in length::OURS {
        command.env_remove(name);
    }
    command
        .env("DOSEWARD_DATABASE_URL", url)
        .env("DOSEWARD_LOG_LEVEL", "off")
        .stdin(Stdio::null())
        .stdout(Stdio::piped())
        .kill_on_drop(true);
}

impl Running {
    /// Starts the real program and waits until it is ready; the seconds are printed and nothing more.
    pub(crate) async fn start(url: &str) -> Self {
        Self::wait_for(serve(url)).await
    }

    /// The same with a command of the test's own.
    pub(crate) async fn wait_for(mut command: Command) -> Self {
        let begun = Instant::now();
        let mut process = command.spawn().unwrap();
        let mut lines = BufReader::new(process.stdout.take().unwrap()).lines();
        while let Some(line) = lines.next_line().await.unwrap() {
            if let Some((_, address)) = line.split_once("listening on ") {
                let running = Self { process, address: address.to_owned(), _lines: lines };
                assert_eq!(running.health().await, Some(200), "whoever listens is ready");
                println!("ready after {:.2} s", begun.elapsed().as_secs_f64());
                return running;
            }
        }
        panic!("the service ended without listening: {:?}", process.wait().await);
    }

    /// What it says of its own readiness; nothing where it does not answer.
    pub(crate) async fn health(&self) -> Option<u16> {
        let answer = reqwest::get(format!("{}/health/ready", self.address)).await.ok()?;
        Some(answer.status().as_u16())
    }

    /// Its process.
    pub(crate) fn id(&self) -> u32 {
        self.process.id().unwrap()
    }

    /// SIGKILL: nothing of the program runs any more.
    pub(crate) async fn kill(&mut self) {
        self.process.kill().await.unwrap();
    }
}

/// Runs a command to its end; gives how it ended and what it printed.
pub(crate) async fn ended(mut command: Command) -> (ExitStatus, String) {
    let mut process = command.spawn().unwrap();
    let mut text = String::new();
    process.stdout.take().unwrap().read_to_string(&mut text).await.unwrap();
    (process.wait().await.unwrap(), text)
}
