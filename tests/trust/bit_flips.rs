//! Silent damage to the file of a stopped service: bits flipped, pages put back that are out of date. Whatever is read
//! afterwards is what was recorded, or somebody says that it is not.

use crate::client::{Client, answered};
use crate::draws::Draws;
use crate::fresh::{self, Fresh};
use crate::length;
use crate::running::Running;
use crate::works::Plant;
use doseward::access::scope::Scope;
use doseward::model::facts::group::Group;
use doseward::model::facts::laboratory::{LabReport, LabResult};
use doseward::model::facts::sampling::{Sample, SamplingEvent};
use doseward::model::facts::site::Site;
use doseward::model::facts::worker::{Assignment, Employment, Worker};
use doseward::model::identifiers::AccountId;
use doseward::model::shape::Shape as _;
use doseward::registry::conclude::{duty_rows, sample_rows, surveillance_rows};
use doseward::registry::enter_pack::console;
use doseward::registry::recording::{self, Recorded};
use doseward::registry::refusal::Refusal;
use doseward::registry::verify::verify;
use doseward::registry::writer::Registry;
use doseward::store::backend::{Database, Tx};
use doseward::store::versions::{self, AsOf};
use serde_json::json;
use std::path::Path;
use uuid::Uuid;

/// The size of a page, as SQLite makes it.
const PAGE: usize = 4096;

/// A registry's file, and the same file as it was earlier.
struct Files {
    earlier: Vec<u8>,
    now: Vec<u8>,
    head: i64,
}

/// Lets a service write, stops it, writes more, stops it.
async fn files() -> Files {
    let fresh = Fresh::on_sqlite();
    let file = fresh.file().unwrap();
    let mut earlier = Vec::new();
    // The last to close brings everything into the one file.
    let head = written_in_parts(&fresh.url, || {
        if earlier.is_empty() {
            earlier = std::fs::read(&file).unwrap();
        }
    })
    .await;
    Files { earlier, now: std::fs::read(&file).unwrap(), head }
}

/// Lets a service write into a database twice; gives the position that it came to.
pub(crate) async fn written(url: &str) -> i64 {
    written_in_parts(url, || {}).await
}

async fn written_in_parts(url: &str, mut stopped: impl FnMut()) -> i64 {
    let client = Client::of_role(&fresh::registry(url).await, "hygienist").await;
    let mut plant = None;
    for part in 0..2 {
        let mut running = Running::start(url).await;
        let address = running.address.clone();
        if plant.is_none() {
            plant = Some(Plant::found(&client, &address, 2).await);
        }
        let plant = plant.as_ref().unwrap();
        for n in 0..6 {
            let reference = format!("F{part}-{n}");
            let day = chrono::NaiveDate::from_ymd_opt(2026, 1, 5 + n + 7 * part).unwrap();
            let worker = usize::try_from(n % 2).unwrap();
            for asked in [plant.shift(&reference, worker, day), plant.report(&reference, 2)] {
                let request = client.request("POST", &address, &asked.path);
                let request = match asked.body {
                    serde_json::Value::String(file) => request.header("content-type", "text/csv").body(file),
                    json => request.json(&json),
                };
                assert_eq!(answered(request).await.unwrap().status, 201);
            }
        }
        let path = format!("/workers/{}", plant.workers[0]);
        let read = client.get(&address, &path).await;
        let request = client.request("PATCH", &address, &path).header("if-match", read.header("etag"));
        let body = json!({"family_name": format!("Name{part}"), "reason": "Misspelt."});
        assert_eq!(answered(request.json(&body)).await.unwrap().status, 200);
        running.kill().await;
        let registry = fresh::registry(url).await;
        registry.settle().await.unwrap();
        registry.database.close().await;
        stopped();
    }
    let registry = fresh::registry(url).await;
    let mut tx = registry.database.read().await.unwrap();
    let head = registry.now(&mut tx).await.unwrap().position;
    drop(tx);
    registry.database.close().await;
    head
}

async fn texts<F: Recorded>(tx: &mut Tx, as_of: AsOf, into: &mut Vec<String>) -> Result<(), Refusal> {
    let scope = Scope::everything(AccountId(Uuid::nil()));
    let facts = versions::list::<F>(tx, &scope, as_of, &[], None).await?;
    into.extend(facts.iter().map(|fact| recording::view(fact).to_string()));
    Ok(())
}

/// Everything that a reader is told, as text.
pub(crate) async fn told(registry: &Registry, head: i64) -> Result<Vec<String>, Refusal> {
    let mut tx = registry.database.read().await?;
    // As known at the same moment, whatever became of the head.
    let as_of = AsOf { position: head, date: "2026-03-02".parse().unwrap() };
    let (tx, mut all) = (&mut tx, Vec::new());
    texts::<Site>(tx, as_of, &mut all).await?;
    texts::<Group>(tx, as_of, &mut all).await?;
    texts::<Worker>(tx, as_of, &mut all).await?;
    texts::<Employment>(tx, as_of, &mut all).await?;
    texts::<Assignment>(tx, as_of, &mut all).await?;
    texts::<SamplingEvent>(tx, as_of, &mut all).await?;
    texts::<Sample>(tx, as_of, &mut all).await?;
    texts::<LabReport>(tx, as_of, &mut all).await?;
    texts::<LabResult>(tx, as_of, &mut all).await?;
    let caller = console("trust");
    all.extend(sample_rows::rows(tx, &caller, as_of).await?.iter().map(|row| row.to_json().to_string()));
    all.extend(
        surveillance_rows::rows(tx, &caller, as_of).await?.iter().map(|row| row.to_json().to_string()),
    );
    all.extend(duty_rows::rows(tx, &caller, as_of).await?.iter().map(|row| row.to_json().to_string()));
    Ok(all)
}

/// What became of one piece of damage.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Outcome {
    /// What is read is what was recorded.
    Harmless,
    /// Reading was refused.
    Refused,
    /// Something else was read than what was recorded, and a proof names it.
    Proved,
    /// Something else was read, and nobody says so.
    Unnoticed,
}

async fn outcome(file: &Path, truth: &[String], head: i64) -> Outcome {
    outcome_at(&fresh::address(file), truth, head).await
}

/// What is told of a database, as the service opens it.
pub(crate) async fn outcome_at(url: &str, truth: &[String], head: i64) -> Outcome {
    let Ok(database) = Database::open(url).await else { return Outcome::Refused };
    let registry = registry(database);
    let outcome = match told(&registry, head).await {
        Err(_) => Outcome::Refused,
        Ok(told) if told == truth => Outcome::Harmless,
        Ok(_) if is_named(&registry).await => Outcome::Proved,
        Ok(_) => Outcome::Unnoticed,
    };
    registry.database.close().await;
    outcome
}

pub(crate) fn registry(database: Database) -> Registry {
    use doseward::registry::clock::{MachineClock, MachineIds};
    use std::sync::Arc;
    Registry::new(database, Arc::new(MachineClock), Arc::new(MachineIds::default()))
}

/// Whether the proof of the record or the engine's own names a fault.
async fn is_named(registry: &Registry) -> bool {
    if let Database::Sqlite(pool) = &registry.database {
        let said: Result<Vec<(String,)>, _> = sqlx::query_as("PRAGMA integrity_check").fetch_all(pool).await;
        if said.map_or(true, |said| said != [("ok".to_owned(),)]) {
            return true;
        }
    }
    verify(registry, |_| {}).await.map_or(true, |proof| !proof.sound)
}

/// A bit flipped anywhere.
fn flipped(files: &Files, draws: &mut Draws) -> (Vec<u8>, String) {
    let mut damaged = files.now.clone();
    let (at, bit) = (draws.below(damaged.len()), draws.below(8));
    damaged[at] ^= 1 << bit;
    (damaged, format!("bit {bit} of byte {at}"))
}

/// A bit flipped in a text that people wrote: where a page's own marks see nothing.
fn flipped_in_a_fact(files: &Files, draws: &mut Draws) -> (Vec<u8>, String) {
    let words: [&[u8]; 5] = [b"Name1", b"reed_dust", b"\"value\":", b"Family1", b"2026-01-1"];
    let word = *draws.one_of(&words);
    let places: Vec<usize> =
        (0..files.now.len() - word.len()).filter(|at| files.now[*at..].starts_with(word)).collect();
    let at = *draws.one_of(&places) + draws.below(word.len());
    let mut damaged = files.now.clone();
    // One of the low bits: it stays a letter or a digit more often than not.
    damaged[at] ^= 1 << draws.below(3);
    (damaged, format!("a fact's byte {at}"))
}

/// A page as it was earlier.
fn stale(files: &Files, draws: &mut Draws) -> (Vec<u8>, String) {
    let pages = files.earlier.len() / PAGE;
    let changed: Vec<usize> =
        (0..pages).filter(|n| files.earlier[n * PAGE..][..PAGE] != files.now[n * PAGE..][..PAGE]).collect();
    let at = *draws.one_of(&changed) * PAGE;
    let mut damaged = files.now.clone();
    damaged[at..at + PAGE].copy_from_slice(&files.earlier[at..at + PAGE]);
    (damaged, format!("page at byte {at}"))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_file_is_refused_or_proved_and_no_altered_row_is_good() {
    let mut draws = Draws::from(length::seed("bit_flips", 20_260_315));
    let files = files().await;
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("registry.sqlite");
    std::fs::write(&file, &files.now).unwrap();
    let whole = registry(Database::open(&fresh::address(&file)).await.unwrap());
    let truth = told(&whole, files.head).await.unwrap();
    assert!(truth.len() > 100, "there is something to read: {}", truth.len());
    assert!(!is_named(&whole).await);
    whole.database.close().await;
    let mut all = std::collections::BTreeMap::new();
    for n in 0..length::of(45, 1000) {
        let (how, (bytes, what)) = match n % 3 {
            0 => ("bit", flipped(&files, &mut draws)),
            1 => ("bit in a fact", flipped_in_a_fact(&files, &mut draws)),
            _ => ("stale page", stale(&files, &mut draws)),
        };
        for ending in ["-wal", "-shm"] {
            drop(std::fs::remove_file(folder.path().join(format!("registry.sqlite{ending}"))));
        }
        std::fs::write(&file, &bytes).unwrap();
        let outcome = outcome(&file, &truth, files.head).await;
        assert_ne!(outcome, Outcome::Unnoticed, "{what}");
        *all.entry((how, outcome)).or_insert(0) += 1;
    }
    println!("{all:?}");
}
