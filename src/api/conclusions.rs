//! Shift averages, profiles, verdicts, histories and duties.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{Question, note_bulk, note_worker, sound};
use crate::api::reply::Reply;
use crate::api::request::{Request, Stretch};
use crate::api::writing::{Made, write};
use crate::conclusions::history::view::HistoryView;
use crate::conclusions::profile_view::ProfileView;
use crate::conclusions::shift_average_view::ShiftAverageView;
use crate::conclusions::verdict::view::VerdictView;
use crate::model::facts::duty::{DutyActionDraft, DutyKind, DutyStatus};
use crate::model::facts::site::Site;
use crate::model::identifiers::{GroupId, SiteId, WorkerId};
use crate::model::shape::{Faults, Shape as _};
use crate::model::text::Code;
use crate::registry::conclude::workers_named::workers_told;
use crate::registry::conclude::{history, profiles, shift_averages, verdicts};
use crate::registry::duties::{self, DutyView};
use crate::registry::duty_correction::{self, ActView};
use crate::registry::duty_list::{self, DutyOrder};
use crate::registry::facts::results::Because;
use crate::registry::recording;
use crate::store::versions::Page;
use chrono::NaiveDate;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// The longest lag that can be asked for.
const LAG_MOST: i64 = 60;

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let reads = Access::Needs(Action::ReadSamples);
    vec![
        Endpoint::get("/shift-averages", reads, list_averages)
            .says("conclusions", "List 8-hour averages of a worker or a group")
            .asks::<WorkerId>("worker_id", "Of this worker.")
            .asks::<GroupId>("group_id", "Of this group.")
            .names_things()
            .asks::<Code>("agent_code", "Of this agent.")
            .asks::<NaiveDate>("from", "Shift dates from this day.")
            .asks::<NaiveDate>("to", "Shift dates before this day.")
            .concluded()
            .paged()
            .answers(200, "In order of date.", Schema::of::<ShiftAverageView>("ShiftAverage").list_of()),
        Endpoint::get("/groups/{id}/profiles", reads, list_profiles)
            .says("conclusions", "List the profiles of a group, newest era first")
            .more("A worker whose own mean is not the group's is named to those who see the worker; others get the number.")
            .asks::<Code>("agent_code", "Of this agent; left out: of every agent measured in the group.")
            .concluded()
            .paged()
            .answers(200, "One for each era.", Schema::of::<ProfileView>("Profile").list_of()),
        Endpoint::get("/tasks/{id}/control-verdicts", reads, list_verdicts)
            .says("conclusions", "List the verdicts on the controls of a task")
            .asks::<Code>("agent_code", "Of this agent; left out: of every agent measured on the task.")
            .concluded()
            .paged()
            .answers(200, "One for each control and position.", Schema::of::<VerdictView>("ControlVerdict").list_of()),
        Endpoint::get("/workers/{id}/history", Access::Needs(Action::ReadHistories), read_history)
            .says("conclusions", "Read a worker's exposure history over all sites in sight")
            .needs::<Code>("agent_code", "Of this agent.")
            .asks::<NaiveDate>("from", "From this day; left out: from the first employment.")
            .asks::<NaiveDate>("to", "Before this day; left out: to today.")
            .asks::<i64>("lag_years", "Years by the calendar taken off the end.")
            .concluded()
            .answers(200, "Intervals, dose, gaps and days.", Schema::of::<HistoryView>("History")),
        Endpoint::get("/duties", Access::Needs(Action::ReadDuties), list_duties)
            .says("surveillance", "List duties")
            .more(
                "A reader who sees only some of the sites a duty rests on gets the flag days_across_sites and no number. Of a duty that rests on a medical ground all but the physician see an examination to offer and its date; \
                 while an examination for airborne exposure of the same worker is to be done, they see that one alone.",
            )
            .asks::<SiteId>("site_id", "About workers on this site.")
            .asks::<WorkerId>("worker_id", "About this worker.")
            .names_things()
            .asks::<DutyKind>("kind", "Of this kind.")
            .asks::<DutyStatus>("status", "That stand like this.")
            .asks::<NaiveDate>("due_before", "Due before this day.")
            .asks::<DutyOrder>("order", "In this order; as they were raised if left out.")
            .as_known_on()
            .paged()
            .answers(200, "In the order asked for.", Schema::of::<DutyView>("Duty").list_of()),
        Endpoint::post("/duties/{id}/actions", Access::Needs(Action::ActOnDuties), act)
            .says("surveillance", "Record what was done about a duty")
            .more("Only the physician acts on examinations; a waiver needs its ground as a note.")
            .takes::<DutyActionDraft>("DutyAction", json!({"action": "offered", "on": "2026-03-02"}))
            .answers(201, "The duty as it stands now.", Schema::of::<DutyView>("Duty")),
        Endpoint::get("/actions/{id}", Access::Needs(Action::ActOnDuties), read_action)
            .says("surveillance", "Read what was done about a duty, to correct it")
            .more("For whoever may act on the duty; the others read it with the duty.")
            .answers_one(Schema::of::<ActView>("DutyActionRead")),
        Endpoint::patch("/actions/{id}", Access::Needs(Action::ActOnDuties), correct_action)
            .says("surveillance", "Correct what was done about a duty")
            .more(
                "A JSON merge patch (RFC 7396) of what was recorded wrongly, with a reason: it was always so. What follows from \
                 it, such as when the next examination is due, is worked out anew. The earlier revision stays readable.",
            )
            .takes_schema(
                Schema::named("DutyActionCorrection", correction_of_an_action()),
                json!({"on": "2026-03-01", "reason": "Typed wrongly."}),
                |body| Because::parse(&json!({"reason": body["reason"]})).map(drop),
            )
            .answers(200, "As it is known now.", Schema::of::<ActView>("DutyActionRead")),
    ]
}

async fn list_averages(app: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let asked = shift_averages::Question {
        worker: request.parameter("worker_id", &mut faults),
        group: request.parameter("group_id", &mut faults),
        agent_code: request.asked("agent_code").map(str::to_owned),
        from: request.parameter("from", &mut faults),
        to: request.parameter("to", &mut faults),
    };
    if let (Some(from), Some(to)) = (asked.from, asked.to)
        && to <= from
    {
        faults.note("/to", "must be after from");
    }
    let stretch = request.stretch(&mut faults);
    sound(faults)?;
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let found = shift_averages::averages(&mut tx, &request.caller, as_of, &asked, question.asked).await?;
    drop(tx);
    // Only those on this page are named to the reader.
    let (found, next) = stretch.cut(found)?;
    let workers: BTreeSet<WorkerId> = found.iter().map(|average| average.worker_id).collect();
    match asked.worker {
        Some(worker) => note_worker(&app, &request, as_of, worker).await?,
        None => note_bulk(&app, &request, as_of, "group", workers).await?,
    }
    Ok(Reply::page(&request, found.iter().map(ShiftAverageView::to_json).collect(), next))
}

async fn list_profiles(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let stretch = request.stretch(&mut faults);
    sound(faults)?;
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let now = question.as_known_on.is_none();
    let code = request.asked("agent_code");
    let found = profiles::profiles(&mut tx, &request.caller, as_of, id, code, now, question.asked).await?;
    drop(tx);
    let (found, next) = stretch.cut(found)?;
    // Only those on this page are named to the reader.
    note_bulk(&app, &request, as_of, "group", workers_told(&found)).await?;
    Ok(Reply::page(&request, found, next))
}

async fn list_verdicts(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let stretch = request.stretch(&mut faults);
    sound(faults)?;
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let now = question.as_known_on.is_none();
    let code = request.asked("agent_code");
    let found = verdicts::verdicts(&mut tx, &request.caller, as_of, id, code, now, question.asked).await?;
    let (found, next) = stretch.cut(found)?;
    Ok(Reply::page(&request, found, next))
}

async fn read_history(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let lag: i64 = request.parameter("lag_years", &mut faults).unwrap_or(0);
    if !(0..=LAG_MOST).contains(&lag) {
        faults.note("/lag_years", format!("must be 0 to {LAG_MOST}"));
    }
    let asked = history::Question {
        agent_code: request
            .needed::<Code>("agent_code", &mut faults)
            .map(|code| code.to_string())
            .unwrap_or_default(),
        from: request.parameter("from", &mut faults),
        to: request.parameter("to", &mut faults),
        lag_years: u32::try_from(lag).unwrap_or_default(),
        now: question.as_known_on.is_none(),
    };
    sound(faults)?;
    let now = app.registry.seen_from(question.as_known_on);
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let mut view: Value =
        history::history(&mut tx, &request.caller, as_of, now, id, &asked, question.asked).await?;
    drop(tx);
    view["position"] = as_of.position.into();
    note_worker(&app, &request, as_of, WorkerId(id)).await?;
    Ok(Reply::ok(&view))
}

/// Which part of a list is asked for.
enum Part {
    /// After an identifier.
    Page(Page),
    /// After so many.
    Stretch(Stretch),
}

async fn list_duties(app: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let order = request.parameter("order", &mut faults).unwrap_or(DutyOrder::Raised);
    // In the order of urgency places change from day to day: such a list is cut by number, not after a duty.
    let part = match order {
        DutyOrder::MostUrgent => Part::Stretch(request.stretch(&mut faults)),
        DutyOrder::Raised => Part::Page(request.page()?),
    };
    let question = Question::of(&request, &mut faults);
    let asked = duty_list::Question {
        site: request.parameter("site_id", &mut faults),
        worker: request.parameter("worker_id", &mut faults),
        kind: request.parameter("kind", &mut faults),
        status: request.parameter("status", &mut faults),
        due_before: request.parameter("due_before", &mut faults),
    };
    sound(faults)?;
    if question.as_known_on.is_none() {
        // Duties are facts that follow from facts: what was just recorded is followed up before anybody reads them.
        app.registry.settle().await?;
    }
    let (mut tx, as_of) = question.snapshot(&app).await?;
    if let Some(site) = asked.site {
        recording::read::<Site>(&mut tx, &request.caller, as_of, site.0).await?;
    }
    let (found, reply) = match part {
        Part::Stretch(stretch) => {
            let found = duty_list::most_urgent(&mut tx, &request.caller, as_of, &asked).await?;
            let (found, next) = stretch.cut(found)?;
            let items = found.iter().map(DutyView::to_json).collect();
            (found, Reply::page(&request, items, next))
        }
        Part::Page(page) => {
            let more = Page { limit: page.limit + 1, ..page };
            let mut found = duty_list::duties(&mut tx, &request.caller, as_of, &asked, more).await?;
            let items = found.iter().map(|duty| (duty.id.0, duty.to_json())).collect();
            // The one beyond the page is named to nobody.
            found.truncate(usize::try_from(page.limit).unwrap_or_default());
            (found, Reply::items(&request, page.limit, items))
        }
    };
    drop(tx);
    let workers: BTreeSet<WorkerId> = found.iter().filter_map(|duty| duty.subject.worker_id).collect();
    match asked.worker {
        Some(worker) => note_worker(&app, &request, as_of, worker).await?,
        None => note_bulk(&app, &request, as_of, "duties", workers).await?,
    }
    Ok(reply)
}

fn correction_of_an_action() -> Value {
    let mut schema = DutyActionDraft::schema();
    schema["properties"]["reason"] = json!({"type": "string", "description": "Why the record was wrong."});
    schema["required"] = json!(["reason"]);
    schema
}

async fn read_action(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    // Who may act is asked inside of a request that writes, and writes nothing.
    let mut change = app.registry.begin_plain(&request.caller).await?;
    let view = duty_correction::read(&mut change, id).await?;
    Ok(Reply::one(&request, view.revision, &view.to_json()))
}

async fn correct_action(app: App, request: Request) -> Result<Reply, Problem> {
    let (id, expected) = (request.id()?, request.expected()?);
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            Ok(Made::changed(duty_correction::correct(change, id, &expected, body).await?.to_json()))
        })
    })
    .await
}

async fn act(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let view = duties::act(change, id, body).await?;
            Ok(Made::new(&format!("/duties/{id}"), view.to_json()))
        })
    })
    .await
}
