//! One process at a time starts on a SQLite file: the switch to the write-ahead log and the migrations have no lock of
//! their own there. PostgreSQL's migrations stand under an advisory lock.

use crate::store::error::StoreError;
use std::fs::File;
use std::path::Path;

/// The turn to start; given back when it is dropped, and by the system when the process is killed.
#[derive(Debug)]
pub(super) struct Turn {
    _folder: File,
}

impl Turn {
    /// Waits for the turn. What is locked is the folder: it leaves no file behind, and to open the database's own file a
    /// second time would drop the locks that SQLite holds on it.
    pub(super) async fn wait(folder: &Path) -> Result<Self, StoreError> {
        let unfit = |error: std::io::Error| {
            StoreError::Unfit(match error.kind() {
                std::io::ErrorKind::NotFound => format!("the folder {} is not there", folder.display()),
                _ => format!("the folder {} cannot be used: {error}", folder.display()),
            })
        };
        let file = File::open(folder).map_err(unfit)?;
        // Waiting blocks its thread: it is not one that requests need.
        let locked = tokio::task::spawn_blocking(move || file.lock().map(|()| file)).await;
        match locked {
            Ok(Ok(file)) => Ok(Self { _folder: file }),
            Ok(Err(error)) => Err(unfit(error)),
            Err(_) => Err(StoreError::Unfit("the start was broken off".into())),
        }
    }
}
