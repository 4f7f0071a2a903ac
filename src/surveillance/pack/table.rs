//! Reads a table of the pack into typed rows.

use crate::model::facts::rule_set::RuleSet;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use serde_json::{Map, Value, json};

/// Every row of a table; an empty cell is an absent field, and a column that the row's shape does not know is a fault.
///
/// # Errors
/// A sentence that names the first row that does not fit and all that is wrong with it.
pub fn rows<T: Shape>(table: &str) -> Result<Vec<T>, String> {
    let schema = T::schema();
    let mut reader = csv::Reader::from_reader(table.as_bytes());
    let columns = reader.headers().map_err(|fault| fault.to_string())?.clone();
    let mut read = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|fault| fault.to_string())?;
        let mut row = Map::new();
        for (name, cell) in columns.iter().zip(&record).filter(|(_, cell)| !cell.is_empty()) {
            row.insert(name.into(), cell_value(name, cell, &schema["properties"][name]));
        }
        match T::parse(&Value::Object(row)) {
            Ok(row) => read.push(row),
            Err(faults) => {
                let faults: Vec<_> = faults.iter().map(|f| format!("{} {}", f.pointer, f.detail)).collect();
                return Err(format!("row {}: {}", record.get(0).unwrap_or_default(), faults.join("; ")));
            }
        }
    }
    Ok(read)
}

/// The JSON of a cell, by what its field asks for; a cell that does not fit stays text and is refused by the shape.
fn cell_value(column: &str, cell: &str, schema: &Value) -> Value {
    let number = |text: &str| {
        text.parse::<i64>().map(Value::from).or_else(|_| text.parse::<f64>().map(Value::from)).ok()
    };
    let text = || Value::String(cell.into());
    match schema["type"].as_str() {
        Some("integer" | "number") => number(cell).unwrap_or_else(text),
        Some("array") if column == "scope" => {
            rule_sets(cell).map_or_else(text, |sets| sets.iter().map(RuleSet::to_json).collect())
        }
        Some("array") => cell.split('|').map(|part| number(part).unwrap_or_else(|| json!(part))).collect(),
        _ => text(),
    }
}

/// The bodies of law of a scope such as `general_industry;maritime` or `all`.
pub fn rule_sets(scope: &str) -> Option<Vec<RuleSet>> {
    if scope == "all" {
        return Some(RuleSet::ALL.to_vec());
    }
    scope.split(';').map(|part| RuleSet::from_word(&format!("us_{part}"))).collect()
}

/// The unit of a word of the pack.
pub fn unit(word: &str) -> Option<Unit> {
    match word {
        "ppm" => Some(Unit::Ppm),
        "ppb" => Some(Unit::Ppb),
        "f/cc" => Some(Unit::FibresPerMl),
        "dBA" | "dBA_TWA" => Some(Unit::DbA),
        "dB_peak" => Some(Unit::Db),
        _ => Unit::from_code(word),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record;

    record! {
        /// A row for these tests.
        pub(super) struct Line {
            /// Its number.
            number: String,
            /// Its scope.
            scope: Vec<RuleSet>,
            /// Its levels.
            levels: Option<Vec<f64>>,
        }
    }

    #[test]
    fn a_cell_becomes_what_its_column_holds_and_an_empty_one_nothing() {
        let read: Vec<Line> = rows("number,scope,levels\nA,all,1|5\nB,construction;maritime,\n").unwrap();
        assert_eq!(read[0].scope.len(), 3);
        assert_eq!(read[0].levels, Some(vec![1.0, 5.0]));
        assert_eq!(read[1].scope, [RuleSet::UsConstruction, RuleSet::UsMaritime]);
        assert_eq!(read[1].levels, None);
    }

    #[test]
    fn a_row_that_does_not_fit_is_named() {
        let fault = rows::<Line>("number,scope,levels,more\nA,sea,x,1\n").unwrap_err();
        assert!(fault.starts_with("row A: "), "{fault}");
        for part in ["/more", "/scope", "/levels/0"] {
            assert!(fault.contains(part), "{fault}");
        }
    }
}
