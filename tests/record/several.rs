//! Several instances that start at once on an empty database: the schema is made once, the built-in rules are entered once,
//! and every instance is ready.

use crate::fresh::Fresh;
use crate::kill::Running;
use doseward::registry::verify::verify;
use doseward::service;
use doseward::store::backend::Database;
use doseward::store::journal;
use doseward::store::open::newest_schema;

const INSTANCES: usize = 5;
/// A few in plain `cargo test`, fifty with `DOSEWARD_TRUST=long` (`tests/trust-long` sets it).
fn rounds() -> usize {
    if std::env::var("DOSEWARD_TRUST").is_ok_and(|length| length == "long") { 50 } else { 3 }
}

/// How many migrations are noted, and the highest.
async fn schema(database: &Database) -> (i64, i64) {
    let sql = "SELECT count(*), max(version) FROM _sqlx_migrations WHERE success";
    match database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_one(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_one(pool).await.unwrap(),
    }
}

async fn entries(database: &Database) -> i64 {
    let mut tx = database.read().await.unwrap();
    journal::count(&mut tx).await.unwrap()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn five_instances_that_start_at_once_migrate_once_and_are_all_ready() {
    let alone = Fresh::make().await;
    let registry = service::open_at(&alone.url).await.unwrap();
    let wanted = entries(&registry.database).await;
    registry.database.close().await;
    let newest = newest_schema();
    for round in 0..rounds() {
        let fresh = Fresh::make().await;
        let mut starting = tokio::task::JoinSet::new();
        for _ in 0..INSTANCES {
            let url = fresh.url.clone();
            starting.spawn(async move { Running::start(&url).await });
        }
        let mut instances = Vec::new();
        while let Some(started) = starting.join_next().await {
            instances.push(started.unwrap());
        }
        assert_eq!(instances.len(), INSTANCES);
        for instance in &instances {
            let ready = reqwest::get(format!("{}/health/ready", instance.address)).await.unwrap();
            assert_eq!(ready.status(), 200, "round {round}");
        }
        for instance in &mut instances {
            instance.process.kill().await.unwrap();
        }
        let registry = fresh.registry_of_the_machine().await;
        assert_eq!(schema(&registry.database).await, (newest, newest), "round {round}");
        assert_eq!(entries(&registry.database).await, wanted, "round {round}: the rules were entered once");
        assert!(verify(&registry, |_| {}).await.unwrap().sound);
    }
}
