//! Keeping and letting go: until when records are kept, holds, disposals.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::kinds::SOME_ID;
use crate::api::problem::Problem;
use crate::api::questions::note_worker;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::model::facts::retention::{Disposal, DisposalDraft, LegalHold, LegalHoldDraft};
use crate::model::identifiers::WorkerId;
use crate::model::shape::Shape;
use crate::model::version::Version;
use crate::registry::facts::results::Because;
use crate::registry::place::Under;
use crate::registry::recording::view_of;
use crate::registry::refusal::Refusal;
use crate::registry::retention::keeping::{self, RetentionView};
use crate::registry::retention::{disposal, holds};
use crate::store::tables::Stored;
use crate::store::versions;
use serde_json::{Value, json};

const TAG: &str = "record";

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let kept = || Schema::of::<RetentionView>("Retention");
    let [list_holds, read_hold] =
        reading::<LegalHold>("/legal-holds", ["legal holds", "a legal hold"], "LegalHold");
    let [list_disposals, read_disposal] =
        reading::<Disposal>("/disposals", ["disposals", "a disposal"], "Disposal");
    vec![
        Endpoint::get("/sampling-events/{id}/retention", Access::Needs(Action::ReadSamples), of_event)
            .says(TAG, "Tell until when the records of a sampling event are to be kept")
            .more(
                "Each agent of each sample with the rule that has it kept, its clause and edition, and the first day on \
                 which it need not be kept any more. Nothing goes by itself.",
            )
            .answers(200, "Each record with its rule.", kept()),
        Endpoint::get("/workers/{id}/retention", Access::Needs(Action::ReadRetention), of_worker)
            .says(TAG, "Tell until when what hangs on a worker is to be kept")
            .answers(200, "The rule that keeps it longest.", kept()),
        list_holds,
        Endpoint::post("/legal-holds", Access::Needs(Action::ManageRetention), hold)
            .says(TAG, "Hold records")
            .more(
                "While a hold stands nothing that it covers is disposed of, whatever its age. What it is not narrowed to \
                 by site, worker or agent it holds all of.",
            )
            .takes::<LegalHoldDraft>(
                "LegalHold",
                json!({"agent_code": "lead", "ground": "A claim about the years before 2001 is pending."}),
            )
            .answers(201, "Held.", answer::<LegalHold>("LegalHold")),
        read_hold,
        Endpoint::post("/legal-holds/{id}/lifting", Access::Needs(Action::ManageRetention), lift)
            .says(TAG, "Lift a hold")
            .takes::<Because>("Because", json!({"reason": "The claim was settled."}))
            .answers(201, "Lifted.", answer::<LegalHold>("LegalHold")),
        list_disposals,
        Endpoint::post("/disposals", Access::Needs(Action::ManageRetention), propose)
            .says(TAG, "Propose to dispose of records")
            .more(
                "Nothing goes yet: another person carries it out. Refused for whatever is to be kept still or is held, each \
                 with the clause and the day. `superseded_content` takes one earlier version of a fact that was corrected, \
                 where it says what must not be kept. Backups made before still hold what goes.",
            )
            .takes::<DisposalDraft>(
                "Disposal",
                json!({"ground": "retention_over", "subjects": [{"kind": "sampling_event", "id": SOME_ID}],
                    "because": "Forty years and more; nobody who was employed then is."}),
            )
            .answers(201, "Proposed.", answer::<Disposal>("Disposal")),
        read_disposal,
        Endpoint::post("/disposals/{id}/carrying-out", Access::Needs(Action::ManageRetention), carry_out)
            .says(TAG, "Carry a disposal out that somebody else proposed")
            .more(
                "Everything is looked at again. The images and their salts go from the journal and the versions from the \
                 tables; envelopes and digests stay, so that the chains still prove, and this answer names them.",
            )
            .takes::<Because>("Because", json!({"reason": "Looked through; nothing speaks against it."}))
            .answers(201, "Gone.", answer::<Disposal>("Disposal")),
        Endpoint::post("/disposals/{id}/rejection", Access::Needs(Action::ManageRetention), reject)
            .says(TAG, "Reject a proposed disposal")
            .takes::<Because>("Because", json!({"reason": "A claim may come."}))
            .answers(201, "Rejected.", answer::<Disposal>("Disposal")),
    ]
}

/// The schema of a fact in answers.
fn answer<F: Stored>(component: &str) -> Schema {
    let mut schema = F::schema();
    let id = json!({"type": "string", "format": "uuid", "description": "Its identifier, the same over all revisions."});
    let number = |description: &str| json!({"type": "integer", "description": description});
    schema["properties"]["id"] = id;
    schema["properties"]["revision"] = number("1 at first, one more with every change.");
    schema["properties"]["position"] = number("The journal position that brought this revision.");
    if let Value::Object(schema) = &mut schema {
        schema.remove("additionalProperties");
    }
    Schema::named(format!("{component}Answer"), schema)
}

/// Listing and reading facts of a kind that belongs to no site.
fn reading<F: Stored>(path: &str, [many, one]: [&'static str; 2], component: &'static str) -> [Endpoint; 2] {
    let access = Access::Needs(Action::ReadRetention);
    [
        Endpoint::get(path, access, list::<F>).says(TAG, format!("List {many}")).paged().answers(
            200,
            "A page, in the order in which they were first recorded.",
            answer::<F>(component).list_of(),
        ),
        Endpoint::get(&format!("{path}/{{id}}"), access, read::<F>)
            .says(TAG, format!("Read {one}"))
            .answers_one(answer::<F>(component)),
    ]
}

fn view<F: Stored>(version: &Version<F>) -> Value {
    view_of(Under::Nothing, version)
}

async fn list<F: Stored>(app: App, request: Request) -> Result<Reply, Problem> {
    let page = request.page()?;
    let scope = request.caller.may(Action::ReadRetention).map_err(Refusal::from)?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let more = versions::Page { limit: page.limit + 1, ..page };
    let found = versions::list::<F>(&mut tx, &scope, as_of, &[], Some(more)).await?;
    let items = found.iter().map(|version| (version.id, view(version))).collect();
    Ok(Reply::items(&request, page.limit, items))
}

async fn read<F: Stored>(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let scope = request.caller.may(Action::ReadRetention).map_err(Refusal::from)?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let found = versions::find::<F>(&mut tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    Ok(Reply::one(&request, found.revision, &view(&found)))
}

async fn of_event(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    Ok(Reply::ok(&keeping::event(&mut tx, &request.caller, as_of, id).await?.to_json()))
}

async fn of_worker(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let kept = keeping::worker(&mut tx, &request.caller, as_of, id).await?;
    drop(tx);
    note_worker(&app, &request, as_of, WorkerId(id)).await?;
    Ok(Reply::ok(&kept.to_json()))
}

async fn hold(app: App, request: Request) -> Result<Reply, Problem> {
    write(app, request, |change, _, body| {
        Box::pin(async move {
            let held = holds::hold(change, body).await?;
            Ok(Made::new(&format!("/legal-holds/{}", held.id), view(&held)))
        })
    })
    .await
}

async fn lift(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let because = Because::parse(body)?;
            let lifted = holds::lift(change, id, because.reason.as_str()).await?;
            Ok(Made::new(&format!("/legal-holds/{id}"), view(&lifted)))
        })
    })
    .await
}

async fn propose(app: App, request: Request) -> Result<Reply, Problem> {
    write(app, request, |change, _, body| {
        Box::pin(async move {
            let proposed = disposal::propose(change, body).await?;
            Ok(Made::new(&format!("/disposals/{}", proposed.id), view(&proposed)))
        })
    })
    .await
}

async fn carry_out(app: App, request: Request) -> Result<Reply, Problem> {
    decide(app, request, true).await
}

async fn reject(app: App, request: Request) -> Result<Reply, Problem> {
    decide(app, request, false).await
}

async fn decide(app: App, request: Request, carried_out: bool) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let because = Because::parse(body)?;
            let reason = because.reason.as_str();
            let decided = if carried_out {
                disposal::carry_out(change, id, reason).await?
            } else {
                disposal::reject(change, id, reason).await?
            };
            Ok(Made::new(&format!("/disposals/{id}"), view(&decided)))
        })
    })
    .await
}
