//! Clauses of authorities other than the law that comes with the program: everything in them is looked at on entry, so that
//! the engine never meets one that it cannot read.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::model::facts::agent::Agent;
use crate::model::facts::clause::Clause;
use crate::model::shape::Faults;
use crate::model::version::Version;
use crate::registry::facts::agent::can_be;
use crate::registry::facts::clause_levels::{Levelled, RuleSets};
use crate::registry::facts::refer;
use crate::registry::gather;
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;

impl Recorded for Clause {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordGroups;
    const READ: Action = Action::ReadReference;
    const TAKEN: &'static str = "a clause with this code is recorded already";

    fn takes_beside(place: &Place) -> Option<Action> {
        place.site.is_none().then_some(Action::ManageAgents)
    }

    async fn check(
        &mut self,
        place: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        Clause::check(self, "", faults);
        if self.authority.as_str() == STATUTORY_AUTHORITY {
            faults.note("/authority", "is the law, whose clauses come with the program");
        }
        let as_of = change.as_of();
        let pack = gather::agents::pack(&mut change.tx, as_of).await?;
        if pack.rows().iter().any(|(_, row_id, _)| row_id == self.code.as_str()) {
            faults.note("/code", "is a row of the rules that come with the program");
        }
        let Some(agent) = refer::agent(change, &self.agent_code, "/agent_code", faults).await? else {
            return Ok(());
        };
        self.check_value(&agent, faults);
        let known = gather::agents::agent(&mut change.tx, as_of, self.agent_code.as_str()).await?;
        let Some(known) = known else { return Ok(()) };
        let rule_sets = RuleSets::of(&mut change.tx, as_of, place.site).await?;
        let levelled = Levelled { clause: self, site: place.site, rule_sets: &rule_sets, agent: &known };
        if let Some((at, detail)) = levelled.never() {
            faults.note(at, detail);
        }
        Ok(())
    }

    async fn told(version: &Version<Self>, tx: &mut Tx, as_of: AsOf) -> Result<Vec<&'static str>, Refusal> {
        let fact = &version.fact;
        let own = fact.worker.as_ref().is_some_and(|asked| asked.value.is_some());
        if !version.stands() || !own && fact.levels_named().is_none() {
            return Ok(Vec::new());
        }
        let agent = gather::agents::agent(tx, as_of, fact.agent_code.as_str()).await?;
        let Some(agent) = agent else { return Ok(Vec::new()) };
        let rule_sets = RuleSets::of(tx, as_of, version.site).await?;
        let levelled = Levelled { clause: fact, site: version.site, rule_sets: &rule_sets, agent: &agent };
        Ok(levelled.flags(as_of.date).into_iter().collect())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        match place.site {
            Some(site) => vec![Reach::Site(site)],
            None => vec![Reach::AgentAndMembers(self.agent_code.to_string())],
        }
    }
}

impl Clause {
    /// A level of the clause's own must be one that the agent can have.
    fn check_value(&self, agent: &Version<Agent>, faults: &mut Faults) {
        let Some(value) = self.worker.as_ref().and_then(|asked| asked.value.as_ref()) else { return };
        if !value.unit.is_exposure() || !can_be(agent.fact.state, value.unit.dimension()) {
            let detail = format!("cannot be {} for an agent of state {}", value.unit, agent.fact.state);
            faults.note("/worker/value/unit", detail);
        }
    }
}
