//! What was answered then is answered again when it is asked as known then: after every change of a long random run, on
//! facts, corrections, voidings and their withdrawal, acceptance, replaced results, rule sets and limits.

use crate::draws::Draws;
use crate::length;
use crate::questions::{EXPORTS, beside, conclusions, with};
use crate::script::Script;
use crate::stage::Stage;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;

/// How many conclusions are kept after every change, beside the exports.
const CONCLUSIONS: usize = 4;
/// Steps that are taken before anything is kept.
const BEFORE: usize = 80;
/// How far the clock moves between changes, in seconds; now and then into another day.
const PAUSES: [i64; 8] = [1, 1, 2, 61, 600, 3_599, 7_200, 30_000];

/// An answer as it was given then.
struct Saved {
    instant: String,
    address: String,
    digest: [u8; 32],
    /// The text itself, of those that are shown where they differ.
    text: String,
}

#[tokio::test]
async fn exports_and_conclusions_as_known_then_are_the_bytes_saved_then() {
    let seed = length::seed("as_known_on", 20_260_302);
    let changes = length::of(60, 1000);
    let stage = Stage::set().await;
    let mut script = Script::begin(&stage, seed).await;
    // So that there is something that can change.
    for _ in 0..BEFORE {
        script.step().await;
    }
    stage.settle().await;
    let mut draws = Draws::from(seed + 1);
    let mut saved: Vec<Saved> = Vec::new();
    let mut turn = 0;
    let mut kinds: BTreeMap<String, usize> = BTreeMap::new();
    let mut recorded = 0;
    while recorded < changes {
        let before = script.lines.len();
        script.step().await;
        let new = script.lines[before..].iter().filter(|line| matches!(line.answer.status, 200 | 201));
        let of_step = new.map(|line| deed(&line.asked)).collect::<Vec<_>>();
        if of_step.is_empty() {
            continue;
        }
        recorded += 1;
        for deed in of_step {
            *kinds.entry(deed).or_default() += 1;
        }
        stage.settle().await;
        let instant = stage.now().format("%Y-%m-%dT%H:%M:%SZ").to_string();
        let all = [conclusions(&script.plant), beside(&script.plant)].concat();
        let some = (turn..turn + CONCLUSIONS).map(|n| all[n * 7 % all.len()].clone());
        for address in EXPORTS.into_iter().map(str::to_owned).chain(some) {
            let text = stage.read("physician", &address).await;
            let digest = Sha256::digest(&text).into();
            saved.push(Saved { instant: instant.clone(), address, digest, text });
        }
        turn += CONCLUSIONS;
        stage.pass(*draws.one_of(&PAUSES));
    }
    println!("{kinds:?}");
    let mut rows: BTreeMap<&str, usize> = BTreeMap::new();
    for Saved { address, text, .. } in &saved {
        // Rows of a CSV file stand on lines, those of a JSON file in one array.
        let most = rows.entry(address.as_str()).or_default();
        *most = (*most).max(text.lines().count() + text.matches("},{").count());
    }
    assert!(EXPORTS.iter().all(|export| rows[export] > 2), "the exports say something: {rows:?}");

    // Some days later, so that nothing is right by chance.
    stage.pass_days(9).await;
    // The first that differs, of each kind of question.
    let mut differing: BTreeMap<String, String> = BTreeMap::new();
    for Saved { instant, address, digest, text } in &saved {
        let now = stage.read("physician", &with(address, &format!("as_known_on={instant}"))).await;
        if <[u8; 32]>::from(Sha256::digest(&now)) != *digest {
            let said = format!("{address} as known on {instant}:\n{now}\nbut then it was:\n{text}");
            differing.entry(deed(&format!("physician GET {address}"))).or_insert(said);
        }
    }
    assert!(differing.is_empty(), "{}", differing.into_values().collect::<Vec<_>>().join("\n\n"));
    println!("{recorded} changes, {} answers asked again", saved.len());
}

/// What a line of the script did, without whom and what.
fn deed(asked: &str) -> String {
    let mut words = asked.split(' ').skip(1);
    let (method, path) = (words.next().unwrap_or_default(), words.next().unwrap_or_default());
    let path = path.split('?').next().unwrap_or_default();
    let parts = path.split('/').filter(|part| !part.is_empty() && part.matches('-').count() != 4);
    format!("{method} {}", parts.collect::<Vec<_>>().join("/"))
}
