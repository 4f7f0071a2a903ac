//! Workers: the person with the dated employments, and finding one without a name in an address.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::facts::{Naming, answer, item, turn_voided};
use crate::api::problem::Problem;
use crate::api::questions::{note_bulk, note_worker};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::model::facts::worker::{Employment, Worker, WorkerDraft};
use crate::model::identifiers::WorkerId;
use crate::model::shape::Shape as _;
use crate::registry::correcting;
use crate::registry::facts::results::Because;
use crate::registry::facts::worker;
use crate::registry::find_workers::{self, WorkerSearch};
use crate::store::versions::Page;
use serde_json::{Value, json};
use uuid::Uuid;

const WORKER: Naming =
    Naming { tag: "workers", one: "a worker", many: "workers", last: "workers", component: "Worker" };
const EMPLOYMENT: Naming = Naming {
    tag: "workers",
    one: "an employment",
    many: "employments",
    last: "employments",
    component: "Employment",
};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let reads = Access::Needs(Action::ReadWorkers);
    let example = json!({
        "employee_number": "10442", "given_name": "Given", "family_name": "Family", "employer": "Lynhead Works",
        "relation": "own", "job_title": "Welder", "hired_on": "2026-01-05"
    });
    let [_, correct, void, withdraw] = item::<Worker>(WORKER);
    let correct = correct.handled_by(self::correct).answers_instead(200, "As it is known now.", schema());
    let void =
        void.handled_by(|app, request| turn(app, request, true)).answers_instead(201, "Voided.", schema());
    let withdraw = withdraw.handled_by(|app, request| turn(app, request, false)).answers_instead(
        201,
        "It stands again.",
        schema(),
    );
    vec![
        Endpoint::get("/workers", reads, list)
            .says("workers", "List workers")
            .more("Those on the caller's sites, and those the caller has entered who are on no site yet.")
            .paged()
            .answers(200, "A page, in the order in which they were entered.", schema().list_of()),
        Endpoint::post("/workers", Access::Needs(Action::RecordWorkers), enter)
            .says("workers", "Enter a worker with the first employment")
            .takes::<WorkerDraft>("WorkerDraft", example)
            .answers(201, "Entered.", schema()),
        Endpoint::post("/workers/search", reads, search)
            .says("workers", "Find workers")
            .more(
                "Either `text`, each of its words in the name or a number, among the workers in sight; or exact \
                 `employer` and `employee_number`, among all: of a worker out of sight the answer tells identifier, \
                 name and number only. Names never stand in an address.",
            )
            .paged()
            .takes::<WorkerSearch>("WorkerSearch", json!({"text": "10442"}))
            .answers(200, "A page.", schema().list_of()),
        Endpoint::get("/workers/{id}", reads, read)
            .says("workers", "Read a worker")
            .answers_one(schema()),
        correct,
        void,
        withdraw,
    ]
}

fn schema() -> Schema {
    let mut schema = answer::<Worker>(WORKER).schema;
    let employment = Employment::schema();
    for (field, from) in [
        ("employer", "employer"),
        ("employee_number", "employee_number"),
        ("relation", "relation"),
        ("hired_on", "from"),
        ("left_on", "to"),
    ] {
        schema["properties"][field] = employment["properties"][from].clone();
        schema["properties"][field]["description"] = json!("Of the first employment.");
    }
    let id = json!({"type": "string", "format": "uuid"});
    schema["properties"]["also_known_as"] = json!({
        "type": "array",
        "description": "The other entries in sight that are the same person; there where an alias says so.",
        "items": id,
    });
    schema["properties"]["recorded_under"] = json!({
        "type": "string",
        "format": "uuid",
        "description": "The entry of the same person that stays; there where an alias says so and it is in sight.",
    });
    schema["properties"]["employments"] = json!({
        "type": "array",
        "description": "Every employment, void ones too.",
        "items": answer::<Employment>(EMPLOYMENT).schema,
    });
    Schema::named("WorkerAnswer", schema)
}

async fn enter(app: App, request: Request) -> Result<Reply, Problem> {
    write(app, request, |change, _, body| {
        Box::pin(async move {
            let (person, employment) = worker::enter(change, body).await?;
            Ok(Made::new(&format!("/workers/{}", person.id), worker::view(&person, &[employment])))
        })
    })
    .await
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let page = request.page()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let found = find_workers::list(&mut tx, &request.caller, as_of, page).await?;
    drop(tx);
    note_bulk(&app, &request, as_of, "workers", on_page(page, &found)).await?;
    Ok(Reply::items(&request, page.limit, found))
}

/// The workers on the page that is asked for.
fn on_page(page: Page, found: &[(Uuid, Value)]) -> impl Iterator<Item = WorkerId> {
    found.iter().take(usize::try_from(page.limit).unwrap_or_default()).map(|(id, _)| WorkerId(*id))
}

async fn read(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let (revision, view): (i64, Value) = find_workers::read(&mut tx, &request.caller, as_of, id).await?;
    drop(tx);
    note_worker(&app, &request, as_of, WorkerId(id)).await?;
    Ok(Reply::one(&request, revision, &view))
}

async fn correct(app: App, request: Request) -> Result<Reply, Problem> {
    let (id, expected) = (request.id()?, request.expected()?);
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let person = correcting::correct::<Worker>(change, id, &expected, body).await?;
            let (scope, as_of) = (change.everything(), change.as_of());
            let employments = worker::employments(&mut change.tx, &scope, as_of, vec![id]).await?;
            Ok(Made::changed(worker::view(&person, &employments)))
        })
    })
    .await
}

async fn turn(app: App, request: Request, voided: bool) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let because = Because::parse(body)?;
            let person = turn_voided::<Worker>(change, id, because.reason.as_str(), voided).await?;
            let (scope, as_of) = (change.everything(), change.as_of());
            let employments = worker::employments(&mut change.tx, &scope, as_of, vec![id]).await?;
            Ok(Made::new(&format!("/workers/{id}"), worker::view(&person, &employments)))
        })
    })
    .await
}

async fn search(app: App, request: Request) -> Result<Reply, Problem> {
    let body = request.json()?;
    let page = request.page()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let found = find_workers::search(&mut tx, &request.caller, as_of, &body, page).await?;
    drop(tx);
    note_bulk(&app, &request, as_of, "search", on_page(page, &found)).await?;
    Ok(Reply::items(&request, page.limit, found))
}
