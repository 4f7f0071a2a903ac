//! The demonstration employer as it lies in the program: steps and laboratory files.

use crate::cli::failure::Failure;
use crate::model::facts::account::Role;
use include_dir::{Dir, include_dir};
use serde_json::Value;

static STEPS: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/demo-seed/steps");
static LABORATORY: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/demo-seed/laboratory");

/// A file of steps.
#[derive(Debug)]
pub(super) struct StepFile {
    /// Its name.
    pub name: String,
    /// Its steps, in order.
    pub steps: Vec<Step>,
}

/// One request, made as a user of a role would make it.
#[derive(Debug)]
pub(super) struct Step {
    /// The line it stands in, from 1.
    pub line: usize,
    /// Whose role.
    pub role: Role,
    /// The path below `/api/v1`, with names in place of identifiers.
    pub path: String,
    /// What the thing it makes is called by later steps.
    pub name: Option<String>,
    /// What is sent.
    pub load: Load,
}

/// What a step sends.
#[derive(Debug)]
pub(super) enum Load {
    /// JSON, with names in place of identifiers.
    Json(Value),
    /// A laboratory's file, its head in the query.
    Csv {
        /// Query parameters.
        head: Vec<(String, String)>,
        /// The file.
        file: &'static str,
    },
}

/// Every file of steps, in the order in which they are sent.
///
/// # Errors
/// A step that cannot be read.
pub(super) fn files() -> Result<Vec<StepFile>, Failure> {
    let mut files: Vec<_> = STEPS.files().collect();
    files.sort_by_key(|file| file.path());
    files
        .into_iter()
        .map(|file| {
            let name = file.path().display().to_string();
            let text = file.contents_utf8().ok_or_else(|| fault(&name, 0, "is no text"))?;
            let steps = text.lines().enumerate().map(|(n, line)| step(&name, n + 1, line));
            Ok(StepFile { steps: steps.collect::<Result<_, _>>()?, name: name.clone() })
        })
        .collect()
}

fn step(file: &str, line: usize, text: &str) -> Result<Step, Failure> {
    let told: Value = serde_json::from_str(text).map_err(|error| fault(file, line, &error.to_string()))?;
    let word = |name: &str| told.get(name).and_then(Value::as_str);
    let role = word("as").and_then(Role::from_word).ok_or_else(|| fault(file, line, "names no role"))?;
    let path = word("post").ok_or_else(|| fault(file, line, "names no path"))?;
    let load = match (word("csv"), told.get("body")) {
        (Some(csv), _) => {
            let below = csv.strip_prefix("laboratory/").unwrap_or(csv);
            let found = LABORATORY.get_file(below).and_then(include_dir::File::contents_utf8);
            let file =
                found.ok_or_else(|| fault(file, line, &format!("names a file that is not there: {csv}")))?;
            Load::Csv { head: head(told.get("query")), file }
        }
        (None, Some(body)) => Load::Json(body.clone()),
        (None, None) => return Err(fault(file, line, "sends nothing")),
    };
    Ok(Step { line, role, path: path.to_owned(), name: word("name").map(str::to_owned), load })
}

/// Query parameters as text.
fn head(query: Option<&Value>) -> Vec<(String, String)> {
    let fields = query.and_then(Value::as_object).into_iter().flatten();
    fields
        .map(|(name, value)| (name.clone(), value.as_str().map_or_else(|| value.to_string(), str::to_owned)))
        .collect()
}

fn fault(file: &str, line: usize, what: &str) -> Failure {
    Failure::Refused(format!("demo-seed/steps/{file}:{line} {what}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_step_can_be_read_and_every_laboratory_file_is_sent_once() {
        let files = files().unwrap();
        let sent = files
            .iter()
            .flat_map(|file| &file.steps)
            .filter(|step| matches!(step.load, Load::Csv { .. }))
            .count();
        let there: usize = LABORATORY.dirs().map(|site| site.files().count()).sum();
        assert_eq!(sent, there);
        assert!(files.iter().map(|file| file.steps.len()).sum::<usize>() > 900);
    }
}
