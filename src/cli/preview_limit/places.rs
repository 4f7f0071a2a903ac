//! The codes and titles of what a preview names by its identifiers.

use crate::conclusions::limit_change::view::LimitChangeView;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::Group;
use crate::model::facts::site::Site;
use crate::model::identifiers::{ControlId, GroupId, SiteId, TaskId};
use crate::registry::gather::many;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Where};
use std::collections::BTreeMap;
use uuid::Uuid;

/// Codes and titles by identifier.
#[derive(Debug, Default)]
pub(super) struct Places {
    codes: BTreeMap<Uuid, String>,
    titles: BTreeMap<Uuid, String>,
}

impl Places {
    /// Those of everything that an answer names; the answer names only what its reader may see.
    pub(super) async fn of(tx: &mut Tx, as_of: AsOf, found: &LimitChangeView) -> Result<Self, Refusal> {
        let of_standings = found.standings.iter().flat_map(|alike| &alike.groups);
        let mut sites: Vec<Uuid> = of_standings.clone().map(|place| place.site_id.0).collect();
        sites.extend(found.controls.iter().map(|control| control.site_id.0));
        let groups: Vec<Uuid> = of_standings.map(|place| place.group_id.0).collect();
        let tasks: Vec<Uuid> = found.controls.iter().map(|control| control.task_id.0).collect();
        let controls: Vec<Uuid> = found.controls.iter().map(|control| control.control_id.0).collect();
        let mut places = Self::default();
        for site in many::<Site>(tx, as_of, &sites, Where::Ids).await? {
            places.name(site.id, &site.fact.code, &site.fact.name);
        }
        for group in many::<Group>(tx, as_of, &groups, Where::Ids).await? {
            places.name(group.id, &group.fact.code, &group.fact.title);
        }
        for task in many::<Task>(tx, as_of, &tasks, Where::Ids).await? {
            places.name(task.id, &task.fact.code, &task.fact.title);
        }
        for control in many::<Control>(tx, as_of, &controls, Where::Ids).await? {
            places.name(control.id, &control.fact.code, &control.fact.title);
        }
        Ok(places)
    }

    /// Names one thing.
    pub(super) fn name(&mut self, id: Uuid, code: &impl ToString, title: &impl ToString) {
        self.codes.insert(id, code.to_string());
        self.titles.insert(id, title.to_string());
    }

    fn code(&self, id: Uuid) -> String {
        self.codes.get(&id).cloned().unwrap_or_else(|| id.to_string())
    }

    fn coded(&self, id: Uuid) -> String {
        let title = self.titles.get(&id).map(|title| format!(" ({title})")).unwrap_or_default();
        format!("{}{title}", self.code(id))
    }

    /// A site: `ALD (Alder Foundry)`.
    pub(super) fn site(&self, id: SiteId) -> String {
        self.coded(id.0)
    }

    /// A group: `WELD (Welders)`.
    pub(super) fn group(&self, id: GroupId) -> String {
        self.coded(id.0)
    }

    /// A task.
    pub(super) fn task(&self, id: TaskId) -> String {
        self.coded(id.0)
    }

    /// A control.
    pub(super) fn control(&self, id: ControlId) -> String {
        self.coded(id.0)
    }
}
