//! Loads the demonstration employer through the requests its people would make.

use crate::cli::demo::desk::{Answered, Desk, Router, Sent};
use crate::cli::demo::seed::{self, Load, Step, StepFile};
use crate::cli::failure::Failure;
use crate::cli::progress;
use serde_json::Value;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The identifiers of what was made, by the names that later steps use.
#[derive(Debug, Default)]
struct Names(BTreeMap<String, String>);

/// Sends every step in order and gives back the identifiers of what was made, by name.
///
/// The first refusal stops the load. A step sent again gets its first answer again, so a load that broke off goes on.
///
/// # Errors
/// The refusal, with file and line.
pub(super) async fn load<R: Router>(desk: &Desk<R>) -> Result<BTreeMap<String, String>, Failure> {
    let files = seed::files()?;
    let steps: usize = files.iter().map(|file| file.steps.len()).sum();
    let bar = progress::bar(u64::try_from(steps).unwrap_or_default());
    let mut names = Names::default();
    for file in &files {
        bar.set_message(file.name.clone());
        for step in &file.steps {
            send(desk, file, step, &mut names).await.inspect_err(|_| bar.abandon())?;
            bar.inc(1);
        }
        if bar.is_hidden() {
            println!("  {:32} {:4} requests", file.name, file.steps.len());
        }
    }
    bar.finish_and_clear();
    println!("Loaded by {steps} requests.");
    Ok(names.0)
}

async fn send<R: Router>(
    desk: &Desk<R>,
    file: &StepFile,
    step: &Step,
    names: &mut Names,
) -> Result<(), Failure> {
    let at = format!("demo-seed/steps/{}:{}", file.name, step.line);
    let unknown = |name: String| Failure::Refused(format!("{at} speaks of @{name}, which nothing has made"));
    let path = names.in_path(&step.path).map_err(unknown)?;
    let key = Some(format!("demo:{}:{}", file.name, step.line));
    let (path, sent) = match &step.load {
        Load::Json(body) => {
            let mut body = body.clone();
            names.fill(&mut body).map_err(unknown)?;
            (path, Sent { kind: "application/json", body: body.to_string(), key })
        }
        Load::Csv { head, file } => {
            (format!("{path}?{}", query(head)), Sent { kind: "text/csv", body: (*file).to_owned(), key })
        }
    };
    let answer = desk.post(step.role, &path, sent).await?;
    if !answer.status.is_success() {
        let problem = serde_json::to_string_pretty(&answer.body).unwrap_or_default();
        return Err(Failure::Refused(format!(
            "{at} was refused: POST {path} as {}, {}\n{problem}",
            step.role, answer.status
        )));
    }
    names.learn(step, &answer);
    Ok(())
}

/// A query string.
fn query(parameters: &[(String, String)]) -> String {
    let pairs: Vec<String> =
        parameters.iter().map(|(name, value)| format!("{name}={}", percent_encoded(value))).collect();
    pairs.join("&")
}

/// A value as it may stand in a query: everything but unreserved characters in per cent (RFC 3986, section 2).
fn percent_encoded(value: &str) -> String {
    let mut text = String::new();
    for byte in value.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            text.push(char::from(byte));
        } else {
            write!(text, "%{byte:02X}").expect("writing to a String cannot fail");
        }
    }
    text
}

impl Names {
    /// A path with identifiers in place of names; the name that is unknown, if one is.
    fn in_path(&self, path: &str) -> Result<String, String> {
        let segments: Result<Vec<&str>, String> = path
            .split('/')
            .map(|segment| match segment.strip_prefix('@') {
                Some(name) => self.0.get(name).map(String::as_str).ok_or_else(|| name.to_owned()),
                None => Ok(segment),
            })
            .collect();
        Ok(segments?.join("/"))
    }

    /// Puts identifiers in place of names, wherever a text begins with `@`.
    fn fill(&self, value: &mut Value) -> Result<(), String> {
        match value {
            Value::String(text) => {
                if let Some(name) = text.strip_prefix('@') {
                    *text = self.0.get(name).cloned().ok_or_else(|| name.to_owned())?;
                }
            }
            Value::Array(items) => items.iter_mut().try_for_each(|item| self.fill(item))?,
            Value::Object(members) => members.values_mut().try_for_each(|member| self.fill(member))?,
            _ => {}
        }
        Ok(())
    }

    /// Remembers what a step made; of an event and of a report also the samples and results in the answer.
    fn learn(&mut self, step: &Step, answer: &Answered) {
        let Some(name) = &step.name else { return };
        if let Some(id) = answer.body["id"].as_str() {
            self.0.insert(name.clone(), id.to_owned());
        }
        // `/sites/@site:ALD/…`: the site's code stands in the path.
        let site = step.path.split('/').find_map(|segment| segment.strip_prefix("@site:"));
        let (Some(site), Some(samples)) = (site, answer.body["samples"].as_array()) else { return };
        for sample in samples {
            let (Some(number), Some(id)) = (sample["number"].as_str(), sample["id"].as_str()) else {
                continue;
            };
            self.0.insert(format!("sample:{site}:{number}"), id.to_owned());
            for result in sample["results"].as_array().into_iter().flatten() {
                if let (Some(agent), Some(id)) = (result["agent_code"].as_str(), result["id"].as_str()) {
                    self.0.insert(format!("result:{site}:{number}:{agent}"), id.to_owned());
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::facts::account::Role;
    use serde_json::json;

    fn names() -> Names {
        let event = Step {
            line: 1,
            role: Role::Coordinator,
            path: "/sites/@site:ALD/sampling-events".into(),
            name: Some("event:E".into()),
            load: Load::Json(Value::Null),
        };
        let body = json!({"id": "e", "samples": [
            {"id": "s", "number": "24-1", "results": [{"id": "r", "agent_code": "lead"}]}
        ]});
        let mut names = Names::default();
        names.learn(&event, &Answered { status: http::StatusCode::CREATED, body });
        names
    }

    #[test]
    fn an_event_names_itself_its_samples_and_their_results() {
        let mut body =
            json!({"event": "@event:E", "of": ["@sample:ALD:24-1", "@result:ALD:24-1:lead"], "n": 1});
        names().fill(&mut body).unwrap();
        assert_eq!(body, json!({"event": "e", "of": ["s", "r"], "n": 1}));
        assert_eq!(
            names().in_path("/samples/@sample:ALD:24-1/acceptance"),
            Ok("/samples/s/acceptance".into())
        );
    }

    #[test]
    fn a_name_that_nothing_has_made_is_told() {
        assert_eq!(names().in_path("/sites/@site:XXX/groups"), Err("site:XXX".into()));
        assert_eq!(names().fill(&mut json!({"a": [{"b": "@worker:W"}]})), Err("worker:W".into()));
    }

    #[test]
    fn a_query_keeps_blanks_commas_and_ampersands_as_text() {
        let head = [("laboratory".to_owned(), "A & B, Ltd".to_owned())];
        assert_eq!(query(&head), "laboratory=A%20%26%20B%2C%20Ltd");
    }
}
