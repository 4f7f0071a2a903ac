//! A registry refuses to start where an acknowledged row could be lost.

use crate::fresh::{Fresh, by_the_back_door};
use doseward::store::backend::Database;
use doseward::store::error::StoreError;

async fn refusal(url: &str) -> String {
    match Database::open(url).await {
        Err(StoreError::Unsafe(sentence)) => sentence,
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn an_address_of_an_unknown_kind_is_refused_in_a_sentence() {
    for url in ["mysql://localhost/registry", "registry.sqlite", ""] {
        assert!(
            refusal(url).await.starts_with("the database address must begin with sqlite: or postgres:"),
            "{url}"
        );
    }
}

#[tokio::test]
async fn a_database_in_memory_is_refused() {
    let sentence = refusal("sqlite::memory:").await;
    assert_eq!(sentence, "the database setting journal_mode is memory: acknowledged rows could be lost");
}

#[tokio::test]
async fn a_server_that_acknowledges_before_writing_is_refused() {
    let fresh = Fresh::make().await;
    let database = fresh.open().await;
    if !matches!(database, Database::Postgres(_)) {
        return;
    }
    let (_, name) = fresh.url.rsplit_once('/').unwrap();
    by_the_back_door(&database, format!("ALTER DATABASE {name} SET synchronous_commit = off")).await;
    database.close().await;
    let sentence = refusal(&fresh.url).await;
    assert_eq!(sentence, "the database setting synchronous_commit is off: acknowledged rows could be lost");
}

#[tokio::test]
async fn opening_twice_changes_nothing() {
    let fresh = Fresh::make().await;
    fresh.open().await.close().await;
    fresh.open().await.close().await;
}
