//! A laboratory's file as it would be stored: every row with what it becomes, or with what is wrong in it; nothing is kept
//! of it.

use crate::conclusions::asked::Asked;
use crate::model::facts::agent::Agent;
use crate::model::facts::laboratory::LabReport;
use crate::model::shape::Faults;
use crate::model::text::{Code, Line};
use crate::pages::Pages;
use crate::pages::form::Wrong;
use crate::pages::lab_draft::LabDraft;
use crate::pages::result_told;
use crate::pages::stopped::Stopped;
use crate::pages::visit::Visit;
use crate::registry::conclude::samples;
use crate::registry::facts::laboratory::{self, Report, Row, Unmatched};
use crate::registry::facts::laboratory_csv::{self, ReadFile};
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// What a row would become.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Becomes {
    /// A result that says this.
    Result(String),
    /// It would wait for its sample.
    Waits,
    /// Nothing: it has faults, or the whole file has.
    Nothing,
}

/// A row of the file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckedRow {
    /// The line of the file.
    pub line: usize,
    /// The sample's number.
    pub number: String,
    /// The agent, as the laboratory names it.
    pub agent: String,
    /// What was found, as it stands in the file.
    pub value: String,
    /// The reporting limit, as it stands in the file.
    pub limit: String,
    /// What it would become.
    pub becomes: Becomes,
    /// What is wrong, with the column.
    pub faults: Vec<(String, String)>,
}

/// A file that was looked at.
#[derive(Debug, Default)]
pub struct Checked {
    /// Every row.
    pub rows: Vec<CheckedRow>,
    /// What is wrong with the head, by field.
    pub head: Wrong,
    /// What is wrong with the file as a whole.
    pub file: Vec<String>,
    /// Names of agents that the registry does not know, or knows several of.
    pub unknown: BTreeSet<String>,
    /// Workers whom the samples name.
    pub workers: BTreeSet<Uuid>,
}

impl Checked {
    /// Whether it could be stored.
    pub fn is_sound(&self) -> bool {
        self.head.is_empty() && self.file.is_empty() && self.rows.iter().all(|row| row.faults.is_empty())
    }

    /// How many rows have faults.
    pub fn faulty(&self) -> usize {
        self.rows.iter().filter(|row| !row.faults.is_empty()).count()
    }
}

/// The agents by which a file is read.
///
/// # Errors
/// Only when storage fails.
pub async fn agents(pages: &Pages) -> Result<Vec<Agent>, Stopped> {
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    Ok(gather::all::<Agent>(&mut tx, as_of, &[]).await?.into_iter().map(|agent| agent.fact).collect())
}

/// Reads a kept file into the report that the use case takes.
///
/// # Errors
/// Every fault in it.
pub fn report_of(draft: &LabDraft, agents: &[Agent]) -> Result<Report, Faults> {
    let report = laboratory_csv::read_named(&draft.head(), &draft.file, agents, &draft.named)?;
    Ok(Report { unmatched: unmatched(draft), ..report })
}

fn unmatched(draft: &LabDraft) -> Unmatched {
    if draft.hold { Unmatched::Hold } else { Unmatched::Refuse }
}

/// Looks at a file: reads it, and asks the use case what would come of it. Rows that read well are asked for although
/// others do not, so that every fault is told at once.
///
/// # Errors
/// The site is out of sight, or storage fails.
pub async fn check(
    pages: &Pages,
    visit: &Visit,
    site: Uuid,
    draft: &LabDraft,
    agents: &[Agent],
) -> Result<Checked, Stopped> {
    let ReadFile { head, rows, faults, .. } =
        laboratory_csv::read_each(&draft.head(), &draft.file, agents, &draft.named);
    let mut checked = Checked { rows: lines(&draft.file), ..Checked::default() };
    let read: Vec<(usize, Row)> =
        rows.into_iter().flatten().enumerate().filter_map(|(n, row)| Some((n, row?))).collect();
    let places: Vec<usize> = read.iter().map(|(n, _)| *n).collect();
    place(&mut checked, &faults);
    // The rows are looked at even while the head lacks something.
    let head = head.or_else(|| stand_in(pages));
    let Some(head) = head.filter(|_| !read.is_empty()) else { return Ok(checked) };
    let asked: Vec<(String, String)> = read
        .iter()
        .map(|(_, row)| (row.draft.sample_number.to_string(), row.draft.agent_code.to_string()))
        .collect();
    let rows = read.into_iter().map(|(_, row)| row).collect();
    // Nothing is stored here, and so no file.
    let report = Report { head, rows, unmatched: unmatched(draft), file: None };
    let mut change = pages.registry.begin_plain(&visit.caller()).await?;
    match laboratory::record_report(&mut change, site, report).await.map_err(laboratory_csv::named_by_column)
    {
        Ok(recorded) => {
            let waiting: BTreeSet<String> =
                recorded.held.iter().map(|held| held.fact.row.sample_number.to_string()).collect();
            checked.workers =
                recorded.samples.iter().filter_map(|sample| sample.fact.worker_id).map(|id| id.0).collect();
            let as_of = change.as_of();
            let views = samples::views(&mut change.tx, as_of, recorded.samples, Asked::default()).await?;
            for (n, (number, agent)) in places.iter().zip(&asked) {
                let becomes = if waiting.contains(number) {
                    Becomes::Waits
                } else {
                    Becomes::Result(said(&views, number, agent))
                };
                if let Some(row) = checked.rows.get_mut(*n) {
                    row.becomes = becomes;
                }
            }
        }
        Err(Refusal::Faults(faults)) => place(&mut checked, &moved(&faults, &places)),
        Err(Refusal::Conflict { detail, faults }) if faults.is_empty() => {
            checked.head.note("report_number", detail);
        }
        Err(Refusal::Conflict { detail, faults }) => {
            // The sentence tells more than the identifier of the result that stands.
            let mut told = Faults::default();
            faults.iter().for_each(|fault| told.note(fault.pointer.clone(), detail.clone()));
            place(&mut checked, &moved(&told, &places));
        }
        Err(other) => return Err(other.into()),
    }
    // Whatever was recorded goes with the change that is dropped here.
    drop(change);
    for (n, row) in checked.rows.iter().enumerate() {
        if row.faults.iter().any(|(column, _)| column == "agent") && !places.contains(&n) {
            checked.unknown.insert(row.agent.clone());
        }
    }
    checked.unknown.remove("");
    Ok(checked)
}

/// The result of a sample as it would be told.
fn said(views: &[Value], number: &str, agent: &str) -> String {
    let view = views.iter().find(|view| view["number"] == number);
    let results = view.and_then(|view| view["results"].as_array()).into_iter().flatten();
    let mut of_agent: Vec<&Value> = results.filter(|result| result["agent_code"] == agent).collect();
    of_agent.sort_by_key(|result| result["stands"].as_bool().unwrap_or_default());
    of_agent.last().map_or_else(String::new, |result| {
        let told = result_told::quantity(&result["concentration"]);
        if told.is_empty() { result_told::quantity(&result["mass"]) } else { told }
    })
}

/// A head with which rows can be looked at before the real one is whole.
fn stand_in(pages: &Pages) -> Option<LabReport> {
    Some(LabReport {
        report_number: Code::new(&pages.registry.ids.id(pages.registry.clock.now()).to_string())?,
        part: None,
        revision: None,
        laboratory: Line::new("?")?,
        accreditation: None,
        received_on: pages.registry.clock.now().date_naive(),
    })
}

/// Faults of the rows that were asked for, named by their places in the file.
fn moved(faults: &Faults, places: &[usize]) -> Faults {
    let mut named = Faults::default();
    for fault in faults.iter() {
        let rest =
            fault.pointer.strip_prefix("/results/").map(|rest| rest.split_once('/').unwrap_or((rest, "")));
        let place = rest.and_then(|(k, rest)| Some((places.get(k.parse::<usize>().ok()?)?, rest)));
        match place {
            Some((n, rest)) => named.note(format!("/results/{n}/{rest}"), fault.detail.clone()),
            None => named.note(fault.pointer.clone(), fault.detail.clone()),
        }
    }
    named
}

/// Puts faults to their rows, to the head, or to the file.
fn place(checked: &mut Checked, faults: &Faults) {
    for fault in faults.iter() {
        let mut parts = fault.pointer.trim_start_matches('/').splitn(3, '/');
        match (parts.next().unwrap_or_default(), parts.next()) {
            ("results", Some(n)) => {
                let row = n.parse::<usize>().ok().and_then(|n| checked.rows.get_mut(n));
                let column = parts.next().unwrap_or_default().trim_end_matches('/').to_owned();
                match row {
                    Some(row) => row.faults.push((column, fault.detail.clone())),
                    None => checked.file.push(fault.detail.clone()),
                }
            }
            ("columns", Some(name)) => checked.file.push(format!("{name} {}", fault.detail)),
            ("results" | "", _) => checked.file.push(fault.detail.clone()),
            (field, _) => checked.head.note(field, fault.detail.clone()),
        }
    }
}

/// The rows as they stand in the file, as far as it can be read.
fn lines(file: &[u8]) -> Vec<CheckedRow> {
    let Ok(text) = std::str::from_utf8(file) else { return Vec::new() };
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader =
        csv::ReaderBuilder::new().trim(csv::Trim::All).flexible(true).from_reader(text.as_bytes());
    let Ok(columns) = reader.headers().cloned() else { return Vec::new() };
    let places: BTreeMap<&str, usize> = columns.iter().enumerate().map(|(n, name)| (name, n)).collect();
    reader
        .records()
        .enumerate()
        .map(|(n, record)| {
            let record = record.unwrap_or_default();
            let cell = |name: &str| places.get(name).and_then(|n| record.get(*n)).unwrap_or_default();
            let joined = |parts: &[&str]| {
                parts.iter().filter(|part| !part.is_empty()).copied().collect::<Vec<_>>().join(" ")
            };
            CheckedRow {
                line: record.position().and_then(|at| usize::try_from(at.line()).ok()).unwrap_or(n + 2),
                number: cell("sample_number").to_owned(),
                agent: cell("agent").to_owned(),
                value: joined(&[cell("comparator"), cell("value"), cell("unit")]),
                limit: joined(&[cell("reporting_limit"), cell("unit")]),
                becomes: Becomes::Nothing,
                faults: Vec::new(),
            }
        })
        .collect()
}
