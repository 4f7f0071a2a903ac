//! Groups and what is recorded of them.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::group::{Condition, ExpectedAgent, Group, GroupChange, JoinedEra, Judgement};
use crate::model::identifiers::GroupId;
use crate::model::shape::Faults;
use crate::registry::facts::refer;
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;

impl Recorded for Group {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadGroups;
    const TAKEN: &'static str = "a group with this code is recorded at the site already";
}

fn of_group(place: &Place) -> Vec<Reach> {
    place.parent.map(|group| Reach::Group(GroupId(group))).into_iter().collect()
}

fn of_group_and_members(place: &Place) -> Vec<Reach> {
    let reach = |group| [Reach::Group(GroupId(group)), Reach::Members(GroupId(group))];
    place.parent.into_iter().flat_map(reach).collect()
}

impl Recorded for Condition {
    const UNDER: Under = Under::Group;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadGroups;

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::agent(change, &self.agent_code, "/agent_code", faults).await?;
        refer::in_order(Some(self.from), self.to, "/to", faults);
        refer::within(self.days_per_week, 0.0, 7.0, "/days_per_week", faults);
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_group_and_members(place)
    }
}

impl Recorded for GroupChange {
    const UNDER: Under = Under::Group;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadGroups;

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_group(place)
    }
}

impl Recorded for ExpectedAgent {
    const UNDER: Under = Under::Group;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadGroups;

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::agent(change, &self.agent_code, "/agent_code", faults).await?;
        refer::in_order(Some(self.from), self.to, "/to", faults);
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_group_and_members(place)
    }
}

impl Recorded for JoinedEra {
    const UNDER: Under = Under::Group;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadGroups;

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        if let Some(code) = &self.agent_code {
            refer::agent(change, code, "/agent_code", faults).await?;
        }
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        of_group(place)
    }
}

impl Recorded for Judgement {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadSamples;

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::existing::<Group>(change, scope, place.site, self.group_id, "/group_id", faults).await?;
        refer::agent(change, &self.agent_code, "/agent_code", faults).await?;
        refer::in_order(Some(self.from), self.to, "/to", faults);
        if !(1..=5).contains(&self.rating) {
            faults.note("/rating", "must be 1 to 5 (band of the 95th percentile against the limit)");
        }
        if let Some(mean) = &self.arithmetic_mean {
            for (end, quantity) in [("lower", &mean.lower), ("upper", &mean.upper)] {
                let at = format!("/arithmetic_mean/{end}");
                if !quantity.unit.is_exposure() || !quantity.measured.is_value() {
                    faults.note(at, "must be a plain concentration");
                }
            }
            if mean.upper.number_in(mean.lower.unit).is_none_or(|upper| upper < mean.lower.measured.lower()) {
                faults.note(
                    "/arithmetic_mean/upper",
                    "must not be less than lower, in a unit of the same kind",
                );
            }
        }
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::Group(self.group_id), Reach::Members(self.group_id)]
    }
}
