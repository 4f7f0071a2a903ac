//! A plain page around figures.

use doseward::pages::charts::STYLE;
use doseward::pages::charts::figure::{Figure, Table};
use doseward::pages::charts::glyphs::{Glyph, sprite};
use doseward::pages::charts::svg::escaped;

/// A page that is being written.
pub(crate) struct Page {
    title: String,
    body: String,
    figures: usize,
}

impl Page {
    pub(crate) fn new(title: &str) -> Self {
        Self { title: title.to_owned(), body: String::new(), figures: 0 }
    }

    pub(crate) fn figures(&self) -> usize {
        self.figures
    }

    pub(crate) fn heading(&mut self, words: &str) {
        self.body.push_str(&format!(
            "<section class=\"entry wide\"><header class=\"mark\"><h2>{}</h2></header></section>",
            escaped(words)
        ));
    }

    pub(crate) fn glyphs(&mut self) {
        let all: String =
            Glyph::ALL.iter().map(|glyph| format!("<li>{}</li>", glyph.with(glyph.word()))).collect();
        self.body.push_str(&format!("<ul class=\"key\">{all}</ul>"));
    }

    pub(crate) fn figure(&mut self, figure: Option<&Figure>) {
        let Some(figure) = figure else { return };
        self.figures += 1;
        let notes: String =
            figure.notes.iter().map(|note| format!("<p class=\"note\">{}</p>", escaped(note))).collect();
        self.body.push_str(&format!(
            "<section class=\"entry\"><header class=\"mark\"><h2>{n}</h2></header><div class=\"body\"><figure><figcaption><b>Figure {n}.</b> {title}</figcaption>{}\
             </figure>{notes}<details><summary>Text and table</summary><p>{}</p>{}</details></div></section>",
            figure.html(),
            escaped(&figure.desc),
            table(&figure.table),
            n = self.figures,
            title = escaped(&figure.title),
        ));
    }

    pub(crate) fn html(&self, style: &str) -> String {
        format!(
            "<!doctype html><html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
             <title>{0}</title><style>{style}\n{STYLE}</style></head><body>{1}<main><h1>{0}</h1>{2}</main></body></html>",
            escaped(&self.title),
            sprite(),
            self.body
        )
    }
}

fn table(table: &Table) -> String {
    let class = |numeric: bool| if numeric { " class=\"n\"" } else { "" };
    let head: String = table
        .columns
        .iter()
        .map(|column| format!("<th scope=\"col\"{}>{}</th>", class(column.numeric), escaped(&column.head)))
        .collect();
    let rows: String = table
        .rows
        .iter()
        .map(|row| {
            assert_eq!(row.cells.len(), table.columns.len(), "{}: {:?}", table.caption, row.cells);
            let cells: String = row
                .cells
                .iter()
                .zip(&table.columns)
                .map(|(cell, column)| format!("<td{}>{}</td>", class(column.numeric), escaped(cell)))
                .collect();
            format!("<tr{}>{cells}</tr>", if row.unknown { " class=\"hatch\"" } else { "" })
        })
        .collect();
    format!(
        "<div class=\"scroll\"><table><caption>{}</caption><thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>",
        escaped(&table.caption)
    )
}
