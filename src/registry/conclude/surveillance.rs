//! `GET /workers/{id}/surveillance`: every clause for a worker, and the chance of passing its days beside the rule's count.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::model::facts::agent::Verification;
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::worker::Worker;
use crate::model::identifiers::WorkerId;
use crate::model::text::Code;
use crate::record;
use crate::registry::conclude::derive;
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::worker_clauses::{
    DAYS_ACROSS_SITES, WorkerClause, worker_clauses, worker_clauses_afresh,
};
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::surveillance::day_count::Window;
use crate::surveillance::finding::{LimbCount, YearCount};
use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

record! {
    /// A clause for a worker.
    pub struct SurveillanceClause {
        /// Whose clause: the law's that comes with the program, or another authority's.
        authority: Option<Code>,
        /// Row of the pack, or the code of another authority's clause.
        trigger_id: String,
        /// Section and paragraph.
        clause: String,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Under which body of law: of several under which it holds the one that decides.
        rule_set: RuleSet,
        /// Whether the days, or the event, are enough.
        met: bool,
        /// Whether it covers unless shown otherwise, and nothing shows otherwise.
        covered_by_default: Option<bool>,
        /// Days counted in the worst window; absent, like every number here, where days are at sites out of sight, or where
        /// the clause cannot be read.
        days_counted: Option<i64>,
        /// How many the clause takes; absent where it counts none.
        days_needed: Option<i64>,
        /// The worst window.
        window: Option<Window>,
        /// The same days by the limbs of the clause.
        limbs: Option<Vec<LimbCount>>,
        /// Of the days in the window those on which the worker was measured.
        measured_days: Option<i64>,
        /// Those up to today that stand on the group or a record.
        represented_days: Option<i64>,
        /// Those planned ahead.
        planned_days: Option<i64>,
        /// Days of each calendar year, beside.
        calendar_years: Option<Vec<YearCount>>,
        /// When it was first met.
        first_met_on: Option<NaiveDate>,
        /// When the first examination is due.
        due_on: Option<NaiveDate>,
        /// The probability that the days are enough in a window that ends in the coming twelve months, from 0 to 1; absent
        /// where they are already, or where a group with planned days has no results.
        chance: Option<f64>,
        /// What must be known beside it.
        note: Option<String>,
        /// What is to be known of it.
        flags: Vec<String>,
        /// In words.
        words: String,
    }
}

record! {
    /// A worker and an agent by every clause.
    pub struct SurveillanceView {
        /// The entry under which it stands: of a worker with several entries the one that stays.
        worker_id: WorkerId,
        /// The other entries of the same person.
        also_known_as: Option<Vec<WorkerId>>,
        /// The agent.
        agent_code: Code,
        /// The day it is seen from.
        today: Option<NaiveDate>,
        /// The clauses.
        clauses: Vec<SurveillanceClause>,
    }
}

impl SurveillanceClause {
    /// A clause for a reader who sees all the sites behind it, or some.
    fn of(found: WorkerClause, whole: bool) -> Self {
        let WorkerClause {
            authority,
            rule_set,
            view,
            days_needed,
            chance,
            measured,
            represented,
            planned,
            unread,
        } = found;
        let counted = whole && unread.is_none();
        let across = (!whole).then(|| DAYS_ACROSS_SITES.to_owned());
        Self {
            authority: authority.or_else(|| Code::new(STATUTORY_AUTHORITY)),
            trigger_id: view.trigger_id,
            clause: view.clause,
            edition: view.edition,
            verification: view.verification,
            rule_set,
            met: view.met,
            covered_by_default: view.covered_by_default,
            days_counted: counted.then_some(view.days_counted),
            days_needed,
            window: view.window.filter(|_| whole),
            limbs: counted.then_some(view.limbs),
            measured_days: counted.then_some(measured),
            represented_days: counted.then_some(represented),
            planned_days: counted.then_some(planned),
            calendar_years: counted.then_some(view.calendar_years),
            first_met_on: view.first_met_on.filter(|_| whole),
            due_on: view.due_on,
            chance: chance.filter(|_| whole),
            note: view.note.filter(|_| whole),
            flags: across.into_iter().chain(unread.map(|why| why.to_string())).collect(),
            words: view.words,
        }
    }
}

/// Every clause for a worker and an agent that facts but medical grounds speak of.
///
/// # Errors
/// [`Refusal::Unknown`] where the worker is not in sight; a fault for an agent that is not known.
pub async fn surveillance(
    sight: &mut Sight<'_>,
    caller: &Caller,
    now: DateTime<Utc>,
    worker: Uuid,
    code: &Code,
) -> Result<SurveillanceView, Refusal> {
    let scope = caller.may(Action::ReadDuties)?;
    recording::read::<Worker>(sight.tx, caller, sight.as_of, worker).await?;
    derive::must_be_agent(sight.tx, sight.as_of, code.as_str()).await?;
    let mut found = worker_clauses(sight, now, worker, code.as_str()).await?;
    // The stored row of whoever has nothing ahead of him may be of an earlier day; what is shown says the day it is seen from.
    let horizon = gather::workers::worker(sight.tx, sight.as_of, worker).await?.map(|it| it.horizon(now));
    if found.today.is_some() && found.today.and_then(|day| day.succ_opt()) != horizon {
        found = worker_clauses_afresh(sight, now, worker, code.as_str()).await?;
    }
    let whole = found.within(&scope);
    // Another authority's clause may be that of a site out of sight: it would tell which one.
    let told = |clause: &WorkerClause| whole || clause.authority.is_none();
    let persons = persons(sight.tx, sight.as_of, &[worker]).await?;
    let person = persons.in_sight(sight.tx, &scope, sight.as_of).await?.person(worker);
    Ok(SurveillanceView {
        worker_id: WorkerId(person.id),
        also_known_as: person.also_known_as(),
        agent_code: code.clone(),
        today: found.today,
        clauses: found
            .clauses
            .into_iter()
            .filter(told)
            .map(|clause| SurveillanceClause::of(clause, whole))
            .collect(),
    })
}
