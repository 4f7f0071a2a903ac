//! Sampling events and samples.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema, reference};
use crate::api::facts::{Naming, answer, item, shown};
use crate::api::originals::{self, point, pointer_schema};
use crate::api::problem::Problem;
use crate::api::questions::{Question, note_bulk, note_named, note_worker, sound, spanned};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::conclusions::asked::Asked;
use crate::conclusions::sample::SampleView;
use crate::model::facts::sampling::{Sample, SamplingEvent, SamplingEventDraft};
use crate::model::identifiers::WorkerId;
use crate::model::shape::{Faults, Shape as _};
use crate::model::version::Version;
use crate::registry::conclude::represents::{Represented, represents};
use crate::registry::conclude::samples;
use crate::registry::facts::results::{self, Acceptance, Because, Voiding};
use crate::registry::facts::sampling;
use crate::registry::gather;
use crate::registry::originals::pointer;
use crate::registry::place::Under;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Where};
use serde_json::{Value, json};
use std::collections::BTreeSet;

const EVENT: Naming = Naming {
    tag: "sampling",
    one: "a sampling event",
    many: "sampling events",
    last: "sampling-events",
    component: "SamplingEvent",
};
const SAMPLE: Naming =
    Naming { tag: "sampling", one: "a sample", many: "samples", last: "samples", component: "Sample" };

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let reads = Access::Needs(Action::ReadSamples);
    let records = Access::Needs(Action::RecordSamples);
    let voids = Access::Needs(Action::Void);
    let [_, correct_event, void_event, withdraw_event] = item::<SamplingEvent>(EVENT);
    let [_, correct_sample, _, withdraw_sample] = item::<Sample>(SAMPLE);
    vec![
        Endpoint::get("/sites/{id}/sampling-events", reads, list_events)
            .says("sampling", "List sampling events")
            .paged()
            .answers(200, "A page, without their samples.", answer::<SamplingEvent>(EVENT).list_of()),
        Endpoint::post("/sites/{id}/sampling-events", records, record_event)
            .says("sampling", "Record a sampling event with its samples")
            .more("Everything is checked before anything is stored; the answer holds what each sample says already.")
            .takes::<SamplingEventDraft>("SamplingEventDraft", event_example())
            .answers(201, "Recorded.", event_schema()),
        Endpoint::get("/sampling-events/{id}", reads, read_event)
            .says("sampling", "Read a sampling event with its samples")
            .concluded()
            .tagged()
            .answers(200, "The event with what its samples say.", event_schema()),
        correct_event,
        void_event,
        withdraw_event,
        Endpoint::get("/sampling-events/{id}/samples", reads, list_samples)
            .says("sampling", "List the samples of an event")
            .paged()
            .answers(200, "A page, with what they say.", sample_schema().list_of()),
        Endpoint::post("/sampling-events/{id}/samples", records, record_sample)
            .says("sampling", "Record one more sample of an event")
            .takes::<Sample>("Sample", event_example()["samples"][0].clone())
            .answers(201, "Recorded.", sample_schema()),
        Endpoint::get("/samples/{id}", reads, read_sample)
            .says("sampling", "Read a sample with what it says")
            .concluded()
            .tagged()
            .answers(200, "The facts, the volume, every result with its concentration, and flags.", sample_schema()),
        correct_sample,
        Endpoint::get("/samples/{id}/represents", reads, list_represented)
            .says("sampling", "List the workers whom a sample represents")
            .as_known_on()
            .paged()
            .answers(200, "Those assigned to its group on its shift date.", Schema::of::<Represented>("Represented").list_of()),
        Endpoint::post("/samples/{id}/acceptance", Access::Needs(Action::Accept), accept)
            .says("sampling", "Accept the results of a sample")
            .takes::<Acceptance>("Acceptance", json!({"reason": "Flow within 5 %, blanks below their limit."}))
            .body_optional()
            .answers(201, "Accepted.", sample_schema()),
        Endpoint::post("/samples/{id}/voiding", voids, void)
            .says("sampling", "Void a sample, or its result of one agent")
            .takes::<Voiding>("Voiding", json!({"reason": "The filter was touched."}))
            .answers(201, "Voided; it stays readable.", sample_schema()),
        withdraw_sample,
    ]
}

fn event_example() -> Value {
    json!({
        "reference": "2026-014", "purpose": ["routine"], "sampled_by": "A. Sampler", "shift_minutes": 480,
        "samples": [{
            "number": "26-0141", "position": "breathing_zone", "shift_date": "2026-02-24",
            "worker_id": "01900000-0000-7000-8000-000000000010", "agent_codes": ["chromium_vi"],
            "runs": [{"start": "2026-02-24T07:02:00-07:00", "end": "2026-02-24T14:47:00-07:00"}],
            "flow_before": {"value": "2.00", "unit": "L/min"}, "flow_after": {"value": "1.97", "unit": "L/min"},
            "medium": "PVC 5 um 37 mm", "medium_lot": "L-7"
        }]
    })
}

/// A sample in answers: the fact and what it says.
pub(crate) fn sample_schema() -> Schema {
    let mut schema = answer::<Sample>(SAMPLE).schema;
    let said = SampleView::schema();
    for (field, described) in said["properties"].as_object().into_iter().flatten() {
        schema["properties"][field] = described.clone();
    }
    originals::describe_pointer(&mut schema);
    Schema::named("ConcludedSampleAnswer", schema).with_parts([pointer_schema()])
}

fn event_schema() -> Schema {
    let mut schema = answer::<SamplingEvent>(EVENT).schema;
    schema["properties"]["samples"] = json!({
        "type": "array",
        "description": "Its samples, with what they say.",
        "items": reference(&sample_schema().name),
    });
    originals::describe_pointer(&mut schema);
    Schema::named("ConcludedSamplingEventAnswer", schema).with_parts([sample_schema(), pointer_schema()])
}

/// The workers named by samples.
pub(crate) fn workers_of(samples: &[Version<Sample>]) -> BTreeSet<WorkerId> {
    samples.iter().filter_map(|sample| sample.fact.worker_id).collect()
}

async fn with_samples(
    tx: &mut Tx,
    as_of: AsOf,
    mut view: Value,
    samples: Vec<Version<Sample>>,
    asked: Asked,
) -> Result<Value, Refusal> {
    view["samples"] = Value::Array(samples::views(tx, as_of, samples, asked).await?);
    Ok(view)
}

async fn list_events(app: App, request: Request) -> Result<Reply, Problem> {
    crate::api::facts::list::<SamplingEvent>(app, request, Under::Site).await
}

async fn record_event(app: App, request: Request) -> Result<Reply, Problem> {
    let site = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let (event, samples) = sampling::record_event(change, site, body).await?;
            let as_of = change.as_of();
            let view = recording::view(&event);
            let view = with_samples(&mut change.tx, as_of, view, samples, Asked::default()).await?;
            Ok(Made::new(&format!("/sampling-events/{}", event.id), view))
        })
    })
    .await
}

async fn read_event(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    sound(faults)?;
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let event = recording::read::<SamplingEvent>(&mut tx, &request.caller, as_of, id).await?;
    let samples = gather::many::<Sample>(&mut tx, as_of, &[id], Where::Parents).await?;
    let mut view = with_samples(&mut tx, as_of, recording::view(&event), samples, question.asked).await?;
    point(&mut view, pointer::of_thing(&mut tx, as_of, id).await?);
    drop(tx);
    note_named(&app, &request, as_of, spanned(&request, "event"), [&view]).await?;
    Ok(Reply::one(&request, event.revision, &view))
}

async fn list_samples(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let page = request.page()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let found =
        recording::list::<Sample>(&mut tx, &request.caller, as_of, Under::Event, Some(id), page).await?;
    let ids: Vec<_> = found.iter().map(|sample| sample.id).collect();
    let views = samples::views(&mut tx, as_of, found, Asked::default()).await?;
    drop(tx);
    let items: Vec<_> = ids.into_iter().zip(views).collect();
    note_named(&app, &request, as_of, spanned(&request, "event"), shown(page, &items)).await?;
    Ok(Reply::items(&request, page.limit, items))
}

async fn record_sample(app: App, request: Request) -> Result<Reply, Problem> {
    let event = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let sample = sampling::record_sample(change, event, body).await?;
            let id = sample.id;
            let as_of = change.as_of();
            let view = samples::views(&mut change.tx, as_of, vec![sample], Asked::default()).await?.pop();
            Ok(Made::new(&format!("/samples/{id}"), view.unwrap_or_default()))
        })
    })
    .await
}

async fn read_sample(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    sound(faults)?;
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let sample = recording::read::<Sample>(&mut tx, &request.caller, as_of, id).await?;
    let mut view = samples::sample(&mut tx, &request.caller, as_of, id, question.asked).await?;
    let from = pointer::of_row(&mut tx, as_of, sample.parent, id, &view).await?;
    point(&mut view, from);
    drop(tx);
    if let Some(worker) = sample.fact.worker_id {
        note_worker(&app, &request, as_of, worker).await?;
    }
    Ok(Reply::one(&request, sample.revision, &view))
}

async fn list_represented(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let stretch = request.stretch(&mut faults);
    sound(faults)?;
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let found = represents(&mut tx, &request.caller, as_of, id).await?;
    drop(tx);
    let (found, next) = stretch.cut(found)?;
    note_bulk(&app, &request, as_of, "sample", found.iter().map(|one| one.worker_id)).await?;
    Ok(Reply::page(&request, found.iter().map(Represented::to_json).collect(), next))
}

async fn accept(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            results::accept(change, id, body).await?;
            let (caller, as_of) = (change.caller.clone(), change.as_of());
            let view = samples::sample(&mut change.tx, &caller, as_of, id, Asked::default()).await?;
            Ok(Made::new(&format!("/samples/{id}"), view))
        })
    })
    .await
}

async fn void(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let voiding = Voiding::parse(body)?;
            match &voiding.agent_code {
                Some(agent) => results::void_agent(change, id, agent, &voiding.reason).await?,
                None => drop(recording::void::<Sample>(change, id, voiding.reason.as_str()).await?),
            }
            let (caller, as_of) = (change.caller.clone(), change.as_of());
            let view = samples::sample(&mut change.tx, &caller, as_of, id, Asked::default()).await?;
            Ok(Made::new(&format!("/samples/{id}"), view))
        })
    })
    .await
}

/// Reads the reason of a request about one thing.
pub(crate) fn because(body: &Value) -> Result<Because, Refusal> {
    Ok(Because::parse(body)?)
}
