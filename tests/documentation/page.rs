//! The page, and the lists of formulas in it that are written by this test.
//!
//! A list stands between `<!-- formulas: NAME NAME -->` and `<!-- end of formulas -->`.

use crate::formulas::{Found, all};
use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

const START: &str = "<!-- formulas:";
const END: &str = "<!-- end of formulas -->";

fn path() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/how-each-number-is-made.md")
}

/// The page as it stands.
pub(crate) fn text() -> String {
    std::fs::read_to_string(path()).expect("the page is there")
}

/// The names that the page lists, in its order.
fn listed(page: &str) -> Vec<String> {
    let heads = page.split(START).skip(1).map(|part| part.split_once("-->").expect("a mark has an end").0);
    heads.flat_map(str::split_whitespace).map(str::to_owned).collect()
}

/// The page with its lists made anew.
fn with_lists(page: &str, formulas: &[Found]) -> String {
    let mut parts = page.split(START);
    let mut made = parts.next().unwrap_or_default().to_owned();
    for part in parts {
        let (names, rest) = part.split_once("-->").expect("a mark has an end");
        let (_, after) = rest.split_once(END).expect("a list has an end");
        let _ = write!(made, "{START}{names}-->\n\n");
        for name in names.split_whitespace() {
            let Found { formula, source, .. } = formulas
                .iter()
                .find(|found| found.name == name)
                .unwrap_or_else(|| panic!("the page lists {name}, which is no formula of the source"));
            let ticks = if formula.contains('`') { "``" } else { "`" };
            let _ = writeln!(made, "* {ticks}{formula}{ticks}<br>{source}");
        }
        let _ = write!(made, "\n{END}{after}");
    }
    made
}

#[test]
fn every_formula_has_its_section_and_stands_there_as_in_the_source() {
    let formulas = all();
    let mut page = text();
    let anew = with_lists(&page, &formulas);
    if std::env::var_os("DOSEWARD_WRITE_DOCS").is_some() {
        std::fs::write(path(), &anew).expect("the page can be written");
        page = text();
    }
    let listed: BTreeSet<String> = listed(&page).into_iter().collect();
    let missing: Vec<_> = formulas.iter().filter(|found| !listed.contains(&found.name)).collect();
    assert!(
        missing.is_empty(),
        "name these in a `{START} … -->` of the section they belong to: {missing:#?}"
    );
    assert!(page == anew, "DOSEWARD_WRITE_DOCS=1 cargo test --test documentation writes the lists anew");
}

#[test]
fn every_section_says_what_it_does_not_say() {
    let page = text();
    let mut faults = Vec::new();
    for section in page.split("\n## ").skip(1) {
        let title = section.lines().next().unwrap_or_default();
        let has = |what: &str| section.contains(what);
        if !has(START) {
            continue;
        }
        if !has("**Symbols.**") || !has("**Not said.**") || !has("```json") {
            faults.push(title);
        }
    }
    assert!(faults.is_empty(), "without symbols, an example or its caution: {faults:?}");
}

#[test]
fn the_page_is_linked_from_where_people_begin() {
    for name in ["README.md", "DEVELOPERS.md"] {
        let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(name)).unwrap();
        assert!(text.contains("docs/how-each-number-is-made.md"), "{name}");
    }
}
