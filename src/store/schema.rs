//! The schema: the migrations that this program knows, and what it says of a database with others.

use crate::store::error::StoreError;
use sqlx::migrate::{MigrateError, Migrator};
use sqlx::{PgConnection, SqliteConnection};

static SQLITE: Migrator = sqlx::migrate!("migrations/sqlite");
static POSTGRES: Migrator = sqlx::migrate!("migrations/postgres");

/// The number of the newest schema that this program knows; both engines count alike.
pub(super) fn newest() -> i64 {
    SQLITE.iter().map(|migration| migration.version).max().unwrap_or_default()
}

/// Brings a SQLite database up to date. Whoever calls has its [turn](crate::store::turn::Turn).
pub(super) async fn bring_sqlite_up_to_date(connection: &mut SqliteConnection) -> Result<(), MigrateError> {
    SQLITE.run(connection).await
}

/// Brings a PostgreSQL database up to date, under its advisory lock.
pub(super) async fn bring_postgres_up_to_date(connection: &mut PgConnection) -> Result<(), MigrateError> {
    POSTGRES.run(connection).await
}

/// A migration's fault as a sentence, where it says something of the database as a whole.
pub(super) fn in_words(error: MigrateError, driver: impl FnOnce(sqlx::Error) -> StoreError) -> StoreError {
    match error {
        MigrateError::VersionMissing(version) => StoreError::Unfit(format!(
            "the registry's schema is newer than this program: it holds migration {version}, and {} is the last one \
             known here",
            newest()
        )),
        MigrateError::VersionMismatch(version) | MigrateError::Dirty(version) => StoreError::Unfit(format!(
            "migration {version} of the registry's schema is not the one that this program knows"
        )),
        MigrateError::Execute(error) | MigrateError::ExecuteMigration(error, _) => driver(error),
        other => StoreError::Migration(other),
    }
}
