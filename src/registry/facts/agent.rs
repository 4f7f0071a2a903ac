//! Agents, limits, and what totals are compared with.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::model::facts::agent::{Agent, AgentState, Limit};
use crate::model::facts::clause::Clause;
use crate::model::facts::rules::{ComparedWith, MixtureSet};
use crate::model::shape::Faults;
use crate::model::unit::Dimension;
use crate::model::version::Version;
use crate::registry::correcting::{Referrer, referrers, touches};
use crate::registry::facts::clause_levels::clauses_about;
use crate::registry::facts::refer;
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::tables::Key;
use crate::store::versions::{self, Where};
use serde_json::{Map, Value};

impl Recorded for Agent {
    const UNDER: Under = Under::Nothing;
    const RECORD: Action = Action::ManageAgents;
    const READ: Action = Action::ReadReference;
    const VOID: Action = Action::ManageAgents;
    const TAKEN: &'static str = "an agent with this code is recorded already";
    const FIXED: &'static [(&'static str, &'static str)] =
        &[("code", "is what results, limits and groups name it by: record another agent")];

    async fn bound(
        version: &Version<Self>,
        fields: &Map<String, Value>,
        change: &mut Change,
    ) -> Result<Vec<Referrer>, Refusal> {
        if !touches(fields, &["state"]) {
            return Ok(Vec::new());
        }
        let of_code = [Where::Is("agent_code", Key::Text(Some(version.fact.code.to_string())))];
        let mut found = referrers::<Limit>(change, &[Where::Parent(version.id)]).await?;
        found.extend(referrers::<Limit>(change, &of_code).await?);
        found.extend(referrers::<Clause>(change, &of_code).await?);
        Ok(found)
    }

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        _: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        Agent::check(self, "", faults);
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::Agent(self.code.to_string())]
    }
}

/// Whether a level of an agent in this form can be of this dimension.
pub(super) fn can_be(state: AgentState, dimension: Dimension) -> bool {
    use Dimension as D;
    match state {
        AgentState::Particulate => matches!(dimension, D::MassConcentration | D::FibreConcentration),
        AgentState::GasVapour => matches!(dimension, D::MassConcentration | D::VolumeFraction),
        AgentState::ParticulateOrVapour => {
            matches!(dimension, D::MassConcentration | D::VolumeFraction | D::FibreConcentration)
        }
        AgentState::Physical => matches!(dimension, D::SoundLevel | D::PeakSoundLevel),
    }
}

impl Recorded for Limit {
    const UNDER: Under = Under::SiteOrAgent;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadReference;
    const FIXED: &'static [(&'static str, &'static str)] =
        &[("agent_code", "says whose limit it is: void it and record it for the other agent")];

    async fn bound(
        version: &Version<Self>,
        fields: &Map<String, Value>,
        change: &mut Change,
    ) -> Result<Vec<Referrer>, Refusal> {
        if !touches(fields, &["authority", "kind", "value", "rule_sets", "applies_to", "from", "to"]) {
            return Ok(Vec::new());
        }
        Self::bound_when_void(version, change).await
    }

    async fn bound_when_void(version: &Version<Self>, change: &mut Change) -> Result<Vec<Referrer>, Refusal> {
        let (scope, as_of) = (change.everything(), change.as_of());
        let code = match (&version.fact.agent_code, version.parent) {
            (Some(code), _) => Some(code.clone()),
            (None, Some(agent)) => versions::find::<Agent>(&mut change.tx, &scope, as_of, agent)
                .await?
                .map(|agent| agent.fact.code),
            (None, None) => None,
        };
        match code {
            Some(code) => clauses_about(change, code.as_str()).await,
            None => Ok(Vec::new()),
        }
    }

    fn takes_beside(place: &Place) -> Option<Action> {
        place.site.is_none().then_some(Action::ManageAgents)
    }

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        Limit::check(self, "", faults);
        let agent = match (place.site, &self.agent_code) {
            (Some(_), Some(code)) => refer::agent(change, code, "/agent_code", faults).await?,
            (Some(_), None) => {
                faults.note("/agent_code", "is required for a limit of a site");
                None
            }
            (None, code) => {
                if code.is_some() {
                    faults.note("/agent_code", "is said by the address");
                }
                let as_of = change.as_of();
                let agent = place.parent.unwrap_or_default();
                versions::find::<Agent>(&mut change.tx, scope, as_of, agent).await?
            }
        };
        if place.site.is_some() && self.authority.as_str() == STATUTORY_AUTHORITY {
            faults.note("/authority", "is the law, whose limits are those of the agent at every site");
        }
        if let Some(agent) = agent
            && self.value.unit.is_exposure()
            && !can_be(agent.fact.state, self.value.unit.dimension())
        {
            let detail = format!("cannot be {} for an agent of state {}", self.value.unit, agent.fact.state);
            faults.note("/value/unit", detail);
        }
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        match (place.site, place.parent) {
            (Some(site), _) => vec![Reach::Site(site)],
            (None, Some(agent)) => vec![Reach::AgentOf(agent)],
            (None, None) => Vec::new(),
        }
    }
}

impl Recorded for ComparedWith {
    const UNDER: Under = Under::Agent;
    const RECORD: Action = Action::ManageAgents;
    const READ: Action = Action::ReadReference;
    const VOID: Action = Action::ManageAgents;

    async fn check(
        &mut self,
        _: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        for (n, id) in self.limit_ids.iter().enumerate() {
            refer::existing::<Limit>(change, scope, None, *id, &format!("/limit_ids/{n}"), faults).await?;
        }
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        place.parent.map(Reach::AgentOf).into_iter().collect()
    }
}

impl Recorded for MixtureSet {
    const UNDER: Under = Under::Nothing;
    const RECORD: Action = Action::ManageAgents;
    const READ: Action = Action::ReadReference;
    const VOID: Action = Action::ManageAgents;

    async fn check(
        &mut self,
        _: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        for (n, code) in self.agent_codes.iter().enumerate() {
            refer::agent(change, code, &format!("/agent_codes/{n}"), faults).await?;
        }
        Ok(())
    }
}
