//! Medical grounds: the physician's alone. Everybody else gets the same answer whether or not there is one.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::Endpoint;
use crate::api::facts::{Naming, collection, item};
use crate::api::problem::Problem;
use crate::api::questions::note_worker_as;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::model::facts::worker::MedicalGround;
use crate::model::identifiers::WorkerId;
use crate::registry::access_log::READING_OF_GROUNDS;
use crate::registry::place::Under;
use crate::registry::recording;
use serde_json::json;

const GROUND: Naming = Naming {
    tag: "workers",
    one: "a medical ground",
    many: "medical grounds",
    last: "medical-grounds",
    component: "MedicalGround",
};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let example = json!({"kind": "recommendation", "on": "2026-02-27", "agent_code": "lead"});
    let [list, record] =
        collection::<MedicalGround>("/workers/{id}/medical-grounds", Under::Worker, GROUND, example);
    let [read, correct, void, withdraw] = item::<MedicalGround>(GROUND);
    vec![
        list.handled_by(self::list).more(
            "For physicians only. A ground is a date and a kind, without findings. It stands in a chain of the \
             journal that nobody else reads; that there is an entry between two others is seen from its position.",
        ),
        record.more(
            "For physicians only. It starts with its date what the clause asks for; others see of such a duty an \
             examination to offer and the day on which it is due.",
        ),
        read.handled_by(self::read),
        correct,
        void,
        withdraw,
    ]
}

/// Whether what is asked of a route is nobody's business but the physician's: logs and measures do not name it.
pub(crate) fn is_confidential(endpoint: &Endpoint) -> bool {
    endpoint.access == crate::api::endpoint::Access::Needs(Action::MedicalGrounds)
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let worker = WorkerId(request.id()?);
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let page = request.page()?;
    let found = recording::list::<MedicalGround>(
        &mut tx,
        &request.caller,
        as_of,
        Under::Worker,
        Some(worker.0),
        page,
    )
    .await?;
    drop(tx);
    note_worker_as(&app, &request, READING_OF_GROUNDS, as_of, worker).await?;
    let items = found.iter().map(|version| (version.id, recording::view(version))).collect();
    Ok(Reply::items(&request, page.limit, items))
}

async fn read(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let ground = recording::read::<MedicalGround>(&mut tx, &request.caller, as_of, id).await?;
    drop(tx);
    if let Some(worker) = ground.parent {
        note_worker_as(&app, &request, READING_OF_GROUNDS, as_of, WorkerId(worker)).await?;
    }
    Ok(Reply::one(&request, ground.revision, &recording::view(&ground)))
}
