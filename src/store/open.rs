//! Opening a database: its address, its settings, its schema, and the check that nothing acknowledged can be lost.

use crate::store::backend::Database;
use crate::store::error::StoreError;
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous};
use std::str::FromStr;
use std::time::Duration;

/// The first SQLite without the fault by which two connections could damage the write-ahead log.
const SQLITE_AT_LEAST: [u32; 3] = [3, 51, 3];

impl Database {
    /// Opens `sqlite:<path>` or `postgres://…`, checks its settings and brings the schema up to date.
    ///
    /// # Errors
    /// [`StoreError::Unsafe`] with a sentence when the address is none of ours or a setting could lose
    /// acknowledged rows.
    pub async fn open(url: &str) -> Result<Self, StoreError> {
        let database = Self::connect(url).await?;
        database.check_durability().await?;
        // A later release may have expanded the schema already: this one still runs on it.
        match &database {
            Self::Sqlite(pool) => {
                sqlx::migrate!("migrations/sqlite").set_ignore_missing(true).run(pool).await?;
            }
            Self::Postgres(pool) => {
                sqlx::migrate!("migrations/postgres").set_ignore_missing(true).run(pool).await?;
            }
        }
        Ok(database)
    }

    async fn connect(url: &str) -> Result<Self, StoreError> {
        if url.starts_with("sqlite:") {
            let options = SqliteConnectOptions::from_str(url)?
                .create_if_missing(true)
                .journal_mode(SqliteJournalMode::Wal)
                // FULL: with NORMAL the last commits may vanish on power loss.
                .synchronous(SqliteSynchronous::Full)
                .foreign_keys(true)
                .busy_timeout(Duration::from_secs(10))
                .pragma("wal_autocheckpoint", "8192");
            let pool = SqlitePoolOptions::new().max_connections(8).connect_with(options).await?;
            Ok(Self::Sqlite(pool))
        } else if url.starts_with("postgres:") || url.starts_with("postgresql:") {
            let options = PgConnectOptions::from_str(url)?.application_name("doseward");
            let pool = PgPoolOptions::new()
                .max_connections(16)
                .acquire_timeout(Duration::from_secs(10))
                .connect_with(options)
                .await?;
            Ok(Self::Postgres(pool))
        } else {
            Err(StoreError::Unsafe(
                "the database address must begin with sqlite: or postgres: (for example sqlite:registry.sqlite)".into(),
            ))
        }
    }

    /// Refuses settings under which an acknowledged row could be lost.
    async fn check_durability(&self) -> Result<(), StoreError> {
        match self {
            Self::Sqlite(pool) => {
                let (version,): (String,) = sqlx::query_as("SELECT sqlite_version()").fetch_one(pool).await?;
                if !new_enough(&version) {
                    return Err(StoreError::Unsafe(format!(
                        "SQLite {version} is too old: below 3.51.3 its write-ahead log can be damaged"
                    )));
                }
                let (mode,): (String,) = sqlx::query_as("PRAGMA journal_mode").fetch_one(pool).await?;
                let (synchronous,): (i64,) = sqlx::query_as("PRAGMA synchronous").fetch_one(pool).await?;
                let (keys,): (i64,) = sqlx::query_as("PRAGMA foreign_keys").fetch_one(pool).await?;
                sound("journal_mode", &mode, mode == "wal")?;
                sound("synchronous", &synchronous.to_string(), synchronous >= 2)?;
                sound("foreign_keys", &keys.to_string(), keys == 1)
            }
            Self::Postgres(pool) => {
                for name in ["fsync", "full_page_writes", "synchronous_commit"] {
                    let (value,): (String,) =
                        sqlx::query_as("SELECT current_setting($1)").bind(name).fetch_one(pool).await?;
                    let good = if name == "synchronous_commit" { value != "off" } else { value == "on" };
                    sound(name, &value, good)?;
                }
                Ok(())
            }
        }
    }
}

/// Whether a version of SQLite is without the fault.
fn new_enough(version: &str) -> bool {
    let parts: Vec<u32> = version.split('.').map_while(|part| part.parse().ok()).collect();
    parts.as_slice() >= SQLITE_AT_LEAST.as_slice()
}

fn sound(name: &str, value: &str, good: bool) -> Result<(), StoreError> {
    if good {
        Ok(())
    } else {
        Err(StoreError::Unsafe(format!(
            "the database setting {name} is {value}: acknowledged rows could be lost"
        )))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sqlite_below_3_51_3_is_too_old() {
        for version in ["3.51.2", "3.50.9", "2.99.99", "3.51", "", "x"] {
            assert!(!new_enough(version), "{version}");
        }
        for version in ["3.51.3", "3.51.10", "3.52.0", "4.0.0"] {
            assert!(new_enough(version), "{version}");
        }
    }
}
