//! Entering a sampling event: one row a sample, kept as a draft while it is typed.

use crate::access::policy::Action;
use crate::model::facts::site::Site;
use crate::model::identifiers::SiteId;
use crate::model::shape::{Faults, parse_date};
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::assets;
use crate::pages::entry_form::{ROWS_MOST, Typed};
use crate::pages::entry_known::{Known, Offer};
use crate::pages::entry_reading::{self, Reading};
use crate::pages::entry_shown::{self, Cells, FaultLine, RowShown};
use crate::pages::form::Wrong;
use crate::pages::frame::{Choice, Frame};
use crate::pages::moment::Moment;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::pages::writing_once::write_once;
use crate::registry::drafts::{self, DraftOf};
use crate::registry::facts::sampling;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use askama::Template;
use axum::body::Body;
use axum::http::StatusCode;
use chrono::{DateTime, Utc};
use std::collections::BTreeMap;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let records = Who::May(Action::RecordSamples);
    vec![
        Page::get("/sites/{id}/sampling-events/new", records, show),
        Page::post("/sites/{id}/sampling-events/new", records, send),
        Page::post("/sites/{id}/sampling-events/draft", records, keep),
        Page::get("/sites/{id}/field-sheet", records, sheet),
    ]
}

/// How many rows are added at once.
const MORE_ROWS: usize = 4;

#[derive(Template)]
#[template(path = "pages/event_entry.html")]
struct EntryPage {
    frame: Frame,
    script: &'static str,
    site: Uuid,
    site_name: String,
    zone: String,
    /// What makes a second sending lead to what the first has made.
    key: String,
    /// When the draft was kept; empty where there is none.
    kept: String,
    lead: String,
    faults: Vec<FaultLine>,
    day: Cells,
    purposes: Vec<Choice>,
    rows: Vec<RowShown>,
    columns: Vec<Choice>,
    tasks: Vec<Offer>,
    controls: Vec<Offer>,
    groups: Vec<Offer>,
    workers: Vec<Offer>,
    agents: Vec<Offer>,
    expected: String,
    pasted: String,
    may_add: bool,
}

fn offers(by_code: &BTreeMap<String, (Uuid, String)>) -> Vec<Offer> {
    by_code.iter().map(|(code, (_, title))| Offer { code: code.clone(), title: title.clone() }).collect()
}

/// What is shown beside what was typed.
#[derive(Default)]
struct Beside {
    faults: Option<Faults>,
    kept_at: Option<DateTime<Utc>>,
    key: String,
    column: String,
    pasted: String,
    /// Whether what cannot be read is told: not while somebody only adds a row.
    checked: bool,
}

async fn known(pages: &Pages, visit: &Visit, site: Uuid, typed: &Typed) -> Result<(Known, Moment), Stopped> {
    let mut moment = Moment::of(pages, visit).await?;
    let day = typed.day.given("shift_date").and_then(parse_date);
    let numbers = entry_reading::numbers(typed);
    let as_of = moment.as_of;
    let known = Known::of(&mut moment.tx, &visit.caller(), as_of, (site, day), numbers).await?;
    Ok((known, moment))
}

async fn page(
    pages: &Pages,
    visit: &Visit,
    typed: &Typed,
    (known, as_of): (&Known, crate::store::versions::AsOf),
    beside: Beside,
) -> Result<EntryPage, Stopped> {
    let texts = Texts::of(visit);
    reading::note_bulk(pages, visit, as_of, "event entry", known.workers_named()).await?;
    let mut read = entry_reading::read(typed, known, texts);
    if let Some(faults) = &beside.faults {
        read.take(faults, typed);
    }
    let wrong = if beside.checked { read.wrong.clone() } else { Wrong::default() };
    let faults = entry_shown::faults(&wrong, typed, texts);
    let expected: Vec<&str> = known.expected.iter().map(String::as_str).collect();
    let key = if beside.key.is_empty() {
        pages.registry.ids.id(pages.registry.clock.now()).to_string()
    } else {
        beside.key
    };
    Ok(EntryPage {
        frame: Frame::of(pages, visit, "entry-title"),
        script: assets::entry_script(),
        site: known.site.id,
        site_name: known.site.fact.name.to_string(),
        zone: known.site.fact.time_zone.0.name().to_owned(),
        key,
        kept: beside.kept_at.map(told::instant).unwrap_or_default(),
        lead: lead(texts, read.rows.len(), faults.len()),
        day: entry_shown::day(typed, &wrong, texts),
        purposes: entry_shown::purposes(typed, texts),
        rows: entry_shown::rows(typed, &read.worked_out, &wrong, texts),
        columns: entry_shown::columns(texts, &beside.column),
        tasks: offers(&known.tasks),
        controls: offers(&known.controls),
        groups: offers(&known.groups),
        workers: known.workers.clone(),
        agents: known.agents_offered(),
        expected: expected.join(", "),
        pasted: beside.pasted,
        may_add: typed.rows.len() < ROWS_MOST,
        faults,
    })
}

fn lead(texts: &Texts, rows: usize, faults: usize) -> String {
    match (rows, faults) {
        (0, 0) => texts.t("entry-lead-empty"),
        (rows, 0) => format!("{} {}", texts.n("entry-lead-rows", rows), texts.t("entry-lead-no-faults")),
        (rows, faults) => {
            format!("{} {}", texts.n("entry-lead-rows", rows), texts.n("entry-lead-faults", faults))
        }
    }
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let site = visit.id_in_path()?;
    let draft = pages.registry.draft(&visit.caller(), SiteId(site), DraftOf::SamplingEvent).await?;
    let kept_at = draft.as_ref().map(|draft| draft.kept_at);
    let typed = draft.and_then(|draft| Typed::from_draft(&draft.body)).unwrap_or_default();
    let (known, moment) = known(&pages, &visit, site, &typed).await?;
    let as_of = moment.as_of;
    drop(moment);
    let beside = Beside { kept_at, ..Beside::default() };
    Answer::page(&page(&pages, &visit, &typed, (&known, as_of), beside).await?)
}

/// Keeps what was typed; an empty form is no draft.
async fn keep_draft(pages: &Pages, visit: &Visit, site: Uuid, typed: &Typed) -> Result<bool, Stopped> {
    let caller = visit.caller();
    if typed.is_blank() {
        pages.registry.drop_draft(&caller, SiteId(site), DraftOf::SamplingEvent).await?;
        return Ok(false);
    }
    pages.registry.keep_draft(&caller, SiteId(site), DraftOf::SamplingEvent, typed.to_draft()).await?;
    Ok(true)
}

/// Keeps the draft while somebody types; the small script asks for it.
async fn keep(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let site = visit.id_in_path()?;
    must_stand(&pages, &visit, site).await?;
    keep_draft(&pages, &visit, site, &Typed::of(&visit.form)).await?;
    Ok(Answer::file(StatusCode::NO_CONTENT, "text/plain; charset=utf-8", Body::empty()))
}

async fn must_stand(pages: &Pages, visit: &Visit, site: Uuid) -> Result<(), Stopped> {
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    recording::read::<Site>(&mut tx, &visit.caller(), as_of, site).await?;
    Ok(())
}

async fn send(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let site = visit.id_in_path()?;
    must_stand(&pages, &visit, site).await?;
    let mut typed = Typed::of(&visit.form);
    let mut beside = Beside {
        key: visit.form.text("key").chars().take(100).collect(),
        column: visit.form.text("column").to_owned(),
        ..Beside::default()
    };
    match visit.form.text("do") {
        "rows" => typed.add_rows(MORE_ROWS),
        "down" => typed.copy_down(visit.form.text("column")),
        "paste" => typed.paste(visit.form.raw("paste")),
        "discard" => {
            pages.registry.drop_draft(&visit.caller(), SiteId(site), DraftOf::SamplingEvent).await?;
            return Ok(Answer::see(&format!("/sites/{site}/sampling-events/new?said=draft-dropped")));
        }
        "draft" => {
            keep_draft(&pages, &visit, site, &typed).await?;
            return Ok(Answer::see(&format!("/sites/{site}/sampling-events/new?said=draft-kept")));
        }
        "store" => return store(&pages, &visit, site, typed, beside).await,
        _ => beside.checked = true,
    }
    let kept = keep_draft(&pages, &visit, site, &typed).await?;
    beside.kept_at = kept.then(|| pages.registry.clock.now());
    let (known, moment) = known(&pages, &visit, site, &typed).await?;
    let as_of = moment.as_of;
    drop(moment);
    Answer::page(&page(&pages, &visit, &typed, (&known, as_of), beside).await?)
}

async fn store(
    pages: &Pages,
    visit: &Visit,
    site: Uuid,
    typed: Typed,
    mut beside: Beside,
) -> Result<Answer, Stopped> {
    let (known, moment) = known(pages, visit, site, &typed).await?;
    let as_of = moment.as_of;
    drop(moment);
    let Reading { body, wrong, .. } = entry_reading::read(&typed, &known, Texts::of(visit));
    let unread = !wrong.is_empty();
    let sent = typed.to_draft();
    let done = write_once(pages, visit, (&beside.key, &sent), move |change| {
        Box::pin(async move {
            let (event, _) = sampling::record_event(change, site, &body).await?;
            if unread {
                // Something that was typed is not in it: the use case was asked for its faults alone.
                return Err(Faults::default().into());
            }
            drafts::sent(change, SiteId(site), DraftOf::SamplingEvent).await?;
            Ok(format!("/sampling-events/{}?said=event-stored", event.id))
        })
    })
    .await;
    let faults = match done {
        Ok(address) => return Ok(Answer::see(&address)),
        Err(Refusal::Conflict { detail, faults }) if faults.is_empty() => {
            let mut faults = Faults::default();
            faults.note("/reference", detail);
            faults
        }
        Err(Refusal::Faults(faults) | Refusal::Conflict { faults, .. }) => faults,
        Err(other) => {
            keep_draft(pages, visit, site, &typed).await?;
            return Err(other.into());
        }
    };
    keep_draft(pages, visit, site, &typed).await?;
    beside.faults = Some(faults);
    beside.checked = true;
    beside.kept_at = Some(pages.registry.clock.now());
    let page = page(pages, visit, &typed, (&known, as_of), beside).await?;
    Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page)
}

#[derive(Template)]
#[template(path = "pages/field_sheet.html")]
struct SheetPage {
    frame: Frame,
    site: Uuid,
    site_name: String,
    day: Vec<String>,
    rows: Vec<usize>,
    tasks: Vec<Offer>,
    controls: Vec<Offer>,
}

/// The form on paper: the same fields in the same order, empty.
async fn sheet(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let site = visit.id_in_path()?;
    let texts = Texts::of(&visit);
    let (known, moment) = known(&pages, &visit, site, &Typed::default()).await?;
    drop(moment);
    Answer::page(&SheetPage {
        frame: Frame::of(&pages, &visit, "sheet-title"),
        site,
        site_name: known.site.fact.name.to_string(),
        day: crate::pages::entry_form::DAY.iter().map(|field| texts.word("entry", field)).collect(),
        rows: (1..=crate::pages::entry_form::ROWS).collect(),
        tasks: offers(&known.tasks),
        controls: offers(&known.controls),
    })
}
