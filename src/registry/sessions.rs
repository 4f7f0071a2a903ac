//! Sessions of people: begun at sign-in, ended by disuse, by age, and by every change of the account.

use crate::access::caller::Caller;
use crate::access::scope::Scope;
use crate::model::facts::account::{Account, Role};
use crate::model::identifiers::AccountId;
use crate::model::version::Version;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::store::backend::Tx;
use crate::store::sessions::{self, Digest, SessionRow};
use crate::store::tables::Key;
use crate::store::versions::{self, Where};
use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Duration, Utc};
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

/// A session that was not used for so long is over (NIST SP 800-63B-4 draft, AAL2: 30 minutes).
pub const IDLE: Duration = Duration::minutes(30);
/// A session is over after so long, however much it is used (the same: 12 hours).
pub const LONGEST: Duration = Duration::hours(12);
/// A session for which only half of what is asked was given lives as long as it takes to read off a code.
const HALF: Duration = Duration::minutes(10);
/// How often the use of a session is noted.
const NOTED: Duration = Duration::minutes(1);
/// How much of what a browser says of itself is kept.
const CLIENT_MOST: usize = 200;

/// Somebody who is signed in.
#[derive(Debug, Clone)]
pub struct Session {
    /// The session's name among those of its account; no secret.
    pub id: Uuid,
    /// Who it is, and what he may do.
    pub caller: Caller,
    /// The address the account is known by.
    pub email: String,
    /// Whether everything that signing in asks for was given; without it nothing opens but the rest of signing in.
    pub whole: bool,
}

/// A session as its owner sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OwnSession {
    /// Its name.
    pub id: Uuid,
    /// What the browser said of itself.
    pub client: String,
    /// When it began.
    pub began_at: DateTime<Utc>,
    /// When it was last used, to the minute.
    pub seen_at: DateTime<Utc>,
}

/// A secret of 256 random bits, as text that can stand in a header or a path.
pub(crate) fn new_secret(registry: &Registry) -> String {
    let mut random = [0; 32];
    registry.ids.random(&mut random);
    URL_SAFE_NO_PAD.encode(random)
}

/// What is kept of a secret: nothing from which it could be told (plain SHA-256 is enough at 256 random bits).
pub(crate) fn digest(secret: &str) -> Digest {
    Sha256::digest(secret.as_bytes()).into()
}

/// Whether an account must give a second factor: physicians and administrators.
pub fn needs_second_factor(account: &Account) -> bool {
    account.roles.iter().any(|grant| matches!(grant.role, Role::Physician | Role::Administrator))
}

/// The standing account of an address.
pub(crate) async fn account_of(
    registry: &Registry,
    tx: &mut Tx,
    email: &str,
) -> Result<Option<Version<Account>>, Refusal> {
    let Some(email) = crate::model::facts::account::Email::new(email) else { return Ok(None) };
    let as_of = registry.now(tx).await?;
    let of_email = [Where::Is("email", Key::Text(Some(email.as_str().to_owned()))), Where::Standing];
    let nobody = Scope::everything(AccountId(Uuid::nil()));
    Ok(versions::list::<Account>(tx, &nobody, as_of, &of_email, None).await?.pop())
}

/// The account of an identifier, if it stands.
pub(crate) async fn standing_account(
    registry: &Registry,
    tx: &mut Tx,
    id: AccountId,
) -> Result<Option<Version<Account>>, Refusal> {
    let as_of = registry.now(tx).await?;
    let nobody = Scope::everything(AccountId(Uuid::nil()));
    let found = versions::find::<Account>(tx, &nobody, as_of, id.0).await?;
    Ok(found.filter(Version::stands))
}

impl Registry {
    /// Whoever is behind a session's secret; nobody where it is over.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn session_of(&self, secret: &str) -> Result<Option<Session>, Refusal> {
        let now = self.clock.now();
        let mut tx = self.database.read().await?;
        let Some(row) = sessions::find(&mut tx, digest(secret)).await? else { return Ok(None) };
        let idle = if row.whole { IDLE } else { HALF };
        if now - row.seen_at >= idle || now - row.began_at >= LONGEST {
            return Ok(None);
        }
        let Some(account) = standing_account(self, &mut tx, row.account).await? else { return Ok(None) };
        // Whatever was changed of the account since, its roles above all, asks for signing in anew.
        if account.revision != row.account_revision {
            return Ok(None);
        }
        drop(tx);
        if now - row.seen_at >= NOTED {
            let mut tx = self.database.write().await?;
            sessions::seen(&mut tx, row.id, now).await?;
            tx.commit().await?;
        }
        let email = account.fact.email.as_str().to_owned();
        let caller = Caller { account: row.account, grants: account.fact.roles, console_user: None };
        Ok(Some(Session { id: row.id, caller, email, whole: row.whole }))
    }

    /// Begins a session; its secret, which is kept nowhere.
    pub(crate) async fn begin_session(
        &self,
        account: &Version<Account>,
        whole: bool,
        client: &str,
    ) -> Result<String, Refusal> {
        let now = self.clock.now();
        let secret = new_secret(self);
        let plain = |c: &char| !c.is_control();
        let row = SessionRow {
            id: self.ids.id(now),
            account: AccountId(account.id),
            account_revision: account.revision,
            whole,
            client: client.chars().filter(plain).take(CLIENT_MOST).collect(),
            began_at: now,
            seen_at: now,
        };
        let mut tx = self.database.write().await?;
        sessions::sweep(&mut tx, now - IDLE, now - LONGEST, now).await?;
        sessions::keep(&mut tx, digest(&secret), &row).await?;
        tx.commit().await?;
        Ok(secret)
    }

    /// The sessions of the caller that are not over, the one used last first.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn own_sessions(&self, caller: &Caller) -> Result<Vec<OwnSession>, Refusal> {
        let now = self.clock.now();
        let mut tx = self.database.read().await?;
        let rows = sessions::of_account(&mut tx, caller.account).await?;
        let lives = |row: &SessionRow| row.whole && now - row.seen_at < IDLE && now - row.began_at < LONGEST;
        let own = rows.into_iter().filter(lives).map(|row| OwnSession {
            id: row.id,
            client: row.client,
            began_at: row.began_at,
            seen_at: row.seen_at,
        });
        Ok(own.collect())
    }

    /// Ends one session of the caller.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where he has none of that name.
    pub async fn end_session(&self, caller: &Caller, id: Uuid) -> Result<(), Refusal> {
        let mut tx = self.database.write().await?;
        let ended = sessions::end(&mut tx, caller.account, id).await?;
        tx.commit().await?;
        if ended == 0 {
            return Err(Refusal::Unknown);
        }
        tracing::info!(account = %caller.account, session = %id, "a session was ended");
        Ok(())
    }

    /// Ends the sessions of the caller but for one; how many.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn end_other_sessions(&self, caller: &Caller, but: Uuid) -> Result<u64, Refusal> {
        let mut tx = self.database.write().await?;
        let ended = sessions::end_all(&mut tx, caller.account, Some(but)).await?;
        tx.commit().await?;
        tracing::info!(account = %caller.account, ended, "other sessions were ended");
        Ok(ended)
    }
}
