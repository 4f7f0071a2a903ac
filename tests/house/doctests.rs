//! Every public function of the mathematics has an example that can be redone by hand.

use crate::source::{Source, sources};

/// Functions without one, and why.
const WITHOUT: &[(&str, &str)] = &[
    // They put what is given into a type and compute no figure.
    ("of", "a constructor"),
    ("of_logs", "a constructor"),
    ("within", "a constructor"),
    ("unpaired", "a constructor"),
    ("paired", "a constructor, shown on its type"),
    ("new", "a constructor"),
    ("limit", "a constructor"),
    ("empty", "a constructor"),
    ("by_default", "chooses between two constructors that are shown"),
    // They give back what is there.
    ("moved", "moves both ends"),
    ("ends", "gives back what is there"),
    ("applied", "gives back what is there"),
    ("value", "the number of a word"),
    ("is_weekly", "sorts the words"),
    ("formula", "names a formula"),
    ("rule", "names the constants of a criterion"),
];

/// A public function or type with its doc comment.
struct Documented<'t> {
    name: &'t str,
    doc: Vec<&'t str>,
}

/// What stands in the source behind one of these words, above the tests at its foot.
fn documented<'t>(source: &'t Source, words: &[&str]) -> Vec<Documented<'t>> {
    let mut found = Vec::new();
    let mut doc = Vec::new();
    for line in source.text.lines().take_while(|line| *line != "#[cfg(test)]") {
        let line = line.trim_start();
        if let Some(comment) = line.strip_prefix("///") {
            doc.push(comment.trim());
            continue;
        }
        if line.starts_with("#[") {
            continue;
        }
        if let Some(rest) = words.iter().find_map(|word| line.strip_prefix(word)) {
            let end = rest.find(|sign: char| !sign.is_alphanumeric() && sign != '_').unwrap_or(rest.len());
            found.push(Documented { name: &rest[..end], doc: std::mem::take(&mut doc) });
        }
        doc.clear();
    }
    found
}

/// The lines of a doc comment that are code.
fn code<'t>(doc: &[&'t str]) -> Vec<&'t str> {
    doc.split(|line| line.starts_with("```")).skip(1).step_by(2).flatten().copied().collect()
}

#[test]
fn every_figure_of_the_mathematics_has_an_example_to_redo_by_hand() {
    let mut missing = Vec::new();
    for source in sources().iter().filter(|source| source.room() == "hygiene") {
        // The methods of a type may be shown together on it.
        let types = documented(source, &["pub struct ", "pub enum "]);
        let on_types: Vec<&str> = types.iter().flat_map(|one| code(&one.doc)).collect();
        for function in documented(source, &["pub fn ", "pub const fn "]) {
            let calls = [".", "::"].map(|before| format!("{before}{}(", function.name));
            let shown = !code(&function.doc).is_empty()
                || on_types.iter().any(|line| calls.iter().any(|call| line.contains(call)));
            if !shown && !WITHOUT.iter().any(|(name, _)| *name == function.name) {
                missing.push(format!("src/{}: {}", source.path, function.name));
            }
        }
    }
    assert!(missing.is_empty(), "without an example:\n{}", missing.join("\n"));
}

#[test]
fn the_reader_of_examples_sees_code_only() {
    let text = "/// Says.\n///\n/// ```\n/// let x = y.half();\n/// ```\n#[must_use]\npub struct Y;\n/// No.\npub fn half(self) {}\n";
    let source = Source { path: "hygiene/y.rs".into(), text: text.into() };
    let types = documented(&source, &["pub struct "]);
    assert_eq!(code(&types[0].doc), ["let x = y.half();"]);
    let functions = documented(&source, &["pub fn "]);
    assert_eq!((functions[0].name, code(&functions[0].doc).len()), ("half", 0));
}
