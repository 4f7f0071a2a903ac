//! Whether the registry still contains what an anchor says: first the signature, then every chain at the anchored count.

use crate::record;
use crate::registry::anchor::announcement::{self, Announcement, Followed};
use crate::registry::anchor::key::PublicKey;
use crate::registry::anchor::text::{Anchor, Blinded, Head, Signed};
use crate::registry::anchor::{blind, known_key};
use crate::registry::journal::hex;
use crate::registry::refusal::Refusal;
use crate::registry::verify::access_log::LOG;
use crate::store::backend::Tx;
use crate::store::journal::{self, MEDICAL, NOTHING_BEFORE};
use crate::store::{access_log, chains, signing};
use chrono::{DateTime, Utc};

/// How many hashes are held at once.
const CHUNK: i64 = 1000;

/// An anchor to hold the record against.
#[derive(Debug, Clone)]
pub struct Witness {
    /// The anchor.
    pub signed: Signed,
    /// The public key as it was kept outside; without it the registry's own memory of its keys is asked.
    pub key: Option<PublicKey>,
}

record! {
    /// Something that an anchor says and the registry does not contain.
    pub struct AnchorFault {
        /// The chain, or `access-log`.
        chain: Option<String>,
        /// The place in it up to which the anchor speaks.
        place: Option<i64>,
        /// What is wrong.
        what: String,
    }
}

record! {
    /// A key that was announced by the one before it.
    pub struct KeyStep {
        /// When.
        at: DateTime<Utc>,
        /// Its fingerprint, in hexadecimal.
        key: String,
    }
}

record! {
    /// What came of holding the record against an anchor.
    pub struct AnchorFinding {
        /// When the anchor was made.
        at: DateTime<Utc>,
        /// The journal's position then.
        position: i64,
        /// The fingerprint of the key that signed it, in hexadecimal.
        key: String,
        /// The keys that followed it, each announced by the one before.
        followed_by: Vec<KeyStep>,
        /// How many chains and logs were compared; none where the signature is wrong.
        compared: i64,
        /// Whether the registry contains all that the anchor says.
        contained: bool,
        /// What it does not contain.
        faults: Vec<AnchorFault>,
    }
}

impl AnchorFinding {
    /// The same for whoever is not told of medical grounds.
    pub(super) fn without_medical(&mut self) {
        for fault in self.faults.iter_mut().filter(|fault| fault.chain.as_deref() == Some(MEDICAL)) {
            let what =
                "a chain that is not shown does not contain what was anchored: it was cut or rewritten";
            *fault = AnchorFault { chain: None, place: None, what: what.into() };
        }
    }
}

/// Holds the record against an anchor.
pub(super) async fn compare(tx: &mut Tx, witness: &Witness) -> Result<AnchorFinding, Refusal> {
    let anchor = &witness.signed.anchor;
    let (mut compared, mut faults, mut followed_by) = (0, Vec::new(), Vec::new());
    let whole = |what| AnchorFault { chain: None, place: None, what };
    match signer(tx, witness).await? {
        Err(what) => faults.push(whole(what)),
        Ok(after) => {
            for head in &anchor.chains {
                compared += 1;
                faults.extend(chain(tx, head).await?);
            }
            for hidden in &anchor.blinded {
                compared += 1;
                faults.extend(blinded(tx, hidden).await?);
            }
            compared += 1;
            faults.extend(log(tx, anchor).await?);
            faults.extend(position(tx, anchor).await?);
            followed_by = after.steps.iter().map(step).collect();
            faults.extend(after.broken.map(whole));
        }
    }
    Ok(AnchorFinding {
        at: anchor.at,
        position: anchor.position,
        key: hex(&anchor.key),
        followed_by,
        compared,
        contained: faults.is_empty(),
        faults,
    })
}

/// The keys after the one that signed; or why the signature is worth nothing.
///
/// A key that was kept outside is good for what it signed, and for what the keys signed that it leads to.
async fn signer(tx: &mut Tx, witness: &Witness) -> Result<Result<Followed, String>, Refusal> {
    let signed = &witness.signed;
    let named = signed.anchor.key;
    let statements = signing::announcements(tx).await?;
    let key = match witness.key {
        None => match known_key(tx, named).await? {
            Some(key) => key,
            None => {
                return Ok(Err("the anchor is signed with a key that this registry does not know".into()));
            }
        },
        Some(kept) if kept.fingerprint() == named => kept,
        Some(kept) => match announcement::follow(kept, &statements) {
            Followed { broken: Some(what), .. } => return Ok(Err(what)),
            way => match way.key(named) {
                Some(key) => key,
                None => {
                    return Ok(Err("the anchor names another key than the one given, and no announcement leads from that one \
                                   to it"
                        .into()));
                }
            },
        },
    };
    if !key.has_signed(signed.body.as_bytes(), &signed.signature) {
        return Ok(Err("the signature is not that of the anchor's text".into()));
    }
    Ok(Ok(announcement::follow(key, &statements)))
}

fn step(announced: &Announcement) -> KeyStep {
    KeyStep { at: announced.at, key: hex(&announced.key.fingerprint()) }
}

fn fault(chain: &str, place: i64, what: String) -> AnchorFault {
    AnchorFault { chain: Some(chain.into()), place: Some(place), what }
}

async fn chain(tx: &mut Tx, anchored: &Head) -> Result<Option<AnchorFault>, Refusal> {
    let (name, place) = (&anchored.chain, anchored.entries);
    let found = match place {
        0 => Some(NOTHING_BEFORE.to_vec()),
        _ => chains::hash_at(tx, name, place).await?,
    };
    Ok(match found {
        Some(hash) if hash == anchored.hash => None,
        Some(_) => {
            let what = format!("it was rewritten at place {place} or before: another hash stands there now");
            Some(fault(name, place, what))
        }
        None => {
            let (entries, _) = chains::head_at(tx, name, i64::MAX).await?;
            let what = format!(
                "its tail was cut: it had {place} entries, and the last one now is at place {entries}"
            );
            Some(fault(name, place, what))
        }
    })
}

/// A blinded chain is contained where any beginning of it gives the digest.
async fn blinded(tx: &mut Tx, hidden: &Blinded) -> Result<Option<AnchorFault>, Refusal> {
    let name = &hidden.chain;
    let without_place =
        |what: &str| Some(AnchorFault { chain: Some(name.clone()), place: None, what: what.into() });
    let Some(secret) = signing::blinding(tx).await? else {
        return Ok(without_place("the secret that hides it is gone, so that nothing can be told of it"));
    };
    let gives = |place: i64, hash: &[u8]| blind(&secret, &hidden.nonce, place, hash) == hidden.digest;
    if gives(0, &NOTHING_BEFORE) {
        return Ok(None);
    }
    let mut after = 0;
    loop {
        let chunk = chains::hashes(tx, name, after, CHUNK).await?;
        let Some((last, _)) = chunk.last() else { break };
        after = *last;
        if chunk.iter().any(|(place, hash)| gives(*place, hash)) {
            return Ok(None);
        }
    }
    Ok(without_place("no beginning of it is what was anchored: it was cut or rewritten"))
}

async fn log(tx: &mut Tx, anchor: &Anchor) -> Result<Option<AnchorFault>, Refusal> {
    let (place, digest) = anchor.access_log;
    let found = match place {
        0 => Some(NOTHING_BEFORE.to_vec()),
        _ => access_log::digest_at(tx, place).await?,
    };
    Ok(match found {
        Some(found) if found == digest => None,
        Some(_) => {
            let what = format!("it was rewritten at line {place} or before: another digest stands there now");
            Some(fault(LOG, place, what))
        }
        None => Some(fault(LOG, place, format!("its tail was cut: it had {place} lines"))),
    })
}

/// A journal that ends before the anchor was made has lost something, be it of a chain that the anchor does not show.
async fn position(tx: &mut Tx, anchor: &Anchor) -> Result<Option<AnchorFault>, Refusal> {
    let (position, _) = journal::head(tx).await?;
    let what =
        format!("the journal ends at position {position}, and the anchor was made at {}", anchor.position);
    Ok((position < anchor.position).then_some(AnchorFault { chain: None, place: None, what }))
}
