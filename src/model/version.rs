//! One version of a fact: what was known of it from one journal position to another.

use crate::model::identifiers::SiteId;
use uuid::Uuid;

/// A fact with its identity, as it stood at the position that was asked about.
#[derive(Debug, Clone, PartialEq)]
pub struct Version<F> {
    /// The fact's identifier; it stays the same over all versions.
    pub id: Uuid,
    /// 1 for the first version, counted up by every change.
    pub revision: i64,
    /// The journal position that brought this version.
    pub position: i64,
    /// The site it belongs to, if it belongs to one.
    pub site: Option<SiteId>,
    /// The thing it was recorded under (a sample's event, a limit's agent …).
    pub parent: Option<Uuid>,
    /// Why it was voided, if it was.
    pub voided: Option<String>,
    /// The fact itself.
    pub fact: F,
}

impl<F> Version<F> {
    /// Whether conclusions may use it.
    pub fn stands(&self) -> bool {
        self.voided.is_none()
    }

    /// The same version holding something else.
    pub fn map<G>(self, with: impl FnOnce(F) -> G) -> Version<G> {
        Version {
            id: self.id,
            revision: self.revision,
            position: self.position,
            site: self.site,
            parent: self.parent,
            voided: self.voided,
            fact: with(self.fact),
        }
    }
}
