//! One row of a laboratory report: what it replaces, its checks by itself and against what the registry knows.

use crate::model::facts::agent::Agent;
use crate::model::facts::laboratory::{
    BlankCorrected, LabResult, ReplacedAs, Replaces, ResultDraft, ResultStatus,
};
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::identifiers::{ResultId, SampleId, SiteId};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Faults;
use crate::model::text::Code;
use crate::model::unit::{Dimension, Unit};
use crate::model::version::Version;
use crate::registry::facts::runs;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::{self, Where};
use chrono::NaiveDate;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How many numbers are looked up at once.
const LOOK_UP: usize = 400;

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

/// What the registry knows about the samples of a report.
pub(crate) struct Known {
    pub(crate) samples: BTreeMap<String, Version<Sample>>,
    results: BTreeMap<(Uuid, String), Vec<Version<LabResult>>>,
    pub(crate) agents: BTreeSet<String>,
}

impl Known {
    pub(crate) async fn of(change: &mut Change, site: SiteId, rows: &[Row]) -> Result<Self, Refusal> {
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

/// A result that is ready to be stored, with the one it replaces.
pub(crate) type Ready = (LabResult, Option<Version<LabResult>>);

/// Where faults of a row are noted: its pointer, and its own and the other faults of the request.
pub(crate) struct Noting<'n> {
    /// The pointer of the row.
    pub(crate) at: &'n str,
    /// What is wrong.
    pub(crate) faults: &'n mut Faults,
    /// What stands already.
    pub(crate) conflicts: &'n mut Faults,
}

impl Known {
    /// Checks a row against its sample and what stands for it.
    ///
    /// `received_on` is when its report was received, `of_report` the samples and agents of the report's rows.
    pub(crate) async fn ready(
        &self,
        change: &mut Change,
        sample: &Version<Sample>,
        row: &Row,
        received_on: NaiveDate,
        of_report: &BTreeSet<(Uuid, &str)>,
        noting: Noting<'_>,
    ) -> Result<Ready, Refusal> {
        let Noting { at, faults, conflicts } = noting;
        let code = row.draft.agent_code.as_str();
        if !sample.stands() {
            faults.note(format!("{at}/sample_number"), format!("is a voided sample: {}", sample.fact.number));
        }
        if row.draft.analysed_on.is_some_and(|day| day < sample.fact.shift_date) {
            faults.note(format!("{at}/analysed_on"), "must not be before the sample was taken");
        }
        if row.draft.analysed_on.is_some_and(|day| day > received_on) {
            faults.note(format!("{at}/analysed_on"), "must not be after the report was received");
        }
        let stands = self.standing(sample.id, code);
        let replaced = find_replaced(row, stands, at, faults, conflicts);
        check_clash(change, sample, code, of_report, at, faults).await?;
        let result = result_of(&row.draft, sample.id, replaced.as_ref().map(|(old, how)| (old.id, *how)));
        Ok((result, replaced.map(|(old, _)| old)))
    }
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

/// Checks a result that is corrected as the row of a report is; a reading on site has no reporting limit.
pub(crate) fn check_result(result: &LabResult, faults: &mut Faults) {
    let Some(reporting_limit) = result.reporting_limit.clone() else {
        match (&result.mass, &result.concentration) {
            (None, Some(level)) if level.unit.is_exposure() || level.unit == Unit::Percent => {}
            (None, Some(_)) => faults.note("/concentration/unit", "must be a unit of exposure"),
            _ => faults.note("/concentration", "is required, and no mass beside it"),
        }
        return;
    };
    let Some(sample_number) = Code::new("corrected") else { return };
    let row = ResultDraft {
        sample_number,
        agent_code: result.agent_code.clone(),
        mass: result.mass.clone(),
        concentration: result.concentration.clone(),
        reporting_limit,
        detection_limit: result.detection_limit.clone(),
        blank_corrected: Some(result.blank_corrected),
        estimated: Some(result.estimated),
        replaces: None,
        analysed_on: result.analysed_on,
    };
    check_row(&row, "", faults);
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
