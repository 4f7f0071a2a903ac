//! A plain page around figures.

use doseward::pages::charts::STYLE;
use doseward::pages::charts::figure::{Figure, Table};
use doseward::pages::charts::glyphs::{Glyph, sprite};
use doseward::pages::charts::svg::escaped;
use std::fmt::Write as _;

/// A page that is being written.
pub(crate) struct Page {
    title: String,
    body: String,
    figures: usize,
}

/// The same for each of several things, in a row.
fn each<T>(things: impl IntoIterator<Item = T>, of: impl Fn(T) -> String) -> String {
    things.into_iter().map(of).collect()
}

impl Page {
    pub(crate) fn new(title: &str) -> Self {
        Self { title: title.to_owned(), body: String::new(), figures: 0 }
    }

    pub(crate) fn figures(&self) -> usize {
        self.figures
    }

    pub(crate) fn heading(&mut self, words: &str) {
        let words = escaped(words);
        write!(
            self.body,
            "<section class=\"entry wide\"><header class=\"mark\"><h2>{words}</h2></header></section>"
        )
        .unwrap();
    }

    pub(crate) fn glyphs(&mut self) {
        let all = each(Glyph::ALL, |glyph| format!("<li>{}</li>", glyph.with(glyph.word())));
        write!(self.body, "<ul class=\"key\">{all}</ul>").unwrap();
    }

    pub(crate) fn figure(&mut self, figure: Option<&Figure>) {
        let Some(figure) = figure else { return };
        self.figures += 1;
        let n = self.figures;
        let notes = each(&figure.notes, |note| format!("<p class=\"note\">{}</p>", escaped(note)));
        write!(
            self.body,
            "<section class=\"entry\"><header class=\"mark\"><h2>{n}</h2></header><div class=\"body\">\
             <figure><figcaption><b>Figure {n}.</b> {}</figcaption>{}</figure>{notes}\
             <details><summary>Text and table</summary><p>{}</p>{}</details></div></section>",
            escaped(&figure.title),
            figure.html(),
            escaped(&figure.desc),
            table(&figure.table),
        )
        .unwrap();
    }

    pub(crate) fn html(&self, style: &str) -> String {
        format!(
            "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\">\
             <meta name=\"viewport\" content=\"width=device-width\"><title>{0}</title>\
             <style>{style}\n{STYLE}</style></head><body>{1}<main><h1>{0}</h1>{2}</main></body></html>",
            escaped(&self.title),
            sprite(),
            self.body
        )
    }
}

fn table(table: &Table) -> String {
    let class = |numeric: bool| if numeric { " class=\"n\"" } else { "" };
    let head = each(&table.columns, |column| {
        format!("<th scope=\"col\"{}>{}</th>", class(column.numeric), escaped(&column.head))
    });
    let rows = each(&table.rows, |row| {
        assert_eq!(row.cells.len(), table.columns.len(), "{}: {:?}", table.caption, row.cells);
        let cells = each(row.cells.iter().zip(&table.columns), |(cell, column)| {
            format!("<td{}>{}</td>", class(column.numeric), escaped(cell))
        });
        format!("<tr{}>{cells}</tr>", if row.unknown { " class=\"hatch\"" } else { "" })
    });
    let caption = escaped(&table.caption);
    format!(
        "<div class=\"scroll\"><table><caption>{caption}</caption><thead><tr>{head}</tr></thead>\
         <tbody>{rows}</tbody></table></div>"
    )
}
