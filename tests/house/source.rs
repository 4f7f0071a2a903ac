//! The source files, and what they name.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// The root of the repository.
pub(crate) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// One source file.
pub(crate) struct Source {
    /// Its path below `src/`.
    pub path: String,
    /// Its text.
    pub text: String,
}

impl Source {
    /// The room it stands in: its folder below `src/`, or its own name.
    pub(crate) fn room(&self) -> &str {
        let first = self.path.split('/').next().unwrap_or_default();
        first.strip_suffix(".rs").unwrap_or(first)
    }

    /// Its lines without comments, numbered from 1.
    pub(crate) fn code(&self) -> impl Iterator<Item = (usize, &str)> {
        self.text.lines().enumerate().map(|(n, line)| (n + 1, line.split("//").next().unwrap_or_default()))
    }

    /// The rooms that it names by `crate::`.
    pub(crate) fn rooms_named(&self) -> BTreeSet<String> {
        let code: String = self.code().map(|(_, line)| line).collect::<Vec<_>>().join("\n");
        let mut rooms = BTreeSet::new();
        for (at, found) in code.match_indices("crate::") {
            // `$crate::` of our own macros counts; `some_crate::` does not.
            if code[..at].ends_with(|before: char| before.is_alphanumeric() || before == '_') {
                continue;
            }
            rooms.extend(first_names(&code[at + found.len()..]));
        }
        rooms
    }
}

/// The first segment of a path, or of every path in a list in braces.
fn first_names(rest: &str) -> Vec<String> {
    let name = |text: &str| -> String {
        text.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
    };
    let Some(list) = rest.strip_prefix('{') else { return vec![name(rest)] };
    let mut names = Vec::new();
    let (mut depth, mut start) = (1, 0);
    for (at, sign) in list.char_indices() {
        match sign {
            '{' => depth += 1,
            '}' => depth -= 1,
            ',' if depth == 1 => {
                names.push(name(&list[start..at]));
                start = at + 1;
            }
            _ => {}
        }
        if depth == 0 {
            names.push(name(&list[start..at]));
            break;
        }
    }
    names.retain(|name| !name.is_empty());
    names
}

/// Every file below `src/`, in order.
pub(crate) fn sources() -> Vec<Source> {
    let base = root().join("src");
    let mut sources: Vec<Source> = files(&base)
        .into_iter()
        .filter(|path| path.extension().is_some_and(|end| end == "rs"))
        .map(|path| Source {
            text: std::fs::read_to_string(&path).expect("a source file is text"),
            path: path.strip_prefix(&base).expect("it stands below src").to_string_lossy().into_owned(),
        })
        .collect();
    sources.sort_by(|a, b| a.path.cmp(&b.path));
    sources
}

/// Every file below a folder.
pub(crate) fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).expect("the folder is there") {
        let path = entry.expect("the folder can be read").path();
        if path.is_dir() {
            found.extend(files(&path));
        } else {
            found.push(path);
        }
    }
    found
}

#[test]
fn the_reader_of_use_lines_sees_lists_macros_and_no_comments() {
    let text = "use crate::{model::text::{Line, Code}, record};\n// crate::api\n$crate::store::x; other_crate::pages";
    let source = Source { path: "registry/x.rs".into(), text: text.into() };
    let named: Vec<String> = source.rooms_named().into_iter().collect();
    assert_eq!(named, ["model", "record", "store"]);
    assert_eq!(source.room(), "registry");
}
