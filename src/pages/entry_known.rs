//! What the registry knows of a site, by which the codes and numbers that somebody types are read.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::agent::Agent;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::{ExpectedAgent, Group};
use crate::model::facts::site::Site;
use crate::model::facts::worker::{Assignment, Employment};
use crate::model::identifiers::SiteId;
use crate::model::version::Version;
use crate::pages::names::Names;
use crate::pages::stopped::Stopped;
use crate::registry::recording;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Where};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// More people than this are not offered while somebody types.
const OFFERED_MOST: usize = 300;

/// What may be typed for something, and what it stands for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// What is typed.
    pub code: String,
    /// What it stands for.
    pub title: String,
}

/// What is known of a site.
#[derive(Debug)]
pub struct Known {
    /// The site.
    pub site: Version<Site>,
    /// Every agent.
    pub agents: Vec<Agent>,
    /// Codes of the agents that are expected in groups of the site.
    pub expected: BTreeSet<String>,
    /// Tasks by code.
    pub tasks: BTreeMap<String, (Uuid, String)>,
    /// Controls by code.
    pub controls: BTreeMap<String, (Uuid, String)>,
    /// Groups by code.
    pub groups: BTreeMap<String, (Uuid, String)>,
    /// Who is assigned at the site.
    assigned: BTreeSet<Uuid>,
    /// Employments by the numbers that were typed.
    employments: Vec<Version<Employment>>,
    /// Names of those who are offered or were typed.
    names: Names,
    /// Numbers of those who are assigned, for choosing while one types; empty where they are too many.
    pub workers: Vec<Offer>,
}

/// What a number of a worker stands for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Found {
    /// Nobody in sight.
    Nobody,
    /// One worker.
    One(Uuid),
    /// Several, with different employers.
    Several,
}

impl Known {
    /// What is known of a site on which the caller may record samples; `numbers` are those of workers that were typed.
    ///
    /// # Errors
    /// The site is out of sight, or storage fails.
    pub async fn of(
        tx: &mut Tx,
        caller: &Caller,
        as_of: AsOf,
        (id, day): (Uuid, Option<NaiveDate>),
        numbers: BTreeSet<String>,
    ) -> Result<Self, Stopped> {
        let scope = caller.may(Action::RecordSamples)?;
        if !scope.sites.holds(SiteId(id)) {
            return Err(Stopped::unknown());
        }
        let site = recording::read::<Site>(tx, caller, as_of, id).await?;
        let of_site = [Where::Site(SiteId(id)), Where::Standing];
        let agents = versions::list::<Agent>(tx, &scope, as_of, &[Where::Standing], None).await?;
        let expected = versions::list::<ExpectedAgent>(tx, &scope, as_of, &of_site, None).await?;
        let tasks = versions::list::<Task>(tx, &scope, as_of, &of_site, None).await?;
        let controls = versions::list::<Control>(tx, &scope, as_of, &of_site, None).await?;
        let groups = versions::list::<Group>(tx, &scope, as_of, &of_site, None).await?;
        let assignments = versions::list::<Assignment>(tx, &scope, as_of, &of_site, None).await?;
        let day = day.unwrap_or(as_of.date);
        let on_day =
            |one: &&Version<Assignment>| one.fact.from <= day && one.fact.to.is_none_or(|to| day < to);
        let worker = |one: &Version<Assignment>| one.parent.unwrap_or_default();
        let assigned: BTreeSet<Uuid> = assignments.iter().map(worker).collect();
        let mut offered: BTreeSet<Uuid> = assignments.iter().filter(on_day).map(worker).collect();
        if offered.len() > OFFERED_MOST {
            offered.clear();
        }
        let by_number =
            [Where::TextIsOneOf("employee_number", numbers.into_iter().collect()), Where::Standing];
        let workers_in_sight = caller.may(Action::ReadWorkers)?;
        let employments =
            versions::list::<Employment>(tx, &workers_in_sight, as_of, &by_number, None).await?;
        let typed = employments.iter().filter_map(|one| one.parent);
        let named = offered.iter().copied().chain(typed).collect();
        let names = Names::default().and_workers(tx, caller, as_of, named).await?;
        let mut workers: Vec<Offer> = offered
            .iter()
            .filter_map(|id| {
                let (name, number) = names.worker_parts(*id)?;
                Some(Offer { code: number.to_owned(), title: name.to_owned() })
            })
            .collect();
        workers.sort_by(|one, other| one.code.cmp(&other.code));
        Ok(Self {
            agents: agents.into_iter().map(|agent| agent.fact).collect(),
            expected: expected.into_iter().map(|one| one.fact.agent_code.to_string()).collect(),
            tasks: by_code(&tasks, |task| (task.code.as_str(), task.title.as_str())),
            controls: by_code(&controls, |control| (control.code.as_str(), control.title.as_str())),
            groups: by_code(&groups, |group| (group.code.as_str(), group.title.as_str())),
            site,
            assigned,
            employments,
            names,
            workers,
        })
    }

    /// Whom a number stands for, `Q-3120`, or with the employer `Q-3120, Lynhead`: of several those who are assigned here.
    pub fn worker(&self, typed: &str) -> Found {
        let (number, employer) = number_and_employer(typed);
        let fits = |one: &&Version<Employment>| {
            one.fact.employee_number.as_str() == number
                && employer.is_none_or(|employer| one.fact.employer.as_str().eq_ignore_ascii_case(employer))
        };
        let all: BTreeSet<Uuid> = self.employments.iter().filter(fits).filter_map(|one| one.parent).collect();
        let here: BTreeSet<Uuid> = all.intersection(&self.assigned).copied().collect();
        let found = if here.is_empty() { all } else { here };
        match (found.len(), found.first()) {
            (1, Some(one)) => Found::One(*one),
            (0, _) | (_, None) => Found::Nobody,
            _ => Found::Several,
        }
    }

    /// The name of a worker who was typed or is offered.
    pub fn name(&self, id: Uuid) -> Option<&str> {
        self.names.worker_parts(id).map(|(name, _)| name)
    }

    /// How many workers a page with all this names.
    pub fn workers_named(&self) -> usize {
        self.names.workers_named()
    }

    /// The agents that are offered: those expected at the site, or else all.
    pub fn agents_offered(&self) -> Vec<Offer> {
        let all = self.expected.is_empty();
        let mut offers: Vec<Offer> = self
            .agents
            .iter()
            .filter(|agent| all || self.expected.contains(agent.code.as_str()))
            .map(|agent| Offer { code: agent.code.to_string(), title: agent.name.to_string() })
            .collect();
        offers.sort_by(|one, other| one.code.cmp(&other.code));
        offers
    }
}

/// A number as it was typed, with the employer if there is one behind a comma.
pub fn number_and_employer(typed: &str) -> (&str, Option<&str>) {
    match typed.split_once(',') {
        Some((number, employer)) if !employer.trim().is_empty() => (number.trim(), Some(employer.trim())),
        _ => (typed.trim(), None),
    }
}

fn by_code<F>(found: &[Version<F>], parts: impl Fn(&F) -> (&str, &str)) -> BTreeMap<String, (Uuid, String)> {
    found
        .iter()
        .map(|one| {
            let (code, title) = parts(&one.fact);
            (code.to_owned(), (one.id, title.to_owned()))
        })
        .collect()
}
