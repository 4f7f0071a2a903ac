//! What one question sees: facts at a position, each gathered once.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::{GroupEvidence, SampleEvidence};
use crate::conclusions::group_standing::StandingRules;
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::profile::{GroupConclusion, conclude_group};
use crate::model::facts::site::Holiday;
use crate::model::identifiers::SiteId;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::derived;
use crate::store::marks::{self, Mark, MarkKind};
use crate::store::versions::{AsOf, Where};
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::pack::Pack;
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Arc;
use uuid::Uuid;

type Samples = Arc<Vec<SampleEvidence>>;

/// A group with what it shows of an agent, and the samples behind it.
#[derive(Debug, Clone)]
pub struct GroupKnowledge {
    /// The group.
    pub group: Arc<GroupEvidence>,
    /// Its samples, and those of its workers on the same dates elsewhere.
    pub samples: Samples,
    /// What they say.
    pub conclusion: Arc<GroupConclusion>,
}

/// What one question sees. Everything gathered is kept until the question is answered.
#[derive(Debug)]
pub struct Sight<'t> {
    /// The snapshot.
    pub tx: &'t mut Tx,
    /// As of when.
    pub as_of: AsOf,
    /// Whether the question is about now, so that stored rows may answer it.
    now: bool,
    pack: Option<Arc<Pack>>,
    agents: BTreeMap<String, Option<Arc<AgentEvidence>>>,
    groups: BTreeMap<Uuid, Option<Arc<GroupEvidence>>>,
    samples: BTreeMap<Uuid, Samples>,
    working_days: BTreeMap<Uuid, Arc<WorkingDays>>,
    known: BTreeMap<(Uuid, String, bool), GroupKnowledge>,
}

impl<'t> Sight<'t> {
    /// Looks at a snapshot as it is now: stored conclusions are used where no mark says that they are stale.
    pub fn of_now(tx: &'t mut Tx, as_of: AsOf) -> Self {
        Self { now: true, ..Self::new(tx, as_of) }
    }

    /// The same with the clauses at hand, as they are known at its position.
    #[must_use]
    pub fn with_pack(self, pack: Arc<Pack>) -> Self {
        Self { pack: Some(pack), ..self }
    }

    /// Whether the question is about now.
    pub fn is_of_now(&self) -> bool {
        self.now
    }

    /// The stored row, where the question is about now, plainly asked, and no mark says that the row is stale.
    pub async fn stored(
        &mut self,
        kind: MarkKind,
        subject: Uuid,
        agent: &str,
        asked: Asked,
    ) -> Result<Option<Value>, Refusal> {
        if !self.now || asked != Asked::default() {
            return Ok(None);
        }
        let mark = Mark { kind, subject, agent: agent.to_owned() };
        if marks::is_set(self.tx, &mark).await? {
            return Ok(None);
        }
        let row = derived::find(self.tx, kind, subject, agent).await?;
        let today = self.as_of.date;
        let row = row.filter(|row| row.changes_on.is_none_or(|day| today < day));
        Ok(row.and_then(|row| serde_json::from_str(&row.body).ok()))
    }

    /// Looks at a snapshot as of a moment, at facts alone.
    pub fn new(tx: &'t mut Tx, as_of: AsOf) -> Self {
        Self {
            tx,
            as_of,
            now: false,
            pack: None,
            agents: BTreeMap::new(),
            groups: BTreeMap::new(),
            samples: BTreeMap::new(),
            working_days: BTreeMap::new(),
            known: BTreeMap::new(),
        }
    }

    /// Looks at a snapshot as if an agent had other limits and the clauses other numbers: at facts alone.
    pub fn supposing(tx: &'t mut Tx, as_of: AsOf, agent: AgentEvidence, pack: Pack) -> Self {
        let code = agent.code().to_string();
        let agents = BTreeMap::from([(code, Some(Arc::new(agent)))]);
        Self { pack: Some(Arc::new(pack)), agents, ..Self::new(tx, as_of) }
    }

    /// The clauses.
    pub async fn pack(&mut self) -> Result<Arc<Pack>, Refusal> {
        if let Some(pack) = &self.pack {
            return Ok(Arc::clone(pack));
        }
        let pack = Arc::new(gather::agents::pack(self.tx, self.as_of).await?);
        self.pack = Some(Arc::clone(&pack));
        Ok(pack)
    }

    /// An agent with its limits.
    pub async fn agent(&mut self, code: &str) -> Result<Option<Arc<AgentEvidence>>, Refusal> {
        if !self.agents.contains_key(code) {
            let found = gather::agents::agent(self.tx, self.as_of, code).await?.map(Arc::new);
            self.agents.insert(code.to_owned(), found);
        }
        Ok(self.agents.get(code).cloned().flatten())
    }

    /// A group and everything that cuts its eras.
    pub async fn group(&mut self, id: Uuid) -> Result<Option<Arc<GroupEvidence>>, Refusal> {
        if !self.groups.contains_key(&id) {
            let found = gather::groups::group(self.tx, self.as_of, id).await?.map(Arc::new);
            self.groups.insert(id, found);
        }
        Ok(self.groups.get(&id).cloned().flatten())
    }

    /// The working days of a site.
    pub async fn working_days(&mut self, site: SiteId) -> Result<Arc<WorkingDays>, Refusal> {
        if let Some(days) = self.working_days.get(&site.0) {
            return Ok(Arc::clone(days));
        }
        let holidays = gather::all::<Holiday>(self.tx, self.as_of, &[Where::Parent(site.0)]).await?;
        let days = Arc::new(WorkingDays::new(holidays.iter().map(|holiday| holiday.fact.date)));
        self.working_days.insert(site.0, Arc::clone(&days));
        Ok(days)
    }

    async fn samples_of_group(&mut self, id: Uuid) -> Result<Samples, Refusal> {
        if let Some(samples) = self.samples.get(&id) {
            return Ok(Arc::clone(samples));
        }
        let (own, elsewhere) = gather::samples::of_group(self.tx, self.as_of, id).await?;
        let samples = Arc::new(own.into_iter().chain(elsewhere).collect::<Vec<_>>());
        self.samples.insert(id, Arc::clone(&samples));
        Ok(samples)
    }

    /// What a group shows of an agent; `None` where either is not known.
    pub async fn knowledge(
        &mut self,
        group: Uuid,
        code: &str,
        asked: Asked,
    ) -> Result<Option<GroupKnowledge>, Refusal> {
        let key = (group, code.to_owned(), asked.accepted_only);
        if let Some(known) = self.known.get(&key) {
            return Ok(Some(known.clone()));
        }
        let Some(agent) = self.agent(code).await? else { return Ok(None) };
        let Some(evidence) = self.group(group).await? else { return Ok(None) };
        let samples = self.samples_of_group(group).await?;
        let pack = self.pack().await?;
        let working_days = self.working_days(SiteId(evidence.site.id)).await?;
        let rules = StandingRules { pack: &pack, working_days: &working_days };
        let conclusion = Arc::new(conclude_group(&evidence, &samples, &agent, rules, asked));
        let known = GroupKnowledge { group: evidence, samples, conclusion };
        self.known.insert(key, known.clone());
        Ok(Some(known))
    }
}
