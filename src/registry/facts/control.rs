//! Tasks, controls and control periods.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::control::{Control, ControlKind, ControlPeriod, Task};
use crate::model::facts::group::Group;
use crate::model::facts::worker::Assignment;
use crate::model::identifiers::TaskId;
use crate::model::shape::Faults;
use crate::model::version::Version;
use crate::registry::correcting::{Referrer, referrers, touches};
use crate::registry::facts::refer;
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};
use serde_json::{Map, Value};

impl Recorded for Task {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadGroups;
    const TAKEN: &'static str = "a task with this code is recorded at the site already";

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::existing::<Group>(change, scope, place.site, self.group_id, "/group_id", faults).await?;
        refer::in_order(self.from, self.to, "/to", faults);
        refer::within(self.usual_minutes_per_shift, 0.0, 1440.0, "/usual_minutes_per_shift", faults);
        refer::within(self.shifts_per_week, 0.0, 14.0, "/shifts_per_week", faults);
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::Group(self.group_id)]
    }
}

impl Recorded for Control {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadGroups;
    const TAKEN: &'static str = "a control with this code is recorded at the site already";

    async fn bound(
        version: &Version<Self>,
        fields: &Map<String, Value>,
        change: &mut Change,
    ) -> Result<Vec<Referrer>, Refusal> {
        let Some(site) = version.site.filter(|_| touches(fields, &["kind"])) else { return Ok(Vec::new()) };
        referrers::<Assignment>(change, &[Where::Site(site)]).await
    }

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        _: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        match self.assigned_protection_factor {
            Some(_) if self.kind != ControlKind::Respirator => {
                faults.note("/assigned_protection_factor", "belongs to a respirator only");
            }
            Some(factor) if factor < 1.0 => {
                faults.note("/assigned_protection_factor", "must be at least 1");
            }
            _ => {}
        }
        if self.target_reduction_percent.is_some_and(|target| target <= 0.0 || target >= 100.0) {
            faults.note("/target_reduction_percent", "must be above 0 and below 100");
        }
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::ControlItself]
    }
}

impl Recorded for ControlPeriod {
    const UNDER: Under = Under::Task;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadGroups;

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::existing::<Control>(change, scope, place.site, self.control_id, "/control_id", faults).await?;
        refer::in_order(Some(self.from), self.to, "/to", faults);
        let as_of = change.as_of();
        let of_task: Vec<Where> =
            place.parent.map(Where::Parent).into_iter().chain([Where::Standing]).collect();
        let others = versions::list::<ControlPeriod>(&mut change.tx, scope, as_of, &of_task, None).await?;
        let meets = others.iter().any(|other| {
            other.fact.control_id == self.control_id
                && refer::spans_meet((self.from, self.to), (other.fact.from, other.fact.to))
        });
        if meets {
            faults.note("/from", "meets another period of this control on this task");
        }
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        place.parent.map(|task| Reach::Task(TaskId(task))).into_iter().collect()
    }
}
