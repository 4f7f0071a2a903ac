//! PostgreSQL stopped and started, and its backends ended, under a stream of submissions: nothing acknowledged is lost or
//! doubled, whoever asks meanwhile is told to come back, and the service recovers by itself.

use crate::acknowledged::List;
use crate::client::{Answer, Asked, Client};
use crate::draws::Draws;
use crate::fresh;
use crate::length;
use crate::own_server::OwnServer;
use crate::running::Running;
use crate::works::{Found, Plant, found, is_sound};
use sqlx::{Connection as _, PgConnection};
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};
use tokio::task::JoinSet;

const SENDERS: usize = 4;
/// How long a sender waits before it sends again what was not taken.
const PAUSE: Duration = Duration::from_millis(50);

/// What every sender shares.
#[derive(Clone)]
struct Stream {
    client: Client,
    plant: Plant,
    list: List,
    address: String,
    sent: Arc<AtomicUsize>,
    acknowledged: Arc<AtomicUsize>,
    over: Arc<AtomicBool>,
    /// How often each answer was given.
    answers: Arc<Mutex<BTreeMap<String, usize>>>,
}

impl Stream {
    /// Sends one event after the other, each until it is acknowledged, until it is over.
    async fn run(self) {
        while !self.over.load(Ordering::SeqCst) {
            let n = self.sent.fetch_add(1, Ordering::SeqCst);
            let asked = self.plant.event(&format!("P{n}"), 1 + n % 5);
            while !self.is_taken(&asked).await {
                tokio::time::sleep(PAUSE).await;
            }
            self.acknowledged.fetch_add(1, Ordering::SeqCst);
        }
    }

    async fn is_taken(&self, asked: &Asked) -> bool {
        let answer = self.client.post_listed(&self.list, &self.address, asked).await;
        let answer = answer.expect("the service itself stays");
        let said = format!("{} {}", answer.status, answer.problem());
        *self.answers.lock().unwrap().entry(said).or_default() += 1;
        match answer.status {
            201 => true,
            503 => {
                tells_to_come_back(&answer);
                false
            }
            _ => panic!("{} {}", answer.status, answer.text),
        }
    }
}

fn tells_to_come_back(answer: &Answer) {
    assert!(answer.header("retry-after").parse::<u32>().is_ok(), "{:?}", answer.headers);
    assert_eq!(answer.header("content-type"), "application/problem+json");
    let text = answer.text.to_lowercase();
    assert!(!["panicked", "backtrace", "sqlx", ".rs:"].iter().any(|word| text.contains(word)), "{text}");
}

/// A service over a server of the test's own, with senders.
struct Scene {
    server: OwnServer,
    running: Running,
    stream: Stream,
    senders: JoinSet<()>,
    _folder: tempfile::TempDir,
}

async fn scene() -> Option<Scene> {
    let server = OwnServer::start()?;
    let registry = fresh::registry(&server.url("postgres")).await;
    let client = Client::of_role(&registry, "hygienist").await;
    registry.database.close().await;
    let running = Running::start(&server.url("postgres")).await;
    let plant = Plant::found(&client, &running.address, 0).await;
    let folder = tempfile::tempdir().unwrap();
    let stream = Stream {
        client,
        plant,
        list: List::begin(folder.path()),
        address: running.address.clone(),
        sent: Arc::default(),
        acknowledged: Arc::default(),
        over: Arc::default(),
        answers: Arc::default(),
    };
    let mut senders = JoinSet::new();
    for _ in 0..SENDERS {
        senders.spawn(stream.clone().run());
    }
    Some(Scene { server, running, stream, senders, _folder: folder })
}

impl Scene {
    /// Waits for so many more acknowledgements; the test ends with the sender that ends before it should.
    async fn more(&mut self, many: usize) {
        let until = self.stream.acknowledged.load(Ordering::SeqCst) + many;
        while self.stream.acknowledged.load(Ordering::SeqCst) < until {
            if let Some(ended) = self.senders.try_join_next() {
                ended.unwrap();
            }
            tokio::time::sleep(Duration::from_millis(5)).await;
        }
    }

    /// Stops the server in the middle of the stream and starts it again; waits until the service is ready by itself.
    async fn stop_and_start(&mut self, mode: &str, draws: &mut Draws) {
        self.more(1 + draws.below(8)).await;
        tokio::time::sleep(Duration::from_micros(draws.below(40_000) as u64)).await;
        self.server.stop(mode);
        self.server.start_again();
        let begun = Instant::now();
        while self.running.health().await != Some(200) {
            tokio::time::sleep(PAUSE).await;
        }
        println!("{mode}: ready again after {:.2} s", begun.elapsed().as_secs_f64());
    }

    /// Ends the senders; gives what the list says beside what is there.
    async fn end(mut self) -> (Vec<String>, Found) {
        self.stream.over.store(true, Ordering::SeqCst);
        while let Some(ended) = self.senders.join_next().await {
            ended.unwrap();
        }
        println!("{:?}", self.stream.answers.lock().unwrap());
        let registry = fresh::registry(&self.server.url("postgres")).await;
        is_sound(&registry).await;
        let found = found(&registry).await;
        registry.database.close().await;
        let lines = self.stream.list.read().into_values();
        let acknowledged = lines.filter(|line| line.answer.is_some());
        (acknowledged.map(|line| line.about["reference"].as_str().unwrap().to_owned()).collect(), found)
    }

    async fn ends_as_acknowledged(self) {
        let (acknowledged, found) = self.end().await;
        assert!(acknowledged.len() > 8, "a stream: {}", acknowledged.len());
        for reference in &acknowledged {
            let n: usize = reference[1..].parse().unwrap();
            assert_eq!(found.events.get(reference), Some(&(1 + n % 5)), "{reference} was acknowledged");
        }
        assert_eq!(found.events.len(), acknowledged.len());
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn stopped_at_once_or_in_order_the_server_loses_nothing_and_the_service_recovers() {
    let Some(mut scene) = scene().await else { return };
    let mut draws = Draws::from(length::seed("stops", 20_260_311));
    scene.server.stop("fast");
    assert_eq!(scene.running.health().await, Some(503), "it says that it is not ready");
    scene.server.start_again();
    for _ in 0..length::of(3, 50) {
        scene.stop_and_start("immediate", &mut draws).await;
    }
    for _ in 0..length::of(1, 20) {
        scene.stop_and_start("fast", &mut draws).await;
    }
    scene.ends_as_acknowledged().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn backends_ended_under_load_lose_nothing() {
    let Some(mut scene) = scene().await else { return };
    let mut draws = Draws::from(length::seed("backends", 20_260_312));
    let mut server = PgConnection::connect(&scene.server.url("postgres")).await.unwrap();
    let mut ended = 0;
    while ended < length::of(20, 200) {
        scene.more(1 + draws.below(4)).await;
        let of_service: Vec<(i32,)> = sqlx::query_as(
            "SELECT pid FROM pg_stat_activity WHERE application_name = 'doseward' AND pid <> pg_backend_pid()",
        )
        .fetch_all(&mut server)
        .await
        .unwrap();
        if of_service.is_empty() {
            continue;
        }
        let (pid,) = of_service[draws.below(of_service.len())];
        sqlx::query("SELECT pg_terminate_backend($1)").bind(pid).execute(&mut server).await.unwrap();
        ended += 1;
    }
    scene.ends_as_acknowledged().await;
}

/// The proof that the first test can see loss: a server that acknowledges before it writes loses what it acknowledged. The
/// service refuses to start on such a server; here it was changed behind its back.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_server_that_acknowledges_before_it_writes_is_seen_to_lose() {
    let Some(mut scene) = scene().await else { return };
    let mut server = PgConnection::connect(&scene.server.url("postgres")).await.unwrap();
    for sql in ["ALTER SYSTEM SET synchronous_commit = off", "ALTER SYSTEM SET wal_writer_delay = '10s'"] {
        sqlx::query(sql).execute(&mut server).await.unwrap();
    }
    sqlx::query("SELECT pg_reload_conf()").execute(&mut server).await.unwrap();
    drop(server);
    scene.more(8).await;
    scene.server.stop("immediate");
    // Every new connection asks for the settings: without the right ones the service would never be ready again.
    scene.server.forget_what_was_altered();
    scene.server.start_again();
    while scene.running.health().await != Some(200) {
        tokio::time::sleep(PAUSE).await;
    }
    let (acknowledged, found) = scene.end().await;
    let lost = acknowledged.iter().filter(|reference| !found.events.contains_key(*reference)).count();
    println!("{lost} of {} acknowledged are lost", acknowledged.len());
    assert!(lost > 0, "the test would not see a loss");
}
