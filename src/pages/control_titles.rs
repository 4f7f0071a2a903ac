//! The titles of the controls at some sites, by which eras are named.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::control::Control;
use crate::model::identifiers::{ControlId, SiteId};
use crate::pages::stopped::Stopped;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Where};
use std::collections::BTreeMap;

/// The titles; of sites out of sight there are none.
///
/// # Errors
/// Only when storage fails.
pub async fn control_titles(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    sites: impl IntoIterator<Item = SiteId>,
) -> Result<BTreeMap<ControlId, String>, Stopped> {
    let Ok(scope) = caller.may(Action::ReadGroups) else { return Ok(BTreeMap::new()) };
    let mut titles = BTreeMap::new();
    for site in sites {
        for control in versions::list::<Control>(tx, &scope, as_of, &[Where::Site(site)], None).await? {
            titles.insert(ControlId(control.id), control.fact.title.to_string());
        }
    }
    Ok(titles)
}
