//! Laboratory reports: all rows or none.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::laboratory::{HeldRow, LabReport, LabReportDraft, LabResult, ResultDraft};
use crate::model::facts::sampling::Sample;
use crate::model::identifiers::SiteId;
use crate::model::shape::{Faults, Shape};
use crate::model::version::Version;
use crate::registry::facts::laboratory_row::{Known, Noting, Ready, check_row};
use crate::registry::facts::{held_rows, results};
use crate::registry::originals::keep::{self, File, Gave};
use crate::registry::place::{Place, Under};
use crate::registry::reach::{self, Reach};
use crate::registry::recording::{Recorded, taken};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};
use serde_json::Value;
use std::collections::BTreeSet;
use uuid::Uuid;

pub use crate::registry::facts::laboratory_row::{Replacing, Row};

/// The most rows a report may have.
pub const ROWS_MOST: usize = 5000;
const SECOND_ROW: &str = "is the second row of this report for the same sample and agent";
/// Said where a row says nothing of the result that stands.
pub(crate) const STANDS_ALREADY: &str =
    "a result stands already for this sample and agent; a row that replaces it must say so";

impl Recorded for LabReport {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;
    const TAKEN: &'static str =
        "this report (laboratory, number, part, revision) is recorded at the site already";

    async fn follow_voiding(
        version: &Version<Self>,
        before: i64,
        change: &mut Change,
    ) -> Result<(), Refusal> {
        let (scope, as_of) = (change.everything(), change.as_of());
        let of_report = [Where::Parent(version.id)];
        let found = versions::list::<LabResult>(&mut change.tx, &scope, as_of, &of_report, None).await?;
        for result in found {
            match &version.voided {
                Some(reason) if result.stands() => results::void_with(change, &result, reason).await?,
                // Only what was voided together with the report comes back with it.
                None if !result.stands() && result.position == before => {
                    results::restore(change, &result).await?;
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        vec![Reach::ReportItself]
    }
}

/// A report with its rows, read from JSON or from CSV.
#[derive(Debug, Clone)]
pub struct Report {
    /// The head.
    pub head: LabReport,
    /// The rows.
    pub rows: Vec<Row>,
    /// What becomes of a row whose sample number is not known.
    pub unmatched: Unmatched,
    /// The file it came as; nothing where it was sent in JSON to the API.
    pub file: Option<File>,
}

/// What becomes of a row whose sample number is not known.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum Unmatched {
    /// The whole report is refused.
    #[default]
    Refuse,
    /// The row is held until somebody matches or dismisses it.
    Hold,
}

impl From<LabReportDraft> for Report {
    fn from(draft: LabReportDraft) -> Self {
        let head = LabReport {
            report_number: draft.report_number,
            part: draft.part,
            revision: draft.revision,
            laboratory: draft.laboratory,
            accreditation: draft.accreditation,
            received_on: draft.received_on,
        };
        let rows = draft.results.into_iter().map(Row::from).collect();
        Self { head, rows, unmatched: Unmatched::Refuse, file: None }
    }
}

impl Report {
    /// Reads a report sent as JSON; rows that read well are checked although others do not, so that every fault is named.
    ///
    /// # Errors
    /// Every fault.
    pub fn parse(body: &Value) -> Result<Self, Faults> {
        let mut faults = Faults::default();
        let draft = LabReportDraft::read(body, "", &mut faults);
        if let (Some(draft), true) = (draft, faults.is_empty()) {
            return Ok(Self::from(draft));
        }
        for (n, row) in body.get("results").and_then(Value::as_array).into_iter().flatten().enumerate() {
            if let Ok(row) = ResultDraft::parse(row) {
                check_row(&row, &format!("/results/{n}"), &mut faults);
            }
        }
        Err(faults)
    }
}

/// What a recorded report brought.
#[derive(Debug)]
pub struct RecordedReport {
    /// The report.
    pub report: Version<LabReport>,
    /// Its results.
    pub results: Vec<Version<LabResult>>,
    /// The samples they are of.
    pub samples: Vec<Version<Sample>>,
    /// Rows that wait for their sample.
    pub held: Vec<Version<HeldRow>>,
}

/// Records a report with all its rows, or nothing.
///
/// # Errors
/// Every fault by row; or a conflict when the report, or a result, stands already.
pub async fn record_report(
    change: &mut Change,
    site: Uuid,
    report: Report,
) -> Result<RecordedReport, Refusal> {
    let scope = change.caller.may(Action::RecordSamples)?;
    let as_of = change.as_of();
    let place = Place::under(&mut change.tx, &scope, as_of, Under::Site, Some(site)).await?;
    place.must_stand()?;
    let site = SiteId(site);
    if report.rows.len() > ROWS_MOST {
        return Err(Refusal::fault(
            "/results",
            format!("must be at most {ROWS_MOST} rows; send the report in parts"),
        ));
    }
    let known = Known::of(change, site, &report.rows).await?;
    let mut faults = Faults::default();
    let mut conflicts = Faults::default();
    if report.rows.is_empty() {
        faults.note("/results", "must hold at least one row");
    }
    let mut seen = BTreeSet::new();
    let mut held_twice = BTreeSet::new();
    let mut held: Vec<Row> = Vec::new();
    let mut is_held = vec![false; report.rows.len()];
    let mut last_taken = None;
    // The rows of this very report, for two of them may be of samples that ran at once.
    let of_report: BTreeSet<(Uuid, &str)> = report
        .rows
        .iter()
        .filter_map(|row| {
            let sample = known.samples.get(row.draft.sample_number.as_str())?;
            Some((sample.id, row.draft.agent_code.as_str()))
        })
        .collect();
    let mut ready: Vec<Ready> = Vec::with_capacity(report.rows.len());
    for (n, row) in report.rows.iter().enumerate() {
        let at = format!("/results/{n}");
        check_row(&row.draft, &at, &mut faults);
        let code = row.draft.agent_code.as_str();
        if !known.agents.contains(code) {
            faults.note(format!("{at}/agent_code"), format!("is no agent that is known: {code}"));
        }
        let Some(sample) = known.samples.get(row.draft.sample_number.as_str()) else {
            if report.unmatched == Unmatched::Hold {
                if !held_twice.insert((row.draft.sample_number.as_str(), code)) {
                    faults.note(at.clone(), SECOND_ROW);
                }
                held.push(row.clone());
                is_held[n] = true;
                continue;
            }
            faults.note(
                format!("{at}/sample_number"),
                format!("is no sample of the site: {}", row.draft.sample_number),
            );
            continue;
        };
        if !seen.insert((sample.id, code)) {
            faults.note(at.clone(), SECOND_ROW);
        }
        last_taken = last_taken.max(Some(sample.fact.shift_date));
        let noting = Noting { at: &at, faults: &mut faults, conflicts: &mut conflicts };
        let received_on = report.head.received_on;
        ready.push(known.ready(change, sample, row, received_on, &of_report, noting).await?);
    }
    if last_taken.is_some_and(|day| report.head.received_on < day) {
        faults.note("/received_on", "must not be before the samples were taken");
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    if !conflicts.is_empty() {
        return Err(Refusal::Conflict { detail: STANDS_ALREADY.into(), faults: conflicts });
    }
    let head = change.add(&scope, Some(site), place.parent, report.head).await.map_err(taken::<LabReport>)?;
    let mut results = Vec::with_capacity(ready.len());
    for one in ready {
        results.push(store(change, &scope, site, head.id, one).await?);
    }
    let samples: Vec<Version<Sample>> = known.samples.into_values().collect();
    for sample in &samples {
        mark(change, sample, &results).await?;
    }
    let mut waiting = Vec::with_capacity(held.len());
    for row in held {
        let fact = held_rows::waiting(row, &head.fact);
        waiting.push(change.add(&scope, Some(site), Some(head.id), fact).await?);
    }
    if let Some(file) = &report.file {
        let (mut of_results, mut of_held) =
            (results.iter().map(|result| result.id), waiting.iter().map(|held| held.id));
        let row = |is_held| if is_held { of_held.next() } else { of_results.next() };
        let rows = is_held.into_iter().filter_map(row).collect();
        keep::keep(change, &scope, site, file, Gave { thing: head.id, pointer: String::new(), rows }).await?;
    }
    Ok(RecordedReport { report: head, results, samples, held: waiting })
}

/// Stores a result; the one it replaces stands no longer.
pub(crate) async fn store(
    change: &mut Change,
    scope: &Scope,
    site: SiteId,
    report: Uuid,
    (result, replaced): Ready,
) -> Result<Version<LabResult>, Refusal> {
    if let Some(old) = replaced.filter(|_| result.stands) {
        let fact = LabResult { stands: false, ..old.fact.clone() };
        change.alter(scope, &old, fact, None, "replaced", None).await?;
    }
    Ok(change.add(scope, Some(site), Some(report), result).await?)
}

/// Marks what new results of a sample make stale.
pub(crate) async fn mark(
    change: &mut Change,
    sample: &Version<Sample>,
    results: &[Version<LabResult>],
) -> Result<(), Refusal> {
    if sample.fact.is_blank() {
        let event = sample.parent.unwrap_or_default();
        return reach::mark(change, sample.id, &[Reach::Event(event.into())]).await;
    }
    let of_sample = results.iter().filter(|result| result.fact.sample_id.0 == sample.id);
    let agents: Vec<&str> = of_sample.map(|result| result.fact.agent_code.as_str()).collect();
    reach::mark_sample(change, &sample.fact, &agents).await
}
