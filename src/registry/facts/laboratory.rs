//! Laboratory reports: all rows or none.

use crate::access::policy::Action;
use crate::model::facts::agent::Agent;
use crate::model::facts::laboratory::{
    BlankCorrected, LabReport, LabReportDraft, LabResult, ReplacedAs, Replaces, ResultDraft, ResultStatus,
};
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::identifiers::{ResultId, SampleId, SiteId};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::unit::Dimension;
use crate::model::version::Version;
use crate::registry::facts::{results, runs};
use crate::registry::gather;
use crate::registry::place::{Place, Under};
use crate::registry::reach::{self, Reach};
use crate::registry::recording::{Recorded, taken};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// The most rows a report may have.
pub const ROWS_MOST: usize = 5000;
/// How many numbers are looked up at once.
const LOOK_UP: usize = 400;

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

/// Which earlier result a row replaces: by its identifier, or (in CSV) whichever stands.
#[derive(Debug, Clone, PartialEq)]
pub enum Replacing {
    /// None.
    Nothing,
    /// This one.
    This(Replaces),
    /// Whichever stands for sample and agent.
    Standing(ReplacedAs),
}

/// A row ready for the checks that need the registry.
#[derive(Debug, Clone)]
pub struct Row {
    /// The row; its own `replaces` is not looked at.
    pub draft: ResultDraft,
    /// What it replaces.
    pub replacing: Replacing,
}

impl From<ResultDraft> for Row {
    fn from(draft: ResultDraft) -> Self {
        let replacing = draft.replaces.clone().map_or(Replacing::Nothing, Replacing::This);
        Self { draft, replacing }
    }
}

/// A report with its rows, read from JSON or from CSV.
#[derive(Debug, Clone)]
pub struct Report {
    /// The head.
    pub head: LabReport,
    /// The rows.
    pub rows: Vec<Row>,
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
        Self { head, rows: draft.results.into_iter().map(Row::from).collect() }
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
}

/// What the registry knows about the samples of a report.
struct Known {
    samples: BTreeMap<String, Version<Sample>>,
    results: BTreeMap<(Uuid, String), Vec<Version<LabResult>>>,
    agents: BTreeSet<String>,
}

impl Known {
    async fn of(change: &mut Change, site: SiteId, rows: &[Row]) -> Result<Self, Refusal> {
        let (scope, as_of) = (change.everything(), change.as_of());
        let mut numbers: Vec<String> = rows.iter().map(|row| row.draft.sample_number.to_string()).collect();
        numbers.sort_unstable();
        numbers.dedup();
        let mut samples = BTreeMap::new();
        for some in numbers.chunks(LOOK_UP) {
            let of_them = [Where::Site(site), Where::TextIsOneOf("number", some.to_vec())];
            for sample in versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_them, None).await? {
                samples.insert(sample.fact.number.to_string(), sample);
            }
        }
        // A sample of a void event is void with it.
        let events: Vec<Uuid> = samples.values().filter_map(|sample| sample.parent).collect();
        for event in gather::many::<SamplingEvent>(&mut change.tx, as_of, &events, Where::Ids).await? {
            for sample in samples.values_mut().filter(|sample| sample.parent == Some(event.id)) {
                sample.voided = sample.voided.take().or_else(|| event.voided.clone());
            }
        }
        let ids: Vec<Uuid> = samples.values().map(|sample| sample.id).collect();
        let mut results: BTreeMap<(Uuid, String), Vec<_>> = BTreeMap::new();
        for some in ids.chunks(LOOK_UP) {
            let of_them = [Where::IsOneOf("sample_id", some.to_vec()), Where::Standing];
            for result in versions::list::<LabResult>(&mut change.tx, &scope, as_of, &of_them, None).await? {
                let key = (result.fact.sample_id.0, result.fact.agent_code.to_string());
                results.entry(key).or_default().push(result);
            }
        }
        let agents = versions::list::<Agent>(&mut change.tx, &scope, as_of, &[Where::Standing], None).await?;
        let agents = agents.into_iter().map(|agent| agent.fact.code.to_string()).collect();
        Ok(Self { samples, results, agents })
    }

    /// The result that stands for a sample and an agent.
    fn standing(&self, sample: Uuid, agent: &str) -> Option<&Version<LabResult>> {
        self.results.get(&(sample, agent.to_owned()))?.iter().find(|result| result.fact.stands)
    }
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
    let mut ready: Vec<(LabResult, Option<Version<LabResult>>)> = Vec::with_capacity(report.rows.len());
    for (n, row) in report.rows.iter().enumerate() {
        let at = format!("/results/{n}");
        check_row(&row.draft, &at, &mut faults);
        let code = row.draft.agent_code.as_str();
        if !known.agents.contains(code) {
            faults.note(format!("{at}/agent_code"), format!("is no agent that is known: {code}"));
        }
        let Some(sample) = known.samples.get(row.draft.sample_number.as_str()) else {
            faults.note(
                format!("{at}/sample_number"),
                format!("is no sample of the site: {}", row.draft.sample_number),
            );
            continue;
        };
        if !sample.stands() {
            faults.note(
                format!("{at}/sample_number"),
                format!("is a voided sample: {}", row.draft.sample_number),
            );
        }
        if !seen.insert((sample.id, code)) {
            faults.note(at.clone(), "is the second row of this report for the same sample and agent");
        }
        if row.draft.analysed_on.is_some_and(|day| day < sample.fact.shift_date) {
            faults.note(format!("{at}/analysed_on"), "must not be before the sample was taken");
        }
        if row.draft.analysed_on.is_some_and(|day| day > report.head.received_on) {
            faults.note(format!("{at}/analysed_on"), "must not be after the report was received");
        }
        last_taken = last_taken.max(Some(sample.fact.shift_date));
        let stands = known.standing(sample.id, code);
        let replaced = find_replaced(row, stands, &at, &mut faults, &mut conflicts);
        check_clash(change, sample, code, &of_report, &at, &mut faults).await?;
        ready.push((
            result_of(&row.draft, sample.id, replaced.as_ref().map(|(old, how)| (old.id, *how))),
            replaced.map(|(old, _)| old),
        ));
    }
    if last_taken.is_some_and(|day| report.head.received_on < day) {
        faults.note("/received_on", "must not be before the samples were taken");
    }
    if !faults.is_empty() {
        return Err(faults.into());
    }
    if !conflicts.is_empty() {
        let detail =
            "a result stands already for this sample and agent; a row that replaces it must say so".into();
        return Err(Refusal::Conflict { detail, faults: conflicts });
    }
    let head = change.add(&scope, Some(site), place.parent, report.head).await.map_err(taken::<LabReport>)?;
    let mut results = Vec::with_capacity(ready.len());
    for (result, replaced) in ready {
        if let Some(old) = replaced.filter(|_| result.stands) {
            let fact = LabResult { stands: false, ..old.fact.clone() };
            change.alter(&scope, &old, fact, None, "replaced", None).await?;
        }
        results.push(change.add(&scope, Some(site), Some(head.id), result).await?);
    }
    let samples: Vec<Version<Sample>> = known.samples.into_values().collect();
    for sample in &samples {
        if sample.fact.is_blank() {
            let event = sample.parent.unwrap_or_default();
            reach::mark(change, sample.id, &[Reach::Event(event.into())]).await?;
        } else {
            let of_sample = results.iter().filter(|result| result.fact.sample_id.0 == sample.id);
            let agents: Vec<&str> = of_sample.map(|result| result.fact.agent_code.as_str()).collect();
            reach::mark_sample(change, &sample.fact, &agents).await?;
        }
    }
    Ok(RecordedReport { report: head, results, samples })
}

fn result_of(draft: &ResultDraft, sample: Uuid, replaced: Option<(Uuid, ReplacedAs)>) -> LabResult {
    LabResult {
        sample_id: SampleId(sample),
        agent_code: draft.agent_code.clone(),
        status: ResultStatus::Submitted,
        // A re-analysis waits until a hygienist chooses it; a revision stands at once.
        stands: !matches!(replaced, Some((_, ReplacedAs::Reanalysed))),
        mass: draft.mass.clone(),
        concentration: draft.concentration.clone(),
        criterion: None,
        reporting_limit: Some(draft.reporting_limit.clone()),
        detection_limit: draft.detection_limit.clone(),
        blank_corrected: draft.blank_corrected.unwrap_or(BlankCorrected::Unknown),
        estimated: draft.estimated.unwrap_or(false),
        replaces: replaced.map(|(id, replaced_as)| Replaces { result_id: ResultId(id), replaced_as }),
        analysed_on: draft.analysed_on,
        reason: None,
        marks: None,
    }
}

fn find_replaced(
    row: &Row,
    stands: Option<&Version<LabResult>>,
    at: &str,
    faults: &mut Faults,
    conflicts: &mut Faults,
) -> Option<(Version<LabResult>, ReplacedAs)> {
    match (&row.replacing, stands) {
        (Replacing::Nothing, None) => None,
        (Replacing::Nothing, Some(old)) => {
            conflicts.note(at, format!("result {} stands for this sample and agent", old.id));
            None
        }
        (Replacing::This(replaces), Some(old)) if old.id == replaces.result_id.0 => {
            Some((old.clone(), replaces.replaced_as))
        }
        (Replacing::This(_), _) => {
            faults.note(
                format!("{at}/replaces/result_id"),
                "is not the result that stands for this sample and agent",
            );
            None
        }
        (Replacing::Standing(how), Some(old)) => Some((old.clone(), *how)),
        (Replacing::Standing(_), None) => {
            faults.note(
                format!("{at}/replaces"),
                "has nothing to replace: no result stands for this sample and agent",
            );
            None
        }
    }
}

/// Checks a row by itself.
pub(crate) fn check_row(row: &ResultDraft, at: &str, faults: &mut Faults) {
    let (name, quantity, dimensions, what): (_, _, &[Dimension], _) = match (&row.mass, &row.concentration) {
        (Some(mass), None) => ("mass", mass, &[Dimension::Mass], "mass"),
        (None, Some(concentration)) => (
            "concentration",
            concentration,
            &[
                Dimension::MassConcentration,
                Dimension::VolumeFraction,
                Dimension::FibreConcentration,
                Dimension::SoundLevel,
                Dimension::PeakSoundLevel,
            ],
            "concentration",
        ),
        _ => {
            faults.note(format!("{at}/mass"), "must be given, or a concentration, and not both");
            return;
        }
    };
    let known = faults.len();
    quantity.must_be(dimensions, what, &format!("{at}/{name}"), faults);
    row.reporting_limit.must_be(dimensions, what, &format!("{at}/reporting_limit"), faults);
    if let Some(limit) = &row.detection_limit {
        limit.must_be(dimensions, what, &format!("{at}/detection_limit"), faults);
    }
    if faults.len() > known {
        return;
    }
    let in_its_unit = |limit: &Quantity| limit.number_in(quantity.unit);
    let reporting = in_its_unit(&row.reporting_limit);
    if reporting.is_none_or(|limit| limit <= 0.0) && quantity.unit.dimension() != Dimension::SoundLevel {
        faults.note(
            format!("{at}/reporting_limit"),
            "must be a plain number above zero, in a unit of the result's kind",
        );
    }
    let detection = row.detection_limit.as_ref().map(in_its_unit);
    if detection.is_some_and(|limit| limit.is_none() || limit > reporting) {
        faults.note(format!("{at}/detection_limit"), "must be a plain number, not above the reporting limit");
    }
    let estimated = row.estimated.unwrap_or(false);
    if estimated && detection.is_none() {
        faults.note(
            format!("{at}/detection_limit"),
            "is required with an estimated value: it is taken as a range from it",
        );
    }
    if quantity.measured.lower() < 0.0 {
        faults.note(format!("{at}/{name}/value"), "must not be below zero");
    }
    if let (Measured::Value(value), Some(limit), false) = (quantity.measured, reporting, estimated)
        && value < limit
    {
        faults.note(
            format!("{at}/{name}/value"),
            "is below its own reporting limit: report it with the comparator <, or as estimated",
        );
    }
}

/// Two samples that ran at once on one worker cannot both carry a result of one agent.
async fn check_clash(
    change: &mut Change,
    sample: &Version<Sample>,
    agent: &str,
    of_report: &BTreeSet<(Uuid, &str)>,
    at: &str,
    faults: &mut Faults,
) -> Result<(), Refusal> {
    let Some(worker) = sample.fact.worker_id else { return Ok(()) };
    let others = runs::of_worker_around(change, worker.0, sample.fact.shift_date).await?;
    let (scope, as_of) = (change.everything(), change.as_of());
    for other in runs::clash(sample, &others) {
        let of_other = [
            Where::IsOneOf("sample_id", vec![other.id]),
            Where::TextIsOneOf("agent_code", vec![agent.to_owned()]),
            Where::Standing,
        ];
        let results = versions::list::<LabResult>(&mut change.tx, &scope, as_of, &of_other, None).await?;
        let here = of_report.contains(&(other.id, agent));
        if here || results.iter().any(|result| result.fact.stands) {
            faults.note(
                format!("{at}/sample_number"),
                format!(
                    "ran at the same time on the same worker as sample {}, which has a result for {agent}",
                    other.fact.number
                ),
            );
        }
    }
    Ok(())
}
