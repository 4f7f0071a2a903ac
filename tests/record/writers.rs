//! Many writers at once: one order of all changes, nothing lost, nothing twice.

use crate::fresh::Fresh;
use crate::plant::{self, recorder};
use doseward::access::scope::Scope;
use doseward::model::facts::group::Group;
use doseward::model::identifiers::AccountId;
use doseward::registry::facts::sampling;
use doseward::registry::progress::Stage;
use doseward::registry::refusal::Refusal;
use doseward::registry::verify::verify;
use doseward::registry::writer::{Begun, Registry};
use doseward::store::backend::Database;
use doseward::store::idempotency::{Answer, Asked};
use doseward::store::journal::{self, Entry, Reading};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use uuid::Uuid;

const WRITERS: usize = 8;
const REQUESTS: usize = 20;

async fn entries(registry: &Registry) -> Vec<Entry> {
    let mut tx = registry.database.read().await.unwrap();
    let all = Reading { medical: true, limit: 100_000, ..Reading::default() };
    journal::entries(&mut tx, &Scope::everything(AccountId(Uuid::nil())), &all).await.unwrap()
}

/// A request as the writer saw it: between which two moments, and what it recorded.
struct Acknowledged {
    began: u64,
    ended: u64,
    event: Uuid,
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_proof_of_a_registry_that_is_written_to_is_of_one_moment_and_tells_how_far_it_is() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry_of_the_machine().await;
    let plant = plant::history(&registry).await;
    let over = Arc::new(AtomicBool::new(false));
    let (writer, until) = (registry.clone(), Arc::clone(&over));
    let writing = tokio::spawn(async move {
        let mut written = 0;
        while !until.load(Ordering::SeqCst) {
            plant::event(&writer, plant.site, &format!("L{written}"), 2).await.unwrap();
            written += 1;
        }
        written
    });
    let mut entries = BTreeSet::new();
    while entries.len() < 4 {
        let mut told = Vec::new();
        let found = verify(&registry, |progress| told.push(progress)).await.unwrap();
        assert!(found.sound, "{:?}", found.first_fault);
        entries.insert(found.entries);
        // It ends with all that it said there was to do.
        let walked = told.iter().rfind(|progress| progress.stage == Stage::Entries).unwrap();
        assert_eq!((walked.done, walked.of), (found.entries, Some(found.entries)));
    }
    over.store(true, Ordering::SeqCst);
    println!("{} events were written meanwhile", writing.await.unwrap());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 8)]
async fn eight_writers_at_once_get_positions_without_gaps_in_commit_order() {
    let fresh = Fresh::make().await;
    let one = fresh.registry_of_the_machine().await;
    // Another instance of the service over the same database.
    let other = fresh.registry_of_the_machine().await;
    let plant = plant::history(&one).await;
    let before = entries(&one).await.last().unwrap().envelope.position;
    let moments = Arc::new(AtomicU64::new(0));
    let over = Arc::new(AtomicBool::new(false));
    let reader = tokio::spawn(sees_no_gap(other.clone(), Arc::clone(&over)));
    let writers: Vec<_> = (0..WRITERS)
        .map(|n| {
            let registry = if n % 2 == 0 { one.clone() } else { other.clone() };
            let moments = Arc::clone(&moments);
            tokio::spawn(async move {
                let mut acknowledged = Vec::new();
                for m in 0..REQUESTS {
                    let began = moments.fetch_add(1, Ordering::SeqCst);
                    let event = plant::event(&registry, plant.site, &format!("W{n}-{m}"), 2).await.unwrap();
                    acknowledged.push(Acknowledged {
                        began,
                        ended: moments.fetch_add(1, Ordering::SeqCst),
                        event,
                    });
                }
                acknowledged
            })
        })
        .collect();
    let mut acknowledged = Vec::new();
    for writer in writers {
        acknowledged.extend(writer.await.unwrap());
    }
    over.store(true, Ordering::SeqCst);
    assert!(reader.await.unwrap() > 0, "the reader looked");

    let entries = entries(&one).await;
    let new: Vec<&Entry> = entries.iter().filter(|entry| entry.envelope.position > before).collect();
    let positions: BTreeSet<i64> = new.iter().map(|entry| entry.envelope.position).collect();
    let last = before + i64::try_from(WRITERS * REQUESTS).unwrap();
    assert!(positions.iter().copied().eq(before + 1..=last), "gap-free: {positions:?}");
    assert!(entries.is_sorted_by_key(|entry| entry.envelope.at), "times rise with positions");
    let position_of = |event: Uuid| {
        let of_it: Vec<_> = new.iter().filter(|entry| entry.envelope.subject == event).collect();
        assert_eq!(of_it.len(), 1, "every acknowledged event stands once");
        let samples = new.iter().filter(|entry| {
            entry.envelope.position == of_it[0].envelope.position && entry.envelope.kind == "sample"
        });
        assert_eq!(samples.count(), 2, "whole");
        of_it[0].envelope.position
    };
    let placed: Vec<(u64, u64, i64)> =
        acknowledged.iter().map(|a| (a.began, a.ended, position_of(a.event))).collect();
    for (_, ended, position) in &placed {
        let wrong = placed.iter().find(|(began, _, later)| began > ended && later < position);
        assert!(wrong.is_none(), "what was acknowledged before another began stands before it");
    }
    let found = verify(&other, |_| {}).await.unwrap();
    assert!(found.sound, "{:?}", found.first_fault);
}

/// A reader that sees a position sees every one before it; gives how often it looked.
async fn sees_no_gap(registry: Registry, over: Arc<AtomicBool>) -> usize {
    let mut looked = 0;
    while !over.load(Ordering::SeqCst) {
        let mut tx = registry.database.read().await.unwrap();
        let (head, _) = journal::head(&mut tx).await.unwrap();
        let all = Reading { medical: true, limit: 100_000, ..Reading::default() };
        let entries =
            journal::entries(&mut tx, &Scope::everything(AccountId(Uuid::nil())), &all).await.unwrap();
        let positions: BTreeSet<i64> = entries.iter().map(|entry| entry.envelope.position).collect();
        assert!(positions.into_iter().eq(1..=head), "one snapshot holds every position up to its head");
        looked += 1;
        tokio::task::yield_now().await;
    }
    looked
}

#[tokio::test(flavor = "multi_thread", worker_threads = 8)]
async fn of_fifty_who_void_the_same_fact_one_wins() {
    let fresh = Fresh::make().await;
    let (one, other) = (fresh.registry_of_the_machine().await, fresh.registry_of_the_machine().await);
    let plant = plant::history(&one).await;
    let voiders: Vec<_> = (0..50)
        .map(|n| {
            let registry = if n % 2 == 0 { one.clone() } else { other.clone() };
            tokio::spawn(async move { plant::void::<Group>(&registry, plant.group, true).await })
        })
        .collect();
    let mut won = 0;
    for voider in voiders {
        match voider.await.unwrap() {
            Ok(()) => won += 1,
            Err(Refusal::Conflict { .. }) => {}
            Err(other) => panic!("{other}"),
        }
    }
    assert_eq!(won, 1);
    let voided = entries(&one).await.into_iter().filter(|entry| entry.envelope.subject == plant.group);
    assert_eq!(voided.count(), 2, "recorded once, voided once");
    assert!(verify(&one, |_| {}).await.unwrap().sound);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 8)]
async fn the_same_key_sent_twenty_times_at_once_is_carried_out_once() {
    let fresh = Fresh::make().await;
    let (one, other) = (fresh.registry_of_the_machine().await, fresh.registry_of_the_machine().await);
    let plant = plant::history(&one).await;
    let senders: Vec<_> = (0..20)
        .map(|n| {
            let registry = if n % 2 == 0 { one.clone() } else { other.clone() };
            tokio::spawn(async move { answer_to(&registry, plant.site).await })
        })
        .collect();
    let mut answers = BTreeSet::new();
    for sender in senders {
        answers.insert(sender.await.unwrap());
    }
    assert_eq!(answers.len(), 1, "everybody gets the first answer");
    let events = entries(&one).await.into_iter().filter(|entry| entry.envelope.kind == "sampling_event");
    assert_eq!(events.count(), 3, "two of the plant's history and this one");
    assert!(verify(&one, |_| {}).await.unwrap().sound, "answering again took no position");
}

async fn answer_to(registry: &Registry, site: Uuid) -> String {
    let asked = Asked { key: "k".into(), route: "POST /events".into(), body_digest: [1; 32] };
    match registry.begin(&recorder(), Some(asked)).await.unwrap() {
        Begun::Answered(answer) => answer.body,
        Begun::Change(mut change) => {
            let body = plant::event_body("ONCE", 1);
            let (event, _) = sampling::record_event(&mut change, site, &body).await.unwrap();
            let answer = Answer { status: 201, location: None, body: event.id.to_string() };
            registry.commit(*change, Some(&answer)).await.unwrap();
            answer.body
        }
    }
}

#[tokio::test]
async fn a_refused_or_idle_request_takes_no_position() {
    let fresh = Fresh::make().await;
    let registry = fresh.registry().await;
    let plant = plant::history(&registry).await;
    let last = entries(&registry).await.last().unwrap().envelope.position;
    let taken = plant::group(&registry, plant.site, "G1").await;
    assert!(matches!(taken, Err(Refusal::Conflict { .. })));
    let idle = registry.begin_plain(&recorder()).await.unwrap();
    registry.commit(idle, None).await.unwrap();
    plant::group(&registry, plant.site, "G2").await.unwrap();
    assert_eq!(entries(&registry).await.last().unwrap().envelope.position, last + 1);
    assert!(verify(&registry, |_| {}).await.unwrap().sound);
}

/// Who follows the marks sets and clears them in another order than who sets them by a fact: without one turn for both,
/// PostgreSQL ends one of them, and a user is told that the registry is busy. SQLite knows one writer only.
#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn whoever_follows_the_marks_waits_for_the_turn_of_whoever_records() {
    let fresh = Fresh::make().await;
    let writer = fresh.registry_of_the_machine().await;
    let follower = fresh.registry_of_the_machine().await;
    plant::history(&writer).await;
    let Database::Postgres(pool) = &writer.database else { return };
    let mut turn = writer.database.write().await.unwrap();
    journal::hold(&mut turn).await.unwrap();
    let following = tokio::spawn(async move { follower.settle().await });
    let waiting = "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock'";
    while sqlx::query_scalar::<_, i64>(waiting).fetch_one(pool).await.unwrap() == 0 {
        assert!(!following.is_finished(), "the marks were followed while another had the turn");
        tokio::task::yield_now().await;
    }
    turn.commit().await.unwrap();
    following.await.unwrap().unwrap();
    assert!(verify(&writer, |_| {}).await.unwrap().sound);
}
