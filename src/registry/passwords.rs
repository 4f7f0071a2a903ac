//! Passwords of people: checked, hashed with argon2id, kept apart from the account's facts.

use crate::model::identifiers::AccountId;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::accounts;
use argon2::{Algorithm, Argon2, Params, PasswordHasher, Version};
use std::time::Duration;
use tokio::sync::Semaphore;

/// The shortest password that is taken, in characters.
pub const SHORTEST: usize = 12;
/// The longest: more would only make hashing a means of attack.
const LONGEST: usize = 256;

/// Memory of one hash: 64 MiB, the second recommended choice of RFC 9106, section 4.
const MEMORY_KIB: u32 = 64 * 1024;
/// Passes over the memory, from the same choice.
const PASSES: u32 = 3;
/// Lanes: one, since a second brings nothing on small machines.
const LANES: u32 = 1;
/// Bytes of a hash.
const TAG_BYTES: usize = 32;

/// Hashes that may run at once: each takes its 64 MiB.
static TURNS: Semaphore = Semaphore::const_new(2);
/// How long a hash waits for its turn.
const PATIENCE: Duration = Duration::from_secs(10);

/// A password that may be taken. It is never printed.
pub struct Password(String);

impl std::fmt::Debug for Password {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Password(…)")
    }
}

impl Password {
    /// Takes a password of 12 to 256 characters.
    ///
    /// # Errors
    /// [`Refusal::Faults`] that says what is wrong.
    pub fn new(text: &str) -> Result<Self, Refusal> {
        match text.chars().count() {
            n if n < SHORTEST => {
                Err(Refusal::fault("/password", format!("must have at least {SHORTEST} characters")))
            }
            n if n > LONGEST => {
                Err(Refusal::fault("/password", format!("must have at most {LONGEST} characters")))
            }
            _ => Ok(Self(text.to_owned())),
        }
    }

    /// Its hash as a PHC string, with parameters and salt in it. Takes a tenth of a second, off the async threads.
    ///
    /// # Errors
    /// [`Refusal::Busy`] when too many are waiting.
    pub async fn hash(self, salt: [u8; 16]) -> Result<String, Refusal> {
        let turn = tokio::time::timeout(PATIENCE, TURNS.acquire()).await.map_err(|_| Refusal::Busy)?;
        let hashed = tokio::task::spawn_blocking(move || {
            let params = Params::new(MEMORY_KIB, PASSES, LANES, Some(TAG_BYTES))
                .expect("the parameters lie within argon2's bounds");
            Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
                .hash_password_with_salt(self.0.as_bytes(), &salt)
                .expect("a checked password and a salt of 16 bytes can be hashed")
                .to_string()
        })
        .await
        .map_err(|_| Refusal::Busy)?;
        drop(turn);
        Ok(hashed)
    }
}

/// Keeps the hash of an account's password in place of any earlier one.
///
/// # Errors
/// Only when storage fails.
pub async fn keep(change: &mut Change, account: AccountId, hash: String) -> Result<(), Refusal> {
    let at = change.at;
    Ok(accounts::keep_password(&mut change.tx, account, hash, at).await?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use argon2::password_hash::phc::PasswordHash;
    use argon2::{PasswordVerifier, password_hash};

    #[tokio::test]
    async fn a_hash_tells_the_right_password_from_another_and_names_its_parameters() {
        let hash = Password::new("correct horse battery").unwrap().hash([7; 16]).await.unwrap();
        assert!(hash.starts_with("$argon2id$v=19$m=65536,t=3,p=1$"), "{hash}");
        let parsed = PasswordHash::new(&hash).unwrap();
        let verify = |text: &str| Argon2::default().verify_password(text.as_bytes(), &parsed);
        assert_eq!(verify("correct horse battery"), Ok(()));
        assert_eq!(verify("correct horse battery "), Err(password_hash::Error::PasswordInvalid));
    }

    #[test]
    fn a_password_below_twelve_characters_is_refused_and_none_is_ever_printed() {
        assert!(Password::new("elevensigns").is_err());
        assert!(Password::new("zwölf Zeiche").is_ok());
        assert!(!format!("{:?}", Password::new("correct horse battery")).contains("horse"));
    }
}
