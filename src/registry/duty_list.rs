//! Listing duties: those in a reader's sight, page by page or the most urgent first.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::{Scope, Sites};
use crate::model::facts::duty::{Duty, DutyAction, DutyKind, DutyStatus};
use crate::model::facts::worker::Worker;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::version::Version;
use crate::registry::duty_view::{DutyView, Reader, stands_before_a_ground};
use crate::registry::escalation::urgency;
use crate::registry::gather;
use crate::registry::gather::persons::persons;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Page, Where};
use crate::words;
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// Which duties are asked for.
#[derive(Debug, Clone, Default)]
pub struct Question {
    /// Of workers who are on this site.
    pub site: Option<SiteId>,
    /// Of this worker.
    pub worker: Option<WorkerId>,
    /// Of this kind.
    pub kind: Option<DutyKind>,
    /// That stand like this.
    pub status: Option<DutyStatus>,
    /// Due before this day.
    pub due_before: Option<NaiveDate>,
}

words! {
    /// In which order duties are listed.
    pub enum DutyOrder {
        /// As they were raised.
        Raised = "raised",
        /// Those that went furthest in escalation first, then the longest overdue, then what is due next.
        MostUrgent = "most_urgent",
    }
}

/// Every duty in sight, the most urgent first.
///
/// # Errors
/// As [`duties`].
pub async fn most_urgent(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    question: &Question,
) -> Result<Vec<DutyView>, Refusal> {
    let all = Page { after: None, limit: i64::MAX };
    let mut found = duties(tx, caller, as_of, question, all).await?;
    found.sort_by_key(|duty| (urgency(duty.status, duty.due_on, duty.escalation.as_ref()), duty.id));
    Ok(found)
}

/// Duties in sight, in the order in which they were raised.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn duties(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    question: &Question,
    page: Page,
) -> Result<Vec<DutyView>, Refusal> {
    let scope = caller.may(Action::ReadDuties)?;
    let everything = Scope::everything(caller.account);
    let mut restrictions = Vec::new();
    if let Some(worker) = question.worker {
        // By an entry out of sight nobody is found: it would tell of whom it is another one.
        if in_sight(tx, &scope, as_of, &[worker.0]).await?.is_empty() {
            return Ok(Vec::new());
        }
        let person = persons(tx, as_of, &[worker.0]).await?.person(worker.0);
        restrictions.push(Where::IsOneOf("worker_id", person.entries()));
    }
    let narrowed = question.site.map(|site| Scope { sites: Sites::Only([site].into()), ..scope.clone() });
    let (mut views, mut after) = (Vec::new(), page.after);
    loop {
        let part = Page { after, limit: AT_ONCE };
        let duties = versions::list::<Duty>(tx, &everything, as_of, &restrictions, Some(part)).await?;
        let Some(last) = duties.last() else { break };
        after = Some(last.id);
        let workers: Vec<Uuid> =
            duties.iter().filter_map(|duty| duty.fact.subject.worker_id).map(|id| id.0).collect();
        let reader = Reader::of(tx, caller, as_of, scope.clone(), &workers).await?;
        let on_site = match &narrowed {
            Some(narrowed) => Some(reader.persons.told(tx, narrowed, as_of, workers.iter().copied()).await?),
            None => None,
        };
        let hidden = hidden_by_airborne(tx, &reader, as_of, &duties).await?;
        let visible = |duty: &&Version<Duty>| match (duty.fact.subject.worker_id, duty.fact.subject.site_id) {
            (Some(worker), _) => {
                let here = on_site.as_ref().is_none_or(|here| here.contains_key(&worker.0));
                reader.sees(worker.0) && here
            }
            (None, Some(site)) => scope.sites.holds(site) && question.site.is_none_or(|asked| asked == site),
            (None, None) if duty.fact.subject.group_id.is_some() => {
                let sites = &duty.fact.site_ids;
                sites.iter().all(|site| scope.sites.holds(*site))
                    && question.site.is_none_or(|asked| sites.contains(&asked))
            }
            (None, None) => scope.is_all(),
        };
        let shown: Vec<&Version<Duty>> =
            duties.iter().filter(|duty| !hidden.contains(&duty.id)).filter(visible).collect();
        let acts = actions_of(tx, as_of, shown.iter().map(|duty| duty.id)).await?;
        for duty in shown {
            let acts = acts.get(&duty.id).map_or(&[][..], Vec::as_slice);
            let view = reader.view(duty, acts, as_of.date);
            let asked = question.kind.is_none_or(|kind| view.kind == kind)
                && question.status.is_none_or(|status| view.status == status)
                && question.due_before.is_none_or(|day| view.due_on < day);
            if asked {
                views.push(view);
            }
            if i64::try_from(views.len()).is_ok_and(|found| found >= page.limit) {
                return Ok(views);
            }
        }
    }
    Ok(views)
}

/// How many duties are looked at in one go: a page of the longest list.
const AT_ONCE: i64 = 500;

/// Those duties that rest on a ground which the reader is not told, while an examination for airborne exposure of the
/// same worker is to be done: that one is seen in their place.
pub(super) async fn hidden_by_airborne(
    tx: &mut Tx,
    reader: &Reader,
    as_of: AsOf,
    duties: &[Version<Duty>],
) -> Result<BTreeSet<Uuid>, Refusal> {
    let kept: Vec<&Version<Duty>> = duties.iter().filter(|duty| reader.is_kept_from(&duty.fact)).collect();
    let workers: BTreeSet<WorkerId> = kept.iter().filter_map(|duty| duty.fact.subject.worker_id).collect();
    let mut airborne = BTreeSet::new();
    for worker in workers {
        let of_worker = [Where::IsOneOf("worker_id", reader.persons.person(worker.0).entries())];
        let all = gather::all::<Duty>(tx, as_of, &of_worker).await?;
        let acts = actions_of(tx, as_of, all.iter().map(|duty| duty.id)).await?;
        let stands = |duty: &Version<Duty>| {
            let acts = acts.get(&duty.id).map_or(&[][..], Vec::as_slice);
            stands_before_a_ground(&duty.fact, acts, as_of.date)
        };
        if all.iter().any(stands) {
            airborne.insert(worker);
        }
    }
    let seen_otherwise =
        |duty: &Version<Duty>| duty.fact.subject.worker_id.is_some_and(|worker| airborne.contains(&worker));
    Ok(kept.into_iter().filter(|duty| seen_otherwise(duty)).map(|duty| duty.id).collect())
}

async fn in_sight(
    tx: &mut Tx,
    scope: &Scope,
    as_of: AsOf,
    workers: &[Uuid],
) -> Result<BTreeSet<Uuid>, Refusal> {
    let mut ids = workers.to_vec();
    ids.sort_unstable();
    ids.dedup();
    let mut seen = BTreeSet::new();
    for some in ids.chunks(400) {
        let found = versions::list::<Worker>(tx, scope, as_of, &[Where::Ids(some.to_vec())], None).await?;
        seen.extend(found.into_iter().map(|worker| worker.id));
    }
    Ok(seen)
}

/// The actions on each of some duties.
async fn actions_of(
    tx: &mut Tx,
    as_of: AsOf,
    duties: impl Iterator<Item = Uuid>,
) -> Result<BTreeMap<Uuid, Vec<Version<DutyAction>>>, Refusal> {
    let duties: Vec<Uuid> = duties.collect();
    let mut found: BTreeMap<Uuid, Vec<Version<DutyAction>>> = BTreeMap::new();
    let actions = gather::many::<DutyAction>(tx, as_of, &duties, Where::Parents).await?;
    for action in actions.into_iter().filter(Version::stands) {
        found.entry(action.parent.unwrap_or_default()).or_default().push(action);
    }
    Ok(found)
}
