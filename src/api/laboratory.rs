//! Laboratory reports, results and direct readings.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema, reference};
use crate::api::facts::{Naming, answer, collection, correction, item};
use crate::api::held_rows::HELD;
use crate::api::originals::{self, point, pointer_schema};
use crate::api::problem::Problem;
use crate::api::questions::{note_bulk, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::sampling::{because, sample_schema, workers_of};
use crate::api::writing::{Made, carry_out, write};
use crate::conclusions::asked::Asked;
use crate::model::facts::agent::Agent;
use crate::model::facts::laboratory::{HeldRow, LabReport, LabReportDraft, LabResult};
use crate::model::facts::sampling::{DirectReadings, Sample};
use crate::model::shape::Faults;
use crate::model::version::Version;
use crate::registry::conclude::samples;
use crate::registry::facts::laboratory::{self, Report, Unmatched};
use crate::registry::facts::{held_rows, laboratory_csv, results};
use crate::registry::gather;
use crate::registry::originals::pointer;
use crate::registry::place::Under;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{AsOf, Where};
use serde_json::{Value, json};
use uuid::Uuid;

const REPORT: Naming = Naming {
    tag: "laboratory",
    one: "a laboratory report",
    many: "laboratory reports",
    last: "lab-reports",
    component: "LabReport",
};
const RESULT: Naming =
    Naming { tag: "laboratory", one: "a result", many: "results", last: "results", component: "Result" };
const READINGS: Naming = Naming {
    tag: "sampling",
    one: "a series of direct readings",
    many: "series of direct readings",
    last: "direct-readings",
    component: "DirectReadings",
};

/// The media type of a report sent as a file.
const CSV: &str = "text/csv";

/// What of the query is the head of a report sent as CSV.
const HEAD: &[&str] = &["report_number", "part", "revision", "laboratory", "accreditation", "received_on"];

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let reads = Access::Needs(Action::ReadSamples);
    let records = Access::Needs(Action::RecordSamples);
    let [_, correct_report, void_report, withdraw_report] = item::<LabReport>(REPORT);
    let mut all = vec![
        Endpoint::get("/sites/{id}/lab-reports", reads, list)
            .says("laboratory", "List laboratory reports")
            .paged()
            .answers(200, "A page, without their rows.", answer::<LabReport>(REPORT).list_of()),
        Endpoint::post("/sites/{id}/lab-reports", records, record)
            .says("laboratory", "Record a laboratory report, all rows or none")
            .more(
                "As JSON; or as text/csv with the head as query parameters and the columns sample_number, agent (code, \
                 CAS RN or name), quantity, comparator, value, unit, reporting_limit, detection_limit, \
                 blank_corrected, estimated, replaces, analysed_on. Faults are named by row.",
            )
            .asks::<String>(
                "unmatched",
                "`hold` keeps rows whose sample number is not known until they are matched or dismissed; left out, they \
                 are faults.",
            )
            .asks::<bool>("dry_run", "Check everything, answer as if, and store nothing.")
            .asks::<String>("report_number", "With CSV: the laboratory's number of the report.")
            .asks::<i64>("part", "With CSV: part of a report that comes in several.")
            .asks::<i64>("revision", "With CSV: revision of the report.")
            .asks::<String>("laboratory", "With CSV: the laboratory.")
            .asks::<String>("accreditation", "With CSV: its accreditation.")
            .asks::<String>("received_on", "With CSV: when the report was received.")
            .takes::<LabReportDraft>("LabReportDraft", report_example())
            .takes_file(CSV, "sample_number,agent,comparator,value,unit,reporting_limit\n26-0141,chromium_vi,,2.40,ug,0.02\n")
            .answers(201, "Recorded.", report_schema())
            .answers(200, "A dry run: what would have been recorded.", report_schema()),
        Endpoint::get("/lab-reports/{id}", reads, read)
            .says("laboratory", "Read a laboratory report with its samples")
            .tagged()
            .answers(200, "The report with what its samples say.", report_schema()),
        correct_report,
        void_report,
        withdraw_report,
        correction::<LabResult>(RESULT),
        Endpoint::get("/results/{id}", reads, read_result)
            .says("laboratory", "Read a result: one sample and one agent")
            .more("Where it came in a file, `from_file` says in which, in which row and in which columns.")
            .tagged()
            .answers(200, "The result as it is known now.", result_schema()),
        turning("voiding", "Void a result", Action::Void, Turn::Void),
        turning("voiding-withdrawal", "Take the voiding of a result back", Action::Void, Turn::Withdraw),
        turning("standing-choice", "Choose a re-analysis to stand", Action::Accept, Turn::Choose),
    ];
    all.extend(collection::<DirectReadings>(
        "/sites/{id}/direct-readings",
        Under::Site,
        READINGS,
        readings_example(),
    ));
    all.extend(item::<DirectReadings>(READINGS));
    all
}

fn report_example() -> Value {
    json!({
        "report_number": "L-2026-0310", "laboratory": "Hollow Lane Laboratory", "received_on": "2026-02-27",
        "results": [{
            "sample_number": "26-0141", "agent_code": "chromium_vi", "mass": {"value": "2.40", "unit": "ug"},
            "reporting_limit": {"value": "0.02", "unit": "ug"}, "blank_corrected": "no", "analysed_on": "2026-02-26"
        }]
    })
}

fn readings_example() -> Value {
    json!({
        "instrument": "particle counter", "position": "outlet", "location": "filter house", "shift_date": "2026-02-24",
        "control_ids_running": [], "unit": "/m3",
        "readings": [{"at": "2026-02-24T16:00:00Z", "value": 3500.0}]
    })
}

fn report_schema() -> Schema {
    let mut schema = answer::<LabReport>(REPORT).schema;
    schema["properties"]["samples"] = json!({
        "type": "array",
        "description": "The samples it has results of, with what they say.",
        "items": reference(&sample_schema().name),
    });
    originals::describe_pointer(&mut schema);
    let held = answer::<HeldRow>(HELD);
    schema["properties"]["held"] = json!({
        "type": "array",
        "description": "Rows that came without a known sample and were held.",
        "items": reference(&held.name),
    });
    schema["properties"]["dry_run"] =
        json!({"type": "boolean", "description": "true where nothing was stored."});
    Schema::named("ConcludedLabReportAnswer", schema).with_parts([sample_schema(), held, pointer_schema()])
}

/// A result with the pointer to the file it came in.
fn result_schema() -> Schema {
    let mut schema = answer::<LabResult>(RESULT).schema;
    originals::describe_pointer(&mut schema);
    Schema::named("ResultWithFileAnswer", schema).with_parts([pointer_schema()])
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    crate::api::facts::list::<LabReport>(app, request, Under::Site).await
}

async fn record(app: App, request: Request) -> Result<Reply, Problem> {
    let site = request.id()?;
    let mut faults = Faults::default();
    let dry_run = request.flag("dry_run", &mut faults);
    let unmatched = match request.asked("unmatched") {
        None => Unmatched::Refuse,
        Some("hold") => Unmatched::Hold,
        Some(_) => {
            faults.note("/unmatched", "must be hold, or left out");
            Unmatched::Refuse
        }
    };
    sound(faults)?;
    let from_file = request.media_type() == CSV;
    let report = Report { unmatched, ..read_report(&app, &request).await? };
    carry_out(app, request, report, move |change, _, report| {
        Box::pin(async move {
            let recorded =
                laboratory::record_report(change, site, report.clone()).await.map_err(|refusal| {
                    if from_file { laboratory_csv::named_by_column(refusal) } else { refusal }
                })?;
            let as_of = change.as_of();
            let mut view = recording::view(&recorded.report);
            let said = samples::views(&mut change.tx, as_of, recorded.samples, Asked::default()).await?;
            view["samples"] = Value::Array(said);
            view["held"] = recorded.held.iter().map(recording::view).collect();
            if dry_run {
                return Ok(Made::dry_run(view));
            }
            Ok(Made::new(&format!("/lab-reports/{}", recorded.report.id), view))
        })
    })
    .await
}

/// The report from JSON, or from CSV with its head in the query.
async fn read_report(app: &App, request: &Request) -> Result<Report, Problem> {
    if request.media_type() != CSV {
        return Ok(Report::parse(&request.json()?)?);
    }
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let agents: Vec<Agent> =
        gather::all::<Agent>(&mut tx, as_of, &[]).await?.into_iter().map(|agent| agent.fact).collect();
    let head: Vec<(String, String)> =
        request.query.iter().filter(|(name, _)| HEAD.contains(&name.as_str())).cloned().collect();
    Ok(laboratory_csv::read(&head, &request.body, &agents)?)
}

/// The samples that a report has results of.
async fn samples_of(tx: &mut Tx, as_of: AsOf, report: Uuid) -> Result<Vec<Version<Sample>>, Refusal> {
    let results = gather::many::<LabResult>(tx, as_of, &[report], Where::Parents).await?;
    let ids: Vec<Uuid> = results.iter().map(|result| result.fact.sample_id.0).collect();
    Ok(gather::many::<Sample>(tx, as_of, &ids, Where::Ids).await?)
}

async fn read(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let report = recording::read::<LabReport>(&mut tx, &request.caller, as_of, id).await?;
    let found = samples_of(&mut tx, as_of, id).await?;
    let named = workers_of(&found);
    let mut view = recording::view(&report);
    view["samples"] = Value::Array(samples::views(&mut tx, as_of, found, Asked::default()).await?);
    let held = held_rows::of_report(&mut tx, as_of, id).await?;
    view["held"] = held.iter().map(recording::view).collect();
    point(&mut view, pointer::of_thing(&mut tx, as_of, id).await?);
    drop(tx);
    note_bulk(&app, &request, as_of, "report", named).await?;
    Ok(Reply::one(&request, report.revision, &view))
}

async fn read_result(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let result = recording::read::<LabResult>(&mut tx, &request.caller, as_of, id).await?;
    let mut view = recording::view(&result);
    let from = pointer::of_row(&mut tx, as_of, result.parent, id, &view).await?;
    point(&mut view, from);
    Ok(Reply::one(&request, result.revision, &view))
}

/// What is done to a result.
#[derive(Debug, Clone, Copy)]
enum Turn {
    Void,
    Withdraw,
    Choose,
}

fn turning(deed: &str, summary: &str, action: Action, turn: Turn) -> Endpoint {
    Endpoint::post(&format!("/results/{{id}}/{deed}"), Access::Needs(action), move |app, request| {
        turn_result(app, request, turn)
    })
    .says("laboratory", summary)
    .takes::<results::Because>("Because", json!({"reason": "The laboratory withdrew it."}))
    .answers(201, "Done; both stay readable.", answer::<LabResult>(RESULT))
}

async fn turn_result(app: App, request: Request, turn: Turn) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let reason = because(body)?.reason;
            let version = match turn {
                Turn::Void => results::void(change, id, &reason).await?,
                Turn::Withdraw => results::withdraw_voiding(change, id, &reason).await?,
                Turn::Choose => results::choose_standing(change, id, &reason).await?,
            };
            Ok(Made::new(&format!("/results/{id}"), recording::view(&version)))
        })
    })
    .await
}
