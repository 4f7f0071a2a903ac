//! Laboratory rows that wait for their sample: in sight until somebody matches or dismisses them.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::laboratory::{HeldRow, HeldRowStatus, LabReport};
use crate::model::facts::sampling::Sample;
use crate::model::identifiers::{ResultId, SampleId, SiteId};
use crate::model::shape::{Faults, Shape};
use crate::model::text::{Code, Text};
use crate::model::version::Version;
use crate::record;
use crate::registry::facts::laboratory::{self, STANDS_ALREADY};
use crate::registry::facts::laboratory_row::{Known, Noting, Replacing, Row};
use crate::registry::facts::results::Because;
use crate::registry::gather;
use crate::registry::place::{Place, Under};
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Page, Where};
use serde_json::Value;
use std::collections::BTreeSet;
use uuid::Uuid;

record! {
    /// What is sent to match a held row: the sample by its number at the site, or by its identifier.
    pub struct Matching {
        /// The sample's number at the site.
        sample_number: Option<Code>,
        /// The sample.
        sample_id: Option<SampleId>,
        /// Why, if there is something to say.
        reason: Option<Text>,
    }
}

impl Recorded for HeldRow {
    const UNDER: Under = Under::Nothing;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;
}

/// A row of a report as it begins to wait.
pub(crate) fn waiting(row: Row, report: &LabReport) -> HeldRow {
    let replaces_as = match row.replacing {
        Replacing::Standing(how) => Some(how),
        Replacing::Nothing | Replacing::This(_) => None,
    };
    HeldRow {
        row: row.draft,
        report_number: report.report_number.clone(),
        replaces_as,
        status: HeldRowStatus::Waiting,
        sample_id: None,
        result_id: None,
        reason: None,
    }
}

/// The held rows of a site that have come so far, in the order in which they came. Those of a void report wait for nothing.
///
/// # Errors
/// [`Refusal::Unknown`] where the site is not in sight.
pub async fn held_rows(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    site: Uuid,
    status: HeldRowStatus,
    page: Page,
) -> Result<Vec<Version<HeldRow>>, Refusal> {
    let scope = caller.may(Action::ReadSamples)?;
    Place::under(tx, &scope, as_of, Under::Site, Some(site)).await?;
    let of_site = [Where::Site(SiteId(site)), Where::Standing];
    let mut found = versions::list::<HeldRow>(tx, &scope, as_of, &of_site, None).await?;
    found.retain(|row| row.fact.status == status && page.after.is_none_or(|after| row.id > after));
    if status == HeldRowStatus::Waiting {
        let reports: Vec<Uuid> = found.iter().filter_map(|row| row.parent).collect();
        let reports = gather::many::<LabReport>(tx, as_of, &reports, Where::Ids).await?;
        let void: BTreeSet<Uuid> = reports.iter().filter(|one| !one.stands()).map(|one| one.id).collect();
        found.retain(|row| !row.parent.is_some_and(|report| void.contains(&report)));
    }
    found.truncate(usize::try_from(page.limit).unwrap_or(usize::MAX));
    Ok(found)
}

/// The held rows of a report.
///
/// # Errors
/// Only when storage fails.
pub async fn of_report(tx: &mut Tx, as_of: AsOf, report: Uuid) -> Result<Vec<Version<HeldRow>>, Refusal> {
    Ok(gather::all::<HeldRow>(tx, as_of, &[Where::Parent(report)]).await?)
}

/// A row that still waits, with its report and its site.
async fn still_waiting(
    change: &mut Change,
    scope: &Scope,
    id: Uuid,
) -> Result<(Version<HeldRow>, Version<LabReport>, SiteId), Refusal> {
    let as_of = change.as_of();
    let held = versions::find::<HeldRow>(&mut change.tx, scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    let report = held.parent.unwrap_or_default();
    let report =
        versions::find::<LabReport>(&mut change.tx, scope, as_of, report).await?.ok_or(Refusal::Unknown)?;
    let site = held.site.ok_or(Refusal::Unknown)?;
    match held.fact.status {
        HeldRowStatus::Matched => Err(Refusal::taken("this row was matched already")),
        HeldRowStatus::Dismissed => Err(Refusal::taken("this row was dismissed")),
        HeldRowStatus::Waiting if !report.stands() => Err(Refusal::taken("the report it came in is void")),
        HeldRowStatus::Waiting => Ok((held, report, site)),
    }
}

/// Matches a held row with its sample: the result is recorded as if the report had named the sample.
///
/// # Errors
/// [`Refusal::Unknown`] out of sight; every fault; a conflict where the row waits no longer or a result stands already.
pub async fn match_row(change: &mut Change, id: Uuid, body: &Value) -> Result<Version<HeldRow>, Refusal> {
    let scope = change.caller.may(Action::RecordSamples)?;
    let (held, report, site) = still_waiting(change, &scope, id).await?;
    let (number, at, reason) = sample_named(change, &scope, site, body).await?;
    let mut draft = held.fact.row.clone();
    draft.sample_number = number;
    let mut row = Row::from(draft);
    if let Some(how) = held.fact.replaces_as {
        row.replacing = Replacing::Standing(how);
    }
    let known = Known::of(change, site, std::slice::from_ref(&row)).await?;
    let (mut faults, mut conflicts) = (Faults::default(), Faults::default());
    let Some(sample) = known.samples.get(row.draft.sample_number.as_str()) else {
        return Err(Refusal::fault(at, format!("is no sample of the site: {}", row.draft.sample_number)));
    };
    if report.fact.received_on < sample.fact.shift_date {
        faults.note(at, "was taken after the report was received");
    }
    let received_on = report.fact.received_on;
    let noting = Noting { at: "", faults: &mut faults, conflicts: &mut conflicts };
    let ready = known.ready(change, sample, &row, received_on, &BTreeSet::new(), noting).await?;
    if !faults.is_empty() {
        return Err(faults.into());
    }
    if !conflicts.is_empty() {
        return Err(Refusal::Conflict { detail: STANDS_ALREADY.into(), faults: conflicts });
    }
    let result = laboratory::store(change, &scope, site, report.id, ready).await?;
    laboratory::mark(change, sample, std::slice::from_ref(&result)).await?;
    let because = reason.as_ref().map(ToString::to_string);
    let fact = HeldRow {
        status: HeldRowStatus::Matched,
        sample_id: Some(SampleId(sample.id)),
        result_id: Some(ResultId(result.id)),
        reason,
        ..held.fact.clone()
    };
    Ok(change.alter(&scope, &held, fact, None, "matched", because.as_deref()).await?)
}

/// The number of the sample that is named, the field that named it, and the reason.
async fn sample_named(
    change: &mut Change,
    scope: &Scope,
    site: SiteId,
    body: &Value,
) -> Result<(Code, &'static str, Option<Text>), Refusal> {
    let asked = Matching::parse(body)?;
    match (asked.sample_number, asked.sample_id) {
        (Some(number), None) => Ok((number, "/sample_number", asked.reason)),
        (None, Some(SampleId(id))) => {
            let as_of = change.as_of();
            let found = versions::find::<Sample>(&mut change.tx, scope, as_of, id).await?;
            let found = found.filter(|sample| sample.site == Some(site));
            let found = found.ok_or_else(|| Refusal::fault("/sample_id", "is none that is known here"))?;
            Ok((found.fact.number, "/sample_id", asked.reason))
        }
        _ => Err(Refusal::fault("/sample_number", "must be given, or sample_id, and not both")),
    }
}

/// Dismisses a held row: it stays readable, and waits no longer.
///
/// # Errors
/// [`Refusal::Unknown`] out of sight; a conflict where the row waits no longer.
pub async fn dismiss(change: &mut Change, id: Uuid, body: &Value) -> Result<Version<HeldRow>, Refusal> {
    let scope = change.caller.may(Action::Void)?;
    let (held, ..) = still_waiting(change, &scope, id).await?;
    let reason = Because::parse(body)?.reason;
    let because = reason.to_string();
    let fact = HeldRow { status: HeldRowStatus::Dismissed, reason: Some(reason), ..held.fact.clone() };
    Ok(change.alter(&scope, &held, fact, None, "dismissed", Some(&because)).await?)
}
