//! Data taken out as files.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{Question, note_bulk, note_counted, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::conclusions::history::view::HistoryView;
use crate::export::csv::{self, Reader};
use crate::export::fhir;
use crate::export::taken::{Format, Taken};
use crate::model::identifiers::WorkerId;
use crate::model::shape::{Faults, Shape};
use crate::registry::anchor::ChainState;
use crate::registry::conclude::history_rows::Moment;
use crate::registry::conclude::{duty_rows, sample_rows, surveillance_bundle, surveillance_rows};
use crate::registry::journal::JournalEntryView;
use crate::store::backend::Tx;
use axum::body::Body;
use axum::http::{StatusCode, header};
use futures_util::stream;
use serde_json::{Value, json};
use std::time::Duration;
use tokio::sync::mpsc;

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let needs = Access::Needs(Action::Export);
    [Format::Csv, Format::Json]
        .into_iter()
        .flat_map(|format| {
            [
                described(
                    Endpoint::get(&path("samples", format), needs, move |app, asked| {
                        samples(app, asked, format)
                    }),
                    format,
                    "Export samples with their results",
                    &Schema::of::<sample_rows::SampleRow>("SampleRow"),
                ),
                described(
                    Endpoint::get(&path("surveillance", format), needs, move |app, asked| {
                        surveillance(app, asked, format)
                    }),
                    format,
                    "Export the register of surveillance",
                    &Schema::of::<surveillance_rows::SurveillanceRow>("SurveillanceRow"),
                ),
                described(
                    Endpoint::get(&path("duties", format), needs, move |app, asked| {
                        duties(app, asked, format)
                    }),
                    format,
                    "Export every duty",
                    &Schema::of::<duty_rows::DutyRow>("DutyRow"),
                ),
                described(
                    Endpoint::get(&path("histories", format), needs, move |app, asked| {
                        grown(app, asked, format, Dataset::Histories)
                    }),
                    format,
                    "Export the history of every worker in sight for every agent that concerns him",
                    &Schema::of::<HistoryView>("History"),
                )
                .more(
                    "Each as `GET /workers/{id}/history` answers it. As CSV a row for each worker, agent and interval; as \
                     JSON whole histories, with `worker_name`, the dose and the gaps.",
                ),
                described(
                    Endpoint::get(&path("journal", format), needs, move |app, asked| {
                        grown(app, asked, format, Dataset::Journal)
                    }),
                    format,
                    "Export the journal",
                    &Schema::of::<JournalEntryView>("JournalEntry"),
                )
                .more(
                    "Envelopes with their hashes for whoever sees the site, images for whoever may read the fact, as \
                     `GET /journal` shows them; the medical chain for the physician alone.",
                ),
            ]
        })
        .chain([Endpoint::get("/exports/surveillance.fhir.json", needs, bundle)
            .says("exports", "Export surveillance for a medical system")
            .more(
                "A FHIR R4 bundle: Patient, ServiceRequest and Task for each examination to be offered, Observation for \
                 each own 8-hour average behind it. Codes are the registry's own (`urn:doseward`).",
            )
            .as_known_on()
            .answers_with(
                200,
                "A Bundle of type collection.",
                "application/fhir+json",
                Some(Schema::named("", json!({"type": "object"}))),
            )])
        .collect()
}

fn path(dataset: &str, format: Format) -> String {
    match format {
        Format::Csv => format!("/exports/{dataset}.csv"),
        Format::Json => format!("/exports/{dataset}.json"),
    }
}

/// What every file says of the record it is from, in its headers.
const PROVED: &str = "The headers `X-Position`, `X-Chain`, `X-Chain-Entries` and `X-Chain-Head` say at which journal position it \
                      was made and how the chain stood there: that of the site where the reader sees one alone, else the \
                      corporation's. An anchor holds the same of every chain in sight.";

fn described(endpoint: Endpoint, format: Format, summary: &str, row: &Schema) -> Endpoint {
    let endpoint = endpoint.says("exports", summary).more(PROVED).as_known_on();
    match format {
        Format::Csv => endpoint
            .asks::<String>("for", "`spreadsheet` guards cells that a spreadsheet would take for a formula.")
            .answers_with(200, "CSV (RFC 4180) in UTF-8.", "text/csv", Some(Schema::of::<String>(""))),
        Format::Json => endpoint.answers(200, "An array of the rows of the CSV file.", row.array_of()),
    }
}

/// A file that is asked for: as known when, and for whom it is written.
struct Asked {
    question: Question,
    format: Format,
    reader: Reader,
}

impl Asked {
    fn of(request: &Request, format: Format) -> Result<Self, Problem> {
        let mut faults = Faults::default();
        let question = Question::of(request, &mut faults);
        let reader = match request.asked("for") {
            None => Reader::Program,
            Some("spreadsheet") => Reader::Spreadsheet,
            Some(_) => {
                faults.note("/for", "must be spreadsheet, or left out");
                Reader::Program
            }
        };
        sound(faults)?;
        Ok(Self { question, format, reader })
    }

    fn file<T: Shape>(&self, dataset: &str, rows: &[T], state: &ChainState) -> Reply {
        let bytes = match self.format {
            Format::Csv => csv::write(rows, self.reader),
            Format::Json => {
                let rows: Vec<Value> = rows.iter().map(Shape::to_json).collect();
                Value::Array(rows).to_string().into_bytes()
            }
        };
        self.reply(dataset, bytes, state)
    }

    fn reply(&self, dataset: &str, bytes: impl Into<Body>, state: &ChainState) -> Reply {
        let (media_type, ending) = match self.format {
            Format::Csv => ("text/csv; header=present; charset=utf-8", "csv"),
            Format::Json => ("application/json", "json"),
        };
        Reply::new(StatusCode::OK, media_type, bytes)
            .with(header::CONTENT_DISPOSITION, &format!("attachment; filename=\"{dataset}.{ending}\""))
            .proved_by(state)
    }
}

/// A data set of many rows, written a part at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Dataset {
    Histories,
    Journal,
}

impl Dataset {
    const fn name(self) -> &'static str {
        match self {
            Self::Histories => "histories",
            Self::Journal => "journal",
        }
    }
}

/// A file that is sent while it is written, from the snapshot in which it was begun.
async fn grown(app: App, request: Request, format: Format, dataset: Dataset) -> Result<Reply, Problem> {
    let asked = Asked::of(&request, format)?;
    let as_known_on = asked.question.as_known_on;
    let (mut tx, as_of) = asked.question.snapshot(&app).await?;
    let now = app.registry.seen_from(as_known_on);
    let moment = Moment { as_of, now, of_now: as_known_on.is_none() };
    let (caller, reader) = (&request.caller, asked.reader);
    let taken = match dataset {
        Dataset::Histories => Taken::histories(&mut tx, caller, moment, format, reader).await?,
        Dataset::Journal => Taken::journal(&mut tx, caller, moment, format, reader).await?,
    };
    // Whom it names is known when it is written; the line must be there before. It tells whom the reader sees.
    let state = ChainState::for_reader(&mut tx, as_of.position, caller, Action::Export).await?;
    note_counted(&app, &request, as_of, "export", taken.workers).await?;
    Ok(asked.reply(dataset.name(), sent(tx, taken), &state))
}

/// How long a reader may take over one part before the file breaks off and lets its snapshot go.
const PATIENCE: Duration = Duration::from_secs(30);

/// A part of a file, or its end: a file that breaks off must not look whole.
enum Sent {
    Part(Vec<u8>),
    End,
}

/// Writes a file into the body of an answer, at most two parts ahead of its reader.
fn sent(mut tx: Tx, mut taken: Taken) -> Body {
    let (send, receive) = mpsc::channel(2);
    tokio::spawn(async move {
        loop {
            let next = match taken.next(&mut tx).await {
                Ok(Some(part)) => Sent::Part(part),
                Ok(None) => Sent::End,
                Err(error) => {
                    tracing::error!(error = &error as &dyn std::error::Error, "a file broke off");
                    return;
                }
            };
            let last = matches!(next, Sent::End);
            if !matches!(tokio::time::timeout(PATIENCE, send.send(next)).await, Ok(Ok(()))) || last {
                return;
            }
        }
    });
    Body::from_stream(stream::unfold(Some(receive), |receive| async move {
        let mut receive = receive?;
        match receive.recv().await {
            Some(Sent::Part(part)) => Some((Ok(part), Some(receive))),
            Some(Sent::End) => None,
            None => Some((Err(std::io::Error::other("the file broke off")), None)),
        }
    }))
}

async fn samples(app: App, request: Request, format: Format) -> Result<Reply, Problem> {
    let asked = Asked::of(&request, format)?;
    let (mut tx, as_of) = asked.question.snapshot(&app).await?;
    let rows = sample_rows::rows(&mut tx, &request.caller, as_of).await?;
    let state = ChainState::for_reader(&mut tx, as_of.position, &request.caller, Action::Export).await?;
    drop(tx);
    note_bulk(&app, &request, as_of, "export", rows.iter().filter_map(|row| row.worker_id)).await?;
    Ok(asked.file("samples", &rows, &state))
}

async fn surveillance(app: App, request: Request, format: Format) -> Result<Reply, Problem> {
    let asked = Asked::of(&request, format)?;
    settled(&app, &asked).await?;
    let (mut tx, as_of) = asked.question.snapshot(&app).await?;
    let rows = surveillance_rows::rows(&mut tx, &request.caller, as_of).await?;
    let state = ChainState::for_reader(&mut tx, as_of.position, &request.caller, Action::Export).await?;
    drop(tx);
    note_bulk(&app, &request, as_of, "export", rows.iter().filter_map(|row| row.worker_id)).await?;
    Ok(asked.file("surveillance", &rows, &state))
}

async fn duties(app: App, request: Request, format: Format) -> Result<Reply, Problem> {
    let asked = Asked::of(&request, format)?;
    settled(&app, &asked).await?;
    let (mut tx, as_of) = asked.question.snapshot(&app).await?;
    let rows = duty_rows::rows(&mut tx, &request.caller, as_of).await?;
    let state = ChainState::for_reader(&mut tx, as_of.position, &request.caller, Action::Export).await?;
    drop(tx);
    note_bulk(&app, &request, as_of, "export", rows.iter().filter_map(|row| row.worker_id)).await?;
    Ok(asked.file("duties", &rows, &state))
}

async fn bundle(app: App, request: Request) -> Result<Reply, Problem> {
    let asked = Asked::of(&request, Format::Json)?;
    settled(&app, &asked).await?;
    let (mut tx, as_of) = asked.question.snapshot(&app).await?;
    let found = surveillance_bundle::gathered(&mut tx, &request.caller, as_of).await?;
    let state = ChainState::for_reader(&mut tx, as_of.position, &request.caller, Action::Export).await?;
    drop(tx);
    let people: Vec<fhir::Person> = found
        .workers
        .iter()
        .map(|worker| fhir::Person {
            id: WorkerId(worker.id),
            given: worker.fact.given_name.to_string(),
            family: worker.fact.family_name.to_string(),
            employments: found
                .employments
                .iter()
                .filter(|employment| employment.parent == Some(worker.id))
                .map(|one| (one.fact.employer.to_string(), one.fact.employee_number.to_string()))
                .collect(),
        })
        .collect();
    let requests: Vec<fhir::Request> = found
        .duties
        .into_iter()
        .filter_map(|duty| {
            Some(fhir::Request {
                id: duty.id,
                revision: duty.revision,
                kind: duty.kind,
                worker: duty.subject.worker_id?,
                agent_code: duty.agent_code,
                clause: duty.clause,
                edition: duty.edition,
                verification: duty.verification,
                window: duty.window,
                learned_on: duty.learned_on,
                due_on: duty.due_on,
                status: duty.status,
            })
        })
        .collect();
    note_bulk(&app, &request, as_of, "export", people.iter().map(|one| one.id)).await?;
    let bundle = fhir::bundle(&people, &requests, &found.averages);
    Ok(Reply::new(StatusCode::OK, "application/fhir+json", bundle.to_string())
        .with(header::CONTENT_DISPOSITION, "attachment; filename=\"surveillance.fhir.json\"")
        .proved_by(&state))
}

/// Duties are facts: what the latest facts ask for is written before they are read.
async fn settled(app: &App, asked: &Asked) -> Result<(), Problem> {
    if asked.question.as_known_on.is_none() {
        app.registry.settle().await?;
    }
    Ok(())
}
