//! What can go wrong in storage.

/// A storage error.
#[derive(Debug, thiserror::Error)]
pub enum StoreError {
    /// A natural key is taken.
    #[error("the natural key is taken")]
    Duplicate,
    /// The site was handed over, and its record here is read only: a sentence.
    #[error("{0}")]
    HandedOver(String),
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
    /// The database cannot be reached, or went away in the middle; whether the last commit came through is not known.
    #[error("the database cannot be reached")]
    Unreachable(#[source] sqlx::Error),
    /// The disk takes nothing more.
    #[error("there is no room left to write")]
    NoRoom(#[source] sqlx::Error),
    /// The driver's error.
    #[error("the database failed")]
    Driver(#[source] sqlx::Error),
    /// A migration failed.
    #[error("the schema could not be brought up to date")]
    Migration(#[source] sqlx::migrate::MigrateError),
}

impl StoreError {
    /// A file beside the database that takes nothing more.
    pub fn no_room(error: std::io::Error) -> Self {
        Self::NoRoom(sqlx::Error::Io(error))
    }
}

impl From<sqlx::Error> for StoreError {
    fn from(error: sqlx::Error) -> Self {
        if let sqlx::Error::Database(database) = &error {
            if database.is_unique_violation() {
                return Self::Duplicate;
            }
            let code = database.code().unwrap_or_default().into_owned();
            if BUSY.contains(&code.as_str()) {
                return Self::Busy;
            }
            if NO_ROOM.contains(&code.as_str()) {
                return Self::NoRoom(error);
            }
            if is_gone(&code) {
                return Self::Unreachable(error);
            }
        }
        match error {
            sqlx::Error::PoolTimedOut => Self::Busy,
            sqlx::Error::Io(_)
            | sqlx::Error::Tls(_)
            | sqlx::Error::Protocol(_)
            | sqlx::Error::PoolClosed
            | sqlx::Error::WorkerCrashed => Self::Unreachable(error),
            other => Self::Driver(other),
        }
    }
}

/// SQLITE_BUSY and its kin; PostgreSQL serialization failure, deadlock, lock timeout, too many connections.
const BUSY: &[&str] = &["5", "6", "261", "517", "40001", "40P01", "55P03", "53300"];
/// SQLITE_FULL, and what it says of a write, a truncation or a piece of shared memory that the file system refused;
/// PostgreSQL's disk_full.
const NO_ROOM: &[&str] = &["13", "778", "1546", "4874", "53100"];

/// Whether PostgreSQL says that the connection or the server ends (class 08, and of class 57 what an operator does).
fn is_gone(code: &str) -> bool {
    code.len() == 5 && (code.starts_with("08") || ["57P01", "57P02", "57P03", "57P05"].contains(&code))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_server_says_on_its_way_out_is_no_fault_of_the_request() {
        for gone in ["57P01", "57P02", "57P03", "08006"] {
            assert!(is_gone(gone), "{gone}");
        }
        for other in ["42601", "23505", "08", "5", ""] {
            assert!(!is_gone(other), "{other}");
        }
        let cut = sqlx::Error::Io(std::io::ErrorKind::UnexpectedEof.into());
        assert!(matches!(StoreError::from(cut), StoreError::Unreachable(_)));
        assert!(matches!(StoreError::from(sqlx::Error::PoolTimedOut), StoreError::Busy));
    }
}
