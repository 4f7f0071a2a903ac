//! Samples as rows of a table: one for each sample and result.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Sites;
use crate::conclusions::asked::Asked;
use crate::conclusions::sample::{SampleResultView, SampleView, sample_view};
use crate::model::facts::control::Task;
use crate::model::facts::group::Group;
use crate::model::facts::laboratory::{LabReport, LabResult};
use crate::model::facts::sampling::Sample;
use crate::model::facts::site::Site;
use crate::model::identifiers::{ResultId, SampleId, SiteId, WorkerId};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::version::Version;
use crate::record;
use crate::registry::conclude::samples::agent_codes;
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Where};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use uuid::Uuid;

record! {
    /// A sample with one of its results.
    pub struct SampleRow {
        /// The sample.
        sample_id: SampleId,
        /// The result.
        result_id: Option<ResultId>,
        /// Code of the site.
        site_code: String,
        /// The event's reference.
        event_reference: String,
        /// The sample's number.
        sample_number: String,
        /// Where the air was taken.
        position: String,
        /// The site's local date on which the shift started.
        shift_date: NaiveDate,
        /// What it stands for.
        covers: String,
        /// What became of it.
        outcome: String,
        /// Why it was voided.
        voided: Option<String>,
        /// The worker.
        worker_id: Option<WorkerId>,
        /// The worker's name as it was then.
        worker_name: Option<String>,
        /// Code of the group.
        group_code: Option<String>,
        /// Code of the task.
        task_code: Option<String>,
        /// The method.
        method: Option<String>,
        /// Minutes sampled.
        minutes: f64,
        /// Litres of air.
        volume_litres: Option<f64>,
        /// Change of the flow in per cent.
        flow_change_percent: Option<f64>,
        /// The agent.
        agent_code: Option<String>,
        /// By which criterion, for noise.
        criterion: Option<String>,
        /// How far the result has come.
        status: Option<String>,
        /// Whether it stands.
        stands: Option<bool>,
        /// The laboratory.
        laboratory: Option<String>,
        /// The report.
        report_number: Option<String>,
        /// The digits as reported.
        reported: Option<String>,
        /// The unit they were reported in.
        reported_unit: Option<String>,
        /// `<` or `>` of the concentration.
        comparator: Option<String>,
        /// The concentration, or the limit it is below or above.
        concentration: Option<f64>,
        /// The least it can be, for a range.
        concentration_lower: Option<f64>,
        /// The most it can be, for a range.
        concentration_upper: Option<f64>,
        /// Its unit.
        unit: Option<String>,
        /// What is to be known of sample and result.
        flags: Vec<String>,
    }
}

/// Every sample in sight, in order of site, date and number.
///
/// # Errors
/// [`Refusal::Forbidden`], or when storage fails.
pub async fn rows(tx: &mut Tx, caller: &Caller, as_of: AsOf) -> Result<Vec<SampleRow>, Refusal> {
    caller.may(Action::Export)?;
    let scope = caller.may(Action::ReadSamples)?;
    let samples = versions::list::<Sample>(tx, &scope, as_of, &[], None).await?;
    let evidence = gather::samples::evidence(tx, as_of, samples).await?;
    let agents = gather::agents::agents(tx, as_of, agent_codes(&evidence)).await?;
    let sites = by_id(match &scope.sites {
        Sites::All => gather::all::<Site>(tx, as_of, &[]).await?,
        Sites::Only(ids) => {
            gather::many(tx, as_of, &ids.iter().map(|id| id.0).collect::<Vec<_>>(), Where::Ids).await?
        }
    });
    let groups = by_id(versions::list::<Group>(tx, &scope, as_of, &[], None).await?);
    let tasks = by_id(versions::list::<Task>(tx, &scope, as_of, &[], None).await?);
    let reports = by_id(versions::list::<LabReport>(tx, &scope, as_of, &[], None).await?);
    let mut rows = Vec::with_capacity(evidence.len());
    for found in &evidence {
        let said = sample_view(found, &agents, Asked::default());
        let sample = &found.sample;
        let site = sample.site.unwrap_or(SiteId(Uuid::nil()));
        let mut base = blank_row(sample, &said);
        base.site_code = sites.get(&site.0).map(|site| site.fact.code.to_string()).unwrap_or_default();
        base.event_reference = found.event.fact.reference.to_string();
        base.group_code =
            sample.fact.group_id.and_then(|id| groups.get(&id.0)).map(|group| group.fact.code.to_string());
        base.task_code =
            sample.fact.task_id.and_then(|id| tasks.get(&id.0)).map(|task| task.fact.code.to_string());
        if said.results.is_empty() {
            rows.push(base);
            continue;
        }
        for view in &said.results {
            let mut row = base.clone();
            fill_result(&mut row, view);
            let result = view.id.and_then(|id| found.results.iter().find(|result| result.id == id.0));
            let report = result.and_then(|result| result.parent).and_then(|id| reports.get(&id));
            row.laboratory = report.map(|report| report.fact.laboratory.to_string());
            row.report_number = report.map(|report| report.fact.report_number.to_string());
            let quantity = result.and_then(|result| as_reported(&result.fact));
            row.reported = quantity.and_then(|quantity| quantity.reported.clone());
            row.reported_unit = quantity.map(|quantity| quantity.unit.code().to_owned());
            rows.push(row);
        }
    }
    rows.sort_by(|a, b| {
        let key = |row: &SampleRow| {
            (
                row.site_code.clone(),
                row.shift_date,
                row.sample_number.clone(),
                row.agent_code.clone(),
                row.result_id,
            )
        };
        key(a).cmp(&key(b))
    });
    Ok(rows)
}

fn by_id<F>(versions: Vec<Version<F>>) -> BTreeMap<Uuid, Version<F>> {
    versions.into_iter().map(|version| (version.id, version)).collect()
}

fn as_reported(result: &LabResult) -> Option<&Quantity> {
    result.mass.as_ref().or(result.concentration.as_ref())
}

fn blank_row(sample: &Version<Sample>, said: &SampleView) -> SampleRow {
    let fact = &sample.fact;
    SampleRow {
        sample_id: SampleId(sample.id),
        result_id: None,
        site_code: String::new(),
        event_reference: String::new(),
        sample_number: fact.number.to_string(),
        position: fact.position.to_string(),
        shift_date: fact.shift_date,
        covers: fact.covered().to_string(),
        outcome: fact.came_out().to_string(),
        voided: sample.voided.clone(),
        worker_id: fact.worker_id,
        worker_name: fact.labels.as_ref().and_then(|labels| labels.worker_name.clone()),
        group_code: None,
        task_code: None,
        method: fact.method.as_ref().map(ToString::to_string),
        minutes: fact.minutes(),
        volume_litres: said.volume.as_ref().map(|volume| volume.measured.lower()),
        flow_change_percent: said.flow_change_percent,
        agent_code: None,
        criterion: None,
        status: None,
        stands: None,
        laboratory: None,
        report_number: None,
        reported: None,
        reported_unit: None,
        comparator: None,
        concentration: None,
        concentration_lower: None,
        concentration_upper: None,
        unit: None,
        flags: said.flags.iter().map(ToString::to_string).collect(),
    }
}

fn fill_result(row: &mut SampleRow, view: &SampleResultView) {
    row.result_id = view.id;
    row.agent_code = Some(view.agent_code.to_string());
    row.criterion = view.criterion.map(|criterion| criterion.to_string());
    row.status = Some(view.status.to_string());
    row.stands = Some(view.stands);
    row.flags.extend(view.flags.iter().map(ToString::to_string));
    let Some(concentration) = &view.concentration else { return };
    row.unit = Some(concentration.unit.code().to_owned());
    match concentration.measured {
        Measured::Value(value) => row.concentration = Some(value),
        Measured::Below(value) => (row.comparator, row.concentration) = (Some("<".into()), Some(value)),
        Measured::Above(value) => (row.comparator, row.concentration) = (Some(">".into()), Some(value)),
        Measured::Between { lower, upper } => {
            (row.concentration_lower, row.concentration_upper) = (Some(lower), Some(upper));
        }
    }
}
