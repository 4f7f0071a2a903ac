//! A laboratory report as it is stored: its rows with what they say, and those that wait for their sample.

use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::model::facts::laboratory::{HeldRow, HeldRowStatus, LabReport, LabResult};
use crate::model::facts::sampling::Sample;
use crate::model::shape::Shape as _;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::changes_told::{self, ChangeTold};
use crate::pages::form::Wrong;
use crate::pages::frame::Frame;
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::result_told;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::pages::writing::write;
use crate::registry::conclude::samples;
use crate::registry::facts::held_rows;
use crate::registry::facts::results::Because;
use crate::registry::gather;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::store::versions::Where;
use askama::Template;
use axum::http::StatusCode;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let voids = Who::May(Action::Void);
    vec![
        Page::get("/lab-reports/{id}", Who::May(Action::ReadSamples), show),
        Page::post("/lab-reports/{id}/voiding", voids, void),
        Page::post("/held-rows/{id}/match", Who::May(Action::RecordSamples), match_row),
        Page::post("/held-rows/{id}/dismissal", voids, dismiss),
    ]
}

/// A result of the report.
struct ResultRow {
    address: String,
    number: String,
    agent: String,
    mass: String,
    value: String,
    status: String,
    submitted: bool,
    flags: String,
}

/// A row that waits, or waited, for its sample.
struct HeldShown {
    id: Uuid,
    number: String,
    agent: String,
    value: String,
    waits: bool,
    status: String,
    reason: String,
}

#[derive(Template)]
#[template(path = "pages/lab_report.html")]
struct ReportPage {
    frame: Frame,
    id: Uuid,
    site: String,
    site_name: String,
    lead: String,
    voided: String,
    facts: Vec<(String, String)>,
    changes: Vec<ChangeTold>,
    rows: Vec<ResultRow>,
    held: Vec<HeldShown>,
    records: bool,
    voids: bool,
    wrong: Wrong,
    /// The held row that a fault is about.
    about: String,
    typed: String,
}

fn rows(
    views: &[Value],
    found: &[Version<Sample>],
    results: &[Version<LabResult>],
    (texts, names): (&Texts, &Names),
) -> Vec<ResultRow> {
    results
        .iter()
        .map(|result| {
            let sample = found.iter().find(|sample| sample.id == result.fact.sample_id.0);
            let id = result.id.to_string();
            let said = views
                .iter()
                .filter_map(|view| view["results"].as_array())
                .flatten()
                .find(|said| said["id"] == id.as_str());
            let said = said.unwrap_or(&Value::Null);
            let words = said["flags"].as_array().into_iter().flatten().filter_map(Value::as_str);
            let status = said["status"].as_str().unwrap_or_default();
            ResultRow {
                address: format!("/samples/{}", result.fact.sample_id),
                number: sample.map(|sample| sample.fact.number.to_string()).unwrap_or_default(),
                agent: names.agent(result.fact.agent_code.as_str()),
                mass: result_told::quantity(&said["mass"]),
                value: result_told::quantity(&said["concentration"]),
                submitted: status == "submitted",
                status: texts.word("result-status", status),
                flags: words.filter(|word| *word != "voided").map(told::words).collect::<Vec<_>>().join(", "),
            }
        })
        .collect()
}

fn held_shown(held: &Version<HeldRow>, (texts, names): (&Texts, &Names)) -> HeldShown {
    let row = &held.fact.row;
    let value = row.mass.as_ref().or(row.concentration.as_ref());
    HeldShown {
        id: held.id,
        number: row.sample_number.to_string(),
        agent: names.agent(row.agent_code.as_str()),
        value: value.map(|value| result_told::quantity(&value.to_json())).unwrap_or_default(),
        waits: held.fact.status == HeldRowStatus::Waiting,
        status: texts.word("held", held.fact.status.as_str()),
        reason: held.fact.reason.as_ref().map(ToString::to_string).unwrap_or_default(),
    }
}

async fn page(
    pages: &Pages,
    visit: &Visit,
    id: Uuid,
    (about, wrong): (String, Wrong),
) -> Result<ReportPage, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(visit));
    let mut moment = Moment::of(pages, visit).await?;
    let is_now = moment.is_now();
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let report = recording::read::<LabReport>(tx, &caller, as_of, id).await?;
    let results = gather::many::<LabResult>(tx, as_of, &[id], Where::Parents).await?;
    let ids: Vec<Uuid> = results.iter().map(|result| result.fact.sample_id.0).collect();
    let found = gather::many::<Sample>(tx, as_of, &ids, Where::Ids).await?;
    let workers: BTreeSet<Uuid> =
        found.iter().filter_map(|sample| sample.fact.worker_id).map(|id| id.0).collect();
    let views = samples::views(tx, as_of, found.clone(), Asked::default()).await?;
    let names = Names::of(tx, &caller, as_of).await?;
    let held = held_rows::of_report(tx, as_of, id).await?;
    reading::note_bulk(pages, visit, as_of, "report", workers.len()).await?;
    let changes = changes_told::changes(tx, &caller, as_of, id, texts).await?;
    let may = |action: Action| {
        caller.may(action).is_ok_and(|scope| report.site.is_none_or(|site| scope.sites.holds(site)))
    };
    let fact = &report.fact;
    let mut facts = vec![
        (texts.t("lab-laboratory"), fact.laboratory.to_string()),
        (texts.t("lab-received-on"), told::day(fact.received_on)),
    ];
    let mut put =
        |key: &str, value: Option<String>| facts.extend(value.map(|value| (texts.word("lab", key), value)));
    put("part", fact.part.map(|part| part.to_string()));
    put("revision", fact.revision.map(|revision| revision.to_string()));
    put("accreditation", fact.accreditation.as_ref().map(ToString::to_string));
    let held: Vec<HeldShown> = held.iter().map(|held| held_shown(held, (texts, &names))).collect();
    let waiting = held.iter().filter(|held| held.waits).count();
    let rows = rows(&views, &found, &results, (texts, &names));
    let results_told = texts.n("report-lead", rows.len());
    Ok(ReportPage {
        id,
        site: report.site.map(|site| site.to_string()).unwrap_or_default(),
        site_name: report.site.and_then(|site| names.site(site)).unwrap_or_default().to_owned(),
        lead: if waiting == 0 {
            results_told
        } else {
            format!("{results_told} {}", texts.n("report-waiting", waiting))
        },
        voided: report.voided.clone().unwrap_or_default(),
        facts,
        changes,
        rows,
        held,
        records: is_now && report.stands() && may(Action::RecordSamples),
        voids: is_now && report.stands() && may(Action::Void),
        typed: visit.form.text("sample_number").to_owned(),
        about,
        wrong,
        frame: Frame::titled(
            pages,
            visit,
            texts.with("report-title", &[("what", fact.report_number.as_str())]),
        )
        .at(moment.fix),
    })
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    Answer::page(&page(&pages, &visit, id, (String::new(), Wrong::default())).await?)
}

async fn void(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (id, sent) = (visit.id_in_path()?, json!({"reason": visit.form.text("reason")}));
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move {
            let reason = Because::parse(&sent)?.reason;
            recording::void::<LabReport>(change, id, reason.as_str()).await.map(drop)
        })
    })
    .await;
    answered(&pages, &visit, id, done, "said=voided").await
}

/// The report in which a row came.
async fn report_of(pages: &Pages, visit: &Visit, held: Uuid) -> Result<Uuid, Stopped> {
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let held = recording::read::<HeldRow>(&mut tx, &visit.caller(), as_of, held).await?;
    held.parent.ok_or_else(Stopped::unknown)
}

async fn match_row(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let report = report_of(&pages, &visit, id).await?;
    let sent = json!({"sample_number": visit.form.text("sample_number")});
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move { held_rows::match_row(change, id, &sent).await.map(drop) })
    })
    .await;
    answered(&pages, &visit, report, done, "said=row-matched").await
}

async fn dismiss(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let report = report_of(&pages, &visit, id).await?;
    let sent = json!({"reason": visit.form.text("reason")});
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move { held_rows::dismiss(change, id, &sent).await.map(drop) })
    })
    .await;
    answered(&pages, &visit, report, done, "said=row-dismissed").await
}

async fn answered(
    pages: &Pages,
    visit: &Visit,
    report: Uuid,
    done: Result<(), Refusal>,
    said: &str,
) -> Result<Answer, Stopped> {
    let wrong = match done {
        Ok(()) => return Ok(Answer::see(&format!("/lab-reports/{report}?{said}"))),
        Err(Refusal::Faults(faults)) => Wrong::of(&faults),
        Err(Refusal::Conflict { detail, .. }) => Wrong::one("", detail),
        Err(other) => return Err(other.into()),
    };
    let about = visit.part("id").to_owned();
    let page = page(pages, visit, report, (about, wrong)).await?;
    Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page)
}
