//! The keys that sign: which there are, which follows which, and replacing the present one.

use crate::access::caller::Caller;
use crate::record;
use crate::registry::anchor::announcement::{Announcement, Statement};
use crate::registry::anchor::key::{PrivateKey, PublicKey};
use crate::registry::journal::hex;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::{disposal, journal, signing};
use chrono::{DateTime, SubsecRound as _, Utc};
use std::collections::BTreeMap;
use std::sync::Arc;

record! {
    /// A key that signs here, or has signed.
    pub struct KnownKey {
        /// SHA-256 over its DER form, in hexadecimal.
        fingerprint: String,
        /// The public key as PEM (SubjectPublicKeyInfo, RFC 8410).
        public_key: String,
        /// Since when this registry knows it.
        since: DateTime<Utc>,
        /// Whether it is the one that signs now.
        signs: bool,
        /// The fingerprint of the key that announced it.
        announced_by: Option<String>,
        /// The fingerprint of the key that it announced, and that has signed in its place since.
        followed_by: Option<String>,
    }
}

/// What came of replacing the key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rotated {
    /// The statement.
    pub statement: Statement,
    /// Whether the database keeps the private half of the new key.
    pub kept: bool,
}

impl Registry {
    /// Every key that has signed here, the oldest first.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn keys(&self) -> Result<Vec<KnownKey>, Refusal> {
        let signs = match self.signing_key().await {
            Ok(key) => Some(key.public().fingerprint()),
            // The setting names one that was replaced, or none where one is needed.
            Err(Refusal::Conflict { .. }) => None,
            Err(other) => return Err(other),
        };
        let mut tx = self.database.read().await?;
        let announced = readable(&mut tx).await?;
        let mut keys = Vec::new();
        for (fingerprint, public, since) in signing::keys(&mut tx).await? {
            let key = PublicKey::from_bytes(&public);
            let key = key.ok_or_else(|| StoreError::Damaged("a public key does not read as one".into()))?;
            let this = |other: &[u8; 32]| other[..] == fingerprint[..];
            let by = announced.iter().find(|one| this(&one.key.fingerprint()));
            let next = announced.iter().find(|one| this(&one.before));
            keys.push(KnownKey {
                fingerprint: hex(&fingerprint),
                public_key: key.to_pem(),
                since,
                signs: signs.as_ref().is_some_and(this),
                announced_by: by.map(|one| hex(&one.before)),
                followed_by: next.map(|one| hex(&one.key.fingerprint())),
            });
        }
        Ok(keys)
    }

    /// Every statement by which a key announced the next, in order, with an empty line between.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn key_announcements(&self) -> Result<String, Refusal> {
        let mut tx = self.database.read().await?;
        let statements = signing::announcements(&mut tx).await?;
        Ok(statements.into_iter().map(|(_, text)| text).collect::<Vec<_>>().join("\n"))
    }

    /// Replaces the key that signs: by a new one that the database keeps, or by one that is kept elsewhere. The old one signs
    /// the statement that says so, and its private half is forgotten.
    ///
    /// # Errors
    /// [`Refusal::Forbidden`] but for the console; the present key is that of the setting and no other is given; the new one
    /// has signed here before.
    pub async fn rotate_key(&self, caller: &Caller, new: Option<&PrivateKey>) -> Result<Rotated, Refusal> {
        if caller.console_user.is_none() {
            return Err(Refusal::Forbidden);
        }
        if new.is_none() && self.signing.is_some() {
            return Err(Refusal::taken(
                "the key is given by DOSEWARD_SIGNING_KEY, and the database does not keep it: make a new one in a file, name \
                 that file here, and name it in the setting afterwards",
            ));
        }
        // The first key must be there before it can announce another.
        self.signing_key().await?;
        let mut tx = self.database.write().await?;
        journal::hold(&mut tx).await?;
        let old = self.present_key(&mut tx).await?.ok_or(StoreError::Missing)?;
        let mut seed = [0; 32];
        let (key, private) = if let Some(new) = new {
            (new.public(), None)
        } else {
            self.ids.random(&mut seed);
            (PrivateKey::from_bytes(&seed).public(), Some(seed))
        };
        if signing::public_key(&mut tx, key.fingerprint()).await?.is_some() {
            return Err(Refusal::taken(format!(
                "the key {} has signed here before: make a new one",
                hex(&key.fingerprint())
            )));
        }
        let at = self.clock.now().trunc_subsecs(6);
        let place = signing::announcements(&mut tx).await?.last().map_or(1, |(place, _)| place + 1);
        let before = old.public().fingerprint();
        let announcement = Announcement { at, place, before, key };
        let body = announcement.body();
        let statement = Statement { signature: old.sign(body.as_bytes()), announcement, body };
        disposal::overwrite(&mut tx).await?;
        signing::forget_private(&mut tx, before).await?;
        signing::keep(&mut tx, key.fingerprint(), key.to_bytes(), private, at).await?;
        signing::announce(&mut tx, place, &statement.to_string()).await?;
        tx.commit().await?;
        Ok(Rotated { statement, kept: private.is_some() })
    }

    /// The private key that signs now, if there is one yet: the one of the setting, else the one that was announced last, else
    /// the newest of the database.
    pub(super) async fn present_key(&self, tx: &mut Tx) -> Result<Option<Arc<PrivateKey>>, Refusal> {
        let announced = readable(tx).await?;
        if let Some(key) = &self.signing {
            let own = key.public().fingerprint();
            if let Some(next) = announced.iter().find(|one| one.before == own) {
                return Err(Refusal::taken(format!(
                    "the key of DOSEWARD_SIGNING_KEY was replaced on {}: the setting must name the key {}",
                    next.at.date_naive(),
                    hex(&next.key.fingerprint())
                )));
            }
            let known = signing::public_key(tx, own).await?;
            return Ok(known.map(|_| Arc::clone(key)));
        }
        let Some(last) = announced.last() else { return super::newest(tx).await };
        let fingerprint = last.key.fingerprint();
        match signing::private_of(tx, fingerprint).await? {
            Some(seed) => Ok(Some(Arc::new(PrivateKey::from_bytes(&super::of_32(seed)?)))),
            None => Err(Refusal::taken(format!(
                "the key that signs, {}, is not kept in the database: DOSEWARD_SIGNING_KEY_FILE must name its file",
                hex(&fingerprint)
            ))),
        }
    }
}

/// The statements that read; a proof names those that do not.
async fn readable(tx: &mut Tx) -> Result<Vec<Announcement>, Refusal> {
    let statements = signing::announcements(tx).await?;
    let read = |(_, text): (i64, String)| Statement::parse(&text).ok().map(|one| one.announcement);
    Ok(statements.into_iter().filter_map(read).collect())
}

/// What is wrong with the statements, if anything is: each stands at its place and is signed with the key that it names.
pub(in crate::registry) async fn first_wrong(tx: &mut Tx) -> Result<Option<String>, Refusal> {
    let mut known = BTreeMap::new();
    for (fingerprint, public, _) in signing::keys(tx).await? {
        known.insert(fingerprint, PublicKey::from_bytes(&public));
    }
    for (n, (place, text)) in (1..).zip(signing::announcements(tx).await?) {
        if place != n {
            return Ok(Some(format!("the announcement of a key at place {n} is missing")));
        }
        let signed = Statement::parse(&text).is_ok_and(|statement| {
            let before = known.get(&statement.announcement.before[..]).copied().flatten();
            statement.announcement.place == place
                && before.is_some_and(|key| key.has_signed(statement.body.as_bytes(), &statement.signature))
        });
        if !signed {
            return Ok(Some(format!("the announcement of a key at place {place} is not as it was signed")));
        }
    }
    Ok(None)
}
