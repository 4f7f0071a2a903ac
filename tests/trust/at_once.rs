//! Many who write at once, through two instances: whatever snapshot is looked at, the shift averages as listed are those
//! that the samples give, positions never go back, and of two requests that exclude each other one is refused.

use crate::client::{Answer, Client, answered};
use crate::draws::Draws;
use crate::fresh::Fresh;
use crate::length;
use crate::running::Running;
use crate::works::{Plant, is_sound};
use chrono::NaiveDate;
use doseward::access::scope::Scope;
use doseward::conclusions::asked::Asked;
use doseward::model::facts::laboratory::{LabResult, ResultStatus};
use doseward::model::facts::sampling::{Sample, SamplingEvent};
use doseward::model::identifiers::{AccountId, WorkerId};
use doseward::model::unit::Unit;
use doseward::model::version::Version;
use doseward::registry::conclude::shift_averages::{Question, averages};
use doseward::registry::enter_pack::console;
use doseward::registry::writer::Registry;
use doseward::store::backend::Tx;
use doseward::store::journal;
use doseward::store::versions::{self, AsOf};
use serde_json::json;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use uuid::Uuid;

const CLIENTS: usize = 8;
const WORKERS: usize = 3;

/// Who submits, supersedes, voids, corrects and accepts at random, on samples that all share.
struct Writer {
    client: Client,
    address: String,
    plant: Plant,
    draws: Draws,
    /// How many shifts were begun by all.
    shifts: Arc<AtomicUsize>,
    refused: usize,
}

/// The identifier and number of a sample in a list of an event's.
type Found = (String, String);

impl Writer {
    async fn run(mut self, steps: usize) -> usize {
        for step in 0..steps {
            if step == 0 || self.draws.one_in(4) {
                self.submit().await;
            } else {
                self.touch(step).await;
            }
        }
        self.refused
    }

    fn note(&mut self, answer: &Answer) {
        assert!(answer.status < 500, "{} {}", answer.status, answer.text);
        self.refused += usize::from(answer.status >= 400);
    }

    /// A shift of a worker on a day of its own, with its report.
    async fn submit(&mut self) {
        let n = self.shifts.fetch_add(1, Ordering::SeqCst);
        let day =
            NaiveDate::from_ymd_opt(2025, 7, 1).unwrap() + chrono::Duration::days(i64::try_from(n).unwrap());
        let reference = format!("S{n}");
        for asked in [self.plant.shift(&reference, n % WORKERS, day), self.plant.report(&reference, 2)] {
            let request = self.client.request("POST", &self.address, &asked.path);
            let request = match asked.body {
                serde_json::Value::String(file) => request.header("content-type", "text/csv").body(file),
                json => request.json(&json),
            };
            // Refused where somebody has voided a sample of it meanwhile.
            let answer = answered(request).await.unwrap();
            self.note(&answer);
        }
    }

    /// One of the samples that were begun.
    async fn any_sample(&mut self) -> Option<Found> {
        let path = format!("/sites/{}/sampling-events?limit=500", self.plant.site);
        let events = self.client.get(&self.address, &path).await.json();
        let events = events["items"].as_array().unwrap().clone();
        let event = self.draws.one_of(&events)["id"].as_str()?.to_owned();
        let samples = self.client.get(&self.address, &format!("/sampling-events/{event}")).await.json();
        let samples = samples["samples"].as_array().unwrap().clone();
        let sample = self.draws.one_of(&samples);
        Some((sample["id"].as_str()?.to_owned(), sample["number"].as_str()?.to_owned()))
    }

    async fn touch(&mut self, step: usize) {
        let Some((sample, number)) = self.any_sample().await else { return };
        let path = format!("/samples/{sample}");
        let because = json!({"reason": "Looked at again."});
        let answer = match self.draws.below(6) {
            0 => self.client.post(&self.address, &format!("{path}/voiding"), &because).await,
            1 => self.client.post(&self.address, &format!("{path}/voiding-withdrawal"), &because).await,
            2 => self.client.post(&self.address, &format!("{path}/acceptance"), &because).await,
            3 | 4 => {
                let read = self.client.get(&self.address, &path).await;
                let flow = json!({"value": format!("1.9{}", self.draws.below(10)), "unit": "L/min"});
                let body = json!({"flow_after": flow, "reason": "Misread."});
                let request = self.client.request("PATCH", &self.address, &path).json(&body);
                answered(request.header("if-match", read.header("etag"))).await.unwrap()
            }
            _ => {
                let file = format!(
                    "sample_number,agent,value,unit,reporting_limit,replaces\n{number},reed_dust,0.{:03},mg,0.005,revised\n",
                    200 + self.draws.below(700)
                );
                let path = format!(
                    "/sites/{}/lab-reports?report_number=R-{number}-{step}-{}&laboratory=Reed&received_on=2026-02-20",
                    self.plant.site,
                    self.draws.below(1_000_000)
                );
                let request = self.client.request("POST", &self.address, &path);
                answered(request.header("content-type", "text/csv").body(file)).await.unwrap()
            }
        };
        self.note(&answer);
    }
}

/// The 8-hour average that one sample adds to its shift, in mg/m3, worked out plainly: mass over mean flow and minutes, for
/// its share of 480 minutes. Nothing where no result stands.
fn share(sample: &Version<Sample>, results: &[Version<LabResult>]) -> Option<f64> {
    let of_sample = |result: &&Version<LabResult>| {
        result.fact.sample_id.0 == sample.id
            && result.fact.stands
            && result.stands()
            && result.fact.status != ResultStatus::Voided
    };
    let result = results.iter().find(of_sample)?;
    let milligrams = result.fact.mass.as_ref()?.number_in(Unit::from_code("mg").unwrap())?;
    let flow = |flow: &Option<doseward::model::quantity::Quantity>| {
        flow.as_ref()?.number_in(Unit::from_code("L/min").unwrap())
    };
    let mean = f64::midpoint(flow(&sample.fact.flow_before)?, flow(&sample.fact.flow_after)?);
    let minutes = 240.0;
    Some(milligrams / (mean * minutes) * 1000.0 * minutes / 480.0)
}

/// By worker, the sum of the averages over whole shifts as the samples in the snapshot give it.
async fn recomputed(tx: &mut Tx, as_of: AsOf) -> BTreeMap<Uuid, f64> {
    let all = Scope::everything(AccountId(Uuid::nil()));
    let events = versions::list::<SamplingEvent>(tx, &all, as_of, &[], None).await.unwrap();
    let samples = versions::list::<Sample>(tx, &all, as_of, &[], None).await.unwrap();
    let results = versions::list::<LabResult>(tx, &all, as_of, &[], None).await.unwrap();
    let mut sums = BTreeMap::new();
    for event in events.iter().filter(|event| event.stands()) {
        let halves: Vec<_> = samples.iter().filter(|sample| sample.parent == Some(event.id)).collect();
        assert_eq!(halves.len(), 2, "an event is seen whole");
        let shares: Option<Vec<f64>> =
            halves.iter().map(|half| if half.stands() { share(half, &results) } else { None }).collect();
        let worker = halves[0].fact.worker_id.unwrap().0;
        if let Some(shares) = shares {
            *sums.entry(worker).or_default() += shares.iter().sum::<f64>();
        }
    }
    sums
}

/// By worker, the sum of the averages over whole shifts as the registry lists them in the same snapshot.
async fn listed(tx: &mut Tx, as_of: AsOf, workers: &[Uuid]) -> BTreeMap<Uuid, f64> {
    let mut sums = BTreeMap::new();
    for worker in workers {
        let question = Question { worker: Some(WorkerId(*worker)), ..Question::default() };
        let shifts = averages(tx, &console("trust"), as_of, &question, Asked::default()).await.unwrap();
        for shift in shifts.iter().filter(|shift| shift.samples.len() == 2) {
            if let Some(average) = &shift.eight_hour_twa {
                let average = average.number_in(Unit::from_code("mg/m3").unwrap()).unwrap();
                *sums.entry(*worker).or_default() += average;
            }
        }
    }
    sums
}

/// Looks at one snapshot after the other; gives how many it looked at.
async fn look(registry: Registry, workers: Vec<Uuid>, over: Arc<AtomicBool>) -> usize {
    let (mut looked, mut last) = (0, 0);
    while !over.load(Ordering::SeqCst) {
        let mut tx = registry.database.read().await.unwrap();
        let (position, _) = journal::head(&mut tx).await.unwrap();
        assert!(position >= last, "position {position} after {last}");
        last = position;
        let as_of = AsOf { position, date: "2026-03-02".parse().unwrap() };
        let (given, listed) = (recomputed(&mut tx, as_of).await, listed(&mut tx, as_of, &workers).await);
        assert_eq!(given.keys().collect::<Vec<_>>(), listed.keys().collect::<Vec<_>>(), "at {position}");
        for (worker, sum) in &given {
            let said = listed[worker];
            assert!(
                (said / sum - 1.0).abs() < 1e-9,
                "at {position} {worker}: {said} listed, {sum} by the samples"
            );
        }
        looked += 1;
    }
    looked
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn in_every_snapshot_the_shift_averages_are_those_of_the_samples() {
    let seed = length::seed("at_once", 20_260_314);
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let client = Client::of_role(&registry, "hygienist").await;
    let services = [Running::start(&fresh.url).await, Running::start(&fresh.url).await];
    let plant = Plant::found(&client, &services[0].address, WORKERS).await;
    let over = Arc::new(AtomicBool::new(false));
    let workers = plant.workers.iter().map(|worker| worker.parse().unwrap()).collect();
    let reader = tokio::spawn(look(registry.clone(), workers, Arc::clone(&over)));
    let shifts: Arc<AtomicUsize> = Arc::default();
    let mut writers = tokio::task::JoinSet::new();
    for n in 0..CLIENTS {
        let writer = Writer {
            client: client.clone(),
            address: services[n % 2].address.clone(),
            plant: plant.clone(),
            draws: Draws::from(seed + n as u64),
            shifts: Arc::clone(&shifts),
            refused: 0,
        };
        writers.spawn(writer.run(length::of(16, 200)));
    }
    let mut refused = 0;
    while let Some(ended) = writers.join_next().await {
        refused += ended.unwrap();
    }
    over.store(true, Ordering::SeqCst);
    let looked = reader.await.unwrap();
    println!("{looked} snapshots; {refused} requests were refused");
    assert!(looked > 0);
    is_sound(&registry).await;
}

/// Each of the two looks whether the other's days are there, and no index would stop the second: only that one writes after
/// the other.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn of_two_that_exclude_each_other_one_is_refused() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let client = Client::of_role(&registry, "hygienist").await;
    let services = [Running::start(&fresh.url).await, Running::start(&fresh.url).await];
    let plant = Plant::found(&client, &services[0].address, 1).await;
    let group = json!({"code": "G1", "title": "Group 1"});
    let group =
        client.post(&services[0].address, &format!("/sites/{}/groups", plant.site), &group).await.id();
    let path = format!("/workers/{}/assignments", plant.workers[0]);
    for round in 0..i64::try_from(length::of(20, 200)).unwrap() {
        let first = NaiveDate::from_ymd_opt(2025, 2, 3).unwrap() + chrono::Duration::days(round * 3);
        let send = |n: usize| {
            let from = first + chrono::Duration::days(i64::try_from(n).unwrap());
            let body = json!({"group_id": group, "from": from.to_string(),
                "to": (from + chrono::Duration::days(2)).to_string(), "shifts_per_week": 5, "hours_per_shift": 8});
            answered(client.request("POST", &services[n].address, &path).json(&body))
        };
        let (one, other) = tokio::join!(send(0), send(1));
        let mut said = [one.unwrap().status, other.unwrap().status];
        said.sort_unstable();
        assert_eq!(said, [201, 422], "round {round}");
    }
    is_sound(&registry).await;
}
