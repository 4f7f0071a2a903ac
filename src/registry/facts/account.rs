//! Accounts.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::account::{Account, Role, Token};
use crate::model::facts::site::Site;
use crate::model::shape::Faults;
use crate::registry::facts::refer;
use crate::registry::place::{Place, Under};
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;

impl Recorded for Account {
    const UNDER: Under = Under::Nothing;
    const RECORD: Action = Action::ManageAccounts;
    const READ: Action = Action::ManageAccounts;
    const VOID: Action = Action::ManageAccounts;
    const TAKEN: &'static str = "an account with this address is recorded already";

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let holds = |role| self.roles.iter().any(|grant| grant.role == role);
        if self.roles.is_empty() {
            faults.note("/roles", "must name at least one role");
        }
        if holds(Role::Physician) && holds(Role::Administrator) {
            faults.note("/roles", "must not hold physician and administrator together");
        }
        let everything = change.everything();
        for (n, grant) in self.roles.iter().enumerate() {
            for (m, site) in grant.site_ids.iter().flatten().enumerate() {
                let at = format!("/roles/{n}/site_ids/{m}");
                refer::existing::<Site>(change, &everything, None, *site, &at, faults).await?;
            }
        }
        Ok(())
    }
}

/// Tokens are made by [`make_token`](crate::registry::sign_in::make_token); this lists and reads them.
impl Recorded for Token {
    const UNDER: Under = Under::Account;
    const RECORD: Action = Action::ManageAccounts;
    const READ: Action = Action::ManageAccounts;
    const VOID: Action = Action::ManageAccounts;
}
