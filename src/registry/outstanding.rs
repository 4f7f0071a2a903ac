//! What is outstanding around the laboratory: events that wait for it, results that nobody has accepted, rows that wait
//! for their sample. Of the last year: what lies longer is found at its site.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::laboratory::{HeldRow, HeldRowStatus, LabResult, ResultStatus};
use crate::model::facts::sampling::{Position, Sample, SampleOutcome, SamplingEvent};
use crate::model::facts::standing_move::StandingMove;
use crate::model::identifiers::{EventId, SiteId};
use crate::model::version::Version;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf, Page, Where};
use chrono::{Days, NaiveDate, NaiveTime};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How far back is looked, in days.
const LOOKED_BACK: u64 = 365;
/// How long a move of standing or a changed verdict is news, in days.
pub const NEWS: u64 = 30;

/// A sampling event that is not through yet.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenEvent {
    /// The event.
    pub id: EventId,
    /// Its site.
    pub site: SiteId,
    /// Its reference.
    pub reference: String,
    /// The last shift date of its samples.
    pub last_on: Option<NaiveDate>,
    /// How many of its samples have no result.
    pub waiting: usize,
    /// How many of its results nobody has accepted yet.
    pub not_accepted: usize,
}

/// Laboratory rows of one report that wait for their sample.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeldReport {
    /// The report.
    pub report: Uuid,
    /// The site.
    pub site: SiteId,
    /// The report.
    pub report_number: String,
    /// How many rows.
    pub rows: usize,
}

/// What is outstanding.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Outstanding {
    /// Events whose samples wait for results, or whose results wait for acceptance; the latest shift first.
    pub events: Vec<OpenEvent>,
    /// Reports with rows that wait.
    pub held: Vec<HeldReport>,
}

/// The lowest identifier of a day: those made since are greater (UUIDv7, RFC 9562, section 5.7).
fn first_of(day: NaiveDate) -> Uuid {
    let millis = day.and_time(NaiveTime::MIN).and_utc().timestamp_millis();
    uuid::Builder::from_unix_timestamp_millis(u64::try_from(millis).unwrap_or_default(), &[0; 10]).into_uuid()
}

/// What was recorded for the first time in the last so many days.
pub(super) async fn lately<F: Stored>(
    tx: &mut Tx,
    scope: &Scope,
    as_of: AsOf,
    days: u64,
) -> Result<Vec<Version<F>>, Refusal> {
    let since = as_of.date.checked_sub_days(Days::new(days)).map(first_of);
    let page = Page { after: since, limit: i64::MAX };
    Ok(versions::list(tx, scope, as_of, &[Where::Standing], Some(page)).await?)
}

/// The sampling events of the caller's sites that were recorded in the last so many days, in that order.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn events_lately(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    days: u64,
) -> Result<Vec<Version<SamplingEvent>>, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    lately(tx, &scope, as_of, days).await
}

/// What is outstanding on the caller's sites.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn outstanding(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Outstanding, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    let events = lately::<SamplingEvent>(tx, &scope, as_of, LOOKED_BACK).await?;
    let ids: Vec<Uuid> = events.iter().map(|event| event.id).collect();
    let samples = gather::many::<Sample>(tx, as_of, &ids, Where::Parents).await?;
    let ids: Vec<Uuid> = samples.iter().map(|sample| sample.id).collect();
    let results = gather::many::<LabResult>(tx, as_of, &ids, |ids| Where::IsOneOf("sample_id", ids)).await?;
    let mut with_result = BTreeSet::new();
    let mut not_accepted: BTreeMap<Uuid, usize> = BTreeMap::new();
    for result in results.iter().filter(|result| result.fact.stands) {
        with_result.insert(result.fact.sample_id.0);
        if result.fact.status == ResultStatus::Submitted {
            *not_accepted.entry(result.fact.sample_id.0).or_default() += 1;
        }
    }
    let mut of_event: BTreeMap<Uuid, Vec<&Version<Sample>>> = BTreeMap::new();
    for sample in samples.iter().filter(|sample| sample.stands()) {
        of_event.entry(sample.parent.unwrap_or_default()).or_default().push(sample);
    }
    let mut open: Vec<OpenEvent> = events
        .into_iter()
        .filter_map(|event| {
            let samples = of_event.get(&event.id).map_or(&[][..], Vec::as_slice);
            let waits = |sample: &&&Version<Sample>| {
                !with_result.contains(&sample.id) && goes_to_laboratory(&sample.fact)
            };
            Some(OpenEvent {
                id: EventId(event.id),
                site: event.site?,
                reference: event.fact.reference.to_string(),
                last_on: samples.iter().map(|sample| sample.fact.shift_date).max(),
                waiting: samples.iter().filter(waits).count(),
                not_accepted: samples.iter().filter_map(|sample| not_accepted.get(&sample.id)).sum(),
            })
        })
        .filter(|event| event.waiting + event.not_accepted > 0)
        .collect();
    open.sort_by_key(|event| (std::cmp::Reverse(event.last_on), event.id));
    let mut rows: BTreeMap<(SiteId, String, Uuid), usize> = BTreeMap::new();
    for held in lately::<HeldRow>(tx, &scope, as_of, LOOKED_BACK).await? {
        if let (HeldRowStatus::Waiting, Some(site)) = (held.fact.status, held.site) {
            let report = held.parent.unwrap_or_default();
            *rows.entry((site, held.fact.report_number.to_string(), report)).or_default() += 1;
        }
    }
    let held = rows.into_iter().map(|((site, report_number, report), rows)| HeldReport {
        report,
        site,
        report_number,
        rows,
    });
    Ok(Outstanding { events: open, held: held.collect() })
}

/// Whether a sample is one that a laboratory answers: it went well, and nothing was read off on the spot.
fn goes_to_laboratory(sample: &Sample) -> bool {
    let went_well = sample.outcome.is_none_or(|outcome| outcome == SampleOutcome::Valid);
    // A blank is sent along; what comes back of it is no result of anybody's exposure.
    let is_blank = sample.position == Position::FieldBlank;
    went_well && !is_blank && sample.on_site_results.as_ref().is_none_or(Vec::is_empty)
}

/// The moves of standing on the caller's sites that were learned of lately and not taken back, the latest first.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn moved_lately(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
) -> Result<Vec<Version<StandingMove>>, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    let since = as_of.date.checked_sub_days(Days::new(NEWS)).unwrap_or(as_of.date);
    let mut moves = lately::<StandingMove>(tx, &scope, as_of, NEWS).await?;
    let back: BTreeSet<Uuid> =
        moves.iter().flat_map(|one| one.fact.takes_back.iter().map(|taken| taken.0)).collect();
    moves.retain(|one| !back.contains(&one.id) && one.fact.learned_on >= since);
    moves.reverse();
    Ok(moves)
}
