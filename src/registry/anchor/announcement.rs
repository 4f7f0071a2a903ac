//! The statement by which a key announces the one that follows it: a text like an anchor's, signed with the key before.
//!
//! Format 1. Whoever trusts one key and has the statements after it comes to the key of today by himself.

use crate::registry::anchor::key::PublicKey;
use crate::registry::anchor::text::{sealed, unhex, unsealed};
use crate::registry::journal::hex;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, SecondsFormat, Utc};

/// The first line.
const FIRST: &str = "doseward-key 1";

/// What a statement says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Announcement {
    /// When the key was replaced.
    pub at: DateTime<Utc>,
    /// Its place among the statements, from 1.
    pub place: i64,
    /// The fingerprint of the key that signs the statement, and signs nothing after it.
    pub before: [u8; 32],
    /// The key that follows.
    pub key: PublicKey,
}

/// A statement with its signature.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Statement {
    /// What it says.
    pub announcement: Announcement,
    /// The signed bytes: every line but the last.
    pub body: String,
    /// Ed25519 (RFC 8032) over the signed bytes.
    pub signature: [u8; 64],
}

impl Announcement {
    /// The bytes that are signed.
    pub fn body(&self) -> String {
        format!(
            "{FIRST}\nat {}\nplace {}\nbefore {}\nkey {}\npublic-key {}\n",
            self.at.to_rfc3339_opts(SecondsFormat::Micros, true),
            self.place,
            hex(&self.before),
            hex(&self.key.fingerprint()),
            STANDARD.encode(self.key.der())
        )
    }
}

impl std::fmt::Display for Statement {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&sealed(&self.body, &self.signature))
    }
}

impl Statement {
    /// Reads a statement as it was handed out.
    ///
    /// # Errors
    /// What is wrong with its form, in a sentence; whether the signature is right is another question.
    pub fn parse(text: &str) -> Result<Self, String> {
        let (body, signature) = unsealed(text)?;
        let announcement = read(&body).ok_or("its lines do not read as a statement's")?;
        // Only one text says what a statement says.
        if announcement.body() != body {
            return Err("its lines are not written as a statement's".into());
        }
        Ok(Self { announcement, body, signature })
    }
}

fn read(body: &str) -> Option<Announcement> {
    let mut lines = body.lines();
    if lines.next() != Some(FIRST) {
        return None;
    }
    let mut one = |name: &str| lines.next()?.strip_prefix(name)?.strip_prefix(' ');
    let at = DateTime::parse_from_rfc3339(one("at")?).ok()?.to_utc();
    let place = one("place")?.parse().ok()?;
    let before = unhex(one("before")?)?;
    one("key")?;
    let key = PublicKey::from_der(&STANDARD.decode(one("public-key")?).ok()?)?;
    Some(Announcement { at, place, before, key })
}

/// Where the statements lead from a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Followed {
    /// The key at which they end.
    pub last: PublicKey,
    /// The statements on the way, in their order.
    pub steps: Vec<Announcement>,
    /// Why they lead no further, where one on the way is not as it was signed.
    pub broken: Option<String>,
}

impl Followed {
    /// The key with this fingerprint, if the way comes by it.
    pub fn key(&self, fingerprint: [u8; 32]) -> Option<PublicKey> {
        self.steps.iter().map(|step| step.key).find(|key| key.fingerprint() == fingerprint)
    }
}

/// Follows the statements from a key; each is believed only as far as the key before has signed it.
pub fn follow(key: PublicKey, statements: &[(i64, String)]) -> Followed {
    let mut followed = Followed { last: key, steps: Vec::new(), broken: None };
    for (place, text) in statements {
        let told = |what: &str| Some(format!("the announcement at place {place} {what}"));
        match Statement::parse(text) {
            Err(what) => {
                followed.broken = told(&format!("is none: {what}"));
                break;
            }
            Ok(statement) if statement.announcement.before == followed.last.fingerprint() => {
                if statement.announcement.place != *place
                    || !followed.last.has_signed(statement.body.as_bytes(), &statement.signature)
                {
                    followed.broken = told("is not as the key before it signed it");
                    break;
                }
                followed.last = statement.announcement.key;
                followed.steps.push(statement.announcement);
            }
            // A key that was changed in the settings without a word has statements of its own.
            Ok(_) => {}
        }
    }
    followed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::registry::anchor::key::PrivateKey;

    fn key(n: u8) -> PrivateKey {
        PrivateKey::from_bytes(&[n; 32])
    }

    fn statement(place: i64, before: u8, after: u8) -> Statement {
        let at = "2026-03-02T12:00:00.000250Z".parse().unwrap();
        let signer = key(before);
        let before = signer.public().fingerprint();
        let announcement = Announcement { at, place, before, key: key(after).public() };
        let body = announcement.body();
        Statement { signature: signer.sign(body.as_bytes()), announcement, body }
    }

    #[test]
    fn a_statement_reads_back_and_only_one_text_says_it() {
        let signed = statement(1, 1, 2);
        let text = signed.to_string();
        assert!(
            text.starts_with("doseward-key 1\nat 2026-03-02T12:00:00.000250Z\nplace 1\nbefore "),
            "{text}"
        );
        assert_eq!(Statement::parse(&text), Ok(signed));
        let (own, other) = (hex(&key(2).public().fingerprint()), hex(&key(3).public().fingerprint()));
        for (from, to) in [
            ("key 1\n", "key 2\n"),
            ("place 1", "place 01"),
            ("at 2026-03-02T12", "at 2026-03-02t12"),
            (own.as_str(), other.as_str()),
            ("public-key ", "public-key  "),
            ("signature ", "signed "),
        ] {
            let altered = text.replacen(from, to, 1);
            assert_ne!(altered, text);
            assert!(Statement::parse(&altered).is_err(), "{from:?} as {to:?}");
        }
    }

    #[test]
    fn statements_lead_from_key_to_key_as_far_as_each_signed_the_next() {
        let list = |statements: &[Statement]| -> Vec<(i64, String)> {
            statements.iter().map(|one| (one.announcement.place, one.to_string())).collect()
        };
        let all = list(&[statement(1, 1, 2), statement(2, 2, 3)]);
        let from_first = follow(key(1).public(), &all);
        assert_eq!((from_first.last, from_first.steps.len()), (key(3).public(), 2));
        assert_eq!(from_first.broken, None);
        assert_eq!(from_first.key(key(2).public().fingerprint()), Some(key(2).public()));
        assert_eq!(follow(key(2).public(), &all).steps.len(), 1);
        // Nothing leads back, and nothing to a stranger.
        assert_eq!(follow(key(3).public(), &all).last, key(3).public());
        assert_eq!(from_first.key(key(9).public().fingerprint()), None);
        // Another signed in the name of the second.
        let mut forged = statement(2, 2, 9);
        forged.signature = key(9).sign(forged.body.as_bytes());
        let told = follow(key(1).public(), &list(&[statement(1, 1, 2), forged]));
        assert_eq!(told.last, key(2).public());
        assert!(told.broken.unwrap().contains("place 2 is not as the key before it signed it"));
        // Put at another place.
        let mut moved = all.clone();
        moved[1].0 = 3;
        assert!(follow(key(1).public(), &moved).broken.is_some());
    }
}
