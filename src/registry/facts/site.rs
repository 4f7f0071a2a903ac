//! Sites and what is set for a whole site.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::group::Group;
use crate::model::facts::sampling::Sample;
use crate::model::facts::site::{Holiday, MonitoringOption, Release, RuleSetChange, Site};
use crate::model::facts::worker::Worker;
use crate::model::identifiers::GroupId;
use crate::model::identifiers::SiteId;
use crate::model::shape::Faults;
use crate::model::version::Version;
use crate::registry::correcting::{Referrer, referrers, touches};
use crate::registry::facts::refer;
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::Where;
use serde_json::{Map, Value};

impl Recorded for Site {
    const UNDER: Under = Under::Nothing;
    const RECORD: Action = Action::ManageSites;
    const READ: Action = Action::ReadReference;
    const VOID: Action = Action::ManageSites;
    const TAKEN: &'static str = "a site with this code is recorded already";

    async fn bound(
        version: &Version<Self>,
        fields: &Map<String, Value>,
        change: &mut Change,
    ) -> Result<Vec<Referrer>, Refusal> {
        if !touches(fields, &["time_zone"]) {
            return Ok(Vec::new());
        }
        referrers::<Sample>(change, &[Where::Site(SiteId(version.id))]).await
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::SiteItself]
    }
}

fn whole_site(place: &Place) -> Vec<Reach> {
    place.site.map(Reach::Site).into_iter().collect()
}

impl Recorded for RuleSetChange {
    const UNDER: Under = Under::SiteOrGroup;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadReference;

    fn reach(&self, place: &Place) -> Vec<Reach> {
        match place.parent {
            Some(parent) if place.site != Some(SiteId(parent)) => {
                vec![Reach::Group(GroupId(parent)), Reach::Members(GroupId(parent))]
            }
            _ => whole_site(place),
        }
    }
}

impl Recorded for MonitoringOption {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadReference;

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        refer::agent(change, &self.agent_code, "/agent_code", faults).await.map(drop)
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        whole_site(place)
    }
}

impl Recorded for Holiday {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadReference;
    const TAKEN: &'static str = "this date is a holiday of the site already";

    fn reach(&self, place: &Place) -> Vec<Reach> {
        whole_site(place)
    }
}

impl Recorded for Release {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        for (n, code) in self.agent_codes.iter().enumerate() {
            refer::agent(change, code, &format!("/agent_codes/{n}"), faults).await?;
        }
        for (n, id) in self.group_ids.iter().enumerate() {
            refer::existing::<Group>(change, scope, place.site, *id, &format!("/group_ids/{n}"), faults)
                .await?;
        }
        for (n, id) in self.worker_ids.iter().enumerate() {
            refer::existing::<Worker>(change, scope, None, *id, &format!("/worker_ids/{n}"), faults).await?;
        }
        if self.at > change.at {
            faults.note("/at", "must not lie in the future");
        }
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        let groups = self.group_ids.iter().flat_map(|group| [Reach::Group(*group), Reach::Members(*group)]);
        groups.chain(self.worker_ids.iter().copied().map(Reach::Worker)).collect()
    }
}
