//! The five accounts of the demonstration, one a role, and a token for each.

use crate::cli::account;
use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::cli::token;
use crate::model::facts::account::{Role, TokenUse};
use std::collections::BTreeMap;

/// Days that a token of the demonstration works.
const DAYS: i64 = 90;

/// The invented address of a role.
fn address(role: Role) -> String {
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
