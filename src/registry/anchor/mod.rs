//! Anchors: what the journal's chains and the access log were at a moment, signed, to be kept outside.
//!
//! The chains prove themselves; that their tail was not cut, and that nobody wrote them anew from some entry on, only a
//! witness outside can prove. An anchor is that witness.

pub mod announcement;
pub mod key;
pub mod keys;
pub mod text;

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Sites;
use crate::model::identifiers::SiteId;
use crate::record;
use crate::registry::journal::hex;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::journal::{self, CORPORATION, MEDICAL, NOTHING_BEFORE};
use crate::store::{access_log, chains, open, signing};
use chrono::{DateTime, SubsecRound as _, Utc};
use key::{PrivateKey, PublicKey};
use sha2::{Digest, Sha256};
use std::sync::Arc;
use text::{Anchor, Blinded, Head, Signed};

record! {
    /// The key that signs anchors.
    pub struct SigningKeyView {
        /// SHA-256 over its DER form, in hexadecimal.
        fingerprint: String,
        /// The public key as PEM (SubjectPublicKeyInfo, RFC 8410).
        public_key: String,
        /// Since when this registry knows it.
        since: DateTime<Utc>,
    }
}

record! {
    /// A chain at a position: what a paper and an export carry, to be held against an anchor or the record itself.
    pub struct ChainState {
        /// The position.
        position: i64,
        /// The chain: of the site, or of the corporation.
        chain: String,
        /// How many entries it had.
        entries: i64,
        /// The hash of the last, in hexadecimal.
        head: String,
    }
}

impl ChainState {
    /// The chain of a site, or of the corporation, as it stood at a position.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn at(tx: &mut Tx, position: i64, site: Option<SiteId>) -> Result<Self, Refusal> {
        let chain = journal::chain_of(false, site);
        let (entries, head) = chains::head_at(tx, &chain, position).await?;
        Ok(Self { position, chain, entries, head: hex(&head) })
    }

    /// The chain for a reader of one action: that of his site where he sees one alone, else of the corporation.
    ///
    /// # Errors
    /// [`Refusal::Forbidden`] where he may not do it.
    pub async fn for_reader(
        tx: &mut Tx,
        position: i64,
        caller: &Caller,
        action: Action,
    ) -> Result<Self, Refusal> {
        let site = match caller.may(action)?.sites {
            Sites::Only(sites) if sites.len() == 1 => sites.first().copied(),
            _ => None,
        };
        Self::at(tx, position, site).await
    }
}

/// The digest of a blinded chain.
pub fn blind(secret: &[u8], nonce: &[u8; 16], entries: i64, head: &[u8]) -> [u8; 32] {
    Sha256::new()
        .chain_update(secret)
        .chain_update(nonce)
        .chain_update(entries.to_be_bytes())
        .chain_update(head)
        .finalize()
        .into()
}

impl Registry {
    /// An anchor of what the caller sees: the chains of his sites and of the corporation, or all of them. The medical chain
    /// stands open for a physician of all sites; for everybody else there is a digest that shows neither count nor growth.
    ///
    /// # Errors
    /// [`Refusal::Forbidden`] for a role without journal; storage fails.
    pub async fn anchor(&self, caller: &Caller) -> Result<Signed, Refusal> {
        let scope = caller.may(Action::ReadJournal)?;
        let opens = caller.may(Action::MedicalGrounds).is_ok_and(|scope| scope.is_all());
        let key = self.signing_key().await?;
        let secret = self.blinding_secret().await?;
        let mut tx = self.database.read().await?;
        let (position, _) = journal::head(&mut tx).await?;
        let in_sight = |chain: &str| match &scope.sites {
            Sites::All => true,
            Sites::Only(sites) => {
                chain == CORPORATION
                    || sites.iter().any(|site| chain == journal::chain_of(false, Some(*site)))
            }
        };
        let (mut chains, mut medical) = (Vec::new(), (0, NOTHING_BEFORE));
        for (chain, entries, head) in chains::heads(&mut tx).await? {
            let hash = of_32(head)?;
            if chain == MEDICAL {
                medical = (entries, hash);
            } else if in_sight(&chain) {
                chains.push(Head { chain, entries, hash });
            }
        }
        let mut blinded = Vec::new();
        let (entries, hash) = medical;
        if opens {
            chains.push(Head { chain: MEDICAL.into(), entries, hash });
        } else {
            let mut nonce = [0; 16];
            self.ids.random(&mut nonce);
            let digest = blind(&secret, &nonce, entries, &hash);
            blinded.push(Blinded { chain: MEDICAL.into(), nonce, digest });
        }
        let (lines, digest) = access_log::head(&mut tx).await?;
        let anchor = Anchor {
            at: self.clock.now().trunc_subsecs(6),
            position,
            software: env!("CARGO_PKG_VERSION").into(),
            schema: open::schema(&mut tx).await?,
            key: key.public().fingerprint(),
            chains,
            blinded,
            access_log: (lines, of_32(digest)?),
        };
        let body = anchor.body();
        let signature = key.sign(body.as_bytes());
        Ok(Signed { anchor, body, signature })
    }

    /// The key that signs anchors, for whoever wants to check one.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn public_key(&self) -> Result<SigningKeyView, Refusal> {
        let key = self.signing_key().await?.public();
        let mut tx = self.database.read().await?;
        let known = signing::public_key(&mut tx, key.fingerprint()).await?;
        let since = known.map_or(DateTime::UNIX_EPOCH, |(_, since)| since);
        Ok(SigningKeyView { fingerprint: hex(&key.fingerprint()), public_key: key.to_pem(), since })
    }

    /// The private key that signs now; where there is none yet, a new one.
    ///
    /// # Errors
    /// The one of the setting was replaced, or one is announced that the setting must name.
    pub(in crate::registry) async fn signing_key(&self) -> Result<Arc<PrivateKey>, Refusal> {
        let mut tx = self.database.read().await?;
        let kept = self.present_key(&mut tx).await?;
        drop(tx);
        if let Some(key) = kept {
            return Ok(key);
        }
        let mut tx = self.database.write().await?;
        // The writers' turn is taken: two instances make one key.
        journal::hold(&mut tx).await?;
        let now = self.clock.now().trunc_subsecs(6);
        let key = match &self.signing {
            Some(key) => {
                let public = key.public();
                signing::keep(&mut tx, public.fingerprint(), public.to_bytes(), None, now).await?;
                Arc::clone(key)
            }
            None => {
                if let Some(key) = newest(&mut tx).await? {
                    key
                } else {
                    let mut seed = [0; 32];
                    self.ids.random(&mut seed);
                    let key = PrivateKey::from_bytes(&seed);
                    let public = key.public();
                    signing::keep(&mut tx, public.fingerprint(), public.to_bytes(), Some(seed), now).await?;
                    Arc::new(key)
                }
            }
        };
        tx.commit().await?;
        Ok(key)
    }

    /// The secret that hides the medical chain; made on first need.
    async fn blinding_secret(&self) -> Result<Vec<u8>, Refusal> {
        let mut tx = self.database.read().await?;
        if let Some(secret) = signing::blinding(&mut tx).await? {
            return Ok(secret);
        }
        drop(tx);
        let mut secret = [0; 32];
        self.ids.random(&mut secret);
        let mut tx = self.database.write().await?;
        signing::keep_blinding(&mut tx, secret).await?;
        // Another instance may have been quicker.
        let kept = signing::blinding(&mut tx).await?.ok_or(StoreError::Missing)?;
        tx.commit().await?;
        Ok(kept)
    }
}

async fn newest(tx: &mut Tx) -> Result<Option<Arc<PrivateKey>>, Refusal> {
    let kept = signing::newest_private(tx).await?;
    Ok(kept.map(of_32).transpose()?.map(|seed| Arc::new(PrivateKey::from_bytes(&seed))))
}

/// The public half of a key that has signed here.
pub(crate) async fn known_key(tx: &mut Tx, fingerprint: [u8; 32]) -> Result<Option<PublicKey>, Refusal> {
    let known = signing::public_key(tx, fingerprint).await?;
    Ok(known.and_then(|(bytes, _)| PublicKey::from_bytes(&bytes)))
}

fn of_32(bytes: Vec<u8>) -> Result<[u8; 32], Refusal> {
    bytes.try_into().map_err(|_| StoreError::Damaged("a digest or key is not 32 bytes long".into()).into())
}
