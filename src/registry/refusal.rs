//! Why the registry does not do what was asked.

use crate::access::caller::Denied;
use crate::model::shape::Faults;
use crate::store::error::StoreError;

/// A refusal. Nothing of the request is stored.
#[derive(Debug, thiserror::Error)]
pub enum Refusal {
    /// The body is not JSON, or the file is not readable.
    #[error("{0}")]
    Unreadable(String),
    /// Faults in what was sent, each by its pointer.
    #[error("{} faults in what was sent", .0.len())]
    Faults(Faults),
    /// No or bad credentials.
    #[error("no valid credentials")]
    Unauthorised,
    /// None of the caller's roles may do this.
    #[error("none of the account's roles may do this")]
    Forbidden,
    /// There is no such thing, or the caller may not know that there is.
    #[error("there is no such thing")]
    Unknown,
    /// A natural key is taken, or a result stands already; with the pointers, where there are any.
    #[error("{detail}")]
    Conflict {
        /// What stands in the way.
        detail: String,
        /// Where in the body.
        faults: Faults,
    },
    /// Changing a thing needs `If-Match`.
    #[error("changing this needs If-Match with its ETag")]
    NeedsMatch,
    /// The thing has changed since it was read.
    #[error("this has changed since it was read")]
    Stale,
    /// The same key was used for another request.
    #[error("the Idempotency-Key was used for another request")]
    KeyReused,
    /// Another writer held the registry too long.
    #[error("the registry is busy; try again")]
    Busy,
    /// The first request with this key is still running.
    #[error("the first request with this Idempotency-Key is still running")]
    StillRunning,
    /// The database cannot be reached; what was being committed may stand or not.
    #[error(
        "the database cannot be reached; whether the request was carried out shows when it is sent again"
    )]
    Unreachable(#[source] StoreError),
    /// The disk takes nothing more.
    #[error("there is no room left to write; nothing of the request was stored")]
    NoRoom(#[source] StoreError),
    /// Something failed inside.
    #[error("the registry failed")]
    Store(#[source] StoreError),
}

impl From<StoreError> for Refusal {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::Busy => Self::Busy,
            StoreError::HandedOver(why) => Self::taken(why),
            StoreError::Unreachable(_) => Self::Unreachable(error),
            StoreError::NoRoom(_) => Self::NoRoom(error),
            other => Self::Store(other),
        }
    }
}

impl From<Denied> for Refusal {
    fn from(_: Denied) -> Self {
        Self::Forbidden
    }
}

impl From<Faults> for Refusal {
    fn from(faults: Faults) -> Self {
        Self::Faults(faults)
    }
}

impl Refusal {
    /// A single fault.
    pub fn fault(pointer: &str, detail: impl Into<String>) -> Self {
        let mut faults = Faults::default();
        faults.note(pointer, detail);
        Self::Faults(faults)
    }

    /// Something stands in the way, at a place.
    pub fn conflict_at(pointer: &str, detail: &str) -> Self {
        let mut faults = Faults::default();
        faults.note(pointer, detail);
        Self::Conflict { detail: detail.to_owned(), faults }
    }

    /// A natural key that is taken.
    pub fn taken(detail: impl Into<String>) -> Self {
        Self::Conflict { detail: detail.into(), faults: Faults::default() }
    }
}
