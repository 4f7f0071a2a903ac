//! From a bearer token to the caller behind it; making and revoking tokens.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::account::{Account, Token, TokenUse};
use crate::model::identifiers::AccountId;
use crate::model::shape::{Faults, Shape};
use crate::model::text::Line;
use crate::model::version::Version;
use crate::record;
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Change, Registry};
use crate::store::accounts;
use crate::store::versions;
use chrono::Duration;
use serde_json::Value;
use sha2::{Digest, Sha256};
use uuid::Uuid;

/// Days after which a token expires if nothing else is said.
const TOKEN_DAYS: i64 = 90;
/// The longest a token may work.
const TOKEN_DAYS_MOST: i64 = 365;
/// What every token begins with, so that leak scanners know it.
const PREFIX: &str = "dw1_";

record! {
    /// What is sent to make a token.
    pub struct TokenDraft {
        /// What it is for.
        label: Line,
        /// What it opens; left out: the API.
        opens: Option<TokenUse>,
        /// Days until it expires (90 if left out, at most 365).
        days: Option<i64>,
    }
}

impl Registry {
    /// The caller behind a token that opens what is asked for.
    ///
    /// # Errors
    /// [`Refusal::Unauthorised`] for every token that does not work, whatever the cause.
    pub async fn caller_of(&self, secret: &str, wanted: TokenUse) -> Result<Caller, Refusal> {
        if !secret.starts_with(PREFIX) {
            return Err(Refusal::Unauthorised);
        }
        let mut tx = self.database.read().await?;
        let as_of = self.now(&mut tx).await?;
        // Found by its digest: nothing secret is compared byte by byte.
        let digest: [u8; 32] = Sha256::digest(secret.as_bytes()).into();
        let id = accounts::token_of(&mut tx, digest).await?.ok_or(Refusal::Unauthorised)?;
        let nobody = Scope::everything(AccountId(Uuid::nil()));
        let token =
            versions::find::<Token>(&mut tx, &nobody, as_of, id).await?.ok_or(Refusal::Unauthorised)?;
        let opens = token.fact.opens.unwrap_or(TokenUse::Api);
        if !token.stands() || token.fact.expires_on <= as_of.date || opens != wanted {
            return Err(Refusal::Unauthorised);
        }
        let account = token.parent.ok_or(Refusal::Unauthorised)?;
        let found = versions::find::<Account>(&mut tx, &nobody, as_of, account)
            .await?
            .ok_or(Refusal::Unauthorised)?;
        if !found.stands() {
            return Err(Refusal::Unauthorised);
        }
        Ok(Caller { account: AccountId(account), grants: found.fact.roles, console_user: None })
    }
}

/// Makes a token; the secret is given back this once and never again.
///
/// # Errors
/// Faults in the draft, or no such account.
pub async fn make_token(
    change: &mut Change,
    account: Uuid,
    body: &Value,
) -> Result<(Version<Token>, String), Refusal> {
    let scope = change.caller.may(Action::ManageAccounts)?;
    let draft = TokenDraft::parse(body)?;
    let days = draft.days.unwrap_or(TOKEN_DAYS);
    let mut faults = Faults::default();
    if !(1..=TOKEN_DAYS_MOST).contains(&days) {
        faults.note("/days", format!("must be 1 to {TOKEN_DAYS_MOST}"));
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let as_of = change.as_of();
    versions::find::<Account>(&mut change.tx, &scope, as_of, account)
        .await?
        .filter(Version::stands)
        .ok_or(Refusal::Unknown)?;
    let expires_on = as_of.date + Duration::days(days);
    let token = Token { label: draft.label, opens: draft.opens, expires_on };
    let version = change.add(&scope, None, Some(account), token).await?;
    let secret = new_secret(change, version.id);
    let digest: [u8; 32] = Sha256::digest(secret.as_bytes()).into();
    accounts::keep_token(&mut change.tx, version.id, digest).await?;
    Ok((version, secret))
}

/// Makes the calendar token of whoever asks: it opens what he sees of due dates, and nothing else.
///
/// # Errors
/// Whoever sees no duties has no calendar of them.
pub async fn make_own_calendar(change: &mut Change) -> Result<(Version<Token>, String), Refusal> {
    change.caller.may(Action::ReadDuties)?;
    let (account, scope) = (change.caller.account, change.everything());
    let label = Line::new("calendar of due dates").ok_or(Refusal::Unknown)?;
    let expires_on = change.as_of().date + Duration::days(TOKEN_DAYS_MOST);
    let token = Token { label, opens: Some(TokenUse::Calendar), expires_on };
    let version = change.add(&scope, None, Some(account.0), token).await?;
    let secret = new_secret(change, version.id);
    let digest: [u8; 32] = Sha256::digest(secret.as_bytes()).into();
    accounts::keep_token(&mut change.tx, version.id, digest).await?;
    Ok((version, secret))
}

/// Revokes a token: it stops working at once.
///
/// # Errors
/// No such token, or revoked already.
pub async fn revoke_token(change: &mut Change, token: Uuid, reason: &str) -> Result<Version<Token>, Refusal> {
    let scope = change.caller.may(Action::ManageAccounts)?;
    let as_of = change.as_of();
    let old = versions::find::<Token>(&mut change.tx, &scope, as_of, token).await?.ok_or(Refusal::Unknown)?;
    if !old.stands() {
        return Err(Refusal::taken("this token is revoked already"));
    }
    let fact = old.fact.clone();
    Ok(change.alter(&scope, &old, fact, Some(reason.to_owned()), "revoked", Some(reason)).await?)
}

/// `dw1_`, eight bytes of the token's identifier, 32 random bytes, and a checksum that tells a mistyped token.
fn new_secret(change: &Change, id: Uuid) -> String {
    const DIGITS: &[u8; 62] = b"0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz";
    let mut random = [0; 48];
    change.random(&mut random);
    // 48 draws from 62 signs carry more than 256 bits; the bias of the remainder is far below one bit.
    let body: String = random.iter().map(|byte| char::from(DIGITS[usize::from(byte % 62)])).collect();
    let id = id.simple().to_string();
    let plain = format!("{PREFIX}{}_{body}", &id[id.len() - 16..]);
    let check: [u8; 32] = Sha256::digest(plain.as_bytes()).into();
    let check: String = check.iter().take(6).map(|byte| char::from(DIGITS[usize::from(byte % 62)])).collect();
    format!("{plain}{check}")
}
