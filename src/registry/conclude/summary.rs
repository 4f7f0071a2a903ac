//! A worker and an agent in short: days, clauses, and the duties that ought to stand.

use crate::conclusions::history::assessed_days::{assessed_days, assessed_period};
use crate::model::facts::worker::Employment;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::shape::Shape;
use crate::model::version::Version;
use crate::registry::conclude::decided::{Decided, decided};
use crate::registry::conclude::history::Everything;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::worker_case::{Body, WorkerCase, worker_case};
use crate::registry::conclude::worker_clauses::WorkerClauses;
use crate::registry::duties::{Family, OF_A_SUMMARY, Ought, Whose};
use crate::registry::gather;
use crate::registry::gather::persons::Person;
use crate::registry::recompute::next_day;
use crate::registry::refusal::Refusal;
use crate::surveillance::case::{Case, MedicalGround};
use crate::surveillance::day_count::WINDOW_MONTHS;
use crate::surveillance::duties::{About, DutyKind, FIRST_OCCASION, OughtDuty};
use crate::surveillance::finding::Finding;
use crate::surveillance::programme::{LEAVING, Owed, owed};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

/// A summary with what it asks for.
#[derive(Debug)]
pub struct Summary {
    /// The row as it is stored.
    pub body: Value,
    /// The first date on which it would differ with no new fact.
    pub changes_on: Option<NaiveDate>,
    /// The duties that ought to stand.
    pub ought: OughtOfWorker,
}

/// The duties that ought to stand for a worker and an agent, family by family.
#[derive(Debug)]
pub struct OughtOfWorker {
    /// Those by the law but for those on medical grounds.
    pub by_law: Ought,
    /// Those by other authorities' clauses.
    pub by_others: Ought,
    /// Those on medical grounds, of which the row knows nothing.
    pub on_grounds: Ought,
}

impl OughtOfWorker {
    /// That a person is owed nothing for an agent.
    pub fn nothing(person: &Person, code: &str, learned_on: NaiveDate) -> Self {
        let family = |whose, medical| {
            let about = About::Worker(WorkerId(person.id));
            let also = person.also_known_as().unwrap_or_default();
            let agent_code = code.to_owned();
            let family = Family { about, also, agent_code, kinds: OF_A_SUMMARY, whose, medical };
            Ought { family, duties: Vec::new(), learned_on }
        };
        Self {
            by_law: family(Whose::TheLaw, false),
            by_others: family(Whose::Others, false),
            on_grounds: family(Whose::TheLaw, true),
        }
    }

    /// All of them.
    pub fn all(self) -> Vec<Ought> {
        vec![self.by_law, self.by_others, self.on_grounds]
    }
}

/// The summary of a worker and an agent over all sites.
///
/// # Errors
/// Only when storage fails.
pub async fn summary(
    sight: &mut Sight<'_>,
    now: DateTime<Utc>,
    worker: Uuid,
    code: &str,
) -> Result<Summary, Refusal> {
    let Some(case) = worker_case(sight, now, worker, code).await? else {
        let person = sight.person(worker).await?;
        let ought = OughtOfWorker::nothing(&person, code, sight.as_of.date);
        return Ok(Summary { body: json!({}), changes_on: None, ought });
    };
    let person = &case.found.worker.person;
    let grounds = gather::surveilled::grounds(sight.tx, sight.as_of, person, code).await?;
    let ought = ought(&case, code, &grounds);
    let evidence = case.found.evidence();
    let counted = case.days.at_or_above();
    let today = case.found.today;
    let assessed = assessed_days(&evidence, case.unit, assessed_period(today));
    let body = json!({
        "measured": counted.measured.worst(WINDOW_MONTHS).map_or(0, |worst| worst.count),
        "by_standing": counted.by_standing.worst(WINDOW_MONTHS).map_or(0, |worst| worst.count),
        "undecided": counted.undecided.worst(WINDOW_MONTHS).map_or(0, |worst| worst.count),
        "surveillance": WorkerClauses::of(&case).to_json(),
        "assessed": assessed.iter().map(Shape::to_json).collect::<Vec<_>>(),
    });
    let assignments = &case.found.worker.assignments;
    let open = assignments.iter().any(|assignment| assignment.fact.to.is_none_or(|to| to > today));
    // A due date may run from the day on which the registry learns of the duty, and what is due next depends on whether
    // the worker is covered today.
    let owed = !ought.by_law.duties.is_empty() || !ought.by_others.duties.is_empty();
    let changes_on = if open || !assessed.is_empty() || owed {
        Some(next_day(today))
    } else {
        dates_ahead(sight, &case.found).await?.into_iter().find(|date| *date > today)
    };
    Ok(Summary { body, changes_on, ought })
}

/// What ought to be offered, body by body of clauses; a clause under several rule sets by the one that decides on it.
fn ought(case: &WorkerCase, code: &str, grounds: &[MedicalGround]) -> OughtOfWorker {
    let person = &case.found.worker.person;
    let worker = WorkerId(person.id);
    let mut ought = OughtOfWorker::nothing(person, code, case.found.today);
    let mut by_others: Vec<(Option<SiteId>, OughtDuty)> = Vec::new();
    for (body, findings) in by_body(case, &[]) {
        let duties = offered(case, body, worker, &case.of(body), &findings);
        match &body.authority {
            None => ought.by_law.duties.extend(duties),
            Some(_) => duties.into_iter().for_each(|duty| add_once(&mut by_others, body.only, duty)),
        }
    }
    ought.by_others.duties = by_others.into_iter().map(|(_, duty)| duty).collect();
    // Grounds are evaluated apart, so that nothing that others see depends on one; and by the law's clauses alone.
    if !grounds.is_empty() {
        for (body, findings) in by_body(case, grounds) {
            if body.authority.is_none() {
                let duties =
                    offered(case, body, worker, &Case { grounds, ..case.of(body) }, &findings).into_iter();
                ought.on_grounds.duties.extend(duties.filter(|duty| duty.grounds.medical));
            }
        }
    }
    ought
}

/// The bodies of clauses with what each decides on.
fn by_body<'c>(case: &'c WorkerCase, grounds: &'c [MedicalGround]) -> Vec<(&'c Body, Vec<Finding<'c>>)> {
    let mut of_body: Vec<(&Body, Vec<Finding<'c>>)> =
        case.bodies.iter().map(|body| (body, Vec::new())).collect();
    for Decided { at, finding, .. } in decided(case, grounds) {
        if let Some((_, findings)) = of_body.get_mut(at) {
            findings.push(finding);
        }
    }
    of_body
}

/// Adds a duty by another authority's clause. Its clauses at one place are one programme, also where different rule sets
/// decide on them: what is due next, and what on leaving, is due once, at the earliest date.
fn add_once(duties: &mut Vec<(Option<SiteId>, OughtDuty)>, only: Option<SiteId>, duty: OughtDuty) {
    let key = &duty.key;
    let next = key.kind != DutyKind::OfferExamination && key.occasion != FIRST_OCCASION;
    let of_programme = next || key.occasion.starts_with(LEAVING);
    let same = |(place, other): &&mut (Option<SiteId>, OughtDuty)| {
        *place == only
            && other.grounds.authority == duty.grounds.authority
            && (other.key.kind, &other.key.occasion) == (key.kind, &key.occasion)
    };
    match duties.iter_mut().filter(|_| of_programme).find(same) {
        Some((_, other)) if duty.grounds.due_on < other.grounds.due_on => *other = duty,
        Some(_) => {}
        None => duties.push((only, duty)),
    }
}

/// What one body of clauses asks to be offered.
fn offered(
    case: &WorkerCase,
    body: &Body,
    worker: WorkerId,
    of_body: &Case<'_>,
    findings: &[Finding<'_>],
) -> Vec<OughtDuty> {
    let employments = &case.found.worker.employments;
    let facts = body.days.facts();
    let with_facts = |mut one: Owed| {
        let employer = owed_by(employments, &one).map(|employment| employment.fact.employer.clone());
        let grounds = &mut one.duty.grounds;
        grounds.employer = employer;
        grounds.authority.clone_from(&body.authority);
        for day in one.days.iter().filter_map(|date| facts.get(date)) {
            grounds.basis.extend(day.basis.iter().copied());
            grounds.sites.extend(day.sites.iter().copied());
        }
        one.duty
    };
    owed(&body.pack, worker, of_body, findings).into_iter().map(with_facts).collect()
}

/// Under which employment a duty is owed: the one that is left, else the one that held on the last day it rests on, else the
/// newest.
fn owed_by<'e>(employments: &'e [Version<Employment>], owed: &Owed) -> Option<&'e Version<Employment>> {
    let standing = || employments.iter().filter(|one| one.stands());
    let left = owed.duty.key.occasion.strip_prefix(LEAVING);
    let held = |one: &&Version<Employment>| match (left, owed.days.last()) {
        (Some(from), _) => one.fact.from.to_string() == from,
        (None, Some(day)) => one.fact.from <= *day && one.fact.to.is_none_or(|to| *day < to),
        (None, None) => false,
    };
    standing().find(held).or_else(|| standing().next_back())
}

/// The dates from which other limits or rule sets hold, in order.
async fn dates_ahead(sight: &mut Sight<'_>, found: &Everything) -> Result<BTreeSet<NaiveDate>, Refusal> {
    let mut dates = sight.clause_dates(found.agent.code().as_str()).await?;
    let limits = found.agent.limits.iter().map(|limit| &limit.fact);
    dates.extend(limits.flat_map(|limit| [limit.from, limit.to]).flatten());
    for exposure in &found.groups {
        if let Some(group) = sight.group(exposure.group.0).await? {
            let changes = group.site_rule_sets.iter().chain(&group.group_rule_sets);
            dates.extend(changes.map(|change| change.fact.from));
        }
    }
    Ok(dates)
}
