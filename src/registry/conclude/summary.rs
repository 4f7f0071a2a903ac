//! A worker and an agent in short: days, clauses, and the duties that ought to stand.

use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::history::assessed_days::{assessed_days, assessed_period};
use crate::conclusions::history::worker_days::{counting_horizon, worker_days};
use crate::conclusions::limits::{STATUTORY_AUTHORITY, rule_set_on, site_rule_set_on};
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::site::{RuleSetChange, Site};
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::shape::Shape;
use crate::registry::conclude::history::{Everything, everything};
use crate::registry::conclude::sight::Sight;
use crate::registry::duties::{Family, OF_A_SUMMARY, Ought};
use crate::registry::enter_pack::REGISTRY;
use crate::registry::gather;
use crate::registry::gather::surveilled::Surveilled;
use crate::registry::recompute::next_day;
use crate::registry::refusal::Refusal;
use crate::store::versions::Where;
use crate::surveillance::case::Case;
use crate::surveillance::day_count::WINDOW_MONTHS;
use crate::surveillance::duties::About;
use crate::surveillance::evaluation::findings;
use crate::surveillance::finding::FindingView;
use crate::surveillance::programme::{Owed, owed};
use crate::surveillance::triggers::{Question, levels_of};
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
    /// The duties that ought to stand but for those on medical grounds.
    pub ought: Ought,
    /// Those on medical grounds, of which the row knows nothing.
    pub on_grounds: Ought,
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
    let everything_there_is = Scope::everything(REGISTRY);
    let found = everything(sight, now, worker, code, &everything_there_is, Asked::default()).await?;
    let Some(found) = found else {
        let [ought, on_grounds] = nothing_owed(WorkerId(worker), code, sight.as_of.date);
        return Ok(Summary { body: json!({}), changes_on: None, ought, on_grounds });
    };
    let evidence = found.evidence();
    let unit = evidence.unit();
    let days = worker_days(&evidence, unit, counting_horizon(found.today));
    let plain = days.plain();
    let counted = days.at_or_above();
    let worked: Vec<_> =
        days.days.iter().flat_map(|day| day.worked.iter().map(|(group, _)| (day.day.date, *group))).collect();
    let beside =
        gather::surveilled::surveilled(sight.tx, sight.as_of, &found.worker, &found.agent, &worked, unit)
            .await?;
    let mut views: Vec<FindingView> = Vec::new();
    let [mut ought, mut on_grounds] = nothing_owed(WorkerId(worker), code, found.today);
    let medical_grounds = gather::surveilled::grounds(sight.tx, sight.as_of, worker, code).await?;
    let mut known_on_grounds: BTreeSet<String> = BTreeSet::new();
    let employer = found.worker.employments.last().map(|employment| employment.fact.employer.clone());
    let facts = days.facts();
    for (rule_set, site) in rule_sets(sight, &found, &beside).await? {
        let limits: Vec<_> = found
            .agent
            .limits
            .iter()
            .filter(|limit| limit.stands())
            .map(|limit| limit.fact.clone())
            .collect();
        let statutory: Vec<_> =
            limits.into_iter().filter(|limit| limit.authority.as_str() == STATUTORY_AUTHORITY).collect();
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
        // A clause that holds under two bodies of law is one clause.
        let mut these = findings(&pack, &case);
        these.retain(|finding| views.iter().all(|known| known.trigger_id != finding.rule.trigger_id));
        let with_days = |mut one: Owed| {
            let grounds = &mut one.duty.grounds;
            grounds.employer.clone_from(&employer);
            for day in one.days.iter().filter_map(|date| facts.get(date)) {
                grounds.basis.extend(day.basis.iter().copied());
                grounds.sites.extend(day.sites.iter().copied());
            }
            one.duty
        };
        ought.duties.extend(owed(&pack, WorkerId(worker), &case, &these).into_iter().map(with_days));
        if !medical_grounds.is_empty() {
            // Evaluated apart, so that nothing that others see depends on a ground.
            let case = Case { grounds: &medical_grounds, ..case };
            let mut these = findings(&pack, &case);
            these.retain(|finding| known_on_grounds.insert(finding.rule.trigger_id.clone()));
            let medical = owed(&pack, WorkerId(worker), &case, &these).into_iter();
            on_grounds.duties.extend(medical.map(with_days).filter(|duty| duty.grounds.medical));
        }
        views.extend(these.iter().map(|finding| finding.view(&pack, &case)));
    }
    let assessed = assessed_days(&evidence, unit, assessed_period(found.today));
    let body = json!({
        "measured": counted.measured.worst(WINDOW_MONTHS).map_or(0, |worst| worst.count),
        "by_standing": counted.by_standing.worst(WINDOW_MONTHS).map_or(0, |worst| worst.count),
        "undecided": counted.undecided.worst(WINDOW_MONTHS).map_or(0, |worst| worst.count),
        "clauses": views.iter().map(Shape::to_json).collect::<Vec<_>>(),
        "assessed": assessed.iter().map(Shape::to_json).collect::<Vec<_>>(),
    });
    let open = found
        .worker
        .assignments
        .iter()
        .any(|assignment| assignment.fact.to.is_none_or(|to| to > found.today));
    // A due date may run from the day on which the registry learns of the duty, and what is due next depends on whether
    // the worker is covered today.
    let slides = open || !assessed.is_empty() || !ought.duties.is_empty();
    let changes_on = if slides {
        Some(next_day(found.today))
    } else {
        dates_ahead(sight, &found).await?.into_iter().find(|date| *date > found.today)
    };
    Ok(Summary { body, changes_on, ought, on_grounds })
}

/// That a worker is owed nothing for an agent: neither but for medical grounds nor on them.
pub fn nothing_owed(worker: WorkerId, code: &str, learned_on: NaiveDate) -> [Ought; 2] {
    [false, true].map(|medical| {
        let about = About::Worker(worker);
        let family = Family { about, agent_code: code.to_owned(), kinds: OF_A_SUMMARY, medical };
        Ought { family, duties: Vec::new(), learned_on }
    })
}

/// The dates from which other limits or rule sets hold, in order.
async fn dates_ahead(sight: &mut Sight<'_>, found: &Everything) -> Result<BTreeSet<NaiveDate>, Refusal> {
    let limits = found.agent.limits.iter().map(|limit| &limit.fact);
    let mut dates: BTreeSet<NaiveDate> = limits.flat_map(|limit| [limit.from, limit.to]).flatten().collect();
    for exposure in &found.groups {
        if let Some(group) = sight.group(exposure.group.0).await? {
            let changes = group.site_rule_sets.iter().chain(&group.group_rule_sets);
            dates.extend(changes.map(|change| change.fact.from));
        }
    }
    Ok(dates)
}

/// The rule sets under which the worker has worked or was present at a release, each with a site of it, in the order of
/// the words.
pub(super) async fn rule_sets(
    sight: &mut Sight<'_>,
    found: &Everything,
    beside: &Surveilled,
) -> Result<Vec<(RuleSet, SiteId)>, Refusal> {
    let mut sets: Vec<(RuleSet, SiteId)> = Vec::new();
    for exposure in &found.groups {
        if let Some(group) = sight.group(exposure.group.0).await? {
            let rule_set = rule_set_on(&group, found.today);
            if sets.iter().all(|(known, _)| *known != rule_set) {
                sets.push((rule_set, exposure.site));
            }
        }
    }
    for site in beside.releases.iter().filter_map(|release| release.behind.site) {
        let Some(known) = gather::one::<Site>(sight.tx, sight.as_of, site.0).await? else { continue };
        let changes = gather::all::<RuleSetChange>(sight.tx, sight.as_of, &[Where::Parent(site.0)]).await?;
        let rule_set = site_rule_set_on(&known, &changes, found.today);
        if sets.iter().all(|(other, _)| *other != rule_set) {
            sets.push((rule_set, site));
        }
    }
    sets.sort_by_key(|(rule_set, _)| *rule_set);
    Ok(sets)
}
