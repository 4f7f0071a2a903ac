//! What one question sees: facts at a position, each gathered once.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::{GroupEvidence, SampleEvidence};
use crate::conclusions::group_standing::{OtherAuthority, StandingRules};
use crate::conclusions::limits::{AgentEvidence, rule_set_on};
use crate::conclusions::profile::{GroupConclusion, conclude_group};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::clause::{Clause, LevelNamed};
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::site::Holiday;
use crate::model::identifiers::SiteId;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::registry::gather;
use crate::registry::gather::persons::{Person, persons};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::marks::{self, Mark, MarkKind};
use crate::store::versions::{AsOf, Where};
use crate::store::{concerned, derived};
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::level::Levels;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::of_authority::{PackOfAuthority, ReadAgainst, pack_of_authority};
use chrono::NaiveDate;
use serde_json::Value;
use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;
use uuid::Uuid;

type Samples = Arc<Vec<SampleEvidence>>;

/// The unit in which clauses are read where an agent has neither limit nor result: then none of them has a level.
pub const WITHOUT_LIMIT: Unit = Unit::MgPerM3;

/// What the clauses of an authority are read against on a day.
pub fn read_against(
    agent: &AgentEvidence,
    authority: &Code,
    rule_set: RuleSet,
    on: NaiveDate,
    unit: Unit,
) -> ReadAgainst {
    let level = |kind| agent.level(authority.as_str(), kind, rule_set, on, unit);
    let levels = Levels { action_level: level(LimitKind::ActionLevel), limit: level(LimitKind::Twa) };
    let in_force = agent.in_force(rule_set, on);
    let has = |kind| in_force.iter().any(|limit| limit.authority == *authority && limit.kind == kind);
    let named = [
        (LevelNamed::ActionLevel, levels.action_level, LimitKind::ActionLevel),
        (LevelNamed::Limit, levels.limit, LimitKind::Twa),
    ];
    let lost = named.into_iter().filter(|(_, level, kind)| level.is_none() && has(*kind));
    ReadAgainst {
        levels,
        not_convertible: lost.map(|(name, ..)| name).collect(),
        unit,
        molar_mass: agent.molar_mass(),
    }
}

/// Which clauses of other authorities are meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClausePlace {
    /// Those that hold at every site.
    EverySite,
    /// Those that hold at a site: its own, and those of every site.
    Within(SiteId),
    /// Those of a site alone.
    OnlyOf(SiteId),
}

impl ClausePlace {
    fn holds(self, of: Option<SiteId>) -> bool {
        match self {
            Self::EverySite => of.is_none(),
            Self::Within(site) => of.is_none_or(|of| of == site),
            Self::OnlyOf(site) => of == Some(site),
        }
    }
}

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
    clauses: BTreeMap<String, Arc<Vec<Version<Clause>>>>,
    known: BTreeMap<(Uuid, String, bool), GroupKnowledge>,
    persons: BTreeMap<Uuid, Person>,
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

    /// The person behind an entry.
    pub async fn person(&mut self, entry: Uuid) -> Result<Person, Refusal> {
        if let Some(known) = self.persons.get(&entry) {
            return Ok(known.clone());
        }
        let found = persons(self.tx, self.as_of, &[entry]).await?.person(entry);
        self.persons.insert(entry, found.clone());
        Ok(found)
    }

    /// The stored row, where the question is about now, plainly asked, and no mark says that the row is stale. Of a worker it
    /// is that of the person, and a mark of any of his entries makes it stale; what is told of him by where his groups stand
    /// also one of theirs.
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
        let person = match kind {
            MarkKind::Shifts | MarkKind::Summary => self.person(subject).await?,
            MarkKind::Profile | MarkKind::Verdict => Person::alone(subject),
        };
        for subject in person.entries() {
            if marks::is_set(self.tx, &Mark { kind, subject, agent: agent.to_owned() }).await? {
                return Ok(None);
            }
            if kind == MarkKind::Summary
                && concerned::a_group_is_marked(self.tx, subject, agent, self.as_of.position).await?
            {
                return Ok(None);
            }
        }
        let row = derived::find(self.tx, kind, person.id, agent).await?;
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
            clauses: BTreeMap::new(),
            known: BTreeMap::new(),
            persons: BTreeMap::new(),
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

    async fn clauses(&mut self, code: &str) -> Result<Arc<Vec<Version<Clause>>>, Refusal> {
        if let Some(clauses) = self.clauses.get(code) {
            return Ok(Arc::clone(clauses));
        }
        let found = Arc::new(gather::agents::clauses_of_others(self.tx, self.as_of, code).await?);
        self.clauses.insert(code.to_owned(), Arc::clone(&found));
        Ok(found)
    }

    /// The dates on which a clause of another authority about an agent comes into force or leaves it.
    pub async fn clause_dates(&mut self, code: &str) -> Result<BTreeSet<NaiveDate>, Refusal> {
        let clauses = self.clauses(code).await?;
        Ok(clauses.iter().flat_map(|clause| [clause.fact.from, clause.fact.to]).flatten().collect())
    }

    /// The authorities other than the law that comes with the program that have clauses about an agent in force on the day of
    /// asking, by name, each with its levels at the place, in the unit of the days (which an agent without any limit has from
    /// its results).
    pub async fn other_authorities(
        &mut self,
        agent: &AgentEvidence,
        place: ClausePlace,
        rule_set: RuleSet,
        unit: Unit,
    ) -> Result<Vec<OtherAuthority>, Refusal> {
        let clauses = self.clauses(agent.code().as_str()).await?;
        let today = self.as_of.date;
        let mut of_authority: BTreeMap<&Code, Vec<&Clause>> = BTreeMap::new();
        let here = |clause: &&Version<Clause>| place.holds(clause.site) && clause.fact.holds(today);
        for clause in clauses.iter().filter(here) {
            of_authority.entry(&clause.fact.authority).or_default().push(&clause.fact);
        }
        let agent = match place {
            ClausePlace::EverySite => Cow::Borrowed(agent),
            ClausePlace::Within(site) | ClausePlace::OnlyOf(site) => agent.at(site),
        };
        let mut found = Vec::with_capacity(of_authority.len());
        for (authority, clauses) in of_authority {
            let against = read_against(&agent, authority, rule_set, today, unit);
            let levels = against.levels;
            let PackOfAuthority { pack, unread } =
                pack_of_authority(&clauses, against).map_err(StoreError::Damaged)?;
            found.push(OtherAuthority { authority: authority.clone(), levels, pack, unread });
        }
        Ok(found)
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
        let rule_set = rule_set_on(&evidence, self.as_of.date);
        let place = ClausePlace::Within(SiteId(evidence.site.id));
        let unit = agent.unit().unwrap_or(WITHOUT_LIMIT);
        let of_others = self.other_authorities(&agent, place, rule_set, unit).await?;
        let rules = StandingRules { pack: &pack, of_others: &of_others, working_days: &working_days };
        let conclusion = Arc::new(conclude_group(&evidence, &samples, &agent, rules, asked));
        let known = GroupKnowledge { group: evidence, samples, conclusion };
        self.known.insert(key, known.clone());
        Ok(Some(known))
    }
}
