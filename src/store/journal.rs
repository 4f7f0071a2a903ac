//! The journal: every accepted change, chained.
//!
//! `image_digest = SHA-256(salt ‖ image)` and `entry_hash = SHA-256(previous ‖ envelope ‖ image_digest)`, so image and
//! salt can lawfully be removed while the chain still proves. The envelope holds no personal data.

use crate::access::scope::{Scope, Sites};
use crate::model::identifiers::{AccountId, SiteId};
use crate::model::version::Version;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Stored;
use chrono::{DateTime, SubsecRound, Utc};
use serde_json::{Map, Value};
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// The hash before the first entry of a chain.
pub const NOTHING_BEFORE: [u8; 32] = [0; 32];

/// The head: the last position and its time.
pub async fn head(tx: &mut Tx) -> Result<(i64, Option<DateTime<Utc>>), StoreError> {
    tx.query("SELECT position, at FROM journal_head WHERE one = 1").fetch_one().await
}

/// Raises the one position: the first statement of every writing transaction, so that writers queue here.
///
/// The time is stamped under that lock and is never earlier than the last one.
pub async fn next_position(tx: &mut Tx, now: DateTime<Utc>) -> Result<(i64, DateTime<Utc>), StoreError> {
    let (position, last): (i64, Option<DateTime<Utc>>) = tx
        .query("UPDATE journal_head SET position = position + 1 WHERE one = 1 RETURNING position, at")
        .fetch_one()
        .await?;
    let at = last.map_or(now, |last| last.max(now)).trunc_subsecs(6);
    tx.query("UPDATE journal_head SET at = ").push_bind(at).push(" WHERE one = 1").execute().await?;
    Ok((position, at))
}

/// Gives the position of a request back that wrote no entry, so that positions stay without gaps.
pub async fn give_back(tx: &mut Tx) -> Result<(), StoreError> {
    tx.query("UPDATE journal_head SET position = position - 1 WHERE one = 1").execute().await?;
    Ok(())
}

/// Takes the writers' turn without raising the position: until this transaction ends nobody else writes.
pub async fn hold(tx: &mut Tx) -> Result<i64, StoreError> {
    let (position,): (i64,) = tx
        .query("UPDATE journal_head SET position = position WHERE one = 1 RETURNING position")
        .fetch_one()
        .await?;
    Ok(position)
}

/// The last position known at an instant; 0 before the first.
pub async fn position_at(tx: &mut Tx, at: DateTime<Utc>) -> Result<i64, StoreError> {
    let row: Option<(i64,)> = tx
        .query("SELECT position FROM journal_entry WHERE at <= ")
        .push_bind(at)
        .push(" ORDER BY at DESC, position DESC LIMIT 1")
        .fetch_optional()
        .await?;
    Ok(row.map_or(0, |(position,)| position))
}

/// When a position was recorded; the beginning of time where it is none.
pub async fn recorded_at(tx: &mut Tx, position: i64) -> Result<DateTime<Utc>, StoreError> {
    let row: Option<(DateTime<Utc>,)> = tx
        .query("SELECT at FROM journal_entry WHERE position = ")
        .push_bind(position)
        .push(" ORDER BY ordinal LIMIT 1")
        .fetch_optional()
        .await?;
    Ok(row.map_or(DateTime::UNIX_EPOCH, |(at,)| at))
}

/// What surrounds an image.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Envelope {
    /// Position of the request in the one order of all changes.
    pub position: i64,
    /// Which entry of that request.
    pub ordinal: i64,
    /// The chain it belongs to.
    pub chain: String,
    /// Its place in the chain, from 1.
    pub place: i64,
    /// When.
    pub at: DateTime<Utc>,
    /// By which account.
    pub account: AccountId,
    /// The kind of fact.
    pub kind: String,
    /// What was done with it: recorded, voided, accepted …
    pub deed: String,
    /// The fact.
    pub subject: Uuid,
    /// The site it belongs to.
    pub site: Option<SiteId>,
    /// Format number of the image.
    pub format: i64,
}

impl Envelope {
    /// The fixed layout that is hashed: numbers big-endian, texts with their length before them.
    fn bytes(&self) -> Vec<u8> {
        let mut bytes = Vec::with_capacity(160);
        for number in [self.position, self.ordinal, self.place, self.at.timestamp_micros(), self.format] {
            bytes.extend(number.to_be_bytes());
        }
        bytes.extend(self.account.0.as_bytes());
        bytes.extend(self.subject.as_bytes());
        bytes.extend(self.site.map_or([0; 16], |site| site.0.into_bytes()));
        for text in [&self.chain, &self.kind, &self.deed] {
            bytes.extend((text.len() as u64).to_be_bytes());
            bytes.extend(text.as_bytes());
        }
        bytes
    }
}

/// A whole entry as it is stored.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The envelope.
    pub envelope: Envelope,
    /// The image as text, unless lawfully removed.
    pub image: Option<String>,
    /// The salt, removed with the image.
    pub salt: Option<Vec<u8>>,
    /// SHA-256 of salt and image.
    pub image_digest: Vec<u8>,
    /// The hash of the entry before in the chain.
    pub previous_hash: Vec<u8>,
    /// The entry's own hash.
    pub entry_hash: Vec<u8>,
}

/// SHA-256 of salt and image.
pub fn digest_of(salt: &[u8], image: &str) -> [u8; 32] {
    Sha256::new().chain_update(salt).chain_update(image).finalize().into()
}

/// The hash of an entry.
pub fn hash_of(previous: &[u8], envelope: &Envelope, image_digest: &[u8]) -> [u8; 32] {
    Sha256::new()
        .chain_update(previous)
        .chain_update(envelope.bytes())
        .chain_update(image_digest)
        .finalize()
        .into()
}

/// The chain of a fact: medical grounds, and duties that rest on one, have one of their own, a fact of a site its site's,
/// the rest the corporation's.
pub fn chain_of(medical: bool, site: Option<SiteId>) -> String {
    match site {
        _ if medical => MEDICAL.into(),
        Some(site) => format!("site:{site}"),
        None => CORPORATION.into(),
    }
}

/// The image of a version: identity, why, and the fact itself.
pub fn image_of<F: Stored>(version: &Version<F>, reason: Option<&str>, by: Option<&str>) -> String {
    let mut image = Map::new();
    image.insert("id".into(), Value::String(version.id.to_string()));
    image.insert("revision".into(), version.revision.into());
    if let Some(site) = version.site {
        image.insert("site_id".into(), Value::String(site.to_string()));
    }
    if let Some(parent) = version.parent {
        image.insert("parent_id".into(), Value::String(parent.to_string()));
    }
    if let Some(voided) = &version.voided {
        image.insert("voided".into(), Value::String(voided.clone()));
    }
    if let Some(reason) = reason {
        image.insert("reason".into(), Value::String(reason.into()));
    }
    if let Some(by) = by {
        image.insert("console_user".into(), Value::String(by.into()));
    }
    image.insert("fact".into(), version.fact.to_json());
    Value::Object(image).to_string()
}

/// What is to be written into the journal beside the version itself.
#[derive(Debug, Clone)]
pub struct Note<'n> {
    /// When, as stamped under the lock.
    pub at: DateTime<Utc>,
    /// By whom.
    pub account: AccountId,
    /// Which entry of the request.
    pub ordinal: i64,
    /// What was done.
    pub deed: &'static str,
    /// Why.
    pub reason: Option<&'n str>,
    /// The operating-system user behind direct access.
    pub console_user: Option<&'n str>,
    /// 16 random bytes.
    pub salt: [u8; 16],
}

/// Appends the entry of a version to its chain.
pub async fn append<F: Stored>(tx: &mut Tx, version: &Version<F>, note: Note<'_>) -> Result<(), StoreError> {
    let table = F::TABLE;
    let chain = chain_of(version.fact.is_medical(), version.site);
    let last: Option<(i64, Vec<u8>)> = tx
        .query("SELECT entries, head FROM journal_chain WHERE chain = ")
        .push_bind(chain.clone())
        .fetch_optional()
        .await?;
    let (entries, previous) = last.unwrap_or_else(|| (0, NOTHING_BEFORE.to_vec()));
    let envelope = Envelope {
        position: version.position,
        ordinal: note.ordinal,
        chain: chain.clone(),
        place: entries + 1,
        at: note.at,
        account: note.account,
        kind: table.kind.into(),
        deed: note.deed.into(),
        subject: version.id,
        site: version.site,
        format: table.format,
    };
    let image = image_of(version, note.reason, note.console_user);
    let image_digest = digest_of(&note.salt, &image);
    let entry_hash = hash_of(&previous, &envelope, &image_digest);
    tx.query(
        "INSERT INTO journal_entry (position, ordinal, chain, place, at, account_id, kind, deed, subject_id, site_id, \
         format, image, salt, image_digest, previous_hash, entry_hash) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)",
    )
    .bind(envelope.position)
    .bind(envelope.ordinal)
    .bind(envelope.chain)
    .bind(envelope.place)
    .bind(envelope.at)
    .bind(envelope.account.0)
    .bind(envelope.kind)
    .bind(envelope.deed)
    .bind(envelope.subject)
    .bind(envelope.site.map(|site| site.0))
    .bind(envelope.format)
    .bind(image)
    .bind(note.salt.to_vec())
    .bind(image_digest.to_vec())
    .bind(previous)
    .bind(entry_hash.to_vec())
    .execute()
    .await?;
    tx.query(
        "INSERT INTO journal_chain (chain, entries, head) VALUES ($1, $2, $3) \
         ON CONFLICT (chain) DO UPDATE SET entries = excluded.entries, head = excluded.head",
    )
    .bind(chain)
    .bind(entries + 1)
    .bind(entry_hash.to_vec())
    .execute()
    .await?;
    Ok(())
}

#[derive(sqlx::FromRow)]
struct EntryRow {
    position: i64,
    ordinal: i64,
    chain: String,
    place: i64,
    at: DateTime<Utc>,
    account_id: Uuid,
    kind: String,
    deed: String,
    subject_id: Uuid,
    site_id: Option<Uuid>,
    format: i64,
    image: Option<String>,
    salt: Option<Vec<u8>>,
    image_digest: Vec<u8>,
    previous_hash: Vec<u8>,
    entry_hash: Vec<u8>,
}

impl From<EntryRow> for Entry {
    fn from(row: EntryRow) -> Self {
        Self {
            envelope: Envelope {
                position: row.position,
                ordinal: row.ordinal,
                chain: row.chain,
                place: row.place,
                at: row.at,
                account: AccountId(row.account_id),
                kind: row.kind,
                deed: row.deed,
                subject: row.subject_id,
                site: row.site_id.map(SiteId),
                format: row.format,
            },
            image: row.image,
            salt: row.salt,
            image_digest: row.image_digest,
            previous_hash: row.previous_hash,
            entry_hash: row.entry_hash,
        }
    }
}

/// Facts of no site that everybody works with: their entries are in sight of every site.
pub const REFERENCE: [&str; 6] = ["agent", "limit", "clause", "compared_with", "mixture_set", "pack_row"];

/// The chain of what belongs to no site.
pub const CORPORATION: &str = "corporation";

/// The chain of medical facts.
pub const MEDICAL: &str = "medical";

/// Which entries to read.
#[derive(Debug, Clone, Default)]
pub struct Reading {
    /// Only those after this position and ordinal.
    pub after: Option<(i64, i64)>,
    /// Only of this fact.
    pub subject: Option<Uuid>,
    /// Only of this site.
    pub site: Option<SiteId>,
    /// Only about facts of this kind.
    pub kind: Option<&'static str>,
    /// Up to this position.
    pub until: Option<i64>,
    /// Whether the medical chain is read too.
    pub medical: bool,
    /// At most how many.
    pub limit: i64,
}

/// Entries in the one order of all changes, as far as the scope sees their envelopes.
pub async fn entries(tx: &mut Tx, scope: &Scope, reading: &Reading) -> Result<Vec<Entry>, StoreError> {
    let mut query = tx.query(
        "SELECT position, ordinal, chain, place, at, account_id, kind, deed, subject_id, site_id, format, image, \
         salt, image_digest, previous_hash, entry_hash FROM journal_entry WHERE TRUE",
    );
    if let Some((position, ordinal)) = reading.after {
        query = query.push(" AND (position, ordinal) > (").push_bind(position);
        query = query.push(", ").push_bind(ordinal).push(")");
    }
    if let Some(subject) = reading.subject {
        query = query.push(" AND subject_id = ").push_bind(subject);
    }
    if let Some(site) = reading.site {
        query = query.push(" AND site_id = ").push_bind(site.0);
    }
    if let Some(kind) = reading.kind {
        query = query.push(" AND kind = ").push_bind(kind.to_owned());
    }
    if let Some(until) = reading.until {
        query = query.push(" AND position <= ").push_bind(until);
    }
    if !reading.medical {
        query = query.push(" AND chain <> ").push_bind(MEDICAL);
    }
    if let Sites::Only(sites) = &scope.sites {
        let ids = || sites.iter().map(|site| site.0);
        query = query
            .push(" AND (site_id IN ")
            .push_list(ids())
            .push(" OR (kind = 'site' AND subject_id IN ")
            .push_list(ids())
            .push(") OR (site_id IS NULL AND kind IN ")
            .push_list(REFERENCE)
            .push("))");
    }
    let rows: Vec<EntryRow> =
        query.push(" ORDER BY position, ordinal LIMIT ").push_bind(reading.limit).fetch_all().await?;
    Ok(rows.into_iter().map(Entry::from).collect())
}

/// Puts entries back as they were, into a journal that is being restored.
pub async fn put(tx: &mut Tx, entries: &[Entry]) -> Result<(), StoreError> {
    if entries.is_empty() {
        return Ok(());
    }
    let mut query = tx.query(
        "INSERT INTO journal_entry (position, ordinal, chain, place, at, account_id, kind, deed, subject_id, site_id, \
         format, image, salt, image_digest, previous_hash, entry_hash)",
    );
    for (n, entry) in entries.iter().enumerate() {
        let Envelope { position, ordinal, chain, place, at, account, kind, deed, subject, site, format } =
            entry.envelope.clone();
        query = query.push(if n == 0 { " VALUES (" } else { "), (" }).push_bind(position);
        query = query.push(", ").push_bind(ordinal).push(", ").push_bind(chain).push(", ").push_bind(place);
        query = query.push(", ").push_bind(at).push(", ").push_bind(account.0).push(", ").push_bind(kind);
        query = query.push(", ").push_bind(deed).push(", ").push_bind(subject).push(", ");
        query = query.push_bind(site.map(|site| site.0)).push(", ").push_bind(format).push(", ");
        query = query.push_bind(entry.image.clone()).push(", ").push_bind(entry.salt.clone()).push(", ");
        query = query.push_bind(entry.image_digest.clone()).push(", ");
        query = query.push_bind(entry.previous_hash.clone()).push(", ").push_bind(entry.entry_hash.clone());
    }
    query.push(")").execute().await?;
    Ok(())
}

/// Sets the heads of a journal that was restored: the last position, its time, the chains.
pub async fn put_heads(
    tx: &mut Tx,
    position: i64,
    at: Option<DateTime<Utc>>,
    chains: &[(String, i64, Vec<u8>)],
) -> Result<(), StoreError> {
    tx.query("UPDATE journal_head SET position = ")
        .push_bind(position)
        .push(", at = ")
        .push_bind(at)
        .push(" WHERE one = 1")
        .execute()
        .await?;
    for (chain, entries, head) in chains {
        tx.query("INSERT INTO journal_chain (chain, entries, head) VALUES ($1, $2, $3)")
            .bind(chain.clone())
            .bind(*entries)
            .bind(head.clone())
            .execute()
            .await?;
    }
    Ok(())
}

/// How many entries there are.
pub async fn count(tx: &mut Tx) -> Result<i64, StoreError> {
    let (entries,): (i64,) = tx.query("SELECT count(*) FROM journal_entry").fetch_one().await?;
    Ok(entries)
}

/// The accounts that have written about a fact.
pub async fn accounts_of(tx: &mut Tx, subject: Uuid) -> Result<Vec<AccountId>, StoreError> {
    let rows: Vec<(Uuid,)> = tx
        .query("SELECT DISTINCT account_id FROM journal_entry WHERE subject_id = ")
        .push_bind(subject)
        .push(" ORDER BY account_id")
        .fetch_all()
        .await?;
    Ok(rows.into_iter().map(|(id,)| AccountId(id)).collect())
}

/// What an account wrote of some kinds after a position: position, kind, deed, fact. Of the medical chain nothing.
pub async fn written_by(
    tx: &mut Tx,
    account: AccountId,
    after: i64,
    kinds: &[&'static str],
) -> Result<Vec<(i64, String, String, Uuid)>, StoreError> {
    tx.query("SELECT position, kind, deed, subject_id FROM journal_entry WHERE position > ")
        .push_bind(after)
        .push(" AND account_id = ")
        .push_bind(account.0)
        .push(" AND chain <> ")
        .push_bind(MEDICAL)
        .push(" AND kind IN ")
        .push_list(kinds.iter().copied())
        .push(" ORDER BY position, ordinal")
        .fetch_all()
        .await
}
