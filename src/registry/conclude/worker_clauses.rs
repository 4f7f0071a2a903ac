//! Every clause for a worker and an agent with the days it counts, as facts but for medical grounds show it.

use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::history::passing::{KnownShares, chance_for};
use crate::conclusions::history::worker_days::{counting_horizon, worker_days};
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::model::facts::rule_set::RuleSet;
use crate::model::identifiers::SiteId;
use crate::registry::conclude::history::everything;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::summary::rule_sets;
use crate::registry::enter_pack::REGISTRY;
use crate::registry::gather::surveilled::surveilled;
use crate::registry::refusal::Refusal;
use crate::surveillance::calendar::add_months;
use crate::surveillance::case::Case;
use crate::surveillance::clause::{days_needed, window_months};
use crate::surveillance::day_count::Window;
use crate::surveillance::evaluation::findings;
use crate::surveillance::finding::FindingView;
use crate::surveillance::triggers::{Question, levels_of};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Said where numbers rest on sites out of the reader's sight.
pub const DAYS_ACROSS_SITES: &str = "days_across_sites";

/// One clause for one worker.
#[derive(Debug, Clone)]
pub struct WorkerClause {
    /// Under which body of law.
    pub rule_set: RuleSet,
    /// What became of it.
    pub view: FindingView,
    /// How many days it takes, where it counts days.
    pub days_needed: Option<i64>,
    /// The chance that the days are enough in the coming twelve months.
    pub chance: Option<f64>,
    /// Days of the worst window on which the worker was measured.
    pub measured: i64,
    /// Days of it up to today that rest on the group or a record.
    pub represented: i64,
    /// Days of it that are planned.
    pub planned: i64,
}

/// All clauses of a worker and an agent over all sites.
#[derive(Debug, Clone, Default)]
pub struct WorkerClauses {
    /// In the order of the rule sets and of the pack; a clause under two rule sets once.
    pub clauses: Vec<WorkerClause>,
    /// Every site that anything of it rests on.
    pub sites: BTreeSet<SiteId>,
    /// The latest local date over the worker's sites.
    pub today: Option<NaiveDate>,
}

impl WorkerClauses {
    /// Whether all of it lies in a scope.
    pub fn within(&self, scope: &Scope) -> bool {
        self.sites.iter().all(|site| scope.sites.holds(*site))
    }
}

fn number(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

/// The clauses; `chances` says whether their probabilities are asked for, which take the groups' posteriors.
///
/// # Errors
/// Only when storage fails.
pub async fn worker_clauses(
    sight: &mut Sight<'_>,
    now: DateTime<Utc>,
    worker: Uuid,
    code: &str,
    chances: bool,
) -> Result<WorkerClauses, Refusal> {
    let all_sites = Scope::everything(REGISTRY);
    let found = everything(sight, now, worker, code, &all_sites, Asked::default()).await?;
    let Some(found) = found else { return Ok(WorkerClauses::default()) };
    let evidence = found.evidence();
    let unit = evidence.unit();
    let days = worker_days(&evidence, unit, counting_horizon(found.today));
    let plain = days.plain();
    let worked: Vec<_> =
        days.days.iter().flat_map(|day| day.worked.iter().map(|(group, _)| (day.day.date, *group))).collect();
    let beside = surveilled(sight.tx, sight.as_of, &found.worker, &found.agent, &worked, unit).await?;
    let mut sites: BTreeSet<SiteId> = days.days.iter().flat_map(|day| day.sites.iter().copied()).collect();
    sites.extend(beside.conditions.iter().filter_map(|one| one.behind.site));
    sites.extend(beside.releases.iter().filter_map(|one| one.behind.site));
    let measured: BTreeSet<NaiveDate> = plain
        .iter()
        .filter(|day| day.twa.is_some() || day.short_term.is_some())
        .map(|day| day.date)
        .collect();
    let limits = found.agent.limits.iter().filter(|limit| limit.stands()).map(|limit| limit.fact.clone());
    let statutory: Vec<_> = limits.filter(|limit| limit.authority.as_str() == STATUTORY_AUTHORITY).collect();
    let mut clauses: Vec<WorkerClause> = Vec::new();
    let mut known = KnownShares::default();
    for (rule_set, site) in rule_sets(sight, &found, &beside).await? {
        let (levels, _) = levels_of(&statutory, rule_set, Some(found.today));
        let pack = sight.pack().await?;
        let working_days = sight.working_days(site).await?;
        let question = Question {
            agent_code: code,
            rule_set,
            levels,
            unit,
            learned_on: Some(found.today),
            working_days: &working_days,
        };
        let case = Case {
            question,
            today: found.today,
            days: &plain,
            conditions: &beside.conditions,
            earlier: &beside.earlier,
            releases: &beside.releases,
            grounds: &[],
            examinations: &beside.examinations,
            employments: &beside.employments,
        };
        for finding in findings(&pack, &case) {
            if clauses.iter().any(|known| known.view.trigger_id == finding.rule.trigger_id) {
                continue;
            }
            let chance = (chances && !finding.met && !finding.by_default)
                .then(|| chance_for(&evidence, &days, &finding, levels, unit, found.today, &mut known));
            let counts_days = finding.rule.days_value.is_some();
            let window = finding.worst.as_ref().map_or_else(
                || Window { from: found.today, to: add_months(found.today, window_months(finding.rule)) },
                |worst| worst.window.clone(),
            );
            let counted = finding.counted.within(window.from, window.to);
            let own = counted.iter().filter(|date| measured.contains(*date)).count();
            let planned =
                counted.iter().filter(|date| !measured.contains(*date) && **date > found.today).count();
            clauses.push(WorkerClause {
                rule_set,
                days_needed: counts_days.then(|| number(days_needed(finding.rule))),
                chance: chance.flatten(),
                measured: number(own),
                represented: number(counted.len() - own - planned),
                planned: number(planned),
                view: finding.view(&pack, &case),
            });
        }
    }
    Ok(WorkerClauses { clauses, sites, today: Some(found.today) })
}
