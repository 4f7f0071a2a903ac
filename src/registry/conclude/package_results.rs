//! Samples as rows of a package of records: the person's own under no name, others' under cover names.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::record_package::PackageResult;
use crate::conclusions::sample::{SampleResultView, SampleView, sample_view};
use crate::model::facts::laboratory::{LabReport, LabResult, ResultStatus};
use crate::model::facts::sampling::SampleOutcome;
use crate::model::identifiers::{GroupId, SampleId, SiteId, TaskId};
use crate::model::text::Code;
use crate::model::version::Version;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// How the person is named in the column of who wore the sampler.
const THE_WORKER: &str = "the worker";

/// Titles of what the samples stand in.
#[derive(Debug, Default)]
pub struct Titles {
    /// Codes of sites.
    pub sites: BTreeMap<SiteId, String>,
    /// Titles of groups.
    pub groups: BTreeMap<GroupId, String>,
    /// The site of each group.
    pub site_of: BTreeMap<GroupId, SiteId>,
    /// Titles of tasks.
    pub tasks: BTreeMap<TaskId, String>,
}

/// The rows of samples, by shift date and number; `own` are the person's entries, `cover` the cover names given so far.
pub fn results(
    samples: &[&SampleEvidence],
    agents: &[AgentEvidence],
    reports: &BTreeMap<Uuid, Version<LabReport>>,
    titles: &Titles,
    own: &BTreeSet<Uuid>,
    cover: &mut BTreeMap<Uuid, usize>,
) -> Vec<PackageResult> {
    let mut samples: Vec<&SampleEvidence> = samples.to_vec();
    samples.sort_by_key(|one| (one.sample.fact.shift_date, &one.sample.fact.number, one.sample.id));
    let mut rows = Vec::new();
    for found in samples {
        let said = sample_view(found, agents, Asked::default());
        let mut base = without_result(found, &said, titles);
        base.worn_by = found.sample.fact.worker_id.map(|worker| {
            if own.contains(&worker.0) {
                return THE_WORKER.to_owned();
            }
            let next = cover.len();
            cover_name(*cover.entry(worker.0).or_insert(next))
        });
        let reported: BTreeSet<&Code> = said.results.iter().map(|view| &view.agent_code).collect();
        for code in found.sample.fact.agent_codes.iter().flatten().filter(|code| !reported.contains(code)) {
            rows.push(PackageResult { agent_code: Some(code.clone()), ..base.clone() });
        }
        for view in &said.results {
            let result = view.id.and_then(|id| found.results.iter().find(|result| result.id == id.0));
            let report = result.and_then(|result| reports.get(&result.parent?));
            rows.push(with_result(&base, view, result, report));
        }
        if said.results.is_empty() && found.sample.fact.agent_codes.iter().flatten().next().is_none() {
            rows.push(base);
        }
    }
    rows
}

/// Person A, B, … Z, AA, AB, …: in the order in which they are met.
fn cover_name(mut number: usize) -> String {
    let mut letters = Vec::new();
    loop {
        letters.push(char::from(b'A' + u8::try_from(number % 26).unwrap_or_default()));
        if number < 26 {
            break;
        }
        number = number / 26 - 1;
    }
    format!("Person {}", letters.into_iter().rev().collect::<String>())
}

fn without_result(found: &SampleEvidence, said: &SampleView, titles: &Titles) -> PackageResult {
    let fact = &found.sample.fact;
    let method = fact.method.as_ref().map(|method| match &fact.method_edition {
        Some(edition) => format!("{method}, {edition}"),
        None => method.to_string(),
    });
    let outcome = fact.came_out();
    let failed = (outcome != SampleOutcome::Valid).then(|| outcome.to_string().replace('_', " "));
    PackageResult {
        sample_id: SampleId(found.sample.id),
        sample_number: fact.number.to_string(),
        shift_date: fact.shift_date,
        site_code: found.sample.site.and_then(|site| titles.sites.get(&site).cloned()),
        group_title: fact.group_id.and_then(|group| titles.groups.get(&group).cloned()),
        task_title: fact.task_id.and_then(|task| titles.tasks.get(&task).cloned()),
        position: fact.position.to_string(),
        covers: fact.covered().to_string(),
        worn_by: None,
        job_title: fact.job_title.as_ref().map(ToString::to_string),
        protective_equipment: fact.ppe_worn.as_ref().map(ToString::to_string),
        minutes: fact.minutes(),
        agent_code: None,
        status: None,
        stands: None,
        reported: None,
        concentration: None,
        dose: None,
        reporting_limit: None,
        method,
        laboratory: None,
        report_number: None,
        void_because: found.sample.voided.clone().or(failed),
        flags: said.flags.iter().map(ToString::to_string).collect(),
    }
}

fn with_result(
    base: &PackageResult,
    view: &SampleResultView,
    result: Option<&Version<LabResult>>,
    report: Option<&Version<LabReport>>,
) -> PackageResult {
    let mut row = base.clone();
    row.agent_code = Some(view.agent_code.clone());
    row.status = Some(view.status);
    row.stands = Some(view.stands);
    row.concentration.clone_from(&view.concentration);
    row.dose.clone_from(&view.dose);
    row.flags.extend(view.flags.iter().map(ToString::to_string));
    if let Some(result) = result {
        row.reported = result.fact.mass.clone().or_else(|| result.fact.concentration.clone());
        row.reporting_limit.clone_from(&result.fact.reporting_limit);
        if view.status == ResultStatus::Voided {
            let reason = result.fact.reason.as_ref().map(ToString::to_string);
            row.void_because = row.void_because.or(reason).or_else(|| Some("voided".into()));
        } else if !view.stands {
            row.void_because = row.void_because.or_else(|| Some("another result stands in its place".into()));
        }
    }
    row.laboratory = report.map(|report| report.fact.laboratory.to_string());
    row.report_number = report.map(|report| report.fact.report_number.to_string());
    row
}

#[cfg(test)]
mod tests {
    use super::*;

    // Counting letters as columns of a table are counted: common practice, no source.
    #[test]
    fn cover_names_never_run_out_and_never_repeat() {
        let named = |number| cover_name(number);
        assert_eq!(
            [0, 1, 25, 26, 51, 52, 701, 702].map(named),
            [
                "Person A",
                "Person B",
                "Person Z",
                "Person AA",
                "Person AZ",
                "Person BA",
                "Person ZZ",
                "Person AAA"
            ]
        );
        let names: BTreeSet<String> = (0..2000).map(cover_name).collect();
        assert_eq!(names.len(), 2000);
    }
}
