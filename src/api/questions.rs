//! What several conclusions are asked with: as known on, accepted only, with the working; and the line they leave.

use crate::api::App;
use crate::api::endpoint::Endpoint;
use crate::api::problem::Problem;
use crate::api::request::Request;
use crate::conclusions::asked::Asked;
use crate::model::identifiers::WorkerId;
use crate::model::shape::Faults;
use crate::registry::reading::Read;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use chrono::{DateTime, Utc};
use serde_json::Value;
use std::collections::BTreeSet;
use uuid::Uuid;

/// How the route of everything about one worker begins.
const OF_A_WORKER: &str = "/api/v1/workers/{id}";

impl Endpoint {
    /// May be asked as known at an instant.
    #[must_use]
    pub fn as_known_on(self) -> Self {
        self.asks::<DateTime<Utc>>(
            "as_known_on",
            "Answer with what was known at this instant, seen from that day.",
        )
    }

    /// May be asked as known at an instant, with the working, and of accepted results only.
    #[must_use]
    pub fn concluded(self) -> Self {
        self.as_known_on()
            .asks::<bool>("working", "Show the steps, with formula, inputs, result and source.")
            .asks::<bool>("accepted_only", "Leave out results that nobody has accepted yet, blanks too.")
    }
}

/// How a conclusion is asked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Question {
    /// As known at this instant.
    pub(crate) as_known_on: Option<DateTime<Utc>>,
    /// With the working, of accepted results only.
    pub(crate) asked: Asked,
}

impl Question {
    /// Reads the parameters that every conclusion knows.
    pub(crate) fn of(request: &Request, faults: &mut Faults) -> Self {
        Self {
            as_known_on: request.parameter("as_known_on", faults),
            asked: Asked {
                working: request.flag("working", faults),
                accepted_only: request.flag("accepted_only", faults),
            },
        }
    }

    /// A snapshot to answer from, and as of when.
    pub(crate) async fn snapshot(self, app: &App) -> Result<(Tx, AsOf), Problem> {
        let mut tx = app.registry.database.read().await?;
        let as_of = app.registry.as_of(&mut tx, self.as_known_on).await?;
        Ok((tx, as_of))
    }
}

/// Refuses a request whose parameters have faults.
pub(crate) fn sound(faults: Faults) -> Result<(), Problem> {
    if faults.is_empty() { Ok(()) } else { Err(faults.into()) }
}

/// Leaves the line of a request about one worker.
pub(crate) async fn note_worker(
    app: &App,
    request: &Request,
    as_of: AsOf,
    worker: WorkerId,
) -> Result<(), Problem> {
    let asked = format!("{} {}", request.method, request.route);
    note_worker_as(app, request, &asked, as_of, worker).await
}

/// The same under another name than the request's own.
pub(crate) async fn note_worker_as(
    app: &App,
    request: &Request,
    asked: &str,
    as_of: AsOf,
    worker: WorkerId,
) -> Result<(), Problem> {
    note(app, request, asked, as_of, Some(worker), None, 1).await
}

/// Leaves the line of a bulk read: what it spanned and how many workers it named, or the one whom it named alone; nothing
/// where nobody was named.
pub(crate) async fn note_bulk(
    app: &App,
    request: &Request,
    as_of: AsOf,
    scope: &str,
    workers: impl IntoIterator<Item = WorkerId>,
) -> Result<(), Problem> {
    note_several(app, request, as_of, spanned(request, scope), workers).await
}

/// The same where whom a file names is known only when it is written: how many the reader sees.
pub(crate) async fn note_counted(
    app: &App,
    request: &Request,
    as_of: AsOf,
    scope: &str,
    workers: usize,
) -> Result<(), Problem> {
    if workers == 0 {
        return Ok(());
    }
    let asked = format!("{} {}", request.method, request.route);
    note(app, request, &asked, as_of, None, Some(spanned(request, scope)), workers).await
}

async fn note_several(
    app: &App,
    request: &Request,
    as_of: AsOf,
    scope: String,
    workers: impl IntoIterator<Item = WorkerId>,
) -> Result<(), Problem> {
    let workers: BTreeSet<WorkerId> = workers.into_iter().collect();
    let Some(first) = workers.first() else { return Ok(()) };
    let alone = (workers.len() == 1).then_some(*first);
    let asked = format!("{} {}", request.method, request.route);
    note(app, request, &asked, as_of, alone, Some(scope), workers.len()).await
}

/// What a request spanned: a word, and the thing that it was asked of.
pub(crate) fn spanned(request: &Request, scope: &str) -> String {
    let in_query = ["group_id", "site_id", "subject_id"].into_iter().find_map(|name| request.asked(name));
    let thing = request.id().ok().or_else(|| Uuid::parse_str(in_query?).ok());
    thing.map_or_else(|| scope.to_owned(), |thing| format!("{scope} {thing}"))
}

async fn note(
    app: &App,
    request: &Request,
    asked: &str,
    as_of: AsOf,
    worker: Option<WorkerId>,
    scope: Option<String>,
    workers: usize,
) -> Result<(), Problem> {
    let read = Read {
        request: asked.to_owned(),
        worker,
        scope,
        position: as_of.position,
        workers,
        client: request.client.clone(),
        purpose: request.purpose.clone(),
    };
    Ok(app.registry.note_reading(&request.caller, read).await?)
}

/// Leaves the line of an answer of facts: about the worker in the path, or whomever the answer names.
pub(crate) async fn note_named<'v>(
    app: &App,
    request: &Request,
    as_of: AsOf,
    scope: String,
    views: impl IntoIterator<Item = &'v Value>,
) -> Result<(), Problem> {
    if request.route.starts_with(OF_A_WORKER) {
        return note_worker(app, request, as_of, WorkerId(request.id()?)).await;
    }
    note_several(app, request, as_of, scope, views.into_iter().flat_map(workers_in)).await
}

/// The workers whom an answer names by their identifiers, wherever in it.
pub(crate) fn workers_in(view: &Value) -> BTreeSet<WorkerId> {
    let mut found = BTreeSet::new();
    gather_workers(view, &mut found);
    found
}

fn gather_workers(view: &Value, found: &mut BTreeSet<WorkerId>) {
    let id = |value: &Value| value.as_str().and_then(|text| Uuid::parse_str(text).ok()).map(WorkerId);
    match view {
        Value::Object(fields) => {
            for (name, value) in fields {
                match name.as_str() {
                    "worker_id" => found.extend(id(value)),
                    "worker_ids" => found.extend(value.as_array().into_iter().flatten().filter_map(id)),
                    _ => gather_workers(value, found),
                }
            }
        }
        Value::Array(items) => items.iter().for_each(|item| gather_workers(item, found)),
        _ => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn workers_are_found_wherever_an_answer_names_them() {
        let id = |n: u128| Uuid::from_u128(n).to_string();
        let view = json!({"id": id(1), "worker_id": id(2), "subject": {"worker_id": id(3)}, "note": id(9),
            "shifts": [{"worker_id": id(4)}, {"worker_id": id(2)}], "worker_ids": [id(5)], "site_id": id(6)});
        let found: Vec<u128> = workers_in(&view).into_iter().map(|worker| worker.0.as_u128()).collect();
        assert_eq!(found, [2, 3, 4, 5]);
    }
}
