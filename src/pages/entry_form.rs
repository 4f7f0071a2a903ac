//! What is typed into the form of a sampling event: of the day, and of each sample; as it is sent, kept as a draft, copied
//! down and pasted.

use crate::pages::form::Form;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;

/// The fields of the day, in the order in which they stand.
pub const DAY: &[&str] = &[
    "reference",
    "shift_date",
    "sampled_by",
    "purpose",
    "shift_minutes",
    "agents",
    "task",
    "method",
    "medium",
    "lot",
    "calibrator",
    "calibrated_on",
    "conditions",
];
/// The fields of a sample in the grid, in the order of the columns; a spreadsheet is pasted in this order.
pub const GRID: &[&str] = &["number", "position", "worker", "task", "runs", "before", "after", "controls"];
/// What may be said of a single sample beyond that.
pub const MORE: &[&str] = &[
    "date",
    "covers",
    "duplicate_of",
    "outcome",
    "sampler_kind",
    "representative",
    "group",
    "agents",
    "method",
    "medium",
    "lot",
    "location",
    "pump",
    "materials",
    "arc",
    "share",
    "ppe",
    "read_agent",
    "read_value",
    "read_criterion",
    "read2_agent",
    "read2_value",
    "read2_criterion",
    "read3_agent",
    "read3_value",
    "read3_criterion",
    "note",
];
/// What was read on site: agent, value and criterion. A dosimeter is read by as many criteria as there are.
pub const READINGS: [[&str; 3]; 3] = [
    ["read_agent", "read_value", "read_criterion"],
    ["read2_agent", "read2_value", "read2_criterion"],
    ["read3_agent", "read3_value", "read3_criterion"],
];
/// How many samples a form holds at first: a day's.
pub const ROWS: usize = 12;
/// The most it holds.
pub const ROWS_MOST: usize = 60;
/// The most letters of a field that are kept.
const LETTERS_MOST: usize = 8_000;

/// What was typed of one sample.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Row(BTreeMap<&'static str, String>);

impl Row {
    /// A field as it was typed.
    pub fn raw(&self, field: &str) -> &str {
        self.0.get(field).map_or("", String::as_str)
    }

    /// A field without the blanks around it; nothing where it is empty.
    pub fn given(&self, field: &str) -> Option<&str> {
        Some(self.raw(field).trim()).filter(|text| !text.is_empty())
    }

    /// Whether nothing was typed: where the air was taken is chosen from the beginning.
    pub fn is_blank(&self) -> bool {
        self.0.iter().all(|(field, text)| *field == "position" || text.trim().is_empty())
    }

    /// Whether something was said of it beyond the columns of the grid.
    pub fn says_more(&self) -> bool {
        MORE.iter().any(|field| self.given(field).is_some())
    }

    fn set(&mut self, field: &'static str, text: &str) {
        self.0.insert(field, text.chars().take(LETTERS_MOST).collect());
    }
}

/// What was typed into the whole form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Typed {
    /// Of the day.
    pub day: Row,
    /// Of each sample.
    pub rows: Vec<Row>,
}

impl Default for Typed {
    fn default() -> Self {
        Self { day: Row::default(), rows: vec![Row::default(); ROWS] }
    }
}

fn fields_of_row() -> impl Iterator<Item = &'static str> {
    GRID.iter().chain(MORE).copied()
}

impl Typed {
    /// The form as it was sent: `d-reference`, `r0-number`.
    pub fn of(form: &Form) -> Self {
        let mut sent: BTreeMap<&str, &str> = BTreeMap::new();
        for (name, value) in form.iter() {
            sent.entry(name).or_insert(value);
        }
        let read = |head: &str, fields: &mut dyn Iterator<Item = &'static str>| {
            let mut row = Row::default();
            for field in fields {
                if let Some(value) =
                    sent.get(format!("{head}-{field}").as_str()).filter(|text| !text.is_empty())
                {
                    row.set(field, value);
                }
            }
            row
        };
        let rows = form.text("rows").parse().unwrap_or(ROWS).clamp(1, ROWS_MOST);
        Self {
            day: read("d", &mut DAY.iter().copied()),
            rows: (0..rows).map(|n| read(&format!("r{n}"), &mut fields_of_row())).collect(),
        }
    }

    /// As it is kept as a draft.
    pub fn to_draft(&self) -> String {
        let row = |row: &Row| -> Value {
            row.0.iter().map(|(field, text)| ((*field).to_owned(), json!(text))).collect::<Map<_, _>>().into()
        };
        json!({"day": row(&self.day), "rows": self.rows.iter().map(row).collect::<Vec<_>>()}).to_string()
    }

    /// As it was kept; nothing where it cannot be read.
    pub fn from_draft(draft: &str) -> Option<Self> {
        let kept: Value = serde_json::from_str(draft).ok()?;
        let read = |kept: &Value, fields: &mut dyn Iterator<Item = &'static str>| {
            let mut row = Row::default();
            for field in fields {
                if let Some(text) = kept[field].as_str() {
                    row.set(field, text);
                }
            }
            row
        };
        let rows = kept["rows"].as_array()?.iter().take(ROWS_MOST);
        let rows: Vec<Row> = rows.map(|one| read(one, &mut fields_of_row())).collect();
        let day = read(&kept["day"], &mut DAY.iter().copied());
        (!rows.is_empty()).then_some(Self { day, rows })
    }

    /// Whether nothing was typed.
    pub fn is_blank(&self) -> bool {
        self.day.is_blank() && self.rows.iter().all(Row::is_blank)
    }

    /// Adds empty rows.
    pub fn add_rows(&mut self, more: usize) {
        let rows = (self.rows.len() + more).min(ROWS_MOST);
        self.rows.resize(rows, Row::default());
    }

    /// Copies a column down: every empty cell takes what stands above it, numbers of samples count on. Only rows in use are
    /// filled, but for the numbers themselves, which put the rows in use.
    pub fn copy_down(&mut self, column: &str) {
        let Some(column) = GRID.iter().copied().find(|field| *field == column) else { return };
        let mut above: Option<String> = None;
        for row in &mut self.rows {
            if let Some(text) = row.given(column) {
                above = Some(text.to_owned());
            } else if let Some(text) =
                above.as_mut().filter(|_| column == "number" || row.given("number").is_some())
            {
                if column == "number" {
                    *text = counted_on(text);
                }
                row.set(column, text);
            }
        }
    }

    /// Puts rows of a spreadsheet into the first rows that are empty, cell by cell in the order of the columns.
    pub fn paste(&mut self, text: &str) {
        let first = self.rows.iter().rposition(|row| !row.is_blank()).map_or(0, |last| last + 1);
        let lines = text.lines().filter(|line| !line.trim().is_empty()).take(ROWS_MOST);
        for (n, line) in lines.enumerate() {
            if first + n >= ROWS_MOST {
                return;
            }
            if first + n >= self.rows.len() {
                self.rows.push(Row::default());
            }
            for (field, cell) in GRID.iter().zip(line.split('\t')) {
                self.rows[first + n].set(field, cell.trim());
            }
        }
    }
}

/// The number after a number: `118-09` is followed by `118-10`; what ends in no digit stays as it is.
pub fn counted_on(number: &str) -> String {
    let digits = number.len() - number.bytes().rev().take_while(u8::is_ascii_digit).count();
    let (head, tail) = number.split_at(digits);
    match tail.parse::<u64>() {
        Ok(count) if tail.len() < 19 => format!("{head}{:0width$}", count + 1, width = tail.len()),
        _ => number.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed() -> Typed {
        Typed::of(
            &Form::parse(
                b"rows=3&d-reference=A+1&r0-number=118-09&r0-worker=Q-1&r2-number=x&r1-position=area",
            )
            .unwrap(),
        )
    }

    #[test]
    fn a_form_is_kept_as_a_draft_and_comes_back_the_same() {
        let form = typed();
        assert_eq!(form.day.given("reference"), Some("A 1"));
        assert_eq!((form.rows.len(), form.rows[1].is_blank(), form.rows[2].is_blank()), (3, true, false));
        assert_eq!(Typed::from_draft(&form.to_draft()), Some(form));
        assert_eq!(Typed::from_draft("{}"), None);
        assert!(Typed::default().is_blank());
    }

    #[test]
    fn a_column_is_copied_down_over_rows_in_use_and_numbers_count_on() {
        let mut form = typed();
        form.copy_down("worker");
        assert_eq!([0, 1, 2].map(|n: usize| form.rows[n].raw("worker").to_owned()), ["Q-1", "", "Q-1"]);
        form.copy_down("number");
        assert_eq!(
            [0, 1, 2].map(|n: usize| form.rows[n].raw("number").to_owned()),
            ["118-09", "118-10", "x"]
        );
        assert_eq!([counted_on("9"), counted_on("A-099"), counted_on("A")], ["10", "A-100", "A"]);
    }

    #[test]
    fn a_spreadsheet_goes_into_the_cells_behind_what_is_there() {
        let mut form = typed();
        form.rows.pop();
        form.paste("118-20\tbreathing zone\tQ-2\r\n\r\n118-21\tarea\n118-22");
        assert_eq!(form.rows.len(), 4);
        assert_eq!((form.rows[1].raw("number"), form.rows[1].raw("worker")), ("118-20", "Q-2"));
        assert_eq!((form.rows[2].raw("position"), form.rows[3].raw("number")), ("area", "118-22"));
    }
}
