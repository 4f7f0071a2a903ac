//! The same request again: at the same time, under another key, after a failure, and after its answer was cut off.

use crate::acknowledged::List;
use crate::client::{Answer, Asked, Client, answered};
use crate::fresh::{Fresh, by_the_back_door};
use crate::length;
use crate::running::Running;
use crate::works::{Plant, found, is_sound};
use doseward::registry::writer::Registry;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;

struct Scene {
    fresh: Fresh,
    registry: Registry,
    client: Client,
    running: Running,
    plant: Plant,
}

async fn scene() -> Scene {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let client = Client::of_role(&registry, "hygienist").await;
    let running = Running::start(&fresh.url).await;
    let plant = Plant::found(&client, &running.address, 2).await;
    Scene { fresh, registry, client, running, plant }
}

impl Scene {
    /// Sends a request with its key; nothing where no whole answer came.
    async fn send(&self, address: &str, asked: &Asked) -> Option<Answer> {
        send(&self.client, address, asked).await
    }
}

async fn send(client: &Client, address: &str, asked: &Asked) -> Option<Answer> {
    let request = client.request("POST", address, &asked.path).header("idempotency-key", &asked.key);
    answered(match &asked.body {
        Value::String(file) => request.header("content-type", "text/csv").body(file.clone()),
        json => request.json(json),
    })
    .await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_hundred_times_at_once_is_once_and_another_body_is_refused() {
    let scene = scene().await;
    let asked = scene.plant.event("ONCE", 3);
    let mut senders = tokio::task::JoinSet::new();
    for _ in 0..100 {
        let (client, asked) = (scene.client.clone(), asked.clone());
        let address = scene.running.address.clone();
        senders.spawn(async move { send(&client, &address, &asked).await.unwrap() });
    }
    let (mut bodies, mut waited) = (BTreeSet::new(), 0);
    for answer in senders.join_all().await {
        match (answer.status, answer.problem().as_str()) {
            (201, _) => drop(bodies.insert(answer.text)),
            // Told to come back with the same key.
            (409, "still_running") | (503, "busy") => waited += 1,
            _ => panic!("{} {}", answer.status, answer.text),
        }
    }
    println!("{waited} of a hundred were told to come back");
    assert_eq!(bodies.len(), 1, "everybody else gets the first answer");
    assert_eq!(found(&scene.registry).await.events["ONCE"], 3);
    let other = Asked { body: scene.plant.event("OTHER", 3).body, ..asked };
    let refused = scene.send(&scene.running.address, &other).await.unwrap();
    assert_eq!((refused.status, refused.problem().as_str()), (422, "key_reused"));
    assert_eq!(found(&scene.registry).await.events.len(), 1);
    is_sound(&scene.registry).await;
}

#[tokio::test]
async fn a_key_is_free_again_after_a_failure_inside() {
    let scene = scene().await;
    let asked = scene.plant.shift("AGAIN", 0, "2026-02-03".parse().unwrap());
    // What was stored no longer reads: the request fails inside, and nothing of it is kept.
    by_the_back_door(&scene.registry.database, "UPDATE exposure_group SET body = 'x' || body").await;
    let failed = scene.send(&scene.running.address, &asked).await.unwrap();
    assert_eq!((failed.status, failed.problem().as_str()), (500, "internal"), "{}", failed.text);
    assert_eq!(found(&scene.registry).await.events.len(), 0);
    by_the_back_door(&scene.registry.database, "UPDATE exposure_group SET body = substr(body, 2)").await;
    scene.send(&scene.running.address, &asked).await.unwrap().id();
    assert_eq!(found(&scene.registry).await.events["AGAIN"], 2);
    is_sound(&scene.registry).await;
}

#[tokio::test]
async fn a_report_sent_again_under_another_key_is_refused_and_counts_once() {
    let scene = scene().await;
    let address = &scene.running.address;
    let day = "2026-02-03".parse().unwrap();
    scene.send(address, &scene.plant.shift("DAY", 0, day)).await.unwrap().id();
    let report = scene.plant.report("DAY", 2);
    scene.send(address, &report).await.unwrap().id();
    let history = format!("/workers/{}/history?agent_code=reed_dust", scene.plant.workers[0]);
    let before = scene.client.get(address, &history).await;
    assert_eq!(before.status, 200, "{}", before.text);
    assert!(before.text.contains("cumulative"), "{}", before.text);
    let again = Asked { key: "another".into(), ..report.clone() };
    let refused = scene.send(address, &again).await.unwrap();
    assert_eq!((refused.status, refused.problem().as_str()), (409, "conflict"), "{}", refused.text);
    let unkeyed = scene.client.request("POST", address, &report.path).header("content-type", "text/csv");
    let Value::String(file) = report.body else { panic!("a report is a file") };
    assert_eq!(answered(unkeyed.body(file)).await.unwrap().status, 409);
    assert_eq!(scene.client.get(address, &history).await.text, before.text, "the dose is the same");
    assert_eq!(found(&scene.registry).await.reports["L-DAY"], 2);
}

/// A line between client and service that loses answers: what came from the service is kept, and of it only so many bytes
/// are let through.
struct Line {
    address: String,
    /// Every whole answer, as the service sent it.
    answers: mpsc::UnboundedReceiver<String>,
}

impl Line {
    async fn lay(service: &str) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = format!("http://{}", listener.local_addr().unwrap());
        let service = service.strip_prefix("http://").unwrap().to_owned();
        let (kept, answers) = mpsc::unbounded_channel();
        let count = Arc::new(AtomicUsize::new(0));
        tokio::spawn(async move {
            while let Ok((client, _)) = listener.accept().await {
                let (service, kept) = (service.clone(), kept.clone());
                let n = count.fetch_add(1, Ordering::Relaxed);
                tokio::spawn(async move { lose(client, &service, n, &kept).await });
            }
        });
        Self { address, answers }
    }
}

/// Carries one request over, waits for the whole answer, and cuts the line before or in the middle of it.
async fn lose(mut client: TcpStream, service: &str, n: usize, kept: &mpsc::UnboundedSender<String>) {
    let mut service = TcpStream::connect(service).await.unwrap();
    let (mut from_client, mut to_client) = client.split();
    let (mut from_service, mut to_service) = service.split();
    let carried = tokio::io::copy(&mut from_client, &mut to_service);
    let answer = async {
        let mut answer = Vec::new();
        let mut part = [0; 4096];
        while let Ok(read @ 1..) = from_service.read(&mut part).await {
            answer.extend_from_slice(&part[..read]);
            if is_whole(&answer) {
                break;
            }
        }
        answer
    };
    let answer = tokio::select! {
        answer = answer => answer,
        () = async { drop(carried.await); std::future::pending::<()>().await } => return,
    };
    let through = answer.len() * (n % 3) / 3;
    drop(to_client.write_all(&answer[..through]).await);
    kept.send(String::from_utf8(answer).unwrap()).unwrap();
}

fn is_whole(answer: &[u8]) -> bool {
    let text = String::from_utf8_lossy(answer);
    let Some((head, body)) = text.split_once("\r\n\r\n") else { return false };
    let length =
        head.lines().find_map(|line| line.to_lowercase().strip_prefix("content-length: ")?.parse().ok());
    length.is_some_and(|length: usize| body.len() >= length)
}

#[tokio::test]
async fn an_answer_cut_off_is_given_again_under_the_same_key_and_the_row_stands_once() {
    let cuts = length::of(50, 500);
    let scene = scene().await;
    let folder = tempfile::tempdir().unwrap();
    let list = List::begin(folder.path());
    let mut line = Line::lay(&scene.running.address).await;
    for n in 0..cuts {
        let reference = format!("C{n}");
        let asked = scene.plant.event(&reference, 1 + n % 4);
        list.sent(&asked.key, &asked.deed, &asked.about);
        assert!(scene.send(&line.address, &asked).await.is_none(), "the answer was let through");
        let lost = line.answers.recv().await.unwrap();
        let (head, first) = lost.split_once("\r\n\r\n").unwrap();
        assert!(head.starts_with("HTTP/1.1 201"), "{lost}");
        let again = scene.send(&scene.running.address, &asked).await.unwrap();
        assert_eq!((again.status, again.text.as_str()), (201, first), "the original answer");
        list.acknowledged(&asked.key, &json!({}));
    }
    let found = found(&scene.registry).await;
    assert_eq!(found.events.len(), cuts);
    assert!(list.read().values().all(|line| {
        let samples = found.events.get(line.about["reference"].as_str().unwrap());
        line.answer.is_some() && samples.is_some_and(|samples| json!(samples) == line.about["samples"])
    }));
    is_sound(&scene.registry).await;
    drop(scene.fresh);
}
