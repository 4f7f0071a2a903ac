//! The facts of a kind as a table: CSV, and the JSON Schema that says what its columns mean.

use crate::registry::bundle::chosen::Chosen;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::tables::Table;
use crate::store::versions::{self, RawRow};
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// How many rows are held at once.
const CHUNK: i64 = 500;
/// A file ends with the row that brings it to this many bytes.
const FULL: usize = 8 << 20;
/// The columns that every table begins with.
const FIRST: [&str; 6] = ["id", "revision", "position", "site_id", "parent_id", "voided"];

/// The field of what is in no bundle; it would be empty in every row.
const OF_MEDICAL: &str = "rests_on_medical_ground";

/// One file of a table.
#[derive(Debug)]
pub(super) struct Part {
    /// The CSV.
    pub(super) text: String,
    /// How many rows.
    pub(super) rows: i64,
}

/// Writes a table a file at a time.
#[derive(Debug)]
pub(super) struct Writing {
    table: &'static Table,
    columns: Vec<String>,
    after: Option<Uuid>,
    ended: bool,
}

impl Writing {
    /// Begins a table.
    pub(super) fn of(table: &'static Table) -> Self {
        Self {
            table,
            columns: fields(table).into_iter().map(|(name, _)| name).collect(),
            after: None,
            ended: false,
        }
    }

    /// The next file; nothing where no row is left.
    pub(super) async fn next(
        &mut self,
        tx: &mut Tx,
        position: i64,
        chosen: &Chosen,
    ) -> Result<Option<Part>, Refusal> {
        let columns: Vec<String> = self.columns.iter().map(|name| heading(name)).collect();
        let heading = FIRST.iter().copied().chain(columns.iter().map(String::as_str));
        let mut part = Part { text: line(heading), rows: 0 };
        while !self.ended && part.text.len() < FULL {
            let rows = versions::raw_page(tx, self.table, position, self.after, CHUNK).await?;
            self.ended = rows.is_empty();
            for row in rows {
                self.after = Some(row.id);
                if chosen.holds(self.table.kind, row.id, row.site_id) {
                    part.text += &self.row(&row);
                    part.rows += 1;
                }
            }
        }
        Ok((part.rows > 0).then_some(part))
    }

    fn row(&self, row: &RawRow) -> String {
        let fact: Map<String, Value> = serde_json::from_str(&row.body).unwrap_or_default();
        let id = |id: Option<Uuid>| id.map(|id| id.to_string()).unwrap_or_default();
        let first = [
            row.id.to_string(),
            row.revision.to_string(),
            row.known_from.to_string(),
            id(row.site_id),
            id(row.parent_id),
            row.voided.clone().unwrap_or_default(),
        ];
        let cells: Vec<String> =
            first.into_iter().chain(self.columns.iter().map(|name| cell(fact.get(name)))).collect();
        line(cells.iter().map(String::as_str))
    }
}

/// The column of a field: its name, or `fact_…` where one of the first columns has that name.
fn heading(field: &str) -> String {
    if FIRST.contains(&field) { format!("fact_{field}") } else { field.to_owned() }
}

/// The fields of a kind, in the order of its schema.
fn fields(table: &Table) -> Vec<(String, Value)> {
    let schema = (table.schema)();
    let fields = schema["properties"].as_object().into_iter().flatten();
    let told = fields.filter(|(name, _)| name.as_str() != OF_MEDICAL);
    told.map(|(name, field)| (name.clone(), field.clone())).collect()
}

/// The JSON Schema of a table.
pub(super) fn schema(table: &Table) -> String {
    let fact = (table.schema)();
    let mut properties = Map::new();
    let said = [
        ("id", "Identifier, the same over all revisions."),
        ("revision", "1 at first, one more with every change."),
        ("position", "The journal position that brought this revision."),
        ("site_id", "The site it belongs to; empty: to none."),
        ("parent_id", "What it was recorded under."),
        ("voided", "Why it no longer counts; empty: it counts."),
    ];
    for (name, said) in said {
        let kind = if ["revision", "position"].contains(&name) { "integer" } else { "string" };
        properties.insert(name.to_owned(), json!({"type": kind, "description": said}));
    }
    let mut columns: Vec<String> = FIRST.map(str::to_owned).to_vec();
    for (name, field) in fields(table) {
        columns.push(heading(&name));
        properties.insert(heading(&name), field);
    }
    let schema = json!({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": table.kind,
        "description": format!(
            "{} A row of {}.csv. A cell whose type is object or array holds JSON; an empty cell is a value that there is \
             none of.",
            fact["description"].as_str().unwrap_or_default(),
            table.kind
        ),
        "type": "object",
        "x-columns": columns,
        "properties": properties,
    });
    format!("{schema:#}\n")
}

fn cell(value: Option<&Value>) -> String {
    match value {
        None | Some(Value::Null) => String::new(),
        Some(Value::String(text)) => text.clone(),
        Some(other) => other.to_string(),
    }
}

/// A line of CSV (RFC 4180).
pub(super) fn line<'c>(cells: impl Iterator<Item = &'c str>) -> String {
    let mut line = String::new();
    for (n, cell) in cells.enumerate() {
        if n > 0 {
            line.push(',');
        }
        if cell.contains([',', '"', '\n', '\r']) {
            line.push('"');
            line += &cell.replace('"', "\"\"");
            line.push('"');
        } else {
            line += cell;
        }
    }
    line + "\r\n"
}
