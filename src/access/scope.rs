//! The part of the registry that a caller may see; a required argument of every storage function.

use crate::model::identifiers::{AccountId, SiteId};
use std::collections::BTreeSet;

/// Which sites.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Sites {
    /// All of them.
    All,
    /// Only these.
    Only(BTreeSet<SiteId>),
}

impl Sites {
    /// Whether a site is among them.
    pub fn holds(&self, site: SiteId) -> bool {
        match self {
            Self::All => true,
            Self::Only(sites) => sites.contains(&site),
        }
    }

    /// Both together.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Only(mut these), Self::Only(those)) => {
                these.extend(those);
                Self::Only(these)
            }
            _ => Self::All,
        }
    }
}

/// What a caller may see: its sites, and the workers who are on them or whom it has just entered.
///
/// Made by [`Caller::may`](crate::access::caller::Caller::may) from the policy table, or by the registry for itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Scope {
    /// The sites.
    pub sites: Sites,
    /// The account: it sees a worker it has entered until somebody assigns him.
    pub account: AccountId,
}

impl Scope {
    /// Everything: for conclusions, which read all sites together whoever asks for them, and for the registry's own work.
    ///
    /// What a caller then gets to see of such a conclusion is decided where it is handed out.
    pub fn everything(account: AccountId) -> Self {
        Self { sites: Sites::All, account }
    }

    /// Whether it spans every site.
    pub fn is_all(&self) -> bool {
        self.sites == Sites::All
    }
}
