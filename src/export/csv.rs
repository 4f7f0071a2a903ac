//! CSV after RFC 4180: UTF-8, CRLF, a header, every row of the same width.

use crate::model::shape::Shape;
use serde_json::Value;

/// For whom a file is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Reader {
    /// A program: cells are exact and read back as they were.
    #[default]
    Program,
    /// A spreadsheet: a cell that it would take for a formula gets an apostrophe before it.
    Spreadsheet,
}

/// The columns of a row type, in order.
pub fn columns<T: Shape>() -> Vec<String> {
    T::schema()["properties"].as_object().map(|fields| fields.keys().cloned().collect()).unwrap_or_default()
}

/// Writes rows as a file.
pub fn write<T: Shape>(rows: &[T], reader: Reader) -> Vec<u8> {
    let mut file = header::<T>();
    file.extend(lines(rows, reader));
    file
}

/// The first line of a file: the names of the columns.
pub fn header<T: Shape>() -> Vec<u8> {
    records(std::iter::once(columns::<T>()))
}

/// The lines of rows.
pub fn lines<T: Shape>(rows: &[T], reader: Reader) -> Vec<u8> {
    let columns = columns::<T>();
    records(rows.iter().map(|row| {
        let row = row.to_json();
        columns.iter().map(|column| cell(row.get(column), reader)).collect()
    }))
}

fn records(records: impl Iterator<Item = Vec<String>>) -> Vec<u8> {
    let mut writer = ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(Vec::new());
    for record in records {
        writer.write_record(&record).expect("a Vec takes every byte");
    }
    writer.into_inner().expect("a Vec takes every byte")
}

fn cell(value: Option<&Value>, reader: Reader) -> String {
    let (text, is_text) = match value {
        None | Some(Value::Null) => (String::new(), false),
        Some(Value::String(text)) => (text.clone(), true),
        Some(Value::Array(items)) => {
            let items: Vec<String> = items.iter().map(|item| cell(Some(item), Reader::Program)).collect();
            (items.join(" "), true)
        }
        Some(other) => (other.to_string(), false),
    };
    let like_formula = is_text && text.starts_with(['=', '+', '-', '@', '\t', '\r']);
    if reader == Reader::Spreadsheet && like_formula { format!("'{text}") } else { text }
}

#[cfg(test)]
mod tests {
    use super::*;

    crate::record! {
        /// A row.
        pub(super) struct Row {
            /// A name.
            name: String,
            /// A number.
            value: Option<f64>,
            /// Words.
            flags: Vec<String>,
        }
    }

    fn row(name: &str, value: Option<f64>) -> Row {
        Row { name: name.into(), value, flags: vec!["one".into(), "two".into()] }
    }

    #[test]
    fn a_file_has_a_header_and_quotes_what_needs_it() {
        let file = write(&[row("a, \"b\"", Some(2.5)), row("c", None)], Reader::Program);
        let expected = "name,value,flags\r\n\"a, \"\"b\"\"\",2.5,one two\r\nc,,one two\r\n";
        assert_eq!(String::from_utf8(file).unwrap(), expected);
    }

    #[test]
    fn only_the_spreadsheets_file_guards_against_formulas() {
        // Common practice against formula injection: an apostrophe before = + - @ tab CR.
        let formula = [row("=1+1", Some(-2.0))];
        assert!(String::from_utf8(write(&formula, Reader::Program)).unwrap().contains("\r\n=1+1,-2.0"));
        assert!(String::from_utf8(write(&formula, Reader::Spreadsheet)).unwrap().contains("\r\n'=1+1,-2.0"));
    }
}
