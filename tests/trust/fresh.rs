//! A fresh database for one test, gone afterwards.

use doseward::registry::clock::{MachineClock, MachineIds};
use doseward::registry::writer::Registry;
use doseward::store::backend::Database;
use sqlx::{AssertSqlSafe, Connection as _, PgConnection};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// A database of its own.
pub(crate) struct Fresh {
    /// Where it is.
    pub(crate) url: String,
    gone: Gone,
}

enum Gone {
    Folder(tempfile::TempDir),
    Server { url: String, name: String },
}

impl Fresh {
    /// One on the engine that the tests run on.
    pub(crate) async fn make() -> Self {
        match std::env::var("TEST_DATABASE_URL") {
            Ok(server) => Self::on_server(&server).await,
            Err(_) => Self::on_sqlite(),
        }
    }

    /// One in a file.
    pub(crate) fn on_sqlite() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let url = format!("sqlite:{}", folder.path().join(FILE).display());
        Self { url, gone: Gone::Folder(folder) }
    }

    /// One on a PostgreSQL server.
    pub(crate) async fn on_server(server: &str) -> Self {
        static MADE: AtomicU64 = AtomicU64::new(0);
        let name =
            format!("doseward_test_{}_trust{}", std::process::id(), MADE.fetch_add(1, Ordering::Relaxed));
        on_server(server, format!("CREATE DATABASE {name}")).await;
        let (before, _) = server.rsplit_once('/').unwrap();
        Self { url: format!("{before}/{name}"), gone: Gone::Server { url: server.to_owned(), name } }
    }

    /// Opens it with a pool of its own and the machine's time and identifiers.
    pub(crate) async fn registry(&self) -> Registry {
        registry(&self.url).await
    }

    /// The folder and the file, where it is one.
    pub(crate) fn file(&self) -> Option<PathBuf> {
        match &self.gone {
            Gone::Folder(folder) => Some(folder.path().join(FILE)),
            Gone::Server { .. } => None,
        }
    }
}

const FILE: &str = "registry.sqlite";

/// A registry over a database that is there.
pub(crate) async fn registry(url: &str) -> Registry {
    Registry::new(Database::open(url).await.unwrap(), Arc::new(MachineClock), Arc::new(MachineIds::default()))
}

/// The address of a file.
pub(crate) fn address(file: &Path) -> String {
    format!("sqlite:{}", file.display())
}

/// SQL by the back door, past the registry.
pub(crate) async fn by_the_back_door(database: &Database, sql: impl Into<String>) {
    let sql = AssertSqlSafe(sql.into());
    match database {
        Database::Sqlite(pool) => drop(sqlx::raw_sql(sql).execute(pool).await.unwrap()),
        Database::Postgres(pool) => drop(sqlx::raw_sql(sql).execute(pool).await.unwrap()),
    }
}

async fn on_server(url: &str, sql: String) {
    let mut server = PgConnection::connect(url).await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut server).await.unwrap();
    server.close().await.unwrap();
}

impl Drop for Gone {
    fn drop(&mut self) {
        if let Self::Server { url, name } = self {
            let (url, sql) = (url.clone(), format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)"));
            // A runtime of its own: the test's is on its way out. The server may be gone before its database.
            let dropped = std::thread::spawn(move || {
                let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
                runtime.block_on(on_server(&url, sql));
            });
            drop(dropped.join());
        }
    }
}
