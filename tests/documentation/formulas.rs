//! The formulas of the source, read from its text: a formula that the page does not know cannot hide.

use std::path::{Path, PathBuf};

/// A formula as it stands in the source.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Found {
    /// The name of its constant, or of the word that it belongs to.
    pub name: String,
    /// Its text.
    pub formula: String,
    /// Where it comes from.
    pub source: String,
}

/// Every formula of the mathematics, the conclusions and the calculations, in the order of the files.
pub(crate) fn all() -> Vec<Found> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    for room in ["hygiene", "conclusions", "calculations"] {
        gather(&root.join(room), &mut files);
    }
    files.sort();
    files.iter().flat_map(|file| of_text(&std::fs::read_to_string(file).unwrap())).collect()
}

fn gather(folder: &Path, files: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            gather(&path, files);
        } else if path.extension().is_some_and(|end| end == "rs") {
            files.push(path);
        }
    }
}

/// The formulas of one file: each stands in braces behind `Formula`, below its constant or word.
fn of_text(text: &str) -> Vec<Found> {
    let mut found = Vec::new();
    for (at, _) in text.match_indices("Formula {") {
        let rest = text[at + "Formula {".len()..].trim_start();
        let Some(rest) = rest.strip_prefix("formula:") else { continue };
        let (formula, rest) = literal(rest);
        let (source, _) = literal(rest.split_once("source:").unwrap().1);
        found.push(Found { name: name_before(&text[..at]), formula, source });
    }
    found
}

/// The name of the constant, or of the word of an enum, that comes last before a formula.
fn name_before(text: &str) -> String {
    let of = |mark: &str| text.rfind(mark).map(|at| (at, &text[at + mark.len()..]));
    let (_, rest) = [of("const "), of("Self::")].into_iter().flatten().max_by_key(|(at, _)| *at).unwrap();
    rest.chars().take_while(|sign| sign.is_alphanumeric() || *sign == '_').collect()
}

/// A string literal at the head of `text`, with its lines joined, and what comes after it.
fn literal(text: &str) -> (String, &str) {
    let (_, text) = text.split_once('"').unwrap();
    let mut read = String::new();
    let mut signs = text.char_indices();
    while let Some((at, sign)) = signs.next() {
        match sign {
            '"' => return (read.split_whitespace().collect::<Vec<_>>().join(" "), &text[at + 1..]),
            '\\' => match signs.next().unwrap().1 {
                '\n' => read.push(' '),
                other => read.push(other),
            },
            other => read.push(other),
        }
    }
    panic!("a string without an end: {text}");
}

#[test]
fn the_reader_of_the_source_sees_what_the_compiler_sees() {
    use doseward::hygiene::{air, extended_shift::ShiftModel, sample_plan, variance};
    let all = all();
    let compiled = [
        ("MEAN_FLOW", air::MEAN_FLOW),
        ("WORKERS_TO_SAMPLE", sample_plan::WORKERS_TO_SAMPLE),
        ("REML", variance::REML),
        ("LeadDaily", ShiftModel::LeadDaily.formula()),
    ];
    for (name, formula) in compiled {
        let found = all.iter().find(|found| found.name == name).unwrap();
        assert_eq!((found.formula.as_str(), found.source.as_str()), (formula.formula, formula.source));
    }
}

#[test]
fn no_two_formulas_have_one_name() {
    let mut names: Vec<String> = all().into_iter().map(|found| found.name).collect();
    let all = names.len();
    names.sort();
    names.dedup();
    assert_eq!(names.len(), all);
}
