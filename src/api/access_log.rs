//! Who looked at whom: the whole log for those who oversee it, and the lines about a worker, also as a paper for him.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::facts::shown;
use crate::api::problem::Problem;
use crate::api::questions::{note_named, note_worker, sound, spanned};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::export;
use crate::model::identifiers::{AccountId, WorkerId};
use crate::model::shape::{Faults, Shape as _};
use crate::registry::access_log::{self, AccessLineView, LogQuestion};
use crate::registry::anchor::ChainState;
use axum::http::{StatusCode, header};
use serde_json::Value;
use uuid::Uuid;

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let of_worker = Access::Needs(Action::ReadAccessOfWorkers);
    let line = || Schema::of::<AccessLineView>("AccessLine");
    vec![
        Endpoint::get("/access-log", Access::Needs(Action::ReadAccessLog), list)
            .says("record", "Read who looked at whom")
            .more(
                "One line for every request that answered with something of named workers: identifiers and no names. A line \
                 that named several workers tells what it spanned, at which position and how many they were. Readings of \
                 medical grounds are listed to the physician alone. Whoever reads this leaves a line too.",
            )
            .asks::<WorkerId>("worker_id", "Lines that name this worker.")
            .asks::<AccountId>("account_id", "Lines of this account.")
            .paged()
            .answers(200, "A page, the newest first.", line().list_of()),
        Endpoint::get("/workers/{id}/access-log", of_worker, about)
            .says("record", "Read who looked at a worker")
            .more(
                "Lines that name the worker, and bulk reads that span a group, site, event or sample of his, or everybody: \
                 `named` says which. For all sites, since a line may tell of another one.",
            )
            .paged()
            .answers(200, "A page, the newest first.", line().list_of()),
        Endpoint::get("/workers/{id}/access-log.html", of_worker, paper)
            .says("record", "Read who looked at a worker, as a paper for him")
            .more("All of it on one paper, for A4 and Letter; readers are named by the e-mail address of their account.")
            .answers_with(200, "A paper.", "text/html", Some(Schema::of::<String>(""))),
    ]
}

fn views(found: &[AccessLineView]) -> Vec<(Uuid, Value)> {
    found.iter().map(|line| (line.id, line.to_json())).collect()
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let question = LogQuestion {
        worker: request.parameter("worker_id", &mut faults),
        account: request.parameter("account_id", &mut faults),
    };
    sound(faults)?;
    let page = request.page()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let items = views(&access_log::whole(&mut tx, &request.caller, question, page).await?);
    drop(tx);
    note_named(&app, &request, as_of, spanned(&request, "access log"), shown(page, &items)).await?;
    Ok(Reply::items(&request, page.limit, items))
}

async fn about(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let page = request.page()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let items = views(&access_log::about(&mut tx, &request.caller, as_of, id, page).await?);
    drop(tx);
    note_worker(&app, &request, as_of, WorkerId(id)).await?;
    Ok(Reply::items(&request, page.limit, items))
}

async fn paper(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let list = access_log::for_worker(&mut tx, &request.caller, as_of, id).await?;
    let state = ChainState::at(&mut tx, as_of.position, None).await?;
    drop(tx);
    note_worker(&app, &request, as_of, WorkerId(id)).await?;
    let html = export::access_log::write(&list, as_of.date, &state).map_err(Problem::internal)?;
    Ok(Reply::new(StatusCode::OK, "text/html; charset=utf-8", html)
        .with(header::CONTENT_SECURITY_POLICY, &export::paper::security_policy())
        .proved_by(&state))
}
