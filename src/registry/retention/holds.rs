//! Holds: records that nobody disposes of while they stand, whatever their age.

use crate::access::policy::Action;
use crate::model::facts::retention::{LegalHold, LegalHoldDraft};
use crate::model::facts::site::Site;
use crate::model::facts::worker::Worker;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::shape::{Faults, Shape as _};
use crate::model::version::Version;
use crate::registry::facts::refer;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::versions::{self, AsOf};
use serde_json::Value;
use std::collections::BTreeSet;
use uuid::Uuid;

/// What records are about; where that is not known they are about everything.
#[derive(Debug, Clone, Default)]
pub struct Concerned {
    /// The sites.
    pub sites: Option<BTreeSet<SiteId>>,
    /// The workers.
    pub workers: Option<BTreeSet<WorkerId>>,
    /// Codes of the agents.
    pub agents: Option<BTreeSet<String>>,
}

impl LegalHold {
    /// Whether it holds records about these.
    fn holds(&self, concerned: &Concerned) -> bool {
        fn meets<T: Ord>(narrowed: Option<&T>, known: Option<&BTreeSet<T>>) -> bool {
            narrowed.is_none_or(|one| known.is_none_or(|known| known.contains(one)))
        }
        let agent = self.agent_code.as_ref().map(ToString::to_string);
        self.lifted_on.is_none()
            && meets(self.of_site_id.as_ref(), concerned.sites.as_ref())
            && meets(self.of_worker_id.as_ref(), concerned.workers.as_ref())
            && meets(agent.as_ref(), concerned.agents.as_ref())
    }
}

/// Whether any hold keeps records about these.
///
/// # Errors
/// Only when storage fails.
pub async fn are_held(tx: &mut Tx, as_of: AsOf, concerned: &Concerned) -> Result<bool, StoreError> {
    let holds = gather::all::<LegalHold>(tx, as_of, &[]).await?;
    Ok(holds.iter().any(|hold| hold.fact.holds(concerned)))
}

/// `POST /legal-holds`.
///
/// # Errors
/// [`Refusal::Forbidden`], or every fault in it.
pub async fn hold(change: &mut Change, body: &Value) -> Result<Version<LegalHold>, Refusal> {
    let scope = change.caller.may(Action::ManageRetention)?;
    let as_of = change.as_of();
    let draft = LegalHoldDraft::parse(body)?;
    let mut faults = Faults::default();
    if let Some(SiteId(site)) = draft.of_site_id
        && gather::one::<Site>(&mut change.tx, as_of, site).await?.is_none()
    {
        faults.note("/of_site_id", "is no site that is known");
    }
    if let Some(WorkerId(worker)) = draft.of_worker_id
        && gather::one::<Worker>(&mut change.tx, as_of, worker).await?.is_none()
    {
        faults.note("/of_worker_id", "is no worker who is known");
    }
    if let Some(code) = &draft.agent_code {
        refer::agent(change, code, "/agent_code", &mut faults).await?;
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let LegalHoldDraft { of_site_id, of_worker_id, agent_code, ground } = draft;
    let hold = LegalHold { of_site_id, of_worker_id, agent_code, ground, from: as_of.date, lifted_on: None };
    Ok(change.add(&scope, None, None, hold).await?)
}

/// `POST /legal-holds/{id}/lifting`.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict where it is lifted already.
pub async fn lift(change: &mut Change, id: Uuid, reason: &str) -> Result<Version<LegalHold>, Refusal> {
    let scope = change.caller.may(Action::ManageRetention)?;
    let as_of = change.as_of();
    let old =
        versions::find::<LegalHold>(&mut change.tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    if old.fact.lifted_on.is_some() {
        return Err(Refusal::taken("this hold is lifted already"));
    }
    let fact = LegalHold { lifted_on: Some(as_of.date), ..old.fact.clone() };
    Ok(change.alter(&scope, &old, fact, None, "lifted", Some(reason)).await?)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::text::{Code, Text};

    // The rule is this registry's own.
    #[test]
    fn a_hold_keeps_what_it_is_not_narrowed_away_from() {
        let (site, worker) = (SiteId(Uuid::from_u128(1)), WorkerId(Uuid::from_u128(2)));
        let hold = |of_site_id, of_worker_id, agent: Option<&str>| LegalHold {
            of_site_id,
            of_worker_id,
            agent_code: agent.and_then(Code::new),
            ground: Text::new("an inspection").unwrap(),
            from: "2026-03-02".parse().unwrap(),
            lifted_on: None,
        };
        let records = Concerned {
            sites: Some([site].into()),
            workers: Some([worker].into()),
            agents: Some(["lead".to_owned()].into()),
        };
        assert!(hold(None, None, None).holds(&records));
        assert!(hold(Some(site), Some(worker), Some("lead")).holds(&records));
        assert!(!hold(Some(site), Some(worker), Some("cadmium")).holds(&records));
        assert!(!hold(Some(SiteId(Uuid::from_u128(9))), None, None).holds(&records));
        // What is not known to be about something else is about it.
        assert!(hold(None, None, Some("cadmium")).holds(&Concerned::default()));
        let lifted = LegalHold { lifted_on: Some("2026-03-03".parse().unwrap()), ..hold(None, None, None) };
        assert!(!lifted.holds(&records));
    }
}
