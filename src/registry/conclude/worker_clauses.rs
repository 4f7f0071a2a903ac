//! Every clause for a worker and an agent with the days it counts, as facts but for medical grounds show it.

use crate::access::scope::Scope;
use crate::conclusions::asked::Asked;
use crate::conclusions::history::passing::{KnownShares, chance_for};
use crate::model::facts::rule_set::RuleSet;
use crate::model::identifiers::SiteId;
use crate::model::shape::Shape;
use crate::model::text::Code;
use crate::record;
use crate::registry::conclude::decided::decided;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::worker_case::{Body, WorkerCase, worker_case};
use crate::registry::refusal::Refusal;
use crate::store::marks::MarkKind;
use crate::surveillance::calendar::add_months;
use crate::surveillance::clause::{days_needed, window_months};
use crate::surveillance::day_count::Window;
use crate::surveillance::finding::{Finding, FindingView};
use crate::surveillance::pack::of_authority::{Unread, UnreadClause};
use chrono::{DateTime, NaiveDate, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Said where numbers rest on sites out of the reader's sight.
pub const DAYS_ACROSS_SITES: &str = "days_across_sites";

record! {
    /// One clause for one worker, as the summary keeps it.
    pub struct WorkerClause {
        /// Whose clause; absent: the law's that comes with the program.
        authority: Option<Code>,
        /// Under which body of law.
        rule_set: RuleSet,
        /// What became of it.
        view: FindingView,
        /// How many days it takes, where it counts days.
        days_needed: Option<i64>,
        /// The chance that the days are enough in the coming twelve months.
        chance: Option<f64>,
        /// Days of the worst window on which the worker was measured.
        measured: i64,
        /// Days of it up to today that rest on the group or a record.
        represented: i64,
        /// Days of it that are planned.
        planned: i64,
        /// Why it cannot be read under any rule set.
        unread: Option<Unread>,
    }
}

record! {
    /// All clauses of a worker and an agent over all sites.
    pub struct WorkerClauses {
        /// The law's first, in the order of the rule sets and of the pack, then other authorities' by name; a clause under
        /// two rule sets once, by the one that decides on it.
        clauses: Vec<WorkerClause>,
        /// Every site that anything of it rests on.
        sites: Vec<SiteId>,
        /// The latest local date over the worker's sites.
        today: Option<NaiveDate>,
    }
}

impl WorkerClauses {
    fn none() -> Self {
        Self { clauses: Vec::new(), sites: Vec::new(), today: None }
    }

    /// Whether all of it lies in a scope.
    pub fn within(&self, scope: &Scope) -> bool {
        self.sites.iter().all(|site| scope.sites.holds(*site))
    }

    /// The clauses of a case, with what became of each.
    pub fn of(case: &WorkerCase) -> Self {
        let mut known = KnownShares::default();
        let mut clauses: Vec<WorkerClause> = decided(case, &[])
            .into_iter()
            .map(|one| WorkerClause::of(case, one.body, &one.finding, &mut known))
            .collect();
        for body in &case.bodies {
            for unread in body.unread.iter().filter(|unread| unread.clause.worker.is_some()) {
                let id = unread.clause.code.as_str();
                if clauses.iter().all(|clause| clause.view.trigger_id != id) {
                    clauses.push(WorkerClause::unread(body, unread));
                }
            }
        }
        clauses.sort_by(|one, two| one.authority.cmp(&two.authority));
        let mut sites: BTreeSet<SiteId> =
            case.days.days.iter().flat_map(|day| day.sites.iter().copied()).collect();
        sites.extend(case.beside.conditions.iter().filter_map(|one| one.behind.site));
        sites.extend(case.beside.releases.iter().filter_map(|one| one.behind.site));
        Self { clauses, sites: sites.into_iter().collect(), today: Some(case.found.today) }
    }
}

fn number(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

impl WorkerClause {
    fn of(case: &WorkerCase, body: &Body, finding: &Finding<'_>, known: &mut KnownShares) -> Self {
        let today = case.found.today;
        let open = !finding.met && !finding.by_default;
        let chance = open.then(|| {
            let evidence = case.found.evidence();
            chance_for(&evidence, &body.days, finding, body.levels, case.unit, today, known)
        });
        let window = finding.worst.as_ref().map_or_else(
            || Window { from: today, to: add_months(today, window_months(finding.rule)) },
            |worst| worst.window.clone(),
        );
        let measured: BTreeSet<NaiveDate> = body
            .days
            .days
            .iter()
            .filter(|day| day.day.twa.is_some() || day.day.short_term.is_some())
            .map(|day| day.day.date)
            .collect();
        let counted = finding.counted.within(window.from, window.to);
        let own = counted.iter().filter(|date| measured.contains(*date)).count();
        let planned = counted.iter().filter(|date| !measured.contains(*date) && **date > today).count();
        Self {
            authority: body.authority.clone(),
            rule_set: body.rule_set,
            days_needed: finding.rule.days_value.is_some().then(|| number(days_needed(finding.rule))),
            chance: chance.flatten(),
            measured: number(own),
            represented: number(counted.len() - own - planned),
            planned: number(planned),
            unread: None,
            view: finding.view(&body.pack, &case.of(body)),
        }
    }

    /// One that cannot be read: it stands there all the same, so that nobody takes it for one that does not exist.
    fn unread(body: &Body, unread: &UnreadClause) -> Self {
        Self {
            authority: body.authority.clone(),
            rule_set: body.rule_set,
            view: FindingView::unread(unread),
            days_needed: None,
            chance: None,
            measured: 0,
            represented: 0,
            planned: 0,
            unread: Some(unread.why),
        }
    }
}

/// The clauses, from the worker's stored summary where that is fresh.
///
/// # Errors
/// Only when storage fails.
pub async fn worker_clauses(
    sight: &mut Sight<'_>,
    now: DateTime<Utc>,
    worker: Uuid,
    code: &str,
) -> Result<WorkerClauses, Refusal> {
    let stored = sight.stored(MarkKind::Summary, worker, code, Asked::default()).await?;
    let kept = stored.and_then(|body| WorkerClauses::parse(body.get("surveillance")?).ok());
    if let Some(kept) = kept {
        return Ok(kept);
    }
    worker_clauses_afresh(sight, now, worker, code).await
}

/// The clauses, worked out from the facts.
///
/// # Errors
/// Only when storage fails.
pub async fn worker_clauses_afresh(
    sight: &mut Sight<'_>,
    now: DateTime<Utc>,
    worker: Uuid,
    code: &str,
) -> Result<WorkerClauses, Refusal> {
    let case = worker_case(sight, now, worker, code).await?;
    Ok(case.map_or_else(WorkerClauses::none, |case| WorkerClauses::of(&case)))
}
