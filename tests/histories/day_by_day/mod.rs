//! Whole plants drawn at random, entered and asked for, against a slow reading of the rules day by day.
//!
//! Compared are where a group stood in each era, a worker's days, the clauses with their counts and dates, and the
//! examinations that are owed. `DOSEWARD_PLANTS=1000-4000` draws those seeds instead of the usual ones; optimised
//! (`cargo test --release --test histories day_by_day`) thousands take minutes.

mod compared;
mod drawn;
mod entered;
mod paragraphs;
mod plain;

use crate::stage::{Stage, server};
use compared::{Seen, compare};
use doseward::registry::conclude::sight::Sight;
use drawn::{Drawn, draw};
use std::ops::Range;

/// How many plants each of the two tests draws, which run side by side; fewer on a server, where each statement takes a
/// journey.
const PLANTS: [u64; 2] = [200, 50];
/// How many are entered in one request.
const AT_ONCE: usize = 40;

/// Plants on which something was wrong once, with what it was.
const ONCE_WRONG: [(u64, &str); 7] = [
    (2, "own days at or above the level in a group without an assignment were not counted"),
    (
        16,
        "measured at a construction site without an assignment, and no clause of construction was evaluated",
    ),
    (45, "a shift in two groups was short until the other group's result came"),
    (58, "a shift in two groups was short until the other group's result came"),
    (7, "an own average that nobody had accepted took a day away"),
    (12, "a long sample's mean above the short-term limit did not count"),
    (40, "a long sample's mean above the short-term limit did not count"),
];

/// Enters the plants of some seeds and compares every answer.
async fn check(seeds: impl Iterator<Item = u64>) -> Seen {
    let stage = Stage::set().await;
    let sites = entered::sites(&stage).await;
    let plants: Vec<Drawn> = seeds.map(draw).collect();
    let mut seen = Seen::default();
    let mut told = Vec::new();
    for some in plants.chunks(AT_ONCE) {
        let entered = entered::plants(&stage, &sites, some).await;
        let mut tx = stage.registry.database.read().await.unwrap();
        let as_of = stage.registry.now(&mut tx).await.unwrap();
        let mut sight = Sight::of_now(&mut tx, as_of);
        for (drawn, entered) in some.iter().zip(&entered) {
            told.extend(compare(&stage, &mut sight, drawn, entered, &mut seen).await.told);
        }
    }
    assert!(told.is_empty(), "{} answers differ:\n{}", told.len(), told.join("\n"));
    seen
}

/// Checks the seeds that are asked for, or these; draws that only ever go one way would show nothing.
async fn check_range(usual: Range<u64>) {
    let asked = std::env::var("DOSEWARD_PLANTS").ok();
    let range = asked.as_deref().and_then(|text| text.split_once('-'));
    let seeds = range.map_or(usual, |(from, to)| from.parse().unwrap()..to.parse().unwrap());
    let seen = check(seeds).await;
    println!("{seen:?}");
    assert!(
        seen.clauses.into_iter().chain(seen.moves).chain(seen.undecided).all(|many| many > 0),
        "{seen:?}"
    );
}

#[tokio::test]
async fn answers_are_those_of_a_slow_reading_day_by_day() {
    let plants = PLANTS[usize::from(server().is_some())];
    check_range(0..plants).await;
}

#[tokio::test]
async fn and_so_they_are_of_other_plants() {
    // One range is enough where it is asked for.
    if std::env::var("DOSEWARD_PLANTS").is_err() {
        let plants = PLANTS[usize::from(server().is_some())];
        check_range(plants..2 * plants).await;
    }
}

#[tokio::test]
async fn what_was_wrong_once_is_right() {
    for (seed, what) in ONCE_WRONG {
        println!("{seed}: {what}");
    }
    check(ONCE_WRONG.into_iter().map(|(seed, _)| seed)).await;
}
