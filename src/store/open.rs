//! Opening a database: its address, its settings, its schema. What stands in the way is said in one sentence.

use crate::store::backend::{Database, Tx};
use crate::store::error::StoreError;
use crate::store::turn::Turn;
use crate::store::{durability, schema};
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use sqlx::{ConnectOptions as _, Connection as _};
use std::path::Path;
use std::str::FromStr;
use std::time::Duration;

/// The number of the newest schema that this program knows.
pub fn newest_schema() -> i64 {
    schema::newest()
}

impl Database {
    /// Opens `sqlite:<path>` or `postgres://…`, checks its settings and brings the schema up to date.
    ///
    /// # Errors
    /// [`StoreError::Unfit`] with a sentence when the address is none of ours, the database cannot be reached or is none
    /// of ours, its schema is newer than this program, or a setting could lose acknowledged rows.
    pub async fn open(url: &str) -> Result<Self, StoreError> {
        if url.starts_with("sqlite:") {
            open_sqlite(url).await
        } else if url.starts_with("postgres:") || url.starts_with("postgresql:") {
            open_postgres(url).await
        } else {
            Err(StoreError::Unfit(
                "the database address must begin with sqlite: or postgres: (for example sqlite:registry.sqlite)".into(),
            ))
        }
    }
}

async fn open_sqlite(url: &str) -> Result<Database, StoreError> {
    let options = SqliteConnectOptions::from_str(url)
        .map_err(unreadable)?
        .create_if_missing(true)
        .journal_mode(SqliteJournalMode::Wal)
        // FULL: with NORMAL the last commits may vanish on power loss.
        .synchronous(SqliteSynchronous::Full)
        .foreign_keys(true)
        .busy_timeout(Duration::from_secs(10))
        .pragma("wal_autocheckpoint", "8192");
    let path = options.get_filename().to_owned();
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    let turn = Turn::wait(folder.unwrap_or(Path::new("."))).await?;
    // SQLite would open it all the same, for reading alone.
    if std::fs::metadata(&path).is_ok_and(|file| file.permissions().readonly()) {
        return Err(StoreError::Unfit(format!("{} is read-only", path.display())));
    }
    let told = |error| of_sqlite(&path, error);
    let mut first = options.connect().await.map_err(told)?;
    durability::check_sqlite(&mut first).await?;
    schema::bring_sqlite_up_to_date(&mut first).await.map_err(|error| schema::in_words(error, told))?;
    first.close().await.map_err(told)?;
    drop(turn);
    let pool = SqlitePoolOptions::new()
        .max_connections(8)
        // SQLite rolls back by itself where the disk is full. The driver does not notice, and would never again begin a
        // transaction on that connection.
        .before_acquire(|connection, _| Box::pin(async { Ok(!connection.is_in_transaction()) }))
        .after_connect(|connection, _| {
            Box::pin(async move { durability::check_sqlite(connection).await.map_err(not_handed_out) })
        })
        .connect_with(options)
        .await
        .map_err(told)?;
    Ok(Database::Sqlite(pool))
}

async fn open_postgres(url: &str) -> Result<Database, StoreError> {
    let options = PgConnectOptions::from_str(url).map_err(unreadable)?.application_name("doseward");
    let server = format!("{}:{}", options.get_host(), options.get_port());
    let told = |error| of_postgres(&server, error);
    // The first connection stands apart from the pool, which would wait for a server that refuses.
    let mut first = options.connect().await.map_err(told)?;
    durability::check_postgres(&mut first).await?;
    durability::advise_checksums(&mut first).await?;
    schema::bring_postgres_up_to_date(&mut first).await.map_err(|error| schema::in_words(error, told))?;
    first.close().await.map_err(told)?;
    let pool = PgPoolOptions::new()
        .max_connections(16)
        .acquire_timeout(Duration::from_secs(10))
        .after_connect(|connection, _| {
            Box::pin(async move { durability::check_postgres(connection).await.map_err(not_handed_out) })
        })
        .connect_with(options)
        .await
        .map_err(told)?;
    Ok(Database::Postgres(pool))
}

/// A connection that is not sound is not handed out; the pool logs the sentence and tries another.
fn not_handed_out(error: StoreError) -> sqlx::Error {
    match error {
        StoreError::Driver(error) => error,
        other => sqlx::Error::Configuration(other.into()),
    }
}

/// The number of the last migration that the schema has seen.
pub async fn schema(tx: &mut Tx) -> Result<i64, StoreError> {
    let (version,): (Option<i64>,) =
        tx.query("SELECT max(version) FROM _sqlx_migrations").fetch_one().await?;
    Ok(version.unwrap_or_default())
}

/// An address that does not read as one. The address itself may hold a password and is not repeated.
fn unreadable(error: sqlx::Error) -> StoreError {
    match error {
        sqlx::Error::Configuration(what) => {
            StoreError::Unfit(format!("the database address does not read as one: {what}"))
        }
        other => other.into(),
    }
}

/// What a SQLite file says when it is opened, where it says something of the file.
fn of_sqlite(path: &Path, error: sqlx::Error) -> StoreError {
    let sqlx::Error::Database(said) = &error else { return error.into() };
    // The low byte of a result code is its kind (SQLite, "Result and Error Codes", 3).
    let kind = said.code().and_then(|code| code.parse::<u32>().ok()).map(|code| code & 0xff);
    let what = match kind {
        Some(8) => "cannot be written: it, its folder or its disk is read-only",
        Some(11) => "is damaged",
        Some(13) => "cannot grow: the disk is full",
        Some(14) => "cannot be opened, or made",
        Some(26) => "is no SQLite database",
        _ => return error.into(),
    };
    StoreError::Unfit(format!("{} {what}", path.display()))
}

/// What stands in the way of a PostgreSQL server.
fn of_postgres(server: &str, error: sqlx::Error) -> StoreError {
    match error {
        sqlx::Error::Io(error) => {
            StoreError::Unfit(format!("no PostgreSQL server answers at {server}: {error}"))
        }
        sqlx::Error::Database(said) => {
            StoreError::Unfit(format!("the PostgreSQL server at {server} refuses: {}", said.message()))
        }
        sqlx::Error::Tls(error) => {
            StoreError::Unfit(format!("the connection to {server} cannot be encrypted: {error}"))
        }
        other => other.into(),
    }
}
