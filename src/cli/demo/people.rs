//! The five accounts of the demonstration, one a role: a token, a password and a link to sign in for each.

use crate::cli::account;
use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::cli::token;
use crate::model::facts::account::{Role, TokenUse};
use crate::model::identifiers::AccountId;
use crate::registry::one_time_codes::{self, CodeUse};
use crate::registry::passwords::{self, Password};
use chrono::Duration;
use std::collections::BTreeMap;

/// Days that a token of the demonstration works.
const DAYS: i64 = 90;
/// How long a link of the demonstration signs in, once: as long as somebody may look around in it.
const LINK: Duration = Duration::hours(12);
/// Letters of a password that is read off a screen: none that looks like another.
const LETTERS: &[u8; 25] = b"abcdefghijkmnopqrstuvwxyz";

/// The invented address of a role.
pub(super) fn address(role: Role) -> String {
    format!("{role}@quillfeather.example")
}

/// A working token for each role: those of an earlier start, or new ones.
///
/// # Errors
/// An account or token cannot be made.
pub(super) async fn tokens(
    session: &Session,
    earlier: &BTreeMap<Role, String>,
) -> Result<BTreeMap<Role, String>, Failure> {
    let mut tokens = BTreeMap::new();
    for role in Role::ALL.iter().copied() {
        let kept = match earlier.get(&role) {
            Some(token) if session.registry.caller_of(token, TokenUse::Api).await.is_ok() => {
                Some(token.clone())
            }
            _ => None,
        };
        let token = match kept {
            Some(token) => token,
            None => new_token(session, role).await?,
        };
        tokens.insert(role, token);
    }
    Ok(tokens)
}

async fn new_token(session: &Session, role: Role) -> Result<String, Failure> {
    let email = address(role);
    let account = match token::account_of(session, &email).await? {
        Some(account) => account,
        None => account::add(session, &email, &[account::on_all_sites(role)], None).await?.0,
    };
    token::add(session, account, "demonstration", DAYS).await
}

/// A password for each role: those of an earlier start, or new ones.
///
/// # Errors
/// An account is missing, or the password cannot be kept.
pub(super) async fn passwords(
    session: &Session,
    earlier: &BTreeMap<Role, String>,
) -> Result<BTreeMap<Role, String>, Failure> {
    let mut kept = BTreeMap::new();
    for role in Role::ALL.iter().copied() {
        let password = match earlier.get(&role) {
            Some(password) => password.clone(),
            None => new_password(session, role).await?,
        };
        kept.insert(role, password);
    }
    Ok(kept)
}

async fn new_password(session: &Session, role: Role) -> Result<String, Failure> {
    let account = account_of(session, role).await?;
    let mut random = [0; 16];
    session.registry.ids.random(&mut random);
    // 16 draws from 25 letters: more than 70 bits, in groups that can be typed off.
    let letters: Vec<char> =
        random.iter().map(|byte| char::from(LETTERS[usize::from(*byte) % LETTERS.len()])).collect();
    let text = letters.chunks(4).map(|four| four.iter().collect::<String>()).collect::<Vec<_>>().join("-");
    let hash = passwords::hashed(&session.registry, Password::new(&text)?).await?;
    let mut change = session.registry.begin_plain(&session.caller).await?;
    passwords::keep(&mut change, AccountId(account), hash).await?;
    session.registry.commit(change, None).await?;
    Ok(text)
}

/// A link for each role that signs in once.
///
/// # Errors
/// An account is missing, or the code cannot be kept.
pub(super) async fn codes(session: &Session) -> Result<BTreeMap<Role, String>, Failure> {
    let mut codes = BTreeMap::new();
    for role in Role::ALL.iter().copied() {
        let account = account_of(session, role).await?;
        let mut change = session.registry.begin_plain(&session.caller).await?;
        let registry = &session.registry;
        let code = one_time_codes::make_code(&mut change, registry, account, CodeUse::Session, LINK).await?;
        session.registry.commit(change, None).await?;
        codes.insert(role, code);
    }
    Ok(codes)
}

async fn account_of(session: &Session, role: Role) -> Result<uuid::Uuid, Failure> {
    let email = address(role);
    let found = token::account_of(session, &email).await?;
    found.ok_or_else(|| Failure::Refused(format!("there is no account {email}; --fresh would load it anew")))
}
