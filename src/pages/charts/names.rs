//! The names of what views hold by identifier. Whom a reader may not see has none.

use crate::model::identifiers::{ControlId, GroupId, SiteId, WorkerId};
use crate::model::text::Code;
use std::collections::BTreeMap;

/// Names by identifier.
#[derive(Debug, Clone, Default)]
pub struct Names {
    /// Workers.
    pub workers: BTreeMap<WorkerId, String>,
    /// Groups.
    pub groups: BTreeMap<GroupId, String>,
    /// Sites.
    pub sites: BTreeMap<SiteId, String>,
    /// Controls.
    pub controls: BTreeMap<ControlId, String>,
    /// Agents by code.
    pub agents: BTreeMap<Code, String>,
}

impl Names {
    /// A worker.
    pub fn worker(&self, id: WorkerId) -> &str {
        self.workers.get(&id).map_or("a worker not named here", String::as_str)
    }

    /// A group.
    pub fn group(&self, id: GroupId) -> &str {
        self.groups.get(&id).map_or("a group not named here", String::as_str)
    }

    /// A site.
    pub fn site(&self, id: SiteId) -> &str {
        self.sites.get(&id).map_or("a site not named here", String::as_str)
    }

    /// A control.
    pub fn control(&self, id: ControlId) -> &str {
        self.controls.get(&id).map_or("a control not named here", String::as_str)
    }

    /// An agent, by its code where it has no other name.
    pub fn agent<'s>(&'s self, code: &'s Code) -> &'s str {
        self.agents.get(code).map_or(code.as_str(), String::as_str)
    }
}
