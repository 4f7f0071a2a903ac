//! Names of what pages speak of: sites, groups, workers and agents, of those that the reader may see.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::agent::Agent;
use crate::model::facts::group::Group;
use crate::model::facts::site::Site;
use crate::model::facts::worker::{Employment, Worker};
use crate::model::identifiers::{ControlId, GroupId, SiteId, WorkerId};
use crate::model::text::Code;
use crate::model::version::Version;
use crate::pages::charts;
use crate::pages::stopped::Stopped;
use crate::pages::told;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Where};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How many are asked for at once.
const TOGETHER: usize = 400;

/// Names by identifier. What is not in sight has none.
#[derive(Debug, Clone, Default)]
pub struct Names {
    sites: BTreeMap<SiteId, (String, String)>,
    groups: BTreeMap<Uuid, (String, Option<SiteId>)>,
    workers: BTreeMap<Uuid, (String, String)>,
    agents: BTreeMap<String, String>,
}

impl Names {
    /// The names of every site in sight and of every agent.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn of(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Self, Stopped> {
        let mut names = Self::default();
        if let Ok(scope) = caller.may(Action::ReadReference) {
            for site in versions::list::<Site>(tx, &scope, as_of, &[Where::Standing], None).await? {
                let told = (site.fact.name.to_string(), site.fact.code.to_string());
                names.sites.insert(SiteId(site.id), told);
            }
            for agent in versions::list::<Agent>(tx, &scope, as_of, &[], None).await? {
                names.agents.insert(agent.fact.code.to_string(), agent.fact.name.to_string());
            }
        }
        Ok(names)
    }

    /// The same with the names of these groups.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn and_groups(
        mut self,
        tx: &mut Tx,
        caller: &Caller,
        as_of: AsOf,
        groups: BTreeSet<Uuid>,
    ) -> Result<Self, Stopped> {
        let Ok(scope) = caller.may(Action::ReadGroups) else { return Ok(self) };
        for some in groups.into_iter().collect::<Vec<_>>().chunks(TOGETHER) {
            for group in
                versions::list::<Group>(tx, &scope, as_of, &[Where::Ids(some.to_vec())], None).await?
            {
                self.groups.insert(group.id, (group.fact.title.to_string(), group.site));
            }
        }
        Ok(self)
    }

    /// The same with the names of these workers.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn and_workers(
        mut self,
        tx: &mut Tx,
        caller: &Caller,
        as_of: AsOf,
        workers: BTreeSet<Uuid>,
    ) -> Result<Self, Stopped> {
        let Ok(scope) = caller.may(Action::ReadWorkers) else { return Ok(self) };
        for some in workers.into_iter().collect::<Vec<_>>().chunks(TOGETHER) {
            let people =
                versions::list::<Worker>(tx, &scope, as_of, &[Where::Ids(some.to_vec())], None).await?;
            let seen: Vec<Uuid> = people.iter().map(|one| one.id).collect();
            let of_them = [Where::Parents(seen), Where::Standing];
            let numbers = versions::list::<Employment>(tx, &scope, as_of, &of_them, None).await?;
            let mut last: BTreeMap<Uuid, Version<Employment>> = BTreeMap::new();
            for one in numbers {
                let of = one.parent.unwrap_or_default();
                if last.get(&of).is_none_or(|other| other.fact.from <= one.fact.from) {
                    last.insert(of, one);
                }
            }
            for one in people {
                let number =
                    last.get(&one.id).map(|last| last.fact.employee_number.to_string()).unwrap_or_default();
                let name = format!("{} {}", one.fact.given_name, one.fact.family_name);
                self.workers.insert(one.id, (name, number));
            }
        }
        Ok(self)
    }

    /// The name of a site; nothing where it is out of sight.
    pub fn site(&self, id: SiteId) -> Option<&str> {
        self.sites.get(&id).map(|(name, _)| name.as_str())
    }

    /// The code of a site.
    pub fn site_code(&self, id: SiteId) -> Option<&str> {
        self.sites.get(&id).map(|(_, code)| code.as_str())
    }

    /// Every site in sight, by name.
    pub fn sites(&self) -> Vec<(SiteId, &str)> {
        let mut all: Vec<(SiteId, &str)> =
            self.sites.iter().map(|(id, (name, _))| (*id, name.as_str())).collect();
        all.sort_by_key(|(_, name)| name.to_lowercase());
        all
    }

    /// The title of a group.
    pub fn group(&self, id: Uuid) -> Option<&str> {
        self.groups.get(&id).map(|(title, _)| title.as_str())
    }

    /// The site of a group.
    pub fn site_of_group(&self, id: Uuid) -> Option<SiteId> {
        self.groups.get(&id).and_then(|(_, site)| *site)
    }

    /// The name of a worker with the number.
    pub fn worker(&self, id: Uuid) -> Option<String> {
        let (name, number) = self.workers.get(&id)?;
        Some(if number.is_empty() { name.clone() } else { format!("{name}, {number}") })
    }

    /// The workers who are named.
    pub fn workers(&self) -> BTreeSet<WorkerId> {
        self.workers.keys().map(|id| WorkerId(*id)).collect()
    }

    /// The same for figures, with the titles of controls.
    pub fn for_figures(&self, controls: BTreeMap<ControlId, String>) -> charts::names::Names {
        let name = |id: &Uuid| self.worker(*id).unwrap_or_default();
        charts::names::Names {
            workers: self.workers.keys().map(|id| (WorkerId(*id), name(id))).collect(),
            groups: self.groups.iter().map(|(id, (title, _))| (GroupId(*id), title.clone())).collect(),
            sites: self.sites.iter().map(|(id, (name, _))| (*id, name.clone())).collect(),
            controls,
            agents: self
                .agents
                .iter()
                .filter_map(|(code, name)| Some((Code::new(code)?, name.clone())))
                .collect(),
        }
    }

    /// The name of a worker, and the number.
    pub fn worker_parts(&self, id: Uuid) -> Option<(&str, &str)> {
        self.workers.get(&id).map(|(name, number)| (name.as_str(), number.as_str()))
    }

    /// How many workers are named.
    pub fn workers_named(&self) -> usize {
        self.workers.len()
    }

    /// The name of an agent, or its code in words.
    pub fn agent(&self, code: &str) -> String {
        self.agents.get(code).cloned().unwrap_or_else(|| told::words(code))
    }

    /// Every agent, by name.
    pub fn agents(&self) -> Vec<(&str, &str)> {
        let mut all: Vec<(&str, &str)> =
            self.agents.iter().map(|(code, name)| (code.as_str(), name.as_str())).collect();
        all.sort_by_key(|(_, name)| name.to_lowercase());
        all
    }
}
