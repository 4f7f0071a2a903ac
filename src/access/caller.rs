//! The account behind a request.

use crate::access::policy::{Action, allows};
use crate::access::scope::{Scope, Sites};
use crate::model::facts::account::{Grant, Role};
use crate::model::identifiers::AccountId;

/// Who asks, with the roles held at the moment of asking.
#[derive(Debug, Clone, PartialEq)]
pub struct Caller {
    /// The account; entries in the journal carry it.
    pub account: AccountId,
    /// Its roles.
    pub grants: Vec<Grant>,
    /// The operating-system user, where someone works on the database directly.
    pub console_user: Option<String>,
}

/// None of the caller's roles allows it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Denied;

impl Caller {
    /// The scope in which the caller may do something.
    ///
    /// # Errors
    /// [`Denied`] when no role allows it.
    pub fn may(&self, action: Action) -> Result<Scope, Denied> {
        self.grants
            .iter()
            .filter(|grant| allows(grant.role, action))
            .filter(|grant| grant.site_ids.is_none() || !action.needs_all_sites(grant.role))
            .map(|grant| {
                grant.site_ids.as_ref().map_or(Sites::All, |ids| Sites::Only(ids.iter().copied().collect()))
            })
            .reduce(Sites::and)
            .map(|sites| Scope { sites, account: self.account })
            .ok_or(Denied)
    }

    /// Whether the caller has a role, on whatever sites.
    pub fn is(&self, role: Role) -> bool {
        self.grants.iter().any(|grant| grant.role == role)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::identifiers::SiteId;
    use uuid::Uuid;

    fn caller(grants: Vec<Grant>) -> Caller {
        Caller { account: AccountId(Uuid::nil()), grants, console_user: None }
    }

    #[test]
    fn scopes_of_several_roles_add_up() {
        let (one, two) = (SiteId(Uuid::from_u128(1)), SiteId(Uuid::from_u128(2)));
        let both = caller(vec![
            Grant { role: Role::Coordinator, site_ids: Some(vec![one]) },
            Grant { role: Role::Hygienist, site_ids: Some(vec![two]) },
        ]);
        assert_eq!(both.may(Action::ReadSamples).unwrap().sites, Sites::Only([one, two].into()));
        assert_eq!(both.may(Action::Void).unwrap().sites, Sites::Only([two].into()));
        assert_eq!(both.may(Action::MedicalGrounds), Err(Denied));
    }

    #[test]
    fn agents_are_made_only_by_a_hygienist_of_all_sites() {
        let site =
            caller(vec![Grant { role: Role::Hygienist, site_ids: Some(vec![SiteId(Uuid::from_u128(1))]) }]);
        assert_eq!(site.may(Action::ManageAgents), Err(Denied));
        let all = caller(vec![Grant { role: Role::Hygienist, site_ids: None }]);
        assert!(all.may(Action::ManageAgents).is_ok());
    }
}
