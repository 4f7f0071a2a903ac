//! Handing records over: bundles of a site or a worker, and the site that is read only from then on.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint};
use crate::api::facts::{Naming, answer};
use crate::api::problem::Problem;
use crate::api::questions::{Question, note_counted, note_worker, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::model::facts::hand_over::HandOver;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::shape::{Faults, Shape as _};
use crate::registry::bundle::{BundleOf, write as bundle};
use crate::registry::facts::hand_over::take_back;
use crate::registry::facts::results::Because;
use crate::registry::place::Under;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::error::StoreError;
use crate::store::versions::AsOf;
use axum::body::{Body, Bytes};
use axum::http::{StatusCode, header};
use futures_util::stream;
use serde_json::json;
use std::fs::{File, OpenOptions};
use std::io::{BufWriter, Read as _, Seek as _};
use std::os::unix::fs::OpenOptionsExt as _;

const TAG: &str = "record";
const TAR: &str = "application/x-tar";
const HAND_OVER: Naming = Naming {
    tag: TAG,
    one: "the hand-over of a site",
    many: "the hand-overs of a site",
    last: "hand-overs",
    component: "HandOver",
};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let takes = Access::Needs(Action::HandOver);
    let manages = Access::Needs(Action::ManageSites);
    vec![
        Endpoint::get("/sites/{id}/bundle.tar", takes, of_site)
            .says(TAG, "Download the signed bundle of a site")
            .more(
                "A tar archive of plain text, to be handed to a successor: the site's facts as CSV with JSON Schema, the \
                 entries of the journal with their images, the uploaded files, a manifest with SHA-256 and counts, an anchor, \
                 and an Ed25519 signature. It holds the workers who were there and nothing of their exposure elsewhere, and \
                 nothing of the medical chain. A new registry can take it over.",
            )
            .as_known_on()
            .answers_with(200, "The bundle.", TAR, None),
        Endpoint::get("/workers/{id}/bundle.tar", takes, of_worker)
            .says(TAG, "Download the signed bundle of a worker")
            .more("His own record on all sites, in the same form; to be read, not to be taken over.")
            .as_known_on()
            .answers_with(200, "The bundle.", TAR, None),
        Endpoint::get("/sites/{id}/hand-overs", Access::Needs(Action::ReadReference), list)
            .says(TAG, "List the hand-overs of a site")
            .paged()
            .answers(200, "A page; one that stands makes the site read only.", answer::<HandOver>(HAND_OVER).list_of()),
        Endpoint::post("/sites/{id}/hand-overs", manages, record)
            .says(TAG, "Hand a site over to a successor")
            .more(
                "From now on the record of the site here is read only: whatever would write to it is answered with 409 and to \
                 whom it was handed over. Disposal of what need not be kept any more goes on.",
            )
            .takes::<HandOver>(
                "HandOver",
                json!({"to": "Ironbridge Castings", "on": "2026-02-27", "reason": "Sale of the works."}),
            )
            .answers(201, "Handed over.", answer::<HandOver>(HAND_OVER)),
        Endpoint::post("/sites/{id}/hand-overs/withdrawal", manages, withdraw)
            .says(TAG, "Take the hand-over of a site back")
            .takes::<Because>("Because", json!({"reason": "The sale fell through."}))
            .answers(201, "The site can be written again.", answer::<HandOver>(HAND_OVER)),
    ]
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    crate::api::facts::list::<HandOver>(app, request, Under::Site).await
}

async fn record(app: App, request: Request) -> Result<Reply, Problem> {
    let site = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let version = recording::record::<HandOver>(change, Under::Site, Some(site), body).await?;
            Ok(Made::new(&format!("/sites/{site}/hand-overs"), recording::view(&version)))
        })
    })
    .await
}

async fn withdraw(app: App, request: Request) -> Result<Reply, Problem> {
    let site = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let because = Because::parse(body)?;
            let version = take_back(change, site, because.reason.as_str()).await?;
            Ok(Made::new(&format!("/sites/{site}/hand-overs"), recording::view(&version)))
        })
    })
    .await
}

async fn of_site(app: App, request: Request) -> Result<Reply, Problem> {
    taken(app, &request, BundleOf::Site(SiteId(request.id()?))).await
}

async fn of_worker(app: App, request: Request) -> Result<Reply, Problem> {
    taken(app, &request, BundleOf::Worker(WorkerId(request.id()?))).await
}

async fn taken(app: App, request: &Request, of: BundleOf) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let question = Question::of(request, &mut faults);
    sound(faults)?;
    let file = room(&app).map_err(no_room)?;
    let to = BufWriter::with_capacity(PART, file);
    let (caller, as_known_on) = (&request.caller, question.as_known_on);
    let written = bundle::write(&app.registry, caller, of, as_known_on, to, |_| {}).await;
    let (written, to) = written.map_err(|refusal| match refusal {
        // What it is written to is ours: nothing of the request is at fault.
        Refusal::Unreadable(what) => no_room(std::io::Error::other(what)),
        other => other.into(),
    })?;
    let mut file = to.into_inner().map_err(|error| no_room(error.into_error()))?;
    file.rewind().map_err(no_room)?;
    let as_of = AsOf { position: written.position, date: app.registry.clock.now().date_naive() };
    match of {
        BundleOf::Worker(worker) => note_worker(&app, request, as_of, worker).await?,
        _ => note_counted(&app, request, as_of, "site", written.workers).await?,
    }
    let name = format!("attachment; filename=\"{}.tar\"", of.to_string().replace(' ', "-"));
    Ok(Reply::new(StatusCode::OK, TAR, sent(file)).with(header::CONTENT_DISPOSITION, &name))
}

/// How many bytes are held at once.
const PART: usize = 64 << 10;

/// A file of no name, in which a bundle is written before it is sent; it is gone when it is let go.
fn room(app: &App) -> std::io::Result<File> {
    let id = app.registry.ids.id(app.registry.clock.now());
    let path = std::env::temp_dir().join(format!("doseward-bundle-{}-{id}", std::process::id()));
    let file = OpenOptions::new().read(true).write(true).create_new(true).mode(0o600).open(&path)?;
    std::fs::remove_file(path)?;
    Ok(file)
}

fn no_room(error: std::io::Error) -> Problem {
    Refusal::from(StoreError::no_room(error)).into()
}

/// The file as the body of an answer, a part at a time.
fn sent(file: File) -> Body {
    Body::from_stream(stream::unfold(file, |mut file| async move {
        let mut part = vec![0; PART];
        match file.read(&mut part) {
            Ok(0) => None,
            Ok(read) => {
                part.truncate(read);
                Some((Ok(Bytes::from(part)), file))
            }
            // It breaks off, and does not look whole.
            Err(error) => Some((Err(error), file)),
        }
    }))
}
