//! The second factor: codes that change every 30 seconds (RFC 6238), each taken once.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::identifiers::AccountId;
use crate::registry::enter::Entered;
use crate::registry::guessing::Counted;
use crate::registry::refusal::Refusal;
use crate::registry::sessions::{Session, standing_account};
use crate::registry::writer::Registry;
use crate::store::sessions;
use chrono::{DateTime, Utc};
use totp_rs::{Builder, Secret, Totp};
use uuid::Uuid;

/// Bytes of a secret: as RFC 4226, section 4, recommends.
const SECRET_BYTES: usize = 20;
/// Whose codes they are, as the app that shows them says.
const ISSUER: &str = "Doseward";

/// What is put into the app that shows the codes.
#[derive(Clone, PartialEq, Eq)]
pub struct Enrolment {
    /// The secret, to type in.
    pub secret: String,
    /// The same as an address, to scan.
    pub address: String,
}

impl std::fmt::Debug for Enrolment {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Enrolment(…)")
    }
}

fn totp(secret: &[u8]) -> Option<Totp> {
    // SHA-1, six digits, 30 seconds, one step either way: what every app can do, and what the RFC describes.
    Builder::new().with_secret(secret.to_vec()).build().ok()
}

fn enrolment(secret: &[u8], email: &str) -> Enrolment {
    let secret = Secret::new(secret.into()).to_base32();
    let name: String = email.bytes().map(percent).collect();
    let address = format!("otpauth://totp/{ISSUER}:{name}?secret={secret}&issuer={ISSUER}");
    Enrolment { secret, address }
}

/// A byte as it may stand in an address.
fn percent(byte: u8) -> String {
    if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
        char::from(byte).to_string()
    } else {
        format!("%{byte:02X}")
    }
}

/// The time step of a code, if it is one of an instant or of the step before or after.
fn step_of(secret: &[u8], code: &str, now: DateTime<Utc>) -> Option<i64> {
    let digits: String = code.chars().filter(|c| !c.is_whitespace()).collect();
    let time = u64::try_from(now.timestamp()).ok()?;
    i64::try_from(totp(secret)?.check(&digits, time)?).ok()
}

impl Registry {
    /// Whether the caller's second factor counts: a code of it was given once.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn has_second_factor(&self, account: AccountId) -> Result<bool, Refusal> {
        let mut tx = self.database.read().await?;
        let factor = sessions::factor(&mut tx, account).await?;
        Ok(factor.is_some_and(|factor| factor.confirmed_at.is_some()))
    }

    /// What the signed-in person puts into his app: the same until a code was given.
    ///
    /// # Errors
    /// A conflict where his second factor counts already.
    pub async fn enrolment(&self, session: &Session) -> Result<Enrolment, Refusal> {
        let account = session.caller.account;
        let mut tx = self.database.write().await?;
        let secret = match sessions::factor(&mut tx, account).await? {
            Some(factor) if factor.confirmed_at.is_some() => {
                return Err(Refusal::taken("this account has a second factor already"));
            }
            Some(factor) => factor.secret,
            None => {
                let mut secret = vec![0; SECRET_BYTES];
                self.ids.random(&mut secret);
                sessions::keep_factor(&mut tx, account, secret.clone()).await?;
                secret
            }
        };
        tx.commit().await?;
        Ok(enrolment(&secret, &session.email))
    }

    /// Takes a code of the signed-in person, once; then a new session takes the place of the one that was half.
    ///
    /// # Errors
    /// [`Refusal::Unauthorised`] for a code that is wrong or was used.
    pub async fn give_code(&self, session: &Session, code: &str, client: &str) -> Result<Entered, Refusal> {
        let account = session.caller.account;
        let counted = [Counted::on_codes(account.0)];
        if let Some(wait) = self.attempt(&counted).await? {
            return Ok(Entered::Wait(wait));
        }
        let now = self.clock.now();
        let mut tx = self.database.write().await?;
        let factor = sessions::factor(&mut tx, account).await?.ok_or(Refusal::Unauthorised)?;
        let taken = match step_of(&factor.secret, code, now) {
            Some(step) => sessions::take_step(&mut tx, account, step, now).await?,
            None => false,
        };
        if !taken {
            tracing::warn!(%account, "a code of the second factor was refused");
            return Err(Refusal::Unauthorised);
        }
        sessions::end(&mut tx, account, session.id).await?;
        tx.commit().await?;
        self.went_well(&counted).await?;
        let mut tx = self.database.read().await?;
        let found = standing_account(self, &mut tx, account).await?.ok_or(Refusal::Unauthorised)?;
        drop(tx);
        let secret = self.begin_session(&found, true, client).await?;
        tracing::info!(%account, "signed in with the second factor");
        Ok(Entered::In { secret })
    }

    /// Takes the second factor of an account away: its owner lost the device, and enrols another.
    ///
    /// # Errors
    /// Whoever may not manage accounts takes none away; no such account.
    pub async fn take_second_factor_away(&self, caller: &Caller, account: Uuid) -> Result<(), Refusal> {
        caller.may(Action::ManageAccounts)?;
        let account = AccountId(account);
        let mut tx = self.database.write().await?;
        standing_account(self, &mut tx, account).await?.ok_or(Refusal::Unknown)?;
        sessions::drop_factor(&mut tx, account).await?;
        sessions::end_all(&mut tx, account, None).await?;
        tx.commit().await?;
        tracing::info!(by = %caller.account, %account, "a second factor was taken away");
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 6238, appendix B, SHA-1: the secret is the ASCII text below; the codes are the last six of the eight digits.
    #[test]
    fn the_codes_of_the_rfc_are_taken_in_their_time() {
        let secret = b"12345678901234567890";
        for (time, code) in [(59, "287082"), (1_111_111_109, "081804"), (2_000_000_000, "279037")] {
            let now = DateTime::from_timestamp(time, 0).unwrap();
            assert_eq!(step_of(secret, code, now), Some(time / 30), "{time}");
            assert_eq!(step_of(secret, code, now + chrono::Duration::seconds(61)), None);
        }
        let now = DateTime::from_timestamp(59, 0).unwrap();
        assert_eq!(step_of(secret, "287 082", now), Some(1));
        for wrong in ["287083", "28708", "", "2870820", "+87082"] {
            assert_eq!(step_of(secret, wrong, now), None, "{wrong}");
        }
    }

    #[test]
    fn the_address_to_scan_names_the_account_and_carries_the_secret() {
        let told = enrolment(b"12345678901234567890", "anna+x@example.org");
        assert_eq!(told.secret, "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ");
        assert_eq!(
            told.address,
            format!("otpauth://totp/Doseward:anna%2Bx%40example.org?secret={}&issuer=Doseward", told.secret)
        );
        assert!(!format!("{told:?}").contains("GEZD"));
    }
}
