//! Laboratory rows that wait for their sample.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint};
use crate::api::facts::{Naming, answer, read};
use crate::api::problem::Problem;
use crate::api::questions::sound;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::model::facts::laboratory::{HeldRow, HeldRowStatus};
use crate::model::shape::Faults;
use crate::registry::facts::held_rows::{self, Matching};
use crate::registry::facts::results::Because;
use crate::registry::recording;
use crate::store::versions::Page;
use serde_json::json;

pub(crate) const HELD: Naming = Naming {
    tag: "laboratory",
    one: "a held row",
    many: "held rows",
    last: "held-rows",
    component: "HeldRow",
};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let reads = Access::Needs(Action::ReadSamples);
    vec![
        Endpoint::get("/sites/{id}/held-rows", reads, list)
            .says("laboratory", "List laboratory rows that wait for their sample")
            .asks::<HeldRowStatus>("status", "How far they have come; left out: those that wait.")
            .paged()
            .answers(200, "A page, in the order in which they came.", answer::<HeldRow>(HELD).list_of()),
        Endpoint::get("/held-rows/{id}", reads, read::<HeldRow>)
            .says("laboratory", "Read a held row")
            .answers_one(answer::<HeldRow>(HELD)),
        Endpoint::post("/held-rows/{id}/match", Access::Needs(Action::RecordSamples), match_row)
            .says("laboratory", "Match a held row with its sample")
            .more(
                "The sample is named by its number at the site or by its identifier. The result is recorded as if the \
                 report had named the sample.",
            )
            .takes::<Matching>("Matching", json!({"sample_number": "26-0141"}))
            .answers(201, "Matched; the row names its result.", answer::<HeldRow>(HELD)),
        Endpoint::post("/held-rows/{id}/dismissal", Access::Needs(Action::Void), dismiss)
            .says("laboratory", "Dismiss a held row")
            .more("It stays readable. A hygienist's, as voiding is: a result leaves every conclusion that way.")
            .takes::<Because>("Because", json!({"reason": "A sample of another works, says the laboratory."}))
            .answers(201, "Dismissed.", answer::<HeldRow>(HELD)),
    ]
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let site = request.id()?;
    let page = request.page()?;
    let mut faults = Faults::default();
    let status = request.parameter("status", &mut faults).unwrap_or(HeldRowStatus::Waiting);
    sound(faults)?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let more = Page { limit: page.limit + 1, ..page };
    let found = held_rows::held_rows(&mut tx, &request.caller, as_of, site, status, more).await?;
    let items = found.iter().map(|version| (version.id, recording::view(version))).collect();
    Ok(Reply::items(&request, page.limit, items))
}

async fn match_row(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let held = held_rows::match_row(change, id, body).await?;
            Ok(Made::new(&format!("/held-rows/{id}"), recording::view(&held)))
        })
    })
    .await
}

async fn dismiss(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let held = held_rows::dismiss(change, id, body).await?;
            Ok(Made::new(&format!("/held-rows/{id}"), recording::view(&held)))
        })
    })
    .await
}
