//! The check that nothing acknowledged can be lost: every connection is asked, when it is made, for the settings that it
//! really has.

use crate::store::error::StoreError;
use sqlx::{PgConnection, SqliteConnection};

/// The first SQLite without the fault by which two connections could damage the write-ahead log.
const SQLITE_AT_LEAST: [u32; 3] = [3, 51, 3];

/// Refuses a SQLite connection under which an acknowledged row could be lost.
pub(super) async fn check_sqlite(connection: &mut SqliteConnection) -> Result<(), StoreError> {
    let (version,): (String,) = sqlx::query_as("SELECT sqlite_version()").fetch_one(&mut *connection).await?;
    if !new_enough(&version) {
        return Err(StoreError::Unfit(format!(
            "SQLite {version} is too old: below 3.51.3 its write-ahead log can be damaged"
        )));
    }
    let (mode,): (String,) = sqlx::query_as("PRAGMA journal_mode").fetch_one(&mut *connection).await?;
    let (synchronous,): (i64,) = sqlx::query_as("PRAGMA synchronous").fetch_one(&mut *connection).await?;
    let (keys,): (i64,) = sqlx::query_as("PRAGMA foreign_keys").fetch_one(&mut *connection).await?;
    sound("journal_mode", &mode, mode == "wal")?;
    sound("synchronous", &synchronous.to_string(), synchronous >= 2)?;
    sound("foreign_keys", &keys.to_string(), keys == 1)
}

/// Refuses a PostgreSQL connection under which an acknowledged row could be lost. What is asked for is what holds in this
/// session: a setting of the role or of the database goes before the server's.
pub(super) async fn check_postgres(connection: &mut PgConnection) -> Result<(), StoreError> {
    let (fsync, full_page_writes, synchronous_commit): (String, String, String) = sqlx::query_as(
        "SELECT current_setting('fsync'), current_setting('full_page_writes'), \
         current_setting('synchronous_commit')",
    )
    .fetch_one(&mut *connection)
    .await?;
    sound("fsync", &fsync, fsync == "on")?;
    sound("full_page_writes", &full_page_writes, full_page_writes == "on")?;
    sound("synchronous_commit", &synchronous_commit, synchronous_commit != "off")
}

/// Advises data checksums where the cluster has none: without them a page that rots on the disk is read as good.
pub(super) async fn advise_checksums(connection: &mut PgConnection) -> Result<(), StoreError> {
    let (checksums,): (String,) =
        sqlx::query_as("SELECT current_setting('data_checksums')").fetch_one(&mut *connection).await?;
    if checksums != "on" {
        tracing::warn!(
            data_checksums = checksums,
            "the cluster has no data checksums: a damaged page would not be noticed by the database"
        );
    }
    Ok(())
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
        Err(StoreError::Unfit(format!(
            "the database setting {name} is {value}: acknowledged rows could be lost"
        )))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use sqlx::ConnectOptions as _;
    use sqlx::Connection as _;
    use sqlx::sqlite::{SqliteConnectOptions, SqliteJournalMode, SqliteSynchronous};

    #[test]
    fn sqlite_below_3_51_3_is_too_old() {
        for version in ["3.51.2", "3.50.9", "2.99.99", "3.51", "", "x"] {
            assert!(!new_enough(version), "{version}");
        }
        for version in ["3.51.3", "3.51.10", "3.52.0", "4.0.0"] {
            assert!(new_enough(version), "{version}");
        }
    }

    async fn told(options: SqliteConnectOptions) -> Option<String> {
        let mut connection = options.connect().await.unwrap();
        let told = check_sqlite(&mut connection).await.err().map(|error| error.to_string());
        connection.close().await.unwrap();
        told
    }

    #[tokio::test]
    async fn each_wrong_setting_of_a_connection_is_named() {
        let folder = tempfile::tempdir().unwrap();
        let sound = SqliteConnectOptions::new()
            .filename(folder.path().join("r.sqlite"))
            .create_if_missing(true)
            .journal_mode(SqliteJournalMode::Wal)
            .synchronous(SqliteSynchronous::Full)
            .foreign_keys(true);
        assert_eq!(told(sound.clone()).await, None);
        assert_eq!(told(sound.clone().synchronous(SqliteSynchronous::Extra)).await, None);
        for (wrong, named) in [
            (sound.clone().synchronous(SqliteSynchronous::Normal), "synchronous is 1"),
            (sound.clone().synchronous(SqliteSynchronous::Off), "synchronous is 0"),
            (sound.clone().foreign_keys(false), "foreign_keys is 0"),
            (sound.clone().journal_mode(SqliteJournalMode::Delete), "journal_mode is delete"),
        ] {
            let told = told(wrong).await.unwrap();
            assert_eq!(told, format!("the database setting {named}: acknowledged rows could be lost"));
        }
    }
}
