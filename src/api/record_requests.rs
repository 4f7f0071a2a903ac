//! Requests for a worker's records.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::facts::{Naming, collection, item};
use crate::api::problem::Problem;
use crate::api::questions::{Question, note_worker, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::conclusions::record_package::RecordPackage;
use crate::export;
use crate::model::facts::worker::RecordRequest;
use crate::model::shape::{Faults, Shape as _};
use crate::registry::anchor::ChainState;
use crate::registry::conclude::record_package::record_package;
use crate::registry::facts::record_request;
use crate::registry::place::Under;
use crate::registry::recording;
use axum::http::{StatusCode, header};
use serde_json::json;
use std::future::Future;

const REQUEST: Naming = Naming {
    tag: "workers",
    one: "a request for a worker's records",
    many: "requests for a worker's records",
    last: "record-requests",
    component: "RecordRequest",
};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let example = json!({
        "received_on": "2026-02-02", "from": "worker", "what": "Every result of air sampling that measured or represents me."
    });
    let [list, record] =
        collection::<RecordRequest>("/workers/{id}/record-requests", Under::Worker, REQUEST, example);
    let record = record.handled_by(self::record).more(
        "The duty `answer_record_request` is written with it: due within 15 working days of the worker's site (29 CFR \
         1910.1020(e)(1)(i); of several sites the earliest day), met by the action `completed`. Voiding the request \
         withdraws it.",
    );
    let mut all = vec![list, record];
    all.extend(item::<RecordRequest>(REQUEST));
    all.push(
        package("/record-requests/{id}/package", |app, request| read_package(app, request, false)).answers(
            200,
            "The package.",
            Schema::of::<RecordPackage>("RecordPackage"),
        ),
    );
    all.push(
        package("/record-requests/{id}/package.html", |app, request| read_package(app, request, true))
            .answers_with(
                200,
                "The same as a paper, for A4 and Letter.",
                "text/html",
                Some(Schema::of::<String>("")),
            ),
    );
    all
}

/// What is alike of the package in both forms.
fn package<H, A>(path: &str, handler: H) -> Endpoint
where
    H: Fn(App, Request) -> A + Send + Sync + 'static,
    A: Future<Output = Result<Reply, Problem>> + Send + 'static,
{
    Endpoint::get(path, Access::Needs(Action::ReadHistories), handler)
        .says("workers", "Read everything that is handed out on a request for a worker's records")
        .more(
            "The worker's own results, void and replaced ones too; results of others that represent the worker, under cover \
             names; area samples; profiles, verdicts and limits; and in words what is missing. Whole or not at all: whoever \
             sees some sites only is refused. A conflict where nothing lets the one who asks have the records: a \
             representative needs the worker's dated consent, or names records and need in writing.",
        )
        .as_known_on()
}

async fn read_package(app: App, request: Request, as_paper: bool) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    sound(faults)?;
    if question.as_known_on.is_none() {
        app.registry.settle().await?;
    }
    let now = app.registry.seen_from(question.as_known_on);
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let package = record_package(&mut tx, &request.caller, as_of, now, id).await?;
    let state = ChainState::at(&mut tx, as_of.position, None).await?;
    drop(tx);
    note_worker(&app, &request, as_of, package.worker_id).await?;
    if !as_paper {
        return Ok(Reply::ok(&package.to_json()).proved_by(&state));
    }
    let html = export::record_package::write(&package, &state).map_err(Problem::internal)?;
    Ok(Reply::new(StatusCode::OK, "text/html; charset=utf-8", html)
        .with(header::CONTENT_SECURITY_POLICY, &export::paper::security_policy())
        .proved_by(&state))
}

async fn record(app: App, request: Request) -> Result<Reply, Problem> {
    let worker = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let recorded = record_request::record(change, worker, body).await?;
            Ok(Made::new(&format!("/record-requests/{}", recorded.id), recording::view(&recorded)))
        })
    })
    .await
}
