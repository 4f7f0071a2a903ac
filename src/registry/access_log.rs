//! Who looked at whom, as people read it.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::account::Account;
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::sampling::Sample;
use crate::model::facts::worker::{Assignment, Worker};
use crate::model::identifiers::{AccountId, WorkerId};
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::access_log::{self, Placed, Reading};
use crate::store::backend::Tx;
use crate::store::tables::Key;
use crate::store::versions::{self, AsOf, Page, Where};
use crate::{record, words};
use chrono::{DateTime, Utc};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What the log says of every reading of medical grounds, of one or of all, whether or not there are any.
pub const READING_OF_GROUNDS: &str = "GET /api/v1/workers/{id}/medical-grounds";

/// What a bulk read spans that is bound to no thing: whoever is in it may be named.
pub const EVERYBODY: &[&str] =
    &["workers", "search", "duties", "early warnings", "export", "journal", "limit change", "access log"];

words! {
    /// Whether a line is certain to be about a worker.
    pub enum Named {
        /// It names the worker.
        ByName = "by_name",
        /// It spans what the worker belongs to: how many it named is known, and not whether the worker was among them.
        InBulk = "in_bulk",
    }
}

record! {
    /// A request that read the exposure of workers.
    pub struct AccessLineView {
        /// The line.
        id: Uuid,
        /// When.
        at: DateTime<Utc>,
        /// Who.
        account_id: AccountId,
        /// From where: the address of the client, or the operating-system user at the console.
        client: Option<String>,
        /// Method and route.
        request: String,
        /// The worker, where it named one alone.
        worker_id: Option<WorkerId>,
        /// Where it may have named several: what it spanned.
        scope: Option<String>,
        /// The journal position it was answered at.
        position: i64,
        /// How many workers it named.
        workers: i64,
        /// What it was for, as the reader said; shown to the physician and to that reader.
        purpose: Option<String>,
        /// Whether the reader said what it was for.
        purpose_stated: bool,
        /// In the list of one worker: whether the line is certain to be about him.
        named: Option<Named>,
    }
}

/// Whether the caller is told what is the physician's alone.
fn is_told(caller: &Caller) -> bool {
    caller.may(Action::MedicalGrounds).is_ok_and(|scope| scope.is_all())
}

fn view(caller: &Caller, told: bool, named: bool, placed: Placed) -> AccessLineView {
    let line = placed.line;
    // A purpose may tell of symptoms, whoever stated it.
    let shown = told || line.account == caller.account;
    AccessLineView {
        id: line.id,
        at: line.at,
        account_id: line.account,
        client: line.client,
        request: line.request,
        worker_id: line.worker,
        named: named.then(|| if line.worker.is_some() { Named::ByName } else { Named::InBulk }),
        scope: line.scope,
        position: line.position,
        workers: line.workers,
        purpose_stated: line.purpose.is_some(),
        purpose: line.purpose.filter(|_| shown),
    }
}

/// What is asked of the whole log.
#[derive(Debug, Clone, Copy, Default)]
pub struct LogQuestion {
    /// Only lines that name this worker.
    pub worker: Option<WorkerId>,
    /// Only lines of this account.
    pub account: Option<AccountId>,
}

/// Lines of the whole log; one more than asked for tells whether there is a next page. Readings of what is the physician's
/// alone are listed to him alone.
///
/// # Errors
/// [`Refusal::Forbidden`] for a role that does not oversee the log.
pub async fn whole(
    tx: &mut Tx,
    caller: &Caller,
    question: LogQuestion,
    page: Page,
) -> Result<Vec<AccessLineView>, Refusal> {
    caller.may(Action::ReadAccessLog)?;
    let told = is_told(caller);
    let reading = Reading {
        after: page.after,
        worker: question.worker.map(|worker| (worker, Vec::new())),
        account: question.account,
        without: (!told).then_some(READING_OF_GROUNDS),
        limit: page.limit + 1,
    };
    let lines = access_log::lines(tx, &reading).await?;
    Ok(lines.into_iter().map(|line| view(caller, told, false, line)).collect())
}

/// Lines about a worker for his own eyes.
#[derive(Debug, Clone)]
pub struct AccessPaper {
    /// His name.
    pub name: String,
    /// Whether what is the physician's alone is among them.
    pub whole: bool,
    /// The lines.
    pub lines: Vec<AccessLineView>,
    /// The e-mail addresses of the accounts that read.
    pub readers: BTreeMap<AccountId, String>,
}

/// Every line about a worker, and who the readers were.
///
/// # Errors
/// [`Refusal::Unknown`] for a worker out of sight.
pub async fn for_worker(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    worker: Uuid,
) -> Result<AccessPaper, Refusal> {
    let everything = Page { after: None, limit: i64::MAX - 1 };
    let lines = about(tx, caller, as_of, worker, everything).await?;
    let found = gather::one::<Worker>(tx, as_of, worker).await?.ok_or(Refusal::Unknown)?;
    let ids: Vec<Uuid> = lines.iter().map(|line| line.account_id.0).collect();
    let accounts = gather::many::<Account>(tx, as_of, &ids, Where::Ids).await?;
    let readers = accounts.into_iter().map(|one| (AccountId(one.id), one.fact.email.as_str().to_owned()));
    let name = format!("{} {}", found.fact.given_name, found.fact.family_name);
    Ok(AccessPaper { name, whole: is_told(caller), lines, readers: readers.collect() })
}

/// Lines about a worker: those that name him, and bulk reads that span what he belongs to. One more than asked for tells
/// whether there is a next page.
///
/// # Errors
/// [`Refusal::Unknown`] for a worker out of sight.
pub async fn about(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    worker: Uuid,
    page: Page,
) -> Result<Vec<AccessLineView>, Refusal> {
    let scope = caller.may(Action::ReadAccessOfWorkers)?;
    versions::find::<Worker>(tx, &scope, as_of, worker).await?.ok_or(Refusal::Unknown)?;
    let told = is_told(caller);
    let reading = Reading {
        after: page.after,
        worker: Some((WorkerId(worker), spanned(tx, as_of, worker).await?)),
        account: None,
        without: (!told).then_some(READING_OF_GROUNDS),
        limit: page.limit + 1,
    };
    let lines = access_log::lines(tx, &reading).await?;
    Ok(lines.into_iter().map(|line| view(caller, told, true, line)).collect())
}

/// The scopes of bulk reads that a worker belongs to: his groups, sites, samples, their events, and what spans everybody.
async fn spanned(tx: &mut Tx, as_of: AsOf, worker: Uuid) -> Result<Vec<String>, Refusal> {
    let assignments = gather::many::<Assignment>(tx, as_of, &[worker], Where::Parents).await?;
    let own = [Where::Is("worker_id", Key::Id(Some(worker)))];
    let samples = gather::all::<Sample>(tx, as_of, &own).await?;
    let ids: Vec<Uuid> = samples.iter().map(|sample| sample.id).collect();
    let of_samples = |ids| Where::IsOneOf("sample_id", ids);
    let results = gather::many::<LabResult>(tx, as_of, &ids, of_samples).await?;
    let things: BTreeSet<Uuid> = assignments
        .iter()
        .flat_map(|one| [Some(one.fact.group_id.0), one.site.map(|site| site.0)])
        .chain(samples.iter().flat_map(|one| [Some(one.id), one.parent, one.site.map(|site| site.0)]))
        .chain(results.iter().map(|one| one.parent))
        .flatten()
        .collect();
    let of_a_thing = ["group", "event", "sample", "report", "site", "duties", "early warnings", "journal"];
    let everybody = EVERYBODY.iter().map(|scope| (*scope).to_owned());
    let theirs = things.iter().flat_map(|id| of_a_thing.map(|scope| format!("{scope} {id}")));
    Ok(everybody.chain(theirs).collect())
}
