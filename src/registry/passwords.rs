//! Passwords of people: checked, hashed with argon2id, kept apart from the account's facts.

use crate::model::identifiers::AccountId;
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Change, Registry};
use crate::store::accounts;
use argon2::password_hash::phc::PasswordHash;
use argon2::{Algorithm, Argon2, Params, PasswordHasher, PasswordVerifier, Version};
use std::collections::BTreeSet;
use std::sync::LazyLock;
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

/// How many different characters one must hold at least: fewer are a pattern (our own choice).
const DIFFERENT: usize = 5;
/// Long ones that are guessed first: rows of keys, counting, pleas (our own list; those below 12 characters never pass).
const GUESSED_FIRST: &[&str] = &[
    "123456789012",
    "1234567890123",
    "1q2w3e4r5t6y",
    "abcdefghijkl",
    "administrator",
    "changemechangeme",
    "iloveyouforever",
    "letmeinletmein",
    "mypasswordis",
    "passwordpassword",
    "passwordispassword",
    "qwertyuiopas",
    "qwertyuiopasdfghjkl",
    "thisisapassword",
    "trustnoonetrustnoone",
    "welcomewelcome",
];

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

    /// Takes a password that somebody chooses for himself: not one that whoever knows the account would try first.
    ///
    /// # Errors
    /// [`Refusal::Faults`] that says what is wrong.
    pub fn chosen(text: &str, email: &str) -> Result<Self, Refusal> {
        let password = Self::new(text)?;
        let folded = text.to_lowercase();
        let own = email.split('@').next().unwrap_or_default().to_lowercase();
        let wrong = |detail: &str| Err(Refusal::fault("/password", detail));
        if own.len() >= 4 && folded.contains(&own) {
            return wrong("must not hold the name of your own address");
        }
        if folded.contains("doseward") {
            return wrong("must not hold the name of this program");
        }
        if folded.chars().collect::<BTreeSet<char>>().len() < DIFFERENT {
            return wrong("must hold more different characters");
        }
        let bare: String = folded.chars().filter(|c| c.is_alphanumeric()).collect();
        if GUESSED_FIRST
            .iter()
            .any(|known| bare.trim_end_matches(|c: char| c.is_ascii_digit()) == *known || bare == *known)
        {
            return wrong("is among those that are guessed first");
        }
        Ok(password)
    }

    /// Its hash as a PHC string, with parameters and salt in it. Takes a tenth of a second, off the async threads.
    ///
    /// # Errors
    /// [`Refusal::Busy`] when too many are waiting.
    pub async fn hash(self, salt: [u8; 16]) -> Result<String, Refusal> {
        let turn = tokio::time::timeout(PATIENCE, TURNS.acquire()).await.map_err(|_| Refusal::Busy)?;
        let hashed = tokio::task::spawn_blocking(move || hash_of(self.0.as_bytes(), &salt))
            .await
            .map_err(|_| Refusal::Busy)?;
        drop(turn);
        Ok(hashed)
    }
}

/// The hash of a password, with a salt of its own.
///
/// # Errors
/// [`Refusal::Busy`] when too many are waiting.
pub async fn hashed(registry: &Registry, password: Password) -> Result<String, Refusal> {
    let mut salt = [0; 16];
    registry.ids.random(&mut salt);
    password.hash(salt).await
}

/// What came of checking a password.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Checked {
    /// Whether it is the right one.
    pub right: bool,
    /// Whether its hash was made with weaker parameters than today's.
    pub outdated: bool,
}

/// Checks a password against its hash; without one, against a hash of nobody, so that it takes as long.
///
/// # Errors
/// [`Refusal::Busy`] when too many are waiting.
pub async fn check(hash: Option<String>, text: &str) -> Result<Checked, Refusal> {
    // What no account could have is no reason to work, or to work longer.
    let text: String = text.chars().take(LONGEST + 1).collect();
    let turn = tokio::time::timeout(PATIENCE, TURNS.acquire()).await.map_err(|_| Refusal::Busy)?;
    let checked = tokio::task::spawn_blocking(move || {
        let there = hash.is_some();
        let hash = hash.unwrap_or_else(|| OF_NOBODY.clone());
        let Ok(parsed) = PasswordHash::new(&hash) else { return Checked { right: false, outdated: false } };
        let right = argon2().verify_password(text.as_bytes(), &parsed).is_ok();
        let parameters = format!("$argon2id$v=19$m={MEMORY_KIB},t={PASSES},p={LANES}$");
        Checked { right: right && there, outdated: !hash.starts_with(&parameters) }
    })
    .await
    .map_err(|_| Refusal::Busy)?;
    drop(turn);
    Ok(checked)
}

/// A hash that no password is known of, made as every other.
static OF_NOBODY: LazyLock<String> = LazyLock::new(|| hash_of(b"nobody", &[0; 16]));

fn argon2() -> Argon2<'static> {
    let params = Params::new(MEMORY_KIB, PASSES, LANES, Some(TAG_BYTES))
        .expect("the parameters lie within argon2's bounds");
    Argon2::new(Algorithm::Argon2id, Version::V0x13, params)
}

fn hash_of(text: &[u8], salt: &[u8; 16]) -> String {
    argon2()
        .hash_password_with_salt(text, salt)
        .expect("a checked password and a salt of 16 bytes can be hashed")
        .to_string()
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
    use argon2::password_hash;

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

    #[tokio::test]
    async fn a_password_is_checked_and_without_a_hash_none_is_right() {
        let hash = Password::new("correct horse battery").unwrap().hash([7; 16]).await.unwrap();
        let right = check(Some(hash.clone()), "correct horse battery").await.unwrap();
        assert_eq!(right, Checked { right: true, outdated: false });
        assert!(!check(Some(hash), "correct horse batterx").await.unwrap().right);
        assert!(!check(None, "nobody").await.unwrap().right);
        // The lower bound of the same choice: 19 MiB, two passes.
        let weak =
            Argon2::new(Algorithm::Argon2id, Version::V0x13, Params::new(19 * 1024, 2, 1, None).unwrap());
        let weak = weak.hash_password_with_salt(b"correct horse battery", &[7; 16]).unwrap().to_string();
        assert_eq!(
            check(Some(weak), "correct horse battery").await.unwrap(),
            Checked { right: true, outdated: true }
        );
    }

    #[test]
    fn a_chosen_password_is_none_that_is_guessed_first() {
        let chosen = |text: &str| Password::chosen(text, "hartley@example.org").is_ok();
        assert!(chosen("three brass lamps"));
        for wrong in [
            "Hartley's lamps 7",
            "doseward forever",
            "aaaabbbbaaaabbbb",
            "Password Password 1",
            "Administrator1",
        ] {
            assert!(!chosen(wrong), "{wrong}");
        }
    }
}
