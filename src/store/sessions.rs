//! Who is signed in, and how: sessions, second factors, one-time codes, devices used before, attempts that failed.

use crate::model::identifiers::AccountId;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// The digest of a secret that only its bearer knows.
pub type Digest = [u8; 32];

/// A session as it stands in its row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SessionRow {
    /// Its name among the sessions of its account; no secret.
    pub id: Uuid,
    /// Whose it is.
    pub account: AccountId,
    /// The account's revision when it began: a role given or taken since ends it.
    pub account_revision: i64,
    /// Whether everything that signing in asks for was given.
    pub whole: bool,
    /// What the browser said of itself.
    pub client: String,
    /// When it began.
    pub began_at: DateTime<Utc>,
    /// When it was last used, to the minute.
    pub seen_at: DateTime<Utc>,
}

type Columns = (Uuid, Uuid, i64, i64, String, DateTime<Utc>, DateTime<Utc>);

fn row((id, account, account_revision, whole, client, began_at, seen_at): Columns) -> SessionRow {
    let account = AccountId(account);
    SessionRow { id, account, account_revision, whole: whole != 0, client, began_at, seen_at }
}

/// Keeps a session.
pub async fn keep(tx: &mut Tx, digest: Digest, session: &SessionRow) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO session (digest, id, account_id, account_revision, whole, client, began_at, seen_at) \
         VALUES ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(digest.to_vec())
    .bind(session.id)
    .bind(session.account.0)
    .bind(session.account_revision)
    .bind(i64::from(session.whole))
    .bind(session.client.clone())
    .bind(session.began_at)
    .bind(session.seen_at)
    .execute()
    .await?;
    Ok(())
}

/// The session behind a digest.
pub async fn find(tx: &mut Tx, digest: Digest) -> Result<Option<SessionRow>, StoreError> {
    let found: Option<Columns> = tx
        .query(
            "SELECT id, account_id, account_revision, whole, client, began_at, seen_at FROM session \
             WHERE digest = ",
        )
        .push_bind(digest.to_vec())
        .fetch_optional()
        .await?;
    Ok(found.map(row))
}

/// The sessions of an account, the one used last first.
pub async fn of_account(tx: &mut Tx, account: AccountId) -> Result<Vec<SessionRow>, StoreError> {
    let found: Vec<Columns> = tx
        .query(
            "SELECT id, account_id, account_revision, whole, client, began_at, seen_at FROM session \
             WHERE account_id = ",
        )
        .push_bind(account.0)
        .push(" ORDER BY seen_at DESC")
        .fetch_all()
        .await?;
    Ok(found.into_iter().map(row).collect())
}

/// Notes that a session is used.
pub async fn seen(tx: &mut Tx, id: Uuid, now: DateTime<Utc>) -> Result<(), StoreError> {
    tx.query("UPDATE session SET seen_at = ")
        .push_bind(now)
        .push(" WHERE id = ")
        .push_bind(id)
        .execute()
        .await?;
    Ok(())
}

/// Ends one session of an account; how many there were of that name.
pub async fn end(tx: &mut Tx, account: AccountId, id: Uuid) -> Result<u64, StoreError> {
    tx.query("DELETE FROM session WHERE id = ")
        .push_bind(id)
        .push(" AND account_id = ")
        .push_bind(account.0)
        .execute()
        .await
}

/// Ends the sessions of an account, but for one.
pub async fn end_all(tx: &mut Tx, account: AccountId, but: Option<Uuid>) -> Result<u64, StoreError> {
    tx.query("DELETE FROM session WHERE account_id = ")
        .push_bind(account.0)
        .push(" AND id <> ")
        .push_bind(but.unwrap_or_default())
        .execute()
        .await
}

/// Throws away what is over: sessions last used before one instant or begun before another, and codes that have run out.
pub async fn sweep(
    tx: &mut Tx,
    seen_before: DateTime<Utc>,
    began_before: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.query("DELETE FROM session WHERE seen_at < ")
        .push_bind(seen_before)
        .push(" OR began_at < ")
        .push_bind(began_before)
        .execute()
        .await?;
    tx.query("DELETE FROM sign_in_code WHERE expires_at < ").push_bind(now).execute().await?;
    Ok(())
}

/// The second factor of an account.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FactorRow {
    /// What its codes are computed from.
    pub secret: Vec<u8>,
    /// Since when it counts; not yet, while no code of it was given.
    pub confirmed_at: Option<DateTime<Utc>>,
    /// The time step of the last code that was taken: none up to it is taken again.
    pub last_step: i64,
}

/// The second factor of an account, if it has one.
pub async fn factor(tx: &mut Tx, account: AccountId) -> Result<Option<FactorRow>, StoreError> {
    let found: Option<(Vec<u8>, Option<DateTime<Utc>>, i64)> = tx
        .query("SELECT secret, confirmed_at, last_step FROM second_factor WHERE account_id = ")
        .push_bind(account.0)
        .fetch_optional()
        .await?;
    Ok(found.map(|(secret, confirmed_at, last_step)| FactorRow { secret, confirmed_at, last_step }))
}

/// Keeps a second factor that no code was given of yet, in place of any earlier one.
pub async fn keep_factor(tx: &mut Tx, account: AccountId, secret: Vec<u8>) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO second_factor (account_id, secret, confirmed_at, last_step) VALUES ($1, $2, NULL, 0) \
         ON CONFLICT (account_id) DO UPDATE SET secret = excluded.secret, confirmed_at = NULL, last_step = 0",
    )
    .bind(account.0)
    .bind(secret)
    .execute()
    .await?;
    Ok(())
}

/// Takes a code of a time step: once, and none of an earlier step after it. Whether it was taken.
pub async fn take_step(
    tx: &mut Tx,
    account: AccountId,
    step: i64,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let taken = tx
        .query("UPDATE second_factor SET last_step = ")
        .push_bind(step)
        .push(", confirmed_at = COALESCE(confirmed_at, ")
        .push_bind(now)
        .push(") WHERE account_id = ")
        .push_bind(account.0)
        .push(" AND last_step < ")
        .push_bind(step)
        .execute()
        .await?;
    Ok(taken == 1)
}

/// Takes the second factor of an account away.
pub async fn drop_factor(tx: &mut Tx, account: AccountId) -> Result<(), StoreError> {
    tx.query("DELETE FROM second_factor WHERE account_id = ").push_bind(account.0).execute().await?;
    Ok(())
}

/// Keeps a one-time code.
pub async fn keep_code(
    tx: &mut Tx,
    digest: Digest,
    account: AccountId,
    opens: &str,
    expires_at: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.query("INSERT INTO sign_in_code (digest, account_id, opens, expires_at) VALUES ($1, $2, $3, $4)")
        .bind(digest.to_vec())
        .bind(account.0)
        .bind(opens.to_owned())
        .bind(expires_at)
        .execute()
        .await?;
    Ok(())
}

/// Whose a one-time code is, what it opens, and until when.
pub async fn code(
    tx: &mut Tx,
    digest: Digest,
) -> Result<Option<(AccountId, String, DateTime<Utc>)>, StoreError> {
    let found: Option<(Uuid, String, DateTime<Utc>)> = tx
        .query("SELECT account_id, opens, expires_at FROM sign_in_code WHERE digest = ")
        .push_bind(digest.to_vec())
        .fetch_optional()
        .await?;
    Ok(found.map(|(account, opens, until)| (AccountId(account), opens, until)))
}

/// Uses up a one-time code; whether it was there still.
pub async fn use_code(tx: &mut Tx, digest: Digest) -> Result<bool, StoreError> {
    let used =
        tx.query("DELETE FROM sign_in_code WHERE digest = ").push_bind(digest.to_vec()).execute().await?;
    Ok(used == 1)
}

/// Takes back the one-time codes of an account.
pub async fn drop_codes(tx: &mut Tx, account: AccountId) -> Result<(), StoreError> {
    tx.query("DELETE FROM sign_in_code WHERE account_id = ").push_bind(account.0).execute().await?;
    Ok(())
}

/// Remembers a device with which an account was signed in.
pub async fn keep_device(
    tx: &mut Tx,
    digest: Digest,
    account: AccountId,
    now: DateTime<Utc>,
) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO known_device (digest, account_id, seen_at) VALUES ($1, $2, $3) \
         ON CONFLICT (digest) DO UPDATE SET account_id = excluded.account_id, seen_at = excluded.seen_at",
    )
    .bind(digest.to_vec())
    .bind(account.0)
    .bind(now)
    .execute()
    .await?;
    Ok(())
}

/// Whether an account was signed in with a device before.
pub async fn is_known(tx: &mut Tx, digest: Digest, account: AccountId) -> Result<bool, StoreError> {
    let found: Option<(Uuid,)> = tx
        .query("SELECT account_id FROM known_device WHERE digest = ")
        .push_bind(digest.to_vec())
        .push(" AND account_id = ")
        .push_bind(account.0)
        .fetch_optional()
        .await?;
    Ok(found.is_some())
}

/// Attempts counted under a name since the last that went well, and when the last one was.
pub async fn failures(tx: &mut Tx, counted_on: &str) -> Result<Option<(i64, DateTime<Utc>)>, StoreError> {
    tx.query("SELECT failures, last_at FROM failed_attempt WHERE counted_on = ")
        .push_bind(counted_on.to_owned())
        .fetch_optional()
        .await
}

/// Counts an attempt.
pub async fn count_attempt(tx: &mut Tx, counted_on: &str, now: DateTime<Utc>) -> Result<(), StoreError> {
    tx.query(
        "INSERT INTO failed_attempt (counted_on, failures, last_at) VALUES ($1, 1, $2) \
         ON CONFLICT (counted_on) DO UPDATE SET failures = failed_attempt.failures + 1, \
         last_at = excluded.last_at",
    )
    .bind(counted_on.to_owned())
    .bind(now)
    .execute()
    .await?;
    Ok(())
}

/// Forgets the attempts counted under a name.
pub async fn forget_attempts(tx: &mut Tx, counted_on: &str) -> Result<(), StoreError> {
    tx.query("DELETE FROM failed_attempt WHERE counted_on = ")
        .push_bind(counted_on.to_owned())
        .execute()
        .await?;
    Ok(())
}

/// Forgets attempts that are long past.
pub async fn forget_attempts_before(tx: &mut Tx, then: DateTime<Utc>) -> Result<(), StoreError> {
    tx.query("DELETE FROM failed_attempt WHERE last_at < ").push_bind(then).execute().await?;
    Ok(())
}
