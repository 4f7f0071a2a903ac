//! What can go wrong in storage.

/// A storage error.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// A natural key is taken.
    #[error("the natural key is taken")]
    Duplicate,
    /// A row that must be there is not.
    #[error("a row is missing")]
    Missing,
    /// A row no longer reads as what it should be.
    #[error("stored data is damaged: {0}")]
    Damaged(String),
    /// The database cannot be opened as it is, or is set up so that acknowledged rows could be lost: a sentence.
    #[error("{0}")]
    Unfit(String),
    /// Another writer was in the way; trying again may help.
    #[error("the database is busy")]
    Busy,
    /// The driver's error.
    #[error("the database failed")]
    Driver(#[source] sqlx::Error),
    /// A migration failed.
    #[error("the schema could not be brought up to date")]
    Migration(#[source] sqlx::migrate::MigrateError),
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        if let sqlx::Error::Database(database) = &error {
            if database.is_unique_violation() {
                return Self::Duplicate;
            }
            // SQLITE_BUSY and its kin; PostgreSQL serialization failure, deadlock, lock timeout.
            let busy = ["5", "6", "261", "517", "40001", "40P01", "55P03"];
            if database.code().is_some_and(|code| busy.contains(&code.as_ref())) {
                return Self::Busy;
            }
        }
        if matches!(error, sqlx::Error::PoolTimedOut) {
            return Self::Busy;
        }
        Self::Driver(error)
    }
}
