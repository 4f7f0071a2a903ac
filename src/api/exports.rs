//! Data taken out as files.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{Question, note_bulk, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::export::csv::{self, Reader};
use crate::model::shape::Faults;
use crate::registry::conclude::{sample_rows, surveillance_rows};
use axum::http::{HeaderName, StatusCode, header};
use std::collections::BTreeSet;

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let exports = Access::Needs(Action::Export);
    vec![
        described(
            Endpoint::get("/exports/samples.csv", exports, samples),
            "Export samples with their results",
        ),
        described(
            Endpoint::get("/exports/surveillance.csv", exports, surveillance),
            "Export the register of surveillance",
        ),
    ]
}

fn described(endpoint: Endpoint, summary: &str) -> Endpoint {
    endpoint
        .says("exports", summary)
        .asks::<String>("for", "`spreadsheet` guards cells that a spreadsheet would take for a formula.")
        .as_known_on()
        .answers_with(200, "CSV (RFC 4180) in UTF-8.", "text/csv", Some(Schema::of::<String>("")))
}

fn reader(request: &Request, faults: &mut Faults) -> Reader {
    match request.asked("for") {
        None => Reader::Program,
        Some("spreadsheet") => Reader::Spreadsheet,
        Some(_) => {
            faults.note("/for", "must be spreadsheet, or left out");
            Reader::Program
        }
    }
}

fn file(name: &str, bytes: Vec<u8>, position: i64) -> Reply {
    Reply::new(StatusCode::OK, "text/csv; header=present; charset=utf-8", bytes)
        .with(header::CONTENT_DISPOSITION, &format!("attachment; filename=\"{name}\""))
        .with(HeaderName::from_static("x-position"), &position.to_string())
}

async fn samples(app: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let reader = reader(&request, &mut faults);
    sound(faults)?;
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let rows = sample_rows::rows(&mut tx, &request.caller, as_of).await?;
    drop(tx);
    let workers: BTreeSet<_> = rows.iter().filter_map(|row| row.worker_id).collect();
    note_bulk(&app, &request, as_of, "export", workers.len()).await?;
    Ok(file("samples.csv", csv::write(&rows, reader), as_of.position))
}

async fn surveillance(app: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let reader = reader(&request, &mut faults);
    sound(faults)?;
    if question.as_known_on.is_none() {
        app.registry.settle().await?;
    }
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let rows = surveillance_rows::rows(&mut tx, &request.caller, as_of).await?;
    drop(tx);
    let workers: BTreeSet<_> = rows.iter().filter_map(|row| row.worker_id).collect();
    note_bulk(&app, &request, as_of, "export", workers.len()).await?;
    Ok(file("surveillance.csv", csv::write(&rows, reader), as_of.position))
}
