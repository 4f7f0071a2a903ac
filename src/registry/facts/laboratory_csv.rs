//! A laboratory report as the CSV file a laboratory sends.

use crate::model::facts::agent::Agent;
use crate::model::facts::laboratory::{BlankCorrected, LabReport, ReplacedAs, ResultDraft};
use crate::model::facts::original::OriginalKind;
use crate::model::magnitude::{OUT_OF_RANGE, in_range};
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape, parse_date};
use crate::model::text::Code;
use crate::model::unit::{Dimension, Unit};
use crate::registry::facts::laboratory::{Replacing, Report, Row, Unmatched};
use crate::registry::originals::keep::File;
use crate::registry::refusal::Refusal;
use csv::StringRecord;
use serde_json::{Map, Value};
use std::collections::BTreeMap;

/// The columns that may stand in the file.
pub const COLUMNS: &[&str] = &[
    "sample_number",
    "agent",
    "quantity",
    "comparator",
    "value",
    "unit",
    "reporting_limit",
    "detection_limit",
    "blank_corrected",
    "estimated",
    "replaces",
    "analysed_on",
];
/// Those that must.
pub const NEEDED: &[&str] = &["sample_number", "agent", "value", "unit", "reporting_limit"];

/// Reads head (query parameters) and rows (the file); agents by code, CAS RN or name.
///
/// # Errors
/// Every fault: of the head by parameter, of a row by `/results/<row from 0>/<column>`.
pub fn read(head: &[(String, String)], file: &[u8], agents: &[Agent]) -> Result<Report, Faults> {
    read_named(head, file, agents, &BTreeMap::new())
}

/// The same; `named` says which agent the laboratory's own names stand for. The file goes with the report, to be kept.
///
/// # Errors
/// As [`read`].
pub fn read_named(
    head: &[(String, String)],
    file: &[u8],
    agents: &[Agent],
    named: &BTreeMap<String, Code>,
) -> Result<Report, Faults> {
    let read = read_each(head, file, agents, named);
    let rows: Option<Vec<Row>> = read.rows.and_then(|rows| rows.into_iter().collect());
    match (read.head, rows) {
        (Some(of_report), Some(rows)) if read.faults.is_empty() => {
            let file = File::csv(OriginalKind::LabReport, file, read.columns, head).naming(named);
            Ok(Report { head: of_report, rows, unmatched: Unmatched::Refuse, file: Some(file) })
        }
        _ => Err(read.faults),
    }
}

/// What of a file could be read.
#[derive(Debug)]
pub struct ReadFile {
    /// The head.
    pub head: Option<LabReport>,
    /// Every row, those with faults as nothing; nothing at all where the columns are none.
    pub rows: Option<Vec<Option<Row>>>,
    /// The columns in their order, where they are some.
    pub columns: Vec<String>,
    /// Every fault, as [`read`] names them.
    pub faults: Faults,
}

/// The same, row by row; `named` says which agent the laboratory's own names stand for.
pub fn read_each(
    head: &[(String, String)],
    file: &[u8],
    agents: &[Agent],
    named: &BTreeMap<String, Code>,
) -> ReadFile {
    let mut faults = Faults::default();
    let head = read_head(head, &mut faults);
    let rows = read_rows(file, agents, named, &mut faults);
    let (columns, rows) = rows.unzip();
    ReadFile { head, rows, columns: columns.unwrap_or_default(), faults }
}

/// A refusal of a report that came as a file: what was wrong in a row is named by its column.
pub fn named_by_column(refusal: Refusal) -> Refusal {
    match refusal {
        Refusal::Faults(faults) => Refusal::Faults(by_column(&faults)),
        Refusal::Conflict { detail, faults } => Refusal::Conflict { detail, faults: by_column(&faults) },
        other => other,
    }
}

fn by_column(faults: &Faults) -> Faults {
    let mut named = Faults::default();
    for fault in faults.iter() {
        named.note(column_pointer(&fault.pointer), fault.detail.clone());
    }
    named
}

/// `/results/<row>/<column>` for the pointer into the report that a row became.
fn column_pointer(pointer: &str) -> String {
    let Some((row, field)) = pointer.strip_prefix("/results/").and_then(|rest| rest.split_once('/')) else {
        return pointer.to_owned();
    };
    let column = match field.split_once('/').unwrap_or((field, "")) {
        ("agent_code", _) => "agent",
        (_, "unit") => "unit",
        ("mass" | "concentration", _) => "value",
        (own, _) => own,
    };
    format!("/results/{row}/{column}")
}

fn read_head(head: &[(String, String)], faults: &mut Faults) -> Option<LabReport> {
    let fields: Map<String, Value> = head
        .iter()
        .map(|(name, text)| {
            let number =
                matches!(name.as_str(), "part" | "revision").then(|| text.parse::<i64>().ok()).flatten();
            (name.clone(), number.map_or_else(|| Value::String(text.clone()), Value::from))
        })
        .collect();
    LabReport::read(&Value::Object(fields), "", faults)
}

/// The columns of the file, and its rows.
fn read_rows(
    file: &[u8],
    agents: &[Agent],
    named: &BTreeMap<String, Code>,
    faults: &mut Faults,
) -> Option<(Vec<String>, Vec<Option<Row>>)> {
    let Ok(text) = std::str::from_utf8(file) else {
        faults.note("", "must be text in UTF-8");
        return None;
    };
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut reader = csv::ReaderBuilder::new().trim(csv::Trim::All).from_reader(text.as_bytes());
    let columns = match reader.headers() {
        Ok(columns) => columns.clone(),
        Err(error) => {
            faults.note("", format!("cannot be read as CSV: {error}"));
            return None;
        }
    };
    check_columns(&columns, faults)?;
    let places: BTreeMap<&str, usize> =
        columns.iter().enumerate().map(|(place, name)| (name, place)).collect();
    let mut rows = Vec::new();
    for (n, record) in reader.records().enumerate() {
        match record {
            Ok(record) => {
                let at = format!("/results/{n}");
                let cells = Cells { places: &places, named, record: &record, at };
                rows.push(cells.row(agents, faults));
            }
            Err(error) => {
                faults.note(format!("/results/{n}"), format!("cannot be read as CSV: {error}"));
                rows.push(None);
            }
        }
    }
    Some((columns.iter().map(str::to_owned).collect(), rows))
}

fn check_columns(columns: &StringRecord, faults: &mut Faults) -> Option<()> {
    let before = faults.len();
    for name in columns {
        if !COLUMNS.contains(&name) {
            faults.note(format!("/columns/{name}"), format!("is none of the columns {}", COLUMNS.join(", ")));
        }
        if columns.iter().filter(|other| *other == name).count() > 1 {
            faults.note(format!("/columns/{name}"), "stands more than once");
        }
    }
    for name in NEEDED {
        if !columns.iter().any(|column| column == *name) {
            faults.note(format!("/columns/{name}"), "is required");
        }
    }
    (faults.len() == before).then_some(())
}

/// The cells of one row by column name.
struct Cells<'c> {
    places: &'c BTreeMap<&'c str, usize>,
    named: &'c BTreeMap<String, Code>,
    record: &'c StringRecord,
    at: String,
}

impl Cells<'_> {
    fn cell(&self, column: &str) -> Option<&str> {
        self.places.get(column).and_then(|place| self.record.get(*place)).filter(|text| !text.is_empty())
    }

    fn fault(&self, column: &str, detail: impl Into<String>, faults: &mut Faults) {
        faults.note(format!("{}/{column}", self.at), detail);
    }

    #[expect(clippy::option_option, reason = "outside: was it readable; inside: was it there")]
    fn word<T>(
        &self,
        column: &str,
        read: impl Fn(&str) -> Option<T>,
        what: &str,
        faults: &mut Faults,
    ) -> Option<Option<T>> {
        match self.cell(column) {
            None => Some(None),
            Some(text) => {
                let found = read(text);
                if found.is_none() {
                    self.fault(column, what, faults);
                }
                found.map(Some)
            }
        }
    }

    fn quantity(
        &self,
        column: &str,
        comparator: Option<&str>,
        unit: Unit,
        faults: &mut Faults,
    ) -> Option<Quantity> {
        let Some(text) = self.cell(column) else {
            self.fault(column, "is required", faults);
            return None;
        };
        if text.starts_with(['<', '>']) {
            self.fault(column, "must be a number alone; < and > stand in the column comparator", faults);
            return None;
        }
        match Quantity::reported(comparator, text, unit) {
            Ok(quantity)
                if in_range(quantity.measured.lower())
                    && in_range(quantity.measured.upper().unwrap_or(0.0)) =>
            {
                Some(quantity)
            }
            Ok(_) => {
                self.fault(column, OUT_OF_RANGE, faults);
                None
            }
            Err(detail) => {
                self.fault(column, detail, faults);
                None
            }
        }
    }

    fn row(&self, agents: &[Agent], faults: &mut Faults) -> Option<Row> {
        let number = self.cell("sample_number").and_then(Code::new);
        if number.is_none() {
            self.fault("sample_number", "is required", faults);
        }
        let agent = self.agent(agents, faults);
        let unit = self.cell("unit").and_then(Unit::from_code);
        if unit.is_none() {
            self.fault("unit", "must be one of the units of the API (UCUM)", faults);
        }
        let comparator = self.word(
            "comparator",
            |text| ["<", ">"].into_iter().find(|c| *c == text),
            "must be < or >, or empty",
            faults,
        );
        let is_mass = self.word(
            "quantity",
            |text| match text {
                "mass" => Some(true),
                "concentration" => Some(false),
                _ => None,
            },
            "must be mass or concentration",
            faults,
        );
        let blank_corrected =
            self.word("blank_corrected", BlankCorrected::from_word, "must be yes, no or unknown", faults);
        let estimated = self.word(
            "estimated",
            |text| match text.to_lowercase().as_str() {
                "true" | "yes" => Some(true),
                "false" | "no" => Some(false),
                _ => None,
            },
            "must be true or false",
            faults,
        );
        let replacing =
            self.word("replaces", ReplacedAs::from_word, "must be revised or reanalysed, or empty", faults);
        let analysed_on =
            self.word("analysed_on", parse_date, "must be a date written as 2026-03-02", faults);
        // Numbers are read although the unit was none, so that their faults are named too.
        let read_as = unit.unwrap_or(Unit::Ug);
        let value = self.quantity("value", comparator.flatten(), read_as, faults);
        let reporting_limit = self.quantity("reporting_limit", None, read_as, faults);
        let detection_limit = match self.cell("detection_limit") {
            None => Some(None),
            Some(_) => self.quantity("detection_limit", None, read_as, faults).map(Some),
        };
        let unit = unit?;
        comparator?;
        let (mass, concentration) = match is_mass? {
            Some(true) => (value?.into(), None),
            None if unit.dimension() == Dimension::Mass => (value?.into(), None),
            Some(false) | None => (None, value?.into()),
        };
        let draft = ResultDraft {
            sample_number: number?,
            agent_code: agent?,
            mass,
            concentration,
            reporting_limit: reporting_limit?,
            detection_limit: detection_limit?,
            blank_corrected: blank_corrected?,
            estimated: estimated?,
            replaces: None,
            analysed_on: analysed_on?,
        };
        Some(Row { draft, replacing: replacing?.map_or(Replacing::Nothing, Replacing::Standing) })
    }

    /// The agent by code, else by CAS RN, else by name; what fits several is refused with the choices.
    fn agent(&self, agents: &[Agent], faults: &mut Faults) -> Option<Code> {
        let Some(text) = self.cell("agent") else {
            self.fault("agent", "is required", faults);
            return None;
        };
        if let Some(code) = self.named.get(text) {
            return Some(code.clone());
        }
        match agents_named(text, agents).as_slice() {
            [agent] => Some(agent.code.clone()),
            [] => {
                self.fault(
                    "agent",
                    format!("is no agent that is known by code, CAS RN or name: {text}"),
                    faults,
                );
                None
            }
            several => {
                let codes: Vec<_> = several.iter().map(|agent| agent.code.as_str()).collect();
                self.fault(
                    "agent",
                    format!("fits several agents; give one of the codes {}", codes.join(", ")),
                    faults,
                );
                None
            }
        }
    }
}

/// The agents that a text may mean: the one with this code, else all with this CAS RN or name.
pub fn agents_named<'a>(text: &str, agents: &'a [Agent]) -> Vec<&'a Agent> {
    if let Some(agent) = agents.iter().find(|agent| agent.code.as_str() == text) {
        return vec![agent];
    }
    let fits = |agent: &&Agent| {
        let numbers = agent.cas_rn.iter().chain(agent.further_cas_rns.iter().flatten());
        numbers.into_iter().any(|cas| cas.as_str() == text)
            || agent.name.as_str().eq_ignore_ascii_case(text)
            // The plain name before its qualification: "Lead" of "Lead, inorganic (…)".
            || agent.name.as_str().split([',', '(']).next().is_some_and(|plain| plain.trim().eq_ignore_ascii_case(text))
    };
    agents.iter().filter(fits).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::surveillance::pack::Pack;

    fn agents() -> Vec<Agent> {
        Pack::built_in().agents.iter().map(|entry| entry.agent.clone()).collect()
    }

    fn head() -> Vec<(String, String)> {
        [("report_number", "R-1"), ("laboratory", "Hollow Lane Laboratory"), ("received_on", "2026-03-09")]
            .map(|(name, text)| (name.to_owned(), text.to_owned()))
            .to_vec()
    }

    #[test]
    fn a_row_keeps_its_digits_and_its_comparator() {
        let file =
            "sample_number,agent,comparator,value,unit,reporting_limit\nS-1,18540-29-9,<,0.020,ug,0.020\n";
        let report = read(&head(), file.as_bytes(), &agents()).unwrap();
        let mass = report.rows[0].draft.mass.as_ref().unwrap();
        assert_eq!((mass.reported.as_deref(), mass.measured.upper()), (Some("0.020"), Some(0.02)));
        assert_eq!(report.rows[0].draft.agent_code.as_str(), "chromium_vi");
    }

    #[test]
    fn a_value_beyond_any_quantity_is_refused_in_its_column() {
        for value in ["5e-324", "1.7e308"] {
            let file =
                format!("sample_number,agent,value,unit,reporting_limit\nS-1,18540-29-9,{value},ug,0.020\n");
            let faults = read(&head(), file.as_bytes(), &agents()).unwrap_err();
            let fault = faults.iter().next().unwrap();
            assert_eq!((fault.pointer.as_str(), fault.detail.as_str()), ("/results/0/value", OUT_OF_RANGE));
        }
    }

    #[test]
    fn an_ambiguous_agent_is_refused_with_the_choices() {
        // Nickel's CAS RN 7440-02-0 stands for insoluble and soluble compounds alike (29 CFR 1910.1000 Table Z-1).
        let file = "sample_number,agent,value,unit,reporting_limit\nS-1,7440-02-0,1.0,ug,0.1\n";
        let faults = read(&head(), file.as_bytes(), &agents()).unwrap_err();
        let fault = faults.iter().next().unwrap();
        assert_eq!(fault.pointer, "/results/0/agent");
        assert!(
            fault.detail.contains("nickel_insoluble") && fault.detail.contains("nickel_soluble"),
            "{}",
            fault.detail
        );
    }

    #[test]
    fn every_fault_of_every_row_is_named() {
        let file = "sample_number,agent,value,unit,reporting_limit,comparator\n,unheard_of,\"1,5\",ug,0.1,=\nS-2,lead,<2,ft,0.1,\n";
        let faults = read(&head(), file.as_bytes(), &agents()).unwrap_err();
        let pointers: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
        assert_eq!(
            pointers,
            [
                "/results/0/sample_number",
                "/results/0/agent",
                "/results/0/comparator",
                "/results/0/value",
                "/results/1/unit",
                "/results/1/value"
            ]
        );
    }

    #[test]
    fn a_fault_that_the_registry_finds_is_named_by_column_too() {
        let named = [
            ("/results/1/mass/value", "/results/1/value"),
            ("/results/1/concentration/unit", "/results/1/unit"),
            ("/results/1/reporting_limit/unit", "/results/1/unit"),
            ("/results/1/agent_code", "/results/1/agent"),
            ("/results/1/replaces/result_id", "/results/1/replaces"),
            ("/results/1/sample_number", "/results/1/sample_number"),
            ("/results/1", "/results/1"),
            ("/results", "/results"),
        ];
        for (pointer, column) in named {
            assert_eq!(column_pointer(pointer), column);
        }
    }

    #[test]
    fn columns_that_are_unknown_missing_or_doubled_are_refused() {
        let faults = read(&head(), b"sample_number,agent,value,value,colour\n", &agents()).unwrap_err();
        let pointers: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
        assert!(pointers.contains(&"/columns/value") && pointers.contains(&"/columns/colour"));
        assert!(pointers.contains(&"/columns/unit") && pointers.contains(&"/columns/reporting_limit"));
        assert!(read(&head(), &[0xff, 0xfe, 0x00], &agents()).is_err());
    }
}
