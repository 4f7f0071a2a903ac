//! Power loss on SQLite, by record and replay: at the moment of every acknowledgement the files are rebuilt from only those
//! writes that a sync had made durable by then (the worst case: the cache held everything else), and must hold everything
//! acknowledged so far. `kills` cannot see this loss, because the page cache outlives the process.
//!
//! The record is kept by `synced_only.c`, which the test compiles and loads before the C library. Limits of the model: what
//! is removed is gone at once; shared memory is rebuilt by recovery and left out; a write is durable whole or not at all.

use crate::acknowledged::List;
use crate::client::Client;
use crate::fresh::{self, Fresh};
use crate::length;
use crate::running::{Running, serve, settings};
use crate::works::Plant;
use doseward::registry::clock::{MachineClock, MachineIds};
use doseward::registry::writer::Registry;
use doseward::service::Service;
use doseward::store::backend::Database;
use sqlx::Connection as _;
use sqlx::sqlite::{
    SqliteConnectOptions, SqliteConnection, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous,
};
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::Arc;
use tokio::net::TcpListener;
use tokio::process::Command;
use uuid::Uuid;

/// The test that is the service without syncs, when it is run by another one.
const WITHOUT: &str = "power_loss::serves_without_syncing_every_commit";

/// One thing that the process did.
enum Deed {
    Written { name: String, at: usize, bytes: Vec<u8> },
    Cut { name: String, to: usize },
    Synced { name: String },
    Removed { name: String },
    Answered { text: String },
}

/// Reads the record that `synced_only.c` kept.
fn deeds(record: &[u8]) -> Vec<Deed> {
    let mut deeds = Vec::new();
    let mut rest = record;
    let take = |rest: &mut &[u8], many: usize| {
        // What was being written when the process was killed is cut off.
        let (taken, left) = rest.split_at_checked(many)?;
        *rest = left;
        Some(taken.to_vec())
    };
    let number = |rest: &mut &[u8]| {
        let bytes: [u8; 8] = take(rest, 8)?.try_into().ok()?;
        usize::try_from(u64::from_ne_bytes(bytes)).ok()
    };
    let mut next = || -> Option<Deed> {
        let what = take(&mut rest, 1)?[0];
        let named = u16::from_ne_bytes(take(&mut rest, 2)?.try_into().ok()?);
        let (at, length) = (number(&mut rest)?, number(&mut rest)?);
        let name = String::from_utf8(take(&mut rest, usize::from(named))?).unwrap();
        Some(match what {
            b'w' => Deed::Written { name, at, bytes: take(&mut rest, length)? },
            b't' => Deed::Cut { name, to: at },
            b's' => Deed::Synced { name },
            b'u' => Deed::Removed { name },
            b'a' => Deed::Answered { text: String::from_utf8_lossy(&take(&mut rest, length)?).into_owned() },
            other => panic!("no deed: {other}"),
        })
    };
    while let Some(deed) = next() {
        deeds.push(deed);
    }
    deeds
}

/// What was written where, or to what length a file was cut.
type Waiting = (usize, Option<Vec<u8>>);

/// The files as they would be found after the power was cut.
#[derive(Default)]
struct Disk {
    durable: BTreeMap<String, Vec<u8>>,
    waiting: BTreeMap<String, Vec<Waiting>>,
}

impl Disk {
    fn take(&mut self, deed: Deed) {
        match deed {
            Deed::Written { name, at, bytes } => {
                self.waiting.entry(name).or_default().push((at, Some(bytes)));
            }
            Deed::Cut { name, to } => self.waiting.entry(name).or_default().push((to, None)),
            Deed::Synced { name } => {
                let file = self.durable.entry(name.clone()).or_default();
                for (at, bytes) in self.waiting.remove(&name).unwrap_or_default() {
                    match bytes {
                        Some(bytes) => {
                            let end = at + bytes.len();
                            file.resize(file.len().max(end), 0);
                            file[at..end].copy_from_slice(&bytes);
                        }
                        None => file.resize(at, 0),
                    }
                }
            }
            Deed::Removed { name } => {
                self.durable.remove(&name);
                self.waiting.remove(&name);
            }
            Deed::Answered { .. } => {}
        }
    }

    /// Puts the files into a folder, as they survived.
    fn put_into(&self, folder: &Path) {
        for (name, bytes) in &self.durable {
            std::fs::write(folder.join(Path::new(name).file_name().unwrap()), bytes).unwrap();
        }
    }
}

/// The events in a file that was left by a cut of the power, and what the engine's own proof says of it.
async fn survivors(folder: &Path, file: &Path) -> (BTreeSet<Uuid>, String) {
    let file = folder.join(file.file_name().unwrap());
    let options = SqliteConnectOptions::new().filename(&file).create_if_missing(true);
    let mut found = SqliteConnection::connect_with(&options).await.unwrap();
    let (said,): (String,) = sqlx::query_as("PRAGMA integrity_check").fetch_one(&mut found).await.unwrap();
    let events = sqlx::query_as("SELECT id FROM sampling_event").fetch_all(&mut found).await;
    let events: Vec<(Uuid,)> = events.unwrap_or_default();
    found.close().await.unwrap();
    (events.into_iter().map(|(id,)| id).collect(), said)
}

/// Compiles the recorder; nothing, and a printed sentence, where there is no C compiler.
fn recorder(folder: &Path) -> Option<PathBuf> {
    let library = folder.join("synced_only.so");
    let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/trust/synced_only.c");
    let compiled = std::process::Command::new("cc")
        .args(["-shared", "-fPIC", "-O1", "-o"])
        .args([&library, &source])
        .args(["-ldl", "-lpthread"])
        .status();
    if cfg!(target_os = "linux") && compiled.is_ok_and(|status| status.success()) {
        return Some(library);
    }
    println!("skipped: no C compiler for Linux, so writes cannot be watched");
    None
}

/// Crash points, acknowledged events, and the most that one crash lost.
#[derive(Debug)]
struct Losses {
    points: usize,
    most: usize,
}

/// Lets a service take events one after the other, and cuts the power after every acknowledgement.
async fn losses(service: impl FnOnce(&str) -> Command) -> Option<Losses> {
    let folder = tempfile::tempdir().unwrap();
    let library = recorder(folder.path())?;
    let (fresh, record) = (Fresh::on_sqlite(), folder.path().join("record"));
    let file = fresh.file().unwrap();
    let registry = fresh.registry().await;
    let client = Client::of_role(&registry, "hygienist").await;
    let mut running = Running::start(&fresh.url).await;
    let plant = Plant::found(&client, &running.address, 0).await;
    running.kill().await;
    // The last to close brings everything into the one file.
    registry.database.close().await;
    // What stands when the record begins is on the disk.
    let mut disk = Disk::default();
    for path in [file.clone(), PathBuf::from(format!("{}-wal", file.display()))] {
        if let Ok(bytes) = std::fs::read(&path) {
            disk.durable.insert(path.display().to_string(), bytes);
        }
    }
    let mut command = service(&fresh.url);
    command.env("LD_PRELOAD", &library).env("SYNCED_ONLY_TRACE", &record).env("SYNCED_ONLY_FILES", &file);
    let mut running = Running::wait_for(command).await;
    let list = List::begin(folder.path());
    for n in 0..length::of(40, 300) {
        let asked = plant.event(&format!("Q{n}"), 1 + n % 3);
        let answer = client.post_listed(&list, &running.address, &asked).await;
        answer.expect("the service answers").id();
    }
    running.kill().await;

    let mut acknowledged = BTreeSet::new();
    let mut losses = Losses { points: 0, most: 0 };
    for deed in deeds(&std::fs::read(&record).unwrap()) {
        let event = match &deed {
            Deed::Answered { text } if text.starts_with("HTTP/1.1 201") => {
                let line = text.lines().find_map(|line| line.strip_prefix("location: "));
                line.and_then(|line| line.rsplit('/').next()?.trim().parse::<Uuid>().ok())
            }
            _ => None,
        };
        disk.take(deed);
        let Some(event) = event else { continue };
        acknowledged.insert(event);
        let after = tempfile::tempdir().unwrap();
        disk.put_into(after.path());
        let (found, said) = survivors(after.path(), &file).await;
        assert_eq!(said, "ok", "the file is damaged");
        losses.points += 1;
        losses.most = losses.most.max(acknowledged.difference(&found).count());
    }
    // The list and the record tell of the same acknowledgements.
    let listed: BTreeSet<Uuid> = list
        .read()
        .into_values()
        .map(|line| line.answer.unwrap()["id"].as_str().unwrap().parse().unwrap())
        .collect();
    assert_eq!(listed, acknowledged);
    println!("{losses:?}");
    Some(losses)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn without_power_after_any_acknowledgement_nothing_acknowledged_is_lost() {
    let Some(losses) = losses(serve).await else { return };
    assert_eq!(losses.most, 0, "{losses:?}");
}

/// The proof that the test above can see loss: the same service on a pool that syncs at checkpoints only.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_database_that_syncs_at_checkpoints_only_is_seen_to_lose() {
    let without = |url: &str| {
        let mut command = Command::new(std::env::current_exe().unwrap());
        command.args(["--exact", WITHOUT, "--ignored", "--nocapture"]);
        settings(&mut command, url);
        command.stderr(Stdio::null());
        command
    };
    let Some(losses) = losses(without).await else { return };
    assert!(losses.most > 0, "the test would not see a loss: {losses:?}");
}

/// No test by itself: the service as it must not be, for the test above.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
#[ignore = "run by another test"]
async fn serves_without_syncing_every_commit() {
    let url = std::env::var("DOSEWARD_DATABASE_URL").unwrap();
    let options = url
        .parse::<SqliteConnectOptions>()
        .unwrap()
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Normal)
        .foreign_keys(true)
        .pragma("wal_autocheckpoint", "8192");
    let pool = SqlitePoolOptions::new().max_connections(8).connect_with(options).await.unwrap();
    let registry =
        Registry::new(Database::Sqlite(pool), Arc::new(MachineClock), Arc::new(MachineIds::default()));
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let service = Service::with(registry, listener).unwrap();
    println!("listening on http://{}", service.address());
    service.serve(std::future::pending()).await.unwrap();
}

/// The address of a file, as the service is told it.
#[test]
fn the_record_knows_the_file_by_the_name_that_the_service_is_told() {
    let fresh = Fresh::on_sqlite();
    let file = fresh.file().unwrap();
    assert_eq!(fresh::address(&file), fresh.url);
}
