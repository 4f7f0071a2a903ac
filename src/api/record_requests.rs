//! Requests for a worker's records.

use crate::api::App;
use crate::api::endpoint::Endpoint;
use crate::api::facts::{Naming, collection, item};
use crate::api::problem::Problem;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::model::facts::worker::RecordRequest;
use crate::registry::facts::record_request;
use crate::registry::place::Under;
use crate::registry::recording;
use serde_json::json;

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
    all
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
