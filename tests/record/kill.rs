//! `kill -9` in the middle of a stream of submissions: whoever was told "recorded" finds it recorded, once and whole.

use crate::fresh::Fresh;
use crate::plant::{self, Draws, recorder};
use doseward::access::scope::Scope;
use doseward::model::facts::account::Account;
use doseward::model::facts::sampling::{Sample, SamplingEvent};
use doseward::model::identifiers::AccountId;
use doseward::registry::place::Under;
use doseward::registry::recording;
use doseward::registry::sign_in::make_token;
use doseward::registry::verify::verify;
use doseward::registry::writer::Registry;
use doseward::store::versions::{self, Where};
use reqwest::StatusCode;
use serde_json::json;
use std::collections::BTreeMap;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use tokio::io::{AsyncBufReadExt as _, BufReader};
use tokio::process::{Child, Command};
use tokio::sync::mpsc;
use uuid::Uuid;

const KILLS: usize = 20;
const SENDERS: usize = 4;

/// The service as a process of its own.
pub(crate) struct Running {
    pub(crate) process: Child,
    pub(crate) address: String,
}

impl Running {
    /// Starts the real program and waits until it says that it listens.
    pub(crate) async fn start(url: &str) -> Self {
        let mut process = Command::new(env!("CARGO_BIN_EXE_doseward"))
            .arg("serve")
            .env("DOSEWARD_DATABASE_URL", url)
            .env("DOSEWARD_LISTEN", "127.0.0.1:0")
            .env("DOSEWARD_LOG_LEVEL", "warn")
            // A setting of the tests, which the service would refuse as one that it does not know.
            .env_remove("DOSEWARD_TRUST")
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(process.stdout.take().unwrap()).lines();
        while let Some(line) = lines.next_line().await.unwrap() {
            if let Some(address) = line.strip_prefix("listening on ") {
                return Self { process, address: address.to_owned() };
            }
        }
        panic!("the service ended without listening: {:?}", process.wait().await);
    }
}

/// The list of what was acknowledged, on disk before the sender goes on.
struct List(PathBuf);

impl List {
    fn keep(&self, reference: &str) {
        let mut file = std::fs::File::options().create(true).append(true).open(&self.0).unwrap();
        writeln!(file, "{reference}").unwrap();
        file.sync_all().unwrap();
    }

    fn read(&self) -> Vec<String> {
        let text = std::fs::read_to_string(&self.0).unwrap_or_default();
        text.lines().map(str::to_owned).collect()
    }
}

/// Somebody who submits events.
#[derive(Clone)]
struct Sender {
    client: reqwest::Client,
    token: String,
    site: Uuid,
    list: PathBuf,
    /// How many events were sent so far; every one has a reference of its own.
    sent: Arc<AtomicUsize>,
    /// Told of every acknowledgement.
    told: mpsc::UnboundedSender<()>,
}

/// The reference of the n-th event; it tells how many samples the event has.
fn reference(n: usize) -> (String, usize) {
    let samples = 1 + n % 12;
    (format!("K{n}-of-{samples}"), samples)
}

impl Sender {
    /// Sends one event; true when it was acknowledged, and then it is in the list.
    async fn send(&self, address: &str, n: usize) -> bool {
        let (reference, samples) = reference(n);
        let answer = self
            .client
            .post(format!("{address}/api/v1/sites/{}/sampling-events", self.site))
            .bearer_auth(&self.token)
            .header("Idempotency-Key", &reference)
            .json(&plant::event_body(&reference, samples))
            .send()
            .await;
        let Ok(answer) = answer else { return false };
        let status = answer.status();
        // An answer that broke off is none.
        let Ok(body) = answer.text().await else { return false };
        assert_eq!(status, StatusCode::CREATED, "{body}");
        List(self.list.clone()).keep(&reference);
        self.told.send(()).unwrap();
        true
    }

    /// Sends one event after the other until the service is gone.
    async fn stream(self, address: String) {
        while self.send(&address, self.sent.fetch_add(1, Ordering::SeqCst)).await {}
    }
}

pub(crate) async fn token(registry: &Registry) -> String {
    let mut change = registry.begin_plain(&recorder()).await.unwrap();
    let body = json!({"email": "sender@example.org", "roles": [{"role": "coordinator"}]});
    let account = recording::record::<Account>(&mut change, Under::Nothing, None, &body).await.unwrap();
    let (_, secret) = make_token(&mut change, account.id, &json!({"label": "stream"})).await.unwrap();
    registry.commit(change, None).await.unwrap();
    secret
}

/// References and numbers of samples of all events in the registry; fails where one stands twice.
async fn events(registry: &Registry, site: Uuid) -> BTreeMap<String, usize> {
    let mut tx = registry.database.read().await.unwrap();
    let as_of = registry.now(&mut tx).await.unwrap();
    let everything = Scope::everything(AccountId(Uuid::nil()));
    let of_site = [Where::Site(site.into())];
    let events = versions::list::<SamplingEvent>(&mut tx, &everything, as_of, &of_site, None).await.unwrap();
    let samples = versions::list::<Sample>(&mut tx, &everything, as_of, &of_site, None).await.unwrap();
    let mut found = BTreeMap::new();
    for event in events {
        let whole = samples.iter().filter(|sample| sample.parent == Some(event.id)).count();
        let before = found.insert(event.fact.reference.to_string(), whole);
        assert_eq!(before, None, "{} stands once", event.fact.reference);
    }
    found
}

async fn is_whole(registry: &Registry, site: Uuid, list: &Path) {
    let events = events(registry, site).await;
    for reference in List(list.to_owned()).read() {
        assert!(events.contains_key(&reference), "{reference} was acknowledged and is lost");
    }
    for (reference, samples) in events.iter().filter(|(reference, _)| reference.starts_with('K')) {
        assert!(reference.ends_with(&format!("-of-{samples}")), "{reference} has {samples} samples");
    }
    let found = verify(registry, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn killed_twenty_times_the_registry_keeps_all_it_acknowledged_once_and_whole() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry_of_the_machine().await;
    let site = plant::history(&registry).await.site;
    let folder = tempfile::tempdir().unwrap();
    let list = folder.path().join("acknowledged");
    let (told, mut acknowledgements) = mpsc::unbounded_channel();
    let sender = Sender {
        client: reqwest::Client::new(),
        token: token(&registry).await,
        site,
        list: list.clone(),
        sent: Arc::default(),
        told,
    };
    let mut draws = Draws(20_260_309);
    for _ in 0..KILLS {
        let mut running = Running::start(&fresh.url).await;
        let mut streams = tokio::task::JoinSet::new();
        for _ in 0..SENDERS {
            streams.spawn(sender.clone().stream(running.address.clone()));
        }
        // So many acknowledgements later, and then at whatever moment of the next ones.
        for _ in 0..draws.below(8) {
            tokio::select! {
                told = acknowledgements.recv() => told.unwrap(),
                ended = streams.join_next() => panic!("a sender ended before the service was killed: {ended:?}"),
            }
        }
        let moment = Duration::from_micros(draws.below(150_000) as u64);
        let ended = tokio::time::timeout(moment, streams.join_next()).await;
        assert!(ended.is_err(), "a sender ended before the service was killed: {ended:?}");
        // SIGKILL: nothing of the program runs any more.
        running.process.kill().await.unwrap();
        while let Some(ended) = streams.join_next().await {
            ended.unwrap();
        }
        while acknowledgements.try_recv().is_ok() {}
        is_whole(&registry, site, &list).await;
    }
    // Whoever was not told sends again under the same key, and then it is there, once.
    let running = Running::start(&fresh.url).await;
    let sent = sender.sent.load(Ordering::SeqCst);
    let told = List(list.clone()).read();
    assert!(told.len() > KILLS, "the kills came in the middle of a stream: {}", told.len());
    for n in (0..sent).filter(|n| !told.contains(&reference(*n).0)) {
        assert!(sender.send(&running.address, n).await);
    }
    is_whole(&registry, site, &list).await;
    let all = events(&registry, site).await;
    assert!((0..sent).all(|n| all.contains_key(&reference(n).0)));
}
