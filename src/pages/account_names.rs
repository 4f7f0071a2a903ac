//! Who wrote or read something: addresses of accounts, for readers whom the policy lets know them.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::account::Account;
use crate::model::identifiers::AccountId;
use crate::pages::stopped::Stopped;
use crate::pages::texts::Texts;
use crate::registry::enter_pack::{CONSOLE, REGISTRY};
use crate::registry::gather;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Where};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The addresses of accounts.
#[derive(Debug, Default)]
pub struct AccountNames {
    known: BTreeMap<AccountId, String>,
    own: Option<AccountId>,
}

impl AccountNames {
    /// The names of these accounts. Whoever may neither manage accounts nor see who looked at whom learns no address but
    /// his own.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn of(
        tx: &mut Tx,
        caller: &Caller,
        as_of: AsOf,
        accounts: BTreeSet<AccountId>,
    ) -> Result<Self, Stopped> {
        let mut names = Self { own: Some(caller.account), ..Self::default() };
        let knows = [Action::ManageAccounts, Action::ReadAccessLog, Action::ReadAccessOfWorkers];
        if knows.into_iter().any(|action| caller.may(action).is_ok()) {
            let ids: Vec<Uuid> = accounts.into_iter().map(|account| account.0).collect();
            for account in gather::many::<Account>(tx, as_of, &ids, Where::Ids).await? {
                names.known.insert(AccountId(account.id), account.fact.email.as_str().to_owned());
            }
        }
        Ok(names)
    }

    /// Who it was, in words.
    pub fn told(&self, texts: &Texts, account: AccountId) -> String {
        match account {
            REGISTRY => texts.t("account-registry"),
            CONSOLE => texts.t("account-console"),
            own if self.own == Some(own) => texts.t("account-you"),
            other => self.known.get(&other).cloned().unwrap_or_else(|| texts.t("account-another")),
        }
    }
}
