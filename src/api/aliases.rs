//! Two entries of workers that are one person: merging them, and taking them apart again.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint};
use crate::api::facts::{Naming, answer, collection, item};
use crate::api::kinds::SOME_ID;
use crate::api::problem::Problem;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::model::facts::worker::{Alias, AliasDraft};
use crate::model::shape::Shape as _;
use crate::registry::facts::alias;
use crate::registry::facts::results::Because;
use crate::registry::place::{Place, Under};
use crate::registry::recording::{self, Recorded as _};
use serde_json::json;

const ALIAS: Naming =
    Naming { tag: "workers", one: "an alias", many: "aliases", last: "aliases", component: "Alias" };

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let example = json!({"of_worker_id": SOME_ID, "reason": "Hired again under another number."});
    let path = "/workers/{id}/aliases";
    let [list, _] = collection::<Alias>(path, Under::Worker, ALIAS, example.clone());
    let record = Endpoint::post(path, Access::Needs(Action::MergeWorkers), merge)
        .says("workers", "Say that an entry is the same person as another one")
        .more(
            "For a hygienist of all sites. The worker of the path becomes an alias of the one named, which stays: whatever is \
             asked about either is answered for the person, under the one that stays. Facts keep the entry under which they \
             were recorded. An alias points to an entry that is none itself; two assignments to one group on the same days \
             are refused. Employments that overlap at one employer are flagged.",
        )
        .takes::<AliasDraft>("AliasDraft", example)
        .answers(201, "Merged.", answer::<Alias>(ALIAS));
    let mut all = vec![list, record];
    all.extend(item::<Alias>(ALIAS));
    all.push(
        Endpoint::post("/aliases/{id}/closing", Access::Needs(Action::MergeWorkers), close)
            .says("workers", "Close an alias: its entries are two persons again")
            .more("Every conclusion is then what it would be without the alias. Duties that moved come back.")
            .takes::<Because>("Because", json!({"reason": "They are two persons of one name."}))
            .answers(201, "Closed.", answer::<Alias>(ALIAS)),
    );
    all
}

async fn merge(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let made = alias::merge(change, id, body).await?;
            let mut view = recording::view(&made);
            let remarks = made.fact.remarks(&Place::of(&made), change).await?;
            if !remarks.is_empty() {
                view["flags"] = json!(remarks);
            }
            Ok(Made::new(&format!("/aliases/{}", made.id), view))
        })
    })
    .await
}

async fn close(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let because = Because::parse(body)?;
            let closed = alias::close(change, id, &because.reason).await?;
            Ok(Made::new(&format!("/aliases/{id}"), recording::view(&closed)))
        })
    })
    .await
}
