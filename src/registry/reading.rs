//! What every reading request shares: as of when, and the line it leaves.

use crate::access::caller::Caller;
use crate::model::identifiers::WorkerId;
use crate::registry::gather::persons;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::access_log::{self, Line};
use crate::store::backend::Tx;
use crate::store::journal;
use crate::store::versions::AsOf;
use chrono::{DateTime, SubsecRound as _, Utc};
use uuid::Uuid;

/// What a request read about named workers.
#[derive(Debug, Clone)]
pub struct Read {
    /// Method and route template; no names, no values.
    pub request: String,
    /// The one worker it was about.
    pub worker: Option<WorkerId>,
    /// For a bulk read: what it spanned.
    pub scope: Option<String>,
    /// The position it was answered at.
    pub position: i64,
    /// How many workers it named.
    pub workers: usize,
    /// From where it came, if that is known.
    pub client: Option<String>,
    /// What for, if the reader said so.
    pub purpose: Option<String>,
}

impl Registry {
    /// As of when a question is asked: now, or as known at an instant (then seen from that day).
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn as_of(&self, tx: &mut Tx, as_known_on: Option<DateTime<Utc>>) -> Result<AsOf, Refusal> {
        match as_known_on {
            None => self.now(tx).await,
            Some(at) => Ok(AsOf { position: journal::position_at(tx, at).await?, date: at.date_naive() }),
        }
    }

    /// The instant from which a question is asked.
    pub fn seen_from(&self, as_known_on: Option<DateTime<Utc>>) -> DateTime<Utc> {
        as_known_on.unwrap_or_else(|| self.clock.now())
    }

    /// Leaves the line of a request that read named workers' exposure: of one worker under the entry that was asked for, with his
    /// other entries beside. It is on disk before the answer leaves.
    ///
    /// # Errors
    /// Only when storage fails; then the answer must not leave.
    pub async fn note_reading(&self, caller: &Caller, read: Read) -> Result<(), Refusal> {
        let at = self.clock.now().trunc_subsecs(6);
        let mut tx = self.database.write().await?;
        let scope = match read.worker {
            Some(WorkerId(worker)) => {
                let as_of = AsOf { position: read.position, date: at.date_naive() };
                let mut entries = persons::person(&mut tx, as_of, worker).await?.entries();
                entries.retain(|entry| *entry != worker);
                let others: Vec<String> = entries.iter().map(Uuid::to_string).collect();
                if others.is_empty() { read.scope } else { Some(format!("with {}", others.join(" "))) }
            }
            None => read.scope,
        };
        let console = || caller.console_user.as_ref().map(|user| format!("console {user}"));
        let line = Line {
            id: self.ids.id(at),
            at,
            account: caller.account,
            request: read.request,
            worker: read.worker,
            scope,
            position: read.position,
            workers: i64::try_from(read.workers).unwrap_or(i64::MAX),
            client: read.client.or_else(console),
            purpose: read.purpose,
        };
        access_log::write(&mut tx, &line).await?;
        tx.commit().await?;
        Ok(())
    }

    /// Gives the lines that an earlier release has written beside the running digest their places; how many.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn take_in_lines(&self) -> Result<i64, Refusal> {
        let mut taken = 0;
        loop {
            // Some at a time: whoever reads meanwhile waits for one part and not for all.
            let mut tx = self.database.write().await?;
            let part = access_log::take_in(&mut tx).await?;
            if part == 0 {
                return Ok(taken);
            }
            tx.commit().await?;
            taken += part;
        }
    }
}
