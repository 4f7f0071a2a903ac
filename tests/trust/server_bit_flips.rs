//! The same damage to the files of a stopped PostgreSQL: with data checksums the server refuses a page that is not as it was
//! written, and without them a proof names what it reads.

use crate::bit_flips::{Outcome, outcome_at, registry, told, written};
use crate::draws::Draws;
use crate::length;
use crate::own_server::OwnServer;
use doseward::store::backend::Database;
use sqlx::{Connection as _, PgConnection};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// The files of the registry's tables and indexes that hold anything.
async fn files(server: &OwnServer, url: &str) -> Vec<PathBuf> {
    let mut connection = PgConnection::connect(url).await.unwrap();
    let sql = "SELECT pg_relation_filepath(c.oid) FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace \
               WHERE n.nspname = 'public' AND c.relkind IN ('r', 'i') AND pg_relation_size(c.oid) > 0 ORDER BY c.relname";
    let rows: Vec<(String,)> = sqlx::query_as(sql).fetch_all(&mut connection).await.unwrap();
    // What stands in memory alone is on the disk before the files are looked at.
    sqlx::raw_sql("CHECKPOINT").execute(&mut connection).await.unwrap();
    connection.close().await.unwrap();
    rows.into_iter().map(|(path,)| server.data().join(path)).collect()
}

/// Flips a bit: anywhere, or in a text that people wrote, where the server's own structure sees nothing.
fn flip(files: &[PathBuf], in_a_fact: bool, draws: &mut Draws) -> (PathBuf, Vec<u8>, String) {
    let words: [&[u8]; 4] = [b"Name1", b"reed_dust", b"\"value\":", b"2026-01-1"];
    loop {
        let file = draws.one_of(files).clone();
        let whole = std::fs::read(&file).unwrap();
        let mut damaged = whole.clone();
        let (at, bit) = if in_a_fact {
            let word = *draws.one_of(&words);
            let places: Vec<usize> = (0..whole.len().saturating_sub(word.len()))
                .filter(|at| whole[*at..].starts_with(word))
                .collect();
            if places.is_empty() {
                continue;
            }
            (*draws.one_of(&places) + draws.below(word.len()), draws.below(3))
        } else {
            (draws.below(whole.len()), draws.below(8))
        };
        damaged[at] ^= 1 << bit;
        std::fs::write(&file, &damaged).unwrap();
        let what = format!("bit {bit} of byte {at} of {}", file.display());
        return (file, whole, what);
    }
}

async fn damaged(checksums: bool, rounds: usize) -> Option<BTreeMap<Outcome, usize>> {
    let server = OwnServer::start_with(checksums)?;
    let mut draws = Draws::from(length::seed("server_bit_flips", 20_260_316));
    let url = server.url("postgres");
    let head = written(&url).await;
    let whole = registry(Database::open(&url).await.unwrap());
    let truth = told(&whole, head).await.unwrap();
    whole.database.close().await;
    assert!(truth.len() > 100, "there is something to read: {}", truth.len());
    let files = files(&server, &url).await;
    let mut all = BTreeMap::new();
    for n in 0..rounds {
        server.stop("fast");
        let (file, whole, what) = flip(&files, n % 2 == 0, &mut draws);
        server.start_again();
        let outcome = outcome_at(&url, &truth, head).await;
        assert_ne!(outcome, Outcome::Unnoticed, "{what}");
        *all.entry(outcome).or_insert(0) += 1;
        // The damage is taken out again, past whatever the server has written.
        server.stop("immediate");
        std::fs::write(&file, whole).unwrap();
        server.start_again();
    }
    println!("data checksums {checksums}: {all:?}");
    Some(all)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_damaged_page_of_a_server_with_checksums_is_refused() {
    let Some(all) = damaged(true, length::of(8, 200)).await else { return };
    // Half of the flips are in texts that every reader is told.
    assert!(all.contains_key(&Outcome::Refused) && !all.contains_key(&Outcome::Proved), "{all:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_server_without_checksums_reads_otherwise_a_proof_names() {
    let Some(all) = damaged(false, length::of(8, 200)).await else { return };
    assert!(all.contains_key(&Outcome::Proved), "{all:?}");
}
