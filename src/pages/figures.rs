//! A figure as a page shows it: the drawing, what must be said beside it, and the table with its numbers.

use crate::pages::charts::figure::{Column, Figure, Row, Table};

/// A cell of a table below its head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownCell {
    /// What it says.
    pub text: String,
    /// The head of its column, which stands beside it where rows are blocks.
    pub head: String,
    /// Whether it is a number.
    pub numeric: bool,
}

/// A row of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownRow {
    /// What names the row.
    pub name: String,
    /// Where it leads; empty where nowhere.
    pub address: String,
    /// The other cells.
    pub cells: Vec<ShownCell>,
    /// Whether nothing is known there, so that it is hatched.
    pub unknown: bool,
}

/// A table with its number on the page.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ShownTable {
    /// Its number.
    pub number: String,
    /// What it holds.
    pub caption: String,
    /// The heads of its columns.
    pub columns: Vec<Column>,
    /// Its rows.
    pub rows: Vec<ShownRow>,
}

/// A figure with its number on the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownFigure {
    /// Its number.
    pub number: String,
    /// What it shows.
    pub title: String,
    /// The drawings and the key, as HTML.
    pub html: String,
    /// The same in plain sentences.
    pub told: String,
    /// What must stand beside it.
    pub notes: Vec<String>,
    /// Its numbers.
    pub table: ShownTable,
}

/// Counts the figures and tables of a page.
#[derive(Debug, Default)]
pub struct Numbering {
    figures: usize,
    tables: usize,
}

impl Numbering {
    /// A figure with its table.
    pub fn figure(&mut self, figure: Figure) -> ShownFigure {
        self.figures += 1;
        ShownFigure {
            number: self.figures.to_string(),
            html: figure.html(),
            title: figure.title,
            told: figure.desc,
            notes: figure.notes,
            table: self.table(figure.table),
        }
    }

    /// A table that stands alone.
    pub fn table(&mut self, table: Table) -> ShownTable {
        self.tables += 1;
        let Table { caption, columns, rows } = table;
        let rows = rows.into_iter().map(|row| shown_row(&columns, row)).collect();
        ShownTable { number: self.tables.to_string(), caption, columns, rows }
    }
}

fn shown_row(columns: &[Column], row: Row) -> ShownRow {
    let mut cells = row.cells.into_iter();
    let name = cells.next().unwrap_or_default();
    let cells = cells.zip(columns.iter().skip(1)).map(|(text, column)| ShownCell {
        text,
        head: column.head.clone(),
        numeric: column.numeric,
    });
    ShownRow { name, address: String::new(), cells: cells.collect(), unknown: row.unknown }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_and_tables_are_counted_apart_and_each_cell_knows_its_head() {
        let mut numbering = Numbering::default();
        let table = || Table {
            caption: "Two.".to_owned(),
            columns: vec![Column::text("Shift"), Column::number("µg/m³")],
            rows: vec![Row::unknown(["2 Mar 2026".to_owned(), "< 3.1".to_owned()])],
        };
        let first = numbering.table(table());
        let second = numbering.table(table());
        assert_eq!((first.number.as_str(), second.number.as_str()), ("1", "2"));
        let row = &first.rows[0];
        assert_eq!((row.name.as_str(), row.unknown), ("2 Mar 2026", true));
        assert_eq!((row.cells[0].head.as_str(), row.cells[0].numeric), ("µg/m³", true));
    }
}
