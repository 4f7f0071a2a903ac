//! A worker and an agent as clauses look at them: gathered once, and then read by each body of clauses, the law's under every
//! rule set and those of every other authority that the worker comes under.

use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::group_standing::OtherAuthority;
use crate::conclusions::history::worker_days::{WorkerDays, counting_horizon, worker_days, worker_days_by};
use crate::conclusions::limits::{STATUTORY_AUTHORITY, rule_set_on, site_rule_set_on};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::site::{RuleSetChange, Site};
use crate::model::identifiers::SiteId;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::registry::conclude::history::{Everything, everything};
use crate::registry::conclude::sight::{ClausePlace, Sight};
use crate::registry::enter_pack::REGISTRY;
use crate::registry::gather;
use crate::registry::gather::surveilled::{Surveilled, surveilled};
use crate::registry::refusal::Refusal;
use crate::store::versions::Where;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::case::Case;
use crate::surveillance::day_count::Day;
use crate::surveillance::level::Levels;
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::of_authority::UnreadClause;
use crate::surveillance::triggers::Question;
use chrono::{DateTime, Utc};
use std::collections::BTreeSet;
use std::sync::Arc;
use uuid::Uuid;

/// Everything that clauses look at, over all sites.
#[derive(Debug)]
pub struct WorkerCase {
    /// Worker, agent, groups, own shifts.
    pub found: Everything,
    /// What clauses look at beside days.
    pub beside: Surveilled,
    /// The unit of all levels.
    pub unit: Unit,
    /// The worker's days as the law reads them.
    pub days: Arc<WorkerDays>,
    /// The bodies of clauses: the law's first, in the order of the rule sets, then the others by name.
    pub bodies: Vec<Body>,
}

/// The clauses of one authority under one rule set, with the days that they count.
#[derive(Debug)]
pub struct Body {
    /// Whose clauses; `None`: the law that comes with the program.
    pub authority: Option<Code>,
    /// Under which rule set.
    pub rule_set: RuleSet,
    /// The authority's levels today.
    pub levels: Levels,
    /// The site whose own clauses they are; `None`: those of every site.
    pub only: Option<SiteId>,
    /// The clauses.
    pub pack: Arc<Pack>,
    /// Those that cannot be read today.
    pub unread: Vec<UnreadClause>,
    /// The days as the authority reads them.
    pub days: Arc<WorkerDays>,
    plain: Vec<Day>,
    beside: Option<Surveilled>,
    working_days: Arc<WorkingDays>,
}

impl WorkerCase {
    /// The case of one body of clauses, without medical grounds.
    pub fn of<'c>(&'c self, body: &'c Body) -> Case<'c> {
        let beside = body.beside.as_ref().unwrap_or(&self.beside);
        Case {
            question: Question {
                agent_code: self.found.agent.code().as_str(),
                rule_set: body.rule_set,
                levels: body.levels,
                unit: self.unit,
                learned_on: Some(self.found.today),
                working_days: &body.working_days,
            },
            today: self.found.today,
            days: &body.plain,
            conditions: &beside.conditions,
            earlier: &beside.earlier,
            releases: &beside.releases,
            grounds: &[],
            examinations: &beside.examinations,
            employments: &beside.employments,
        }
    }
}

/// Gathers it; `None` where worker or agent is not known.
///
/// # Errors
/// Only when storage fails.
pub async fn worker_case(
    sight: &mut Sight<'_>,
    now: DateTime<Utc>,
    worker: Uuid,
    code: &str,
) -> Result<Option<WorkerCase>, Refusal> {
    let all_sites = Scope::everything(REGISTRY);
    let found = everything(sight, now, worker, code, &all_sites, Asked::default()).await?;
    let Some(found) = found else { return Ok(None) };
    let unit = found.evidence().unit();
    let days = worker_days(&found.evidence(), unit, counting_horizon(found.today));
    let worked: Vec<_> =
        days.days.iter().flat_map(|day| day.worked.iter().map(|(group, _)| (day.day.date, *group))).collect();
    let beside = surveilled(sight.tx, sight.as_of, &found.worker, &found.agent, &worked, unit).await?;
    let mut case = WorkerCase { found, beside, unit, days: Arc::new(days), bodies: Vec::new() };
    let rule_sets = rule_sets(sight, &case.found, &case.beside).await?;
    for (rule_set, site) in &rule_sets {
        let level =
            |kind| case.found.agent.level(STATUTORY_AUTHORITY, kind, *rule_set, case.found.today, case.unit);
        let levels = Levels { action_level: level(LimitKind::ActionLevel), limit: level(LimitKind::Twa) };
        let body = Body {
            authority: None,
            rule_set: *rule_set,
            levels,
            only: None,
            pack: sight.pack().await?,
            unread: Vec::new(),
            days: Arc::clone(&case.days),
            plain: case.days.plain(),
            beside: None,
            working_days: working_days(sight, *site).await?,
        };
        case.bodies.push(body);
    }
    others(sight, &mut case, &rule_sets).await?;
    Ok(Some(case))
}

/// The bodies of clauses of other authorities: those of every site count days over all sites, those of one site the days
/// there.
async fn others(
    sight: &mut Sight<'_>,
    case: &mut WorkerCase,
    rule_sets: &[(RuleSet, Option<SiteId>)],
) -> Result<(), Refusal> {
    let (agent, unit) = (Arc::clone(&case.found.agent), case.unit);
    let mut bodies = Vec::new();
    for &(rule_set, site) in rule_sets {
        for other in sight.other_authorities(&agent, ClausePlace::EverySite, rule_set, unit).await? {
            bodies.push(body(sight, case, other, rule_set, site, None).await?);
        }
    }
    let sites: BTreeSet<(SiteId, RuleSet)> = site_rule_sets(sight, case).await?;
    for (site, rule_set) in sites {
        for other in sight.other_authorities(&agent, ClausePlace::OnlyOf(site), rule_set, unit).await? {
            bodies.push(body(sight, case, other, rule_set, Some(site), Some(site)).await?);
        }
    }
    bodies.sort_by(|one, two| one.authority.cmp(&two.authority));
    case.bodies.append(&mut bodies);
    Ok(())
}

async fn body(
    sight: &mut Sight<'_>,
    case: &WorkerCase,
    other: OtherAuthority,
    rule_set: RuleSet,
    site: Option<SiteId>,
    only: Option<SiteId>,
) -> Result<Body, Refusal> {
    let horizon = counting_horizon(case.found.today);
    let mut days = worker_days_by(&other.authority, &case.found.evidence(), case.unit, horizon);
    let beside = only.map(|site| {
        days.days.retain(|day| day.sites.contains(&site));
        case.beside.at(site)
    });
    Ok(Body {
        authority: Some(other.authority),
        rule_set,
        levels: other.levels,
        only,
        pack: Arc::new(other.pack),
        unread: other.unread,
        plain: days.plain(),
        days: Arc::new(days),
        beside,
        working_days: working_days(sight, site).await?,
    })
}

/// The working days of a site; of none, those without any of a site's own.
async fn working_days(sight: &mut Sight<'_>, site: Option<SiteId>) -> Result<Arc<WorkingDays>, Refusal> {
    match site {
        Some(site) => sight.working_days(site).await,
        None => Ok(Arc::new(WorkingDays::default())),
    }
}

/// The sites of the worker's groups, each with the rule sets of his groups there today; of a site at which he was present at
/// a release and in no group, its own.
async fn site_rule_sets(
    sight: &mut Sight<'_>,
    case: &WorkerCase,
) -> Result<BTreeSet<(SiteId, RuleSet)>, Refusal> {
    let today = case.found.today;
    let mut found = BTreeSet::new();
    for exposure in &case.found.groups {
        let group = sight.group(exposure.group.0).await?;
        found.extend(group.map(|group| (exposure.site, rule_set_on(&group, today))));
    }
    for site in case.beside.releases.iter().filter_map(|release| release.behind.site) {
        if found.iter().all(|(known, _)| *known != site) {
            found.extend(rule_set_of_site(sight, site, today).await?.map(|set| (site, set)));
        }
    }
    Ok(found)
}

async fn rule_set_of_site(
    sight: &mut Sight<'_>,
    site: SiteId,
    today: chrono::NaiveDate,
) -> Result<Option<RuleSet>, Refusal> {
    let Some(known) = gather::one::<Site>(sight.tx, sight.as_of, site.0).await? else { return Ok(None) };
    let changes = gather::all::<RuleSetChange>(sight.tx, sight.as_of, &[Where::Parent(site.0)]).await?;
    Ok(Some(site_rule_set_on(&known, &changes, today)))
}

/// The rule sets under which the worker has worked or was present at a release, each with a site of it, in the order of
/// the words. Of whoever is known from nowhere (an earlier exposure or a physician's entry alone) nobody can say which law he
/// comes under: every one, so that none of his duties is missing.
async fn rule_sets(
    sight: &mut Sight<'_>,
    found: &Everything,
    beside: &Surveilled,
) -> Result<Vec<(RuleSet, Option<SiteId>)>, Refusal> {
    let mut sets: Vec<(RuleSet, Option<SiteId>)> = Vec::new();
    for exposure in &found.groups {
        if let Some(group) = sight.group(exposure.group.0).await? {
            let rule_set = rule_set_on(&group, found.today);
            if sets.iter().all(|(known, _)| *known != rule_set) {
                sets.push((rule_set, Some(exposure.site)));
            }
        }
    }
    for site in beside.releases.iter().filter_map(|release| release.behind.site) {
        let Some(rule_set) = rule_set_of_site(sight, site, found.today).await? else { continue };
        if sets.iter().all(|(other, _)| *other != rule_set) {
            sets.push((rule_set, Some(site)));
        }
    }
    if sets.is_empty() {
        sets.extend(RuleSet::ALL.iter().map(|rule_set| (*rule_set, None)));
    }
    sets.sort_by_key(|(rule_set, _)| *rule_set);
    Ok(sets)
}
