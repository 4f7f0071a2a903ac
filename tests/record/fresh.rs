//! A fresh database for one test, gone afterwards; time and identifiers that are the same on every run.

use chrono::{DateTime, Duration, TimeZone as _, Utc};
use doseward::registry::clock::{Clock, Ids, MachineClock, MachineIds};
use doseward::registry::writer::Registry;
use doseward::store::backend::Database;
use sqlx::{AssertSqlSafe, Connection as _, PgConnection};
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use uuid::Uuid;

/// A database of its own.
pub(crate) struct Fresh {
    /// Where it is.
    pub(crate) url: String,
    /// Kept until the test is over.
    _gone: Gone,
}

enum Gone {
    Folder { _folder: tempfile::TempDir },
    Server { url: String, name: String },
}

impl Fresh {
    /// Makes one.
    pub(crate) async fn make() -> Self {
        static MADE: AtomicU64 = AtomicU64::new(0);
        if let Ok(server) = std::env::var("TEST_DATABASE_URL") {
            let name = format!("record_{}_{}", std::process::id(), MADE.fetch_add(1, Ordering::Relaxed));
            on_server(&server, format!("CREATE DATABASE {name}")).await;
            let (before, _) = server.rsplit_once('/').unwrap();
            let url = format!("{before}/{name}");
            Self { url, _gone: Gone::Server { url: server, name } }
        } else {
            let folder = tempfile::tempdir().unwrap();
            let url = format!("sqlite:{}", folder.path().join("registry.sqlite").display());
            Self { url, _gone: Gone::Folder { _folder: folder } }
        }
    }

    /// Opens it with a pool of its own.
    pub(crate) async fn open(&self) -> Database {
        Database::open(&self.url).await.unwrap()
    }

    /// A registry over it whose time and identifiers are the same on every run.
    pub(crate) async fn registry(&self) -> Registry {
        let clock = Arc::new(Steps { seconds: AtomicI64::new(0) });
        Registry::new(self.open().await, clock, Arc::new(Counted { made: AtomicU64::new(0) }))
    }

    /// A registry over it with the machine's time and identifiers, and a pool of its own.
    pub(crate) async fn registry_of_the_machine(&self) -> Registry {
        Registry::new(self.open().await, Arc::new(MachineClock), Arc::new(MachineIds::default()))
    }
}

async fn on_server(url: &str, sql: String) {
    let mut server = PgConnection::connect(url).await.unwrap();
    sqlx::query(AssertSqlSafe(sql)).execute(&mut server).await.unwrap();
    server.close().await.unwrap();
}

impl Drop for Gone {
    fn drop(&mut self) {
        if let Self::Server { url, name } = self {
            let (url, sql) = (url.clone(), format!("DROP DATABASE {name} WITH (FORCE)"));
            // Dropping is not asynchronous, so it is done on a thread of its own.
            let dropped = std::thread::spawn(move || {
                let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
                runtime.block_on(on_server(&url, sql));
            });
            drop(dropped.join());
        }
    }
}

/// One second later every time it is asked.
struct Steps {
    seconds: AtomicI64,
}

impl Clock for Steps {
    fn now(&self) -> DateTime<Utc> {
        let steps = self.seconds.fetch_add(1, Ordering::SeqCst);
        Utc.with_ymd_and_hms(2026, 3, 2, 8, 0, 0).unwrap() + Duration::seconds(steps)
    }
}

/// Identifiers and salts that are counted, not drawn.
struct Counted {
    made: AtomicU64,
}

impl Ids for Counted {
    fn id(&self, at: DateTime<Utc>) -> Uuid {
        let mut counted = [0; 10];
        counted[2..].copy_from_slice(&self.made.fetch_add(1, Ordering::SeqCst).to_be_bytes());
        let millis = u64::try_from(at.timestamp_millis()).unwrap();
        uuid::Builder::from_unix_timestamp_millis(millis, &counted).into_uuid()
    }

    fn random(&self, into: &mut [u8]) {
        let counted = self.made.fetch_add(1, Ordering::SeqCst).to_be_bytes();
        for (byte, counted) in into.iter_mut().zip(counted.iter().rev().cycle()) {
            *byte = *counted;
        }
    }
}

/// SQL by the back door, past the registry.
pub(crate) async fn by_the_back_door(database: &Database, sql: impl Into<String>) {
    let sql = AssertSqlSafe(sql.into());
    match database {
        Database::Sqlite(pool) => drop(sqlx::raw_sql(sql).execute(pool).await.unwrap()),
        Database::Postgres(pool) => drop(sqlx::raw_sql(sql).execute(pool).await.unwrap()),
    }
}

/// Bytes as each engine writes them in SQL.
pub(crate) fn bytes(database: &Database, bytes: &[u8]) -> String {
    let hex = bytes.iter().fold(String::new(), |hex, byte| hex + &format!("{byte:02x}"));
    match database {
        Database::Sqlite(_) => format!("X'{hex}'"),
        Database::Postgres(_) => format!("'\\x{hex}'"),
    }
}

/// An identifier as each engine writes it in SQL.
pub(crate) fn id(database: &Database, id: Uuid) -> String {
    match database {
        Database::Sqlite(_) => bytes(database, id.as_bytes()),
        Database::Postgres(_) => format!("'{id}'"),
    }
}
