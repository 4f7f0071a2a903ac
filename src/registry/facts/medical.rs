//! Medical grounds: a physician's dated entries, without findings, in a chain of their own.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::worker::MedicalGround;
use crate::model::identifiers::WorkerId;
use crate::model::shape::Faults;
use crate::registry::facts::refer;
use crate::registry::facts::worker::employments;
use crate::registry::gather;
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;

impl Recorded for MedicalGround {
    const UNDER: Under = Under::Worker;
    const RECORD: Action = Action::MedicalGrounds;
    const READ: Action = Action::MedicalGrounds;
    const VOID: Action = Action::MedicalGrounds;

    async fn check(
        &mut self,
        place: &mut Place,
        _: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        let agent = refer::agent(change, &self.agent_code, "/agent_code", faults).await?;
        let as_of = change.as_of();
        if let (Some(trigger), Some(agent)) = (&self.trigger_id, agent) {
            let pack = gather::agents::pack(&mut change.tx, as_of).await?;
            let rule = pack.surveillance.iter().find(|rule| rule.trigger_id == trigger.as_str());
            match rule {
                None => faults.note("/trigger_id", "is no row of the surveillance clauses"),
                Some(rule) if !pack.is_about(&rule.agent_code, agent.fact.code.as_str()) => {
                    faults.note("/trigger_id", "is a clause about another agent");
                }
                Some(_) => {}
            }
        }
        if self.on > as_of.date {
            faults.note("/on", "must not lie in the future");
        }
        if let Some(worker) = place.parent {
            let everything = change.everything();
            let known = employments(&mut change.tx, &everything, as_of, vec![worker]).await?;
            if known.first().is_some_and(|first| self.on < first.fact.from) {
                faults.note("/on", "must not lie before the worker's first employment");
            }
        }
        Ok(())
    }

    fn reach(&self, place: &Place) -> Vec<Reach> {
        place.parent.map(|worker| Reach::Worker(WorkerId(worker))).into_iter().collect()
    }
}
