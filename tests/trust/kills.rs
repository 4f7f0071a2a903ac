//! `kill -9` at random moments of everything that writes: whoever was told "done" finds it done, once and whole, and the
//! service is ready again. It cannot see a missing sync (the page cache outlives the process): `power_loss` does.

use crate::acknowledged::{Line, List};
use crate::client::{Answer, Asked, Client, answered};
use crate::draws::Draws;
use crate::fresh::{self, Fresh};
use crate::length;
use crate::running::{Running, doseward, ended, serve};
use crate::works::{Plant, found, is_sound};
use doseward::access::scope::Scope;
use doseward::model::identifiers::AccountId;
use doseward::registry::writer::Registry;
use doseward::store::backend::Database;
use doseward::store::journal::{self, Reading};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::path::Path;
use std::time::{Duration, Instant};
use tokio::sync::mpsc;
use uuid::Uuid;

const SENDERS: usize = 4;
/// Samples of an event that a report is about: the report is a bulk import of so many rows.
const ROWS: usize = 60;

/// Somebody who writes whatever there is to write, on things of his own.
struct Sender {
    number: usize,
    client: Client,
    plant: Plant,
    list: List,
    draws: Draws,
    sent: usize,
    /// Told of every acknowledgement.
    told: mpsc::UnboundedSender<()>,
}

impl Sender {
    /// Writes one thing after the other until the service is gone.
    async fn stream(mut self, address: String) -> Self {
        while self.write(&address).await.is_some() {
            self.told.send(()).unwrap();
        }
        self
    }

    /// Writes something; nothing where no whole answer came.
    async fn write(&mut self, address: &str) -> Option<()> {
        self.sent += 1;
        match self.draws.below(8) {
            0..3 => self.submit(address).await,
            3 | 4 => self.import(address).await,
            5 | 6 => self.correct(address).await,
            _ => self.void(address).await,
        }
    }

    fn reference(&self) -> String {
        format!("K{}-{}", self.number, self.sent)
    }

    async fn submit(&mut self, address: &str) -> Option<()> {
        let samples = 1 + self.draws.below(12);
        let asked = self.plant.event(&self.reference(), samples);
        is_made(&self.client.post_listed(&self.list, address, &asked).await?);
        Some(())
    }

    async fn import(&mut self, address: &str) -> Option<()> {
        let reference = self.reference();
        let event = self.plant.event(&reference, ROWS);
        is_made(&self.client.post_listed(&self.list, address, &event).await?);
        let report = self.plant.report(&reference, ROWS);
        is_made(&self.client.post_listed(&self.list, address, &report).await?);
        Some(())
    }

    async fn correct(&mut self, address: &str) -> Option<()> {
        let path = format!("/workers/{}", self.plant.workers[self.number]);
        let read = answered(self.client.request("GET", address, &path)).await?;
        let (key, name) = (format!("correction-{}", self.reference()), format!("Name {}", self.reference()));
        let subject = &self.plant.workers[self.number];
        self.list.sent(&key, "corrected", &json!({"subject": subject, "family_name": name}));
        let body = json!({"family_name": name, "reason": "Misspelt."});
        let request = self.client.request("PATCH", address, &path).json(&body);
        let answer = answered(request.header("if-match", read.header("etag"))).await?;
        assert_eq!(answer.status, 200, "{}", answer.text);
        self.list.acknowledged(&key, &json!({}));
        Some(())
    }

    async fn void(&mut self, address: &str) -> Option<()> {
        let event = self.plant.event(&self.reference(), 1);
        let event = self.client.post_listed(&self.list, address, &event).await?.id();
        let asked = Asked {
            key: format!("voiding-{}", self.reference()),
            path: format!("/sampling-events/{event}/voiding"),
            body: json!({"reason": "Not ours."}),
            deed: "voided".into(),
            about: json!({"subject": event}),
        };
        let answer = self.client.post_listed(&self.list, address, &asked).await?;
        assert!(answer.status < 300, "{}", answer.text);
        Some(())
    }
}

fn is_made(answer: &Answer) {
    assert_eq!(answer.status, 201, "{}", answer.text);
}

/// How often the journal says that something was done to a fact; a correction with the name it brought.
async fn deeds(registry: &Registry) -> BTreeMap<(String, String, String), usize> {
    let mut tx = registry.database.read().await.unwrap();
    let all = Reading { limit: 10_000_000, ..Reading::default() };
    let everything = Scope::everything(AccountId(Uuid::nil()));
    let mut deeds = BTreeMap::new();
    for entry in journal::entries(&mut tx, &everything, &all).await.unwrap() {
        let image: Value = serde_json::from_str(&entry.image.unwrap()).unwrap();
        let name = match entry.envelope.deed.as_str() {
            "corrected" => image["fact"]["family_name"].as_str().unwrap_or_default(),
            _ => "",
        };
        let key = (entry.envelope.subject.to_string(), entry.envelope.deed, name.to_owned());
        *deeds.entry(key).or_default() += 1;
    }
    deeds
}

/// Holds the database against the list.
async fn as_listed(registry: &Registry, list: &List) {
    let (found, deeds) = (found(registry).await, deeds(registry).await);
    let text = |line: &Line, name: &str| line.about[name].as_str().unwrap_or_default().to_owned();
    for (key, line) in list.read() {
        let times = match line.deed.as_str() {
            "event" | "report" => {
                let (things, name) = match line.deed.as_str() {
                    "event" => (&found.events, text(&line, "reference")),
                    _ => (&found.reports, format!("L-{}", text(&line, "reference"))),
                };
                let rows = things.get(&name);
                let whole = rows.is_none_or(|rows| json!(rows) == line.about["samples"]);
                assert!(whole, "{key} is there with {rows:?} rows of {}", line.about["samples"]);
                usize::from(rows.is_some())
            }
            deed => {
                let key = (text(&line, "subject"), deed.to_owned(), text(&line, "family_name"));
                deeds.get(&key).copied().unwrap_or_default()
            }
        };
        assert!(times <= 1, "{key} was done {times} times");
        assert!(line.answer.is_none() || times == 1, "{key} was acknowledged and is lost");
    }
    is_sound(registry).await;
}

/// At whatever moment of that time.
fn within(draws: &mut Draws, time: Duration) -> Duration {
    let micros = usize::try_from(time.as_micros()).unwrap();
    Duration::from_micros(draws.below(micros.max(1)) as u64)
}

/// Lets senders write, kills the service in the middle; gives the senders back.
async fn kill_the_stream(
    url: &str,
    senders: Vec<Sender>,
    acknowledgements: &mut mpsc::UnboundedReceiver<()>,
    draws: &mut Draws,
) -> Vec<Sender> {
    let mut running = Running::start(url).await;
    let mut streams = tokio::task::JoinSet::new();
    for sender in senders {
        streams.spawn(sender.stream(running.address.clone()));
    }
    // So many acknowledgements later, and then at whatever moment of the next ones.
    for _ in 0..draws.below(8) {
        tokio::select! {
            told = acknowledgements.recv() => told.unwrap(),
            ended = streams.join_next() => panic!("a sender ended too early: {:?}", ended.map(Result::err)),
        }
    }
    let moment = within(draws, Duration::from_millis(150));
    assert!(tokio::time::timeout(moment, streams.join_next()).await.is_err(), "a sender ended too early");
    running.kill().await;
    let mut senders = streams.join_all().await;
    senders.sort_by_key(|sender| sender.number);
    while acknowledgements.try_recv().is_ok() {}
    senders
}

/// Kills `doseward rebuild` at whatever moment of it.
async fn kill_a_rebuild(url: &str, usual: Duration, draws: &mut Draws) {
    let mut command = doseward(url);
    let mut process = command.arg("rebuild").spawn().unwrap();
    drop(tokio::time::timeout(within(draws, usual), process.wait()).await);
    process.kill().await.unwrap();
}

/// Kills the first start on a database that stands at an older schema, and starts it again.
async fn kill_a_migration(usual: Duration, draws: &mut Draws) {
    let fresh = Fresh::make().await;
    let applied = at_an_older_schema(&fresh.url, draws).await;
    let mut process = serve(&fresh.url).spawn().unwrap();
    drop(tokio::time::timeout(within(draws, usual), process.wait()).await);
    process.kill().await.unwrap();
    let running = Running::start(&fresh.url).await;
    let registry = fresh.registry().await;
    println!("a migration from {applied} on was killed");
    assert_eq!(found(&registry).await.events.len(), 0);
    is_sound(&registry).await;
    drop(running);
}

/// Makes a database with some of the migrations only; gives how many.
async fn at_an_older_schema(url: &str, draws: &mut Draws) -> usize {
    let engine = if url.starts_with("sqlite:") { "sqlite" } else { "postgres" };
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations").join(engine);
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|file| file.unwrap().path()).collect();
    files.sort();
    files.truncate(draws.below(files.len()));
    let some = tempfile::tempdir().unwrap();
    for file in &files {
        std::fs::copy(file, some.path().join(file.file_name().unwrap())).unwrap();
    }
    let migrator = sqlx::migrate::Migrator::new(some.path()).await.unwrap();
    if engine == "sqlite" {
        let options = url.parse::<sqlx::sqlite::SqliteConnectOptions>().unwrap().create_if_missing(true);
        let pool = sqlx::SqlitePool::connect_with(options).await.unwrap();
        migrator.run(&pool).await.unwrap();
        pool.close().await;
    } else {
        let pool = sqlx::PgPool::connect(url).await.unwrap();
        migrator.run(&pool).await.unwrap();
        pool.close().await;
    }
    files.len()
}

/// How long an undisturbed run of something takes.
async fn usual(work: impl Future<Output = ()>) -> Duration {
    let begun = Instant::now();
    work.await;
    begun.elapsed()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn killed_at_any_moment_the_registry_keeps_all_it_acknowledged_once_and_whole() {
    let kills = length::of(20, 200);
    let seed = length::seed("kills", 20_260_309);
    let mut draws = Draws::from(seed);
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let client = Client::of_role(&registry, "hygienist").await;
    let mut running = Running::start(&fresh.url).await;
    let plant = Plant::found(&client, &running.address, SENDERS).await;
    running.kill().await;
    let folder = tempfile::tempdir().unwrap();
    let list = List::begin(folder.path());
    let (told, mut acknowledgements) = mpsc::unbounded_channel();
    let mut senders: Vec<Sender> = (0..SENDERS)
        .map(|number| Sender {
            number,
            client: client.clone(),
            plant: plant.clone(),
            list: list.clone(),
            draws: Draws::from(seed + 1 + number as u64),
            sent: 0,
            told: told.clone(),
        })
        .collect();
    let older = Fresh::make().await;
    let start = usual(async { drop(Running::start(&older.url).await) }).await;
    for kill in 0..kills {
        match kill % 10 {
            3 | 8 => {
                let whole = usual(async {
                    let mut command = doseward(&fresh.url);
                    command.arg("rebuild");
                    assert!(ended(command).await.0.success());
                })
                .await;
                kill_a_rebuild(&fresh.url, whole, &mut draws).await;
            }
            4 | 9 => kill_a_migration(start + start / 4, &mut draws).await,
            _ => senders = kill_the_stream(&fresh.url, senders, &mut acknowledgements, &mut draws).await,
        }
        as_listed(&registry, &list).await;
    }
    // Whoever was not told sends again under the same key, and then it is there, once.
    let running = Running::start(&fresh.url).await;
    let (mut acknowledged, mut again) = (0, 0);
    for (key, line) in list.read() {
        if line.answer.is_some() {
            acknowledged += 1;
            continue;
        }
        let (Some(reference), Some(samples)) =
            (line.about["reference"].as_str(), line.about["samples"].as_u64())
        else {
            continue;
        };
        let samples = usize::try_from(samples).unwrap();
        let asked = match line.deed.as_str() {
            "event" => plant.event(reference, samples),
            _ => plant.report(reference, samples),
        };
        assert_eq!(asked.key, key);
        is_made(&client.post_listed(&list, &running.address, &asked).await.unwrap());
        again += 1;
    }
    as_listed(&registry, &list).await;
    println!("{kills} kills; {acknowledged} acknowledged before, {again} sent again");
    assert!(acknowledged > kills, "the kills came in the middle of a stream: {acknowledged}");
}

/// A fact without its entry, and an entry without its fact, are what the proof after every kill would find.
#[tokio::test]
async fn a_half_row_would_be_found() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let client = Client::of_role(&registry, "hygienist").await;
    let running = Running::start(&fresh.url).await;
    Plant::found(&client, &running.address, 1).await;
    is_sound(&registry).await;
    let half = match &registry.database {
        Database::Sqlite(_) => {
            "DELETE FROM journal_entry WHERE kind = 'agent' AND position = \
                                (SELECT max(position) FROM journal_entry WHERE kind = 'agent')"
        }
        Database::Postgres(_) => "DELETE FROM site WHERE code = 'NRD'",
    };
    fresh::by_the_back_door(&registry.database, half).await;
    let proof = doseward::registry::verify::verify(&registry, |_| {}).await.unwrap();
    assert!(!proof.sound, "half a row was not found");
}
