//! One-time codes: how the first administrator, a new colleague or whoever forgot a password gets in.

use crate::access::policy::Action;
use crate::model::identifiers::AccountId;
use crate::registry::enter::Entered;
use crate::registry::passwords::{self, Password};
use crate::registry::refusal::Refusal;
use crate::registry::sessions::{digest, new_secret, standing_account};
use crate::registry::writer::{Change, Registry};
use crate::store::sessions;
use crate::words;
use chrono::Duration;
use uuid::Uuid;

/// How long a code that lets a password be chosen works.
pub const LIFETIME: Duration = Duration::hours(1);

words! {
    /// What a one-time code opens.
    pub enum CodeUse {
        /// The choice of a password, and then the registry.
        Password = "password",
        /// The registry at once: of the demonstration alone.
        Session = "session",
    }
}

/// A code that works still.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenCode {
    /// Whose it is.
    pub account: AccountId,
    /// The address the account is known by.
    pub email: String,
    /// What it opens.
    pub opens: CodeUse,
}

/// Makes a one-time code of an account in place of any earlier one; it is shown this once.
///
/// # Errors
/// Whoever may not manage accounts makes none; no such account.
pub async fn make_code(
    change: &mut Change,
    registry: &Registry,
    account: Uuid,
    opens: CodeUse,
    lifetime: Duration,
) -> Result<String, Refusal> {
    change.caller.may(Action::ManageAccounts)?;
    let account = AccountId(account);
    standing_account(registry, &mut change.tx, account).await?.ok_or(Refusal::Unknown)?;
    let secret = new_secret(registry);
    sessions::drop_codes(&mut change.tx, account).await?;
    let until = change.at + lifetime;
    sessions::keep_code(&mut change.tx, digest(&secret), account, opens.as_str(), until).await?;
    tracing::info!(by = %change.caller.account, %account, "a one-time code was made");
    Ok(secret)
}

impl Registry {
    /// Whose a code is and what it opens, without using it; nothing where it does not work.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn open_code(&self, secret: &str) -> Result<Option<OpenCode>, Refusal> {
        let mut tx = self.database.read().await?;
        let Some((account, opens, until)) = sessions::code(&mut tx, digest(secret)).await? else {
            return Ok(None);
        };
        let opens = CodeUse::from_word(&opens).filter(|_| self.clock.now() < until);
        let Some(opens) = opens else { return Ok(None) };
        let account = standing_account(self, &mut tx, account).await?;
        Ok(account.map(|found| OpenCode {
            account: AccountId(found.id),
            email: found.fact.email.as_str().to_owned(),
            opens,
        }))
    }

    /// Uses a code up: with the password that it lets be chosen, if it does.
    ///
    /// # Errors
    /// [`Refusal::Unknown`] where it does not work any more; a fault in the password, and then it still does.
    pub async fn enter_by_code(
        &self,
        secret: &str,
        password: Option<&str>,
        client: &str,
        second_factor: bool,
    ) -> Result<Entered, Refusal> {
        let open = self.open_code(secret).await?.ok_or(Refusal::Unknown)?;
        let hash = match open.opens {
            CodeUse::Session => None,
            CodeUse::Password => {
                let chosen = Password::chosen(password.unwrap_or_default(), &open.email)?;
                Some(passwords::hashed(self, chosen).await?)
            }
        };
        let mut tx = self.database.write().await?;
        if !sessions::use_code(&mut tx, digest(secret)).await? {
            return Err(Refusal::Unknown);
        }
        if let Some(hash) = hash {
            let now = self.clock.now();
            crate::store::accounts::keep_password(&mut tx, open.account, hash, now).await?;
            // Whoever was signed in with the old password is not any more.
            sessions::end_all(&mut tx, open.account, None).await?;
        }
        tx.commit().await?;
        tracing::info!(account = %open.account, "a one-time code was used");
        self.let_in(open.account, client, second_factor).await
    }
}
