//! Uploaded files as they came, and the pointer from a fact to its row.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema, reference};
use crate::api::problem::Problem;
use crate::api::questions::note_named;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::model::facts::original::{Original, OriginalKind};
use crate::model::shape::Shape as _;
use crate::model::version::Version;
use crate::registry::originals::pointer::{self, FromFile};
use crate::registry::place::{Place, Under};
use crate::registry::recording::view_of;
use crate::registry::refusal::Refusal;
use crate::store::versions::{self, Where};
use axum::http::{StatusCode, header};
use serde_json::{Value, json};

const TAG: &str = "record";
/// The field in which an answer points to a file.
pub(crate) const FROM_FILE: &str = "from_file";

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let reads = Access::Needs(Action::ReadSamples);
    vec![
        Endpoint::get("/sites/{id}/originals", reads, list)
            .says(TAG, "List the files that were uploaded")
            .paged()
            .answers(200, "A page: what each held, its digest, and how many rows it gave.", schema().list_of()),
        Endpoint::get("/originals/{id}", reads, read)
            .says(TAG, "Tell what was taken from an uploaded file")
            .more(
                "The report or event that came out of it and the facts of its rows, in their order. A file with several \
                 events has one of these for each.",
            )
            .answers_one(schema()),
        Endpoint::get("/originals/{id}/file", reads, file)
            .says(TAG, "Download an uploaded file, byte for byte")
            .more(
                "With the media type it came with; its SHA-256 stands in the journal. Where something that came out of it \
                 was disposed of, the file is kept for the rest and shown to nobody.",
            )
            .answers_with(200, "The file.", "text/csv", Some(Schema::of::<String>("")))
            .answers_with(200, "The file.", "application/json", Some(Schema::of::<Value>(""))),
    ]
}

fn schema() -> Schema {
    let mut schema = Original::schema();
    let id = |said: &str| json!({"type": "string", "format": "uuid", "description": said});
    let number = |said: &str| json!({"type": "integer", "description": said});
    schema["properties"]["id"] = id("Its identifier.");
    schema["properties"]["site_id"] = id("The site it belongs to.");
    schema["properties"]["thing_id"] = id("The report or event that came out of it.");
    schema["properties"]["rows"] = number("How many rows gave something.");
    schema["properties"]["revision"] = number("1: it never changes.");
    schema["properties"]["position"] = number("The journal position that brought it.");
    if let Value::Object(schema) = &mut schema {
        schema.remove("additionalProperties");
        schema.insert("required".into(), json!(["id", "site_id", "thing_id", "sha256", "rows"]));
    }
    Schema::named("OriginalAnswer", schema)
}

/// The pointer in the schema of an answer.
pub(crate) fn describe_pointer(schema: &mut Value) {
    schema["properties"][FROM_FILE] = reference(&pointer_schema().name);
    schema["properties"][FROM_FILE]["description"] =
        "Where in which uploaded file stood what was first recorded; absent where it was not sent as a file."
            .into();
}

/// The component that [`describe_pointer`] refers to.
pub(crate) fn pointer_schema() -> Schema {
    Schema::of::<FromFile>("FromFile")
}

/// Puts the pointer beside a fact in an answer, where there is a file.
pub(crate) fn point(view: &mut Value, from: Option<FromFile>) {
    if let Some(from) = from {
        view[FROM_FILE] = from.to_json();
    }
}

fn view(original: &Version<Original>) -> Value {
    let mut view = view_of(Under::Nothing, original);
    view["rows"] = original.fact.gave.len().into();
    view["thing_id"] = original.parent.map_or(Value::Null, |thing| thing.to_string().into());
    view
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let site = request.id()?;
    let page = request.page()?;
    let scope = request.caller.may(Action::ReadSamples).map_err(Refusal::from)?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let place = Place::under(&mut tx, &scope, as_of, Under::Site, Some(site)).await?;
    let of_site: Vec<Where> = place.site.map(Where::Site).into_iter().collect();
    let more = versions::Page { limit: page.limit + 1, ..page };
    let found = versions::list::<Original>(&mut tx, &scope, as_of, &of_site, Some(more)).await?;
    let short = |original: &Version<Original>| {
        let mut view = view(original);
        if let Value::Object(view) = &mut view {
            view.remove("gave");
        }
        (original.id, view)
    };
    Ok(Reply::items(&request, page.limit, found.iter().map(short).collect()))
}

async fn read(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let scope = request.caller.may(Action::ReadSamples).map_err(Refusal::from)?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let found = versions::find::<Original>(&mut tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    Ok(Reply::one(&request, found.revision, &view(&found)))
}

async fn file(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let (original, bytes) = pointer::read(&mut tx, &request.caller, as_of, id).await?;
    drop(tx);
    // A laboratory's file names samples; one of events names who was sampled.
    if original.fact.holds == OriginalKind::SamplingEvents
        && let Ok(events) = serde_json::from_slice::<Value>(&bytes)
    {
        // Of all its events, so the line spans their site.
        let scope = original.site.map_or_else(|| "export".to_owned(), |site| format!("site {site}"));
        note_named(&app, &request, as_of, scope, [&events]).await?;
    }
    let csv = original.fact.media_type == "text/csv";
    let (media_type, end) = if csv { ("text/csv", "csv") } else { ("application/json", "json") };
    let name = format!("attachment; filename=\"original-{id}.{end}\"");
    Ok(Reply::new(StatusCode::OK, media_type, bytes).with(header::CONTENT_DISPOSITION, &name))
}
