//! Limits against guessing: attempts are counted before they are looked at, and make the next one wait.
//!
//! A device with which an account was signed in before is counted by itself, so that a stranger's guesses from elsewhere
//! make only strangers wait.

use crate::registry::journal::hex;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::sessions;
use chrono::{DateTime, Duration, Utc};
use sha2::{Digest as _, Sha256};
use std::net::IpAddr;

/// The first wait; every further failure doubles it (NIST SP 800-63B-4 draft, section 5.2.2: 30 seconds to an hour).
const FIRST_WAIT: Duration = Duration::seconds(30);
/// The longest wait, from the same place.
const LONGEST_WAIT: Duration = Duration::hours(1);
/// After so many failures in a row nothing more is tried (the same place: no more than 100).
const CLOSED_AT: i64 = 100;
/// Attempts longer ago than this are forgotten: a day without guesses is a new start (our own choice).
const FORGOTTEN_AFTER: Duration = Duration::days(1);

/// A name under which attempts are counted, and how many are free.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Counted {
    name: String,
    free: i64,
}

impl Counted {
    /// Attempts on an address of a person from devices that were never used for it.
    pub fn on_email(email: &str) -> Self {
        // By its digest: what strangers type in is not kept.
        Self { name: format!("email:{}", digested(email.trim().to_lowercase().as_bytes())), free: 5 }
    }

    /// Attempts from a device that was used before.
    pub fn on_device(digest: [u8; 32]) -> Self {
        Self { name: format!("device:{}", digested(&digest)), free: 10 }
    }

    /// Attempts from an address of the network, on whatever account: offices share one, so many are free.
    pub fn on_address(address: IpAddr) -> Self {
        Self { name: format!("address:{address}"), free: 50 }
    }

    /// Attempts on the second factor of an account.
    pub fn on_codes(account: uuid::Uuid) -> Self {
        Self { name: format!("codes:{account}"), free: 5 }
    }

    /// How long the next attempt has to wait after so many failures, the last of them at an instant.
    fn wait(&self, failures: i64, last_at: DateTime<Utc>, now: DateTime<Utc>) -> Option<Duration> {
        if now - last_at >= FORGOTTEN_AFTER || failures < self.free {
            return None;
        }
        let until = if failures >= CLOSED_AT {
            last_at + FORGOTTEN_AFTER
        } else {
            let doubled = u32::try_from(failures - self.free).unwrap_or(u32::MAX).min(10);
            last_at + (FIRST_WAIT * 2_i32.pow(doubled)).min(LONGEST_WAIT)
        };
        (until > now).then(|| until - now)
    }
}

fn digested(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

impl Registry {
    /// Counts an attempt under every name, unless one of them has to wait: then how long, and nothing is counted.
    ///
    /// # Errors
    /// Only when storage fails.
    pub(crate) async fn attempt(&self, counted: &[Counted]) -> Result<Option<Duration>, Refusal> {
        let now = self.clock.now();
        let mut tx = self.database.write().await?;
        let mut longest = None;
        for one in counted {
            if let Some((failures, last_at)) = sessions::failures(&mut tx, &one.name).await? {
                longest = longest.max(one.wait(failures, last_at, now));
            }
        }
        if longest.is_some() {
            return Ok(longest);
        }
        sessions::forget_attempts_before(&mut tx, now - FORGOTTEN_AFTER).await?;
        for one in counted {
            sessions::count_attempt(&mut tx, &one.name, now).await?;
        }
        tx.commit().await?;
        Ok(None)
    }

    /// Forgets the attempts under these names: the last one went well.
    ///
    /// # Errors
    /// Only when storage fails.
    pub(crate) async fn went_well(&self, counted: &[Counted]) -> Result<(), Refusal> {
        let mut tx = self.database.write().await?;
        for one in counted {
            sessions::forget_attempts(&mut tx, &one.name).await?;
        }
        Ok(tx.commit().await?)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_failures_are_free_then_the_wait_doubles_up_to_an_hour() {
        let counted = Counted::on_email("Anyone@Example.org ");
        assert_eq!(counted, Counted::on_email("anyone@example.org"));
        let now = DateTime::UNIX_EPOCH;
        let wait = |failures| counted.wait(failures, now, now);
        assert_eq!(wait(4), None);
        assert_eq!(wait(5), Some(Duration::seconds(30)));
        assert_eq!(wait(6), Some(Duration::seconds(60)));
        assert_eq!(wait(11), Some(Duration::minutes(32)));
        assert_eq!(wait(12), Some(Duration::hours(1)));
        assert_eq!(wait(99), Some(Duration::hours(1)));
        assert_eq!(wait(100), Some(Duration::days(1)));
        assert_eq!(counted.wait(5, now, now + Duration::seconds(30)), None);
    }
}
