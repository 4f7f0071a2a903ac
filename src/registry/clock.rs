//! Time and identifiers, passed in: with both injected, the same requests give the same bytes.

use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Tells the time.
pub trait Clock: Send + Sync {
    /// Now.
    fn now(&self) -> DateTime<Utc>;
}

/// Makes identifiers and secrets.
pub trait Ids: Send + Sync {
    /// A new UUIDv7 of this instant.
    fn id(&self, at: DateTime<Utc>) -> Uuid;

    /// Random bytes, for salts and secrets.
    fn random(&self, into: &mut [u8]);
}

/// The machine's clock.
#[derive(Debug, Clone, Copy, Default)]
pub struct MachineClock;

impl Clock for MachineClock {
    fn now(&self) -> DateTime<Utc> {
        #[expect(clippy::disallowed_methods, reason = "the one place where the machine's clock is read")]
        Utc::now()
    }
}

/// The operating system's randomness.
#[derive(Debug, Default)]
pub struct MachineIds {
    /// Counts within a millisecond, so that identifiers of one request keep their order.
    context: std::sync::Mutex<uuid::ContextV7>,
}

impl Ids for MachineIds {
    fn id(&self, at: DateTime<Utc>) -> Uuid {
        let context = self.context.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let seconds = u64::try_from(at.timestamp()).unwrap_or_default();
        Uuid::new_v7(uuid::Timestamp::from_unix(&*context, seconds, at.timestamp_subsec_nanos()))
    }

    fn random(&self, into: &mut [u8]) {
        getrandom::fill(into).expect("the operating system gives random bytes");
    }
}
