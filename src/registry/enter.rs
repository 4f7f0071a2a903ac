//! Signing in with an address and a password, and what follows: a session, or first the second factor.

use crate::access::caller::Caller;
use crate::model::facts::account::Account;
use crate::model::identifiers::AccountId;
use crate::model::version::Version;
use crate::registry::guessing::Counted;
use crate::registry::passwords::{self, Password};
use crate::registry::refusal::Refusal;
use crate::registry::sessions::{
    Session, account_of, digest, needs_second_factor, new_secret, standing_account,
};
use crate::registry::writer::Registry;
use crate::store::{accounts, sessions};
use chrono::Duration;
use std::net::IpAddr;

/// What somebody who wants in has typed, and where he sits.
#[derive(Clone, Copy)]
pub struct Attempt<'a> {
    /// The address.
    pub email: &'a str,
    /// The password.
    pub password: &'a str,
    /// The secret of the device, if it was used before.
    pub device: Option<&'a str>,
    /// The address of the network.
    pub from: Option<IpAddr>,
    /// What the browser says of itself.
    pub client: &'a str,
    /// Whether the second factor is asked for; not in the demonstration.
    pub second_factor: bool,
}

impl std::fmt::Debug for Attempt<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Attempt").field("from", &self.from).finish_non_exhaustive()
    }
}

/// What came of it.
#[derive(Clone, PartialEq, Eq)]
pub enum Entered {
    /// In: the session's secret.
    In {
        /// The secret.
        secret: String,
    },
    /// A code of the second factor is asked for; the session is half till then.
    Code {
        /// The secret of the half session.
        secret: String,
    },
    /// A second factor must be set up first; the session is half till then.
    Enrol {
        /// The secret of the half session.
        secret: String,
    },
    /// Not in: the address or the password is wrong, and nobody is told which.
    Refused,
    /// Too many attempts failed: not before so long.
    Wait(Duration),
}

impl std::fmt::Debug for Entered {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::In { .. } => "In",
            Self::Code { .. } => "Code",
            Self::Enrol { .. } => "Enrol",
            Self::Refused => "Refused",
            Self::Wait(_) => "Wait",
        })
    }
}

impl Registry {
    /// Signs in. Whether the account is not there or the password is wrong makes no difference, in the answer or in time.
    ///
    /// # Errors
    /// [`Refusal::Busy`] when too many are being checked, or when storage fails.
    pub async fn enter(&self, attempt: Attempt<'_>) -> Result<Entered, Refusal> {
        let mut tx = self.database.read().await?;
        let account = account_of(self, &mut tx, attempt.email).await?;
        let mut known = None;
        let mut hash = None;
        if let Some(account) = &account {
            let id = AccountId(account.id);
            hash = accounts::password_of(&mut tx, id).await?;
            if let Some(device) = attempt.device.map(digest)
                && sessions::is_known(&mut tx, device, id).await?
            {
                known = Some(device);
            }
        }
        drop(tx);
        let mut counted = vec![known.map_or_else(|| Counted::on_email(attempt.email), Counted::on_device)];
        if known.is_none() {
            counted.extend(attempt.from.map(Counted::on_address));
        }
        if let Some(wait) = self.attempt(&counted).await? {
            tracing::warn!(from = ?attempt.from, "an attempt to sign in has to wait");
            return Ok(Entered::Wait(wait));
        }
        let checked = passwords::check(hash, attempt.password).await?;
        let (Some(account), true) = (account, checked.right) else {
            tracing::warn!(from = ?attempt.from, "an attempt to sign in was refused");
            return Ok(Entered::Refused);
        };
        self.went_well(&counted).await?;
        if checked.outdated {
            self.keep_hash_anew(AccountId(account.id), attempt.password).await?;
        }
        self.let_in(AccountId(account.id), attempt.client, attempt.second_factor).await
    }

    /// Begins the session of somebody who has shown who he is, or the half of one.
    pub(crate) async fn let_in(
        &self,
        account: AccountId,
        client: &str,
        second_factor: bool,
    ) -> Result<Entered, Refusal> {
        let mut tx = self.database.read().await?;
        let found = standing_account(self, &mut tx, account).await?.ok_or(Refusal::Unauthorised)?;
        drop(tx);
        let has = self.has_second_factor(account).await?;
        if second_factor && has {
            let secret = self.begin_session(&found, false, client).await?;
            return Ok(Entered::Code { secret });
        }
        if second_factor && needs_second_factor(&found.fact) {
            let secret = self.begin_session(&found, false, client).await?;
            return Ok(Entered::Enrol { secret });
        }
        let secret = self.begin_session(&found, true, client).await?;
        tracing::info!(%account, "signed in");
        Ok(Entered::In { secret })
    }

    /// Remembers that an account was signed in with this device; the device's secret.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn remember_device(&self, account: AccountId, device: Option<&str>) -> Result<String, Refusal> {
        let now = self.clock.now();
        let mut tx = self.database.write().await?;
        // A secret that others knew of would be no sign of a device: only one that was given out is kept on.
        let secret = match device {
            Some(device) if sessions::is_known(&mut tx, digest(device), account).await? => device.to_owned(),
            _ => new_secret(self),
        };
        sessions::keep_device(&mut tx, digest(&secret), account, now).await?;
        tx.commit().await?;
        Ok(secret)
    }

    /// Changes the password of the signed-in person; every other session of his ends.
    ///
    /// # Errors
    /// A fault where the old one is wrong or the new one is none.
    pub async fn change_password(&self, session: &Session, old: &str, new: &str) -> Result<Entered, Refusal> {
        let account = session.caller.account;
        let counted = [Counted::on_email(&session.email)];
        if let Some(wait) = self.attempt(&counted).await? {
            return Ok(Entered::Wait(wait));
        }
        let mut tx = self.database.read().await?;
        let hash = accounts::password_of(&mut tx, account).await?;
        drop(tx);
        if !passwords::check(hash, old).await?.right {
            tracing::warn!(%account, "a change of password was refused");
            return Err(Refusal::fault("/old_password", "is not the password of this account"));
        }
        let chosen = Password::chosen(new, &session.email).map_err(|refusal| match refusal {
            Refusal::Faults(faults) => renamed(&faults),
            other => other,
        })?;
        let hash = passwords::hashed(self, chosen).await?;
        let mut tx = self.database.write().await?;
        accounts::keep_password(&mut tx, account, hash, self.clock.now()).await?;
        sessions::end_all(&mut tx, account, Some(session.id)).await?;
        tx.commit().await?;
        self.went_well(&counted).await?;
        tracing::info!(%account, "the password was changed");
        Ok(Entered::In { secret: String::new() })
    }

    async fn keep_hash_anew(&self, account: AccountId, password: &str) -> Result<(), Refusal> {
        // One that was set before today's rules still opens, and is hashed as it is.
        let Ok(password) = Password::new(password) else { return Ok(()) };
        let hash = passwords::hashed(self, password).await?;
        let mut tx = self.database.write().await?;
        accounts::keep_password(&mut tx, account, hash, self.clock.now()).await?;
        Ok(tx.commit().await?)
    }
}

/// The same faults under the name of the field for a new password.
fn renamed(faults: &crate::model::shape::Faults) -> Refusal {
    let mut told = crate::model::shape::Faults::default();
    for fault in faults.iter() {
        told.note("/new_password", fault.detail.clone());
    }
    Refusal::Faults(told)
}

/// Signs out: ends this session.
///
/// # Errors
/// Only when storage fails.
pub async fn leave(registry: &Registry, session: &Session) -> Result<(), Refusal> {
    let caller: &Caller = &session.caller;
    let mut tx = registry.database.write().await?;
    sessions::end(&mut tx, caller.account, session.id).await?;
    tx.commit().await?;
    tracing::info!(account = %caller.account, "signed out");
    Ok(())
}

/// Whether an account has a password, so that its page can say so.
///
/// # Errors
/// Only when storage fails.
pub async fn has_password(registry: &Registry, account: &Version<Account>) -> Result<bool, Refusal> {
    let mut tx = registry.database.read().await?;
    Ok(accounts::password_of(&mut tx, AccountId(account.id)).await?.is_some())
}
