//! Duties: the list by what is asked for, one of them, and what was done about one or many.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::model::facts::duty::{DutyActionKind, DutyKind, DutyStatus};
use crate::model::facts::letter::Letter;
use crate::model::identifiers::SiteId;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::duty_entry::DutyEntry;
use crate::pages::form::{Form, Wrong};
use crate::pages::frame::{Choice, Frame};
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::pages::writing::write;
use crate::registry::duties;
use crate::registry::duty_list::{self, Question};
use crate::registry::duty_view::DutyView;
use crate::registry::refusal::Refusal;
use crate::registry::sign_in;
use crate::store::tables::Key;
use crate::store::versions::{self, Page as Part, Where};
use askama::Template;
use axum::http::StatusCode;
use chrono::{Days, NaiveDate};
use serde_json::json;
use std::collections::BTreeSet;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let (reads, acts) = (Who::May(Action::ReadDuties), Who::May(Action::ActOnDuties));
    vec![
        Page::get("/duties", reads, list).in_menu("menu-duties"),
        Page::post("/duties/actions", acts, act_on_several),
        Page::post("/duties/calendar", reads, calendar),
        Page::get("/duties/{id}", reads, show),
        Page::post("/duties/{id}", acts, act_on_one),
    ]
}

/// How many duties stand on a page.
const TOGETHER: usize = 50;
/// How many days ahead the first section of open duties reaches.
const AHEAD: u64 = 30;
/// The choice of whatever is to be done still, late or not; it is what is shown if nothing is chosen.
const TO_DO: &str = "to_do";

/// A section of the list: late, soon, later, done.
struct Section {
    head: String,
    note: String,
    duties: Vec<DutyEntry>,
}

#[derive(Template)]
#[template(path = "pages/duties.html")]
struct DutiesPage {
    frame: Frame,
    lead: String,
    sites: Vec<Choice>,
    kinds: Vec<Choice>,
    states: Vec<Choice>,
    due_before: String,
    wrong: Wrong,
    sections: Vec<Section>,
    /// The query of the next page; empty on the last.
    next: String,
    acts: bool,
    actions: Vec<Choice>,
    on: String,
    note: String,
    /// The choice as a query, kept over the form.
    asked: String,
}

/// What the address asks for.
struct Asked {
    question: Question,
    to_do: bool,
    wrong: Wrong,
}

fn asked(query: &Form, texts: &Texts) -> Asked {
    let mut wrong = Wrong::default();
    let state = query.given("status").unwrap_or(TO_DO);
    let due_before = query.given("due_before").and_then(|text| {
        let day: Option<NaiveDate> = text.parse().ok();
        if day.is_none() {
            wrong.note("due_before", texts.t("day-wrong"));
        }
        day
    });
    let question = Question {
        site: query.given("site").and_then(|id| Uuid::parse_str(id).ok()).map(SiteId),
        worker: None,
        kind: query.given("kind").and_then(DutyKind::from_word),
        status: DutyStatus::from_word(state),
        due_before,
    };
    Asked { question, to_do: state == TO_DO, wrong }
}

async fn list(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let query = visit.query.clone();
    Answer::page(&page(&pages, &visit, &query, Wrong::default()).await?)
}

async fn page(pages: &Pages, visit: &Visit, query: &Form, wrong: Wrong) -> Result<DutiesPage, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(visit));
    let mut asked = asked(query, texts);
    for (field, detail) in wrong.all() {
        asked.wrong.note(field, detail.clone());
    }
    let mut moment = Moment::of(pages, visit).await?;
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let mut found = duty_list::most_urgent(tx, &caller, as_of, &asked.question).await?;
    if asked.to_do {
        found.retain(|duty| matches!(duty.status, DutyStatus::Open | DutyStatus::Overdue));
    }
    let all = found.len();
    let late = found.iter().filter(|duty| duty.status == DutyStatus::Overdue).count();
    let before: usize = query.given("after").and_then(|text| text.parse().ok()).unwrap_or_default();
    let shown: Vec<DutyView> = found.into_iter().skip(before).take(TOGETHER).collect();
    let groups = shown.iter().filter_map(|duty| duty.subject.group_id).map(|id| id.0).collect();
    let workers = shown.iter().filter_map(|duty| duty.subject.worker_id).map(|id| id.0).collect();
    let names = Names::of(tx, &caller, as_of).await?;
    let names = names.and_groups(tx, &caller, as_of, groups).await?;
    let names = names.and_workers(tx, &caller, as_of, workers).await?;
    reading::note_bulk(pages, visit, as_of, "duties", names.workers_named()).await?;
    let kept = query.as_query(&["after", "said"]);
    let after = before + shown.len();
    let next =
        if after < all { format!("/duties?{kept}&after={after}").replace("?&", "?") } else { String::new() };
    let state = query.given("status").unwrap_or(TO_DO);
    let mut states = vec![Choice::new(TO_DO, texts.t("duties-to-do"), state)];
    states.extend(
        DutyStatus::ALL
            .iter()
            .map(|one| Choice::new(one.as_str(), texts.word("duty-status", one.as_str()), state)),
    );
    states.push(Choice::new("every", texts.t("duties-every-state"), state));
    let sections = sections((texts, &names, &caller), &shown, as_of.date);
    Ok(DutiesPage {
        lead: lead(texts, all, late, asked.to_do),
        sites: choices(&names, texts, query.text("site")),
        kinds: std::iter::once(Choice::new("", texts.t("duties-every-kind"), query.text("kind")))
            .chain(DutyKind::ALL.iter().map(|kind| {
                Choice::new(kind.as_str(), texts.word("duty-kind", kind.as_str()), query.text("kind"))
            }))
            .collect(),
        states,
        due_before: query.text("due_before").to_owned(),
        acts: moment.as_known_on.is_none()
            && sections.iter().any(|of| of.duties.iter().any(|duty| duty.answerable)),
        sections,
        next,
        actions: actions(texts, None, visit.form.text("action")),
        on: visit.form.given("on").map_or_else(|| as_of.date.to_string(), str::to_owned),
        note: visit.form.text("note").to_owned(),
        wrong: asked.wrong,
        asked: kept,
        frame: Frame::of(pages, visit, "duties-title").at(moment.fix),
    })
}

fn lead(texts: &Texts, all: usize, late: usize, to_do: bool) -> String {
    match (all, late) {
        (0, _) => texts.t(if to_do { "duties-none" } else { "duties-none-such" }),
        (all, 0) => texts.n("duties-found", all),
        (all, late) => format!("{} {}", texts.n("duties-found", all), texts.n("duties-late", late)),
    }
}

/// The sites in sight as a choice.
fn choices(names: &Names, texts: &Texts, asked: &str) -> Vec<Choice> {
    let every = Choice::new("", texts.t("every-site"), asked);
    let sites = names.sites();
    std::iter::once(every)
        .chain(sites.into_iter().map(|(id, name)| Choice::new(id.to_string(), name, asked)))
        .collect()
}

/// What may be recorded: of one kind of duty, or of any.
fn actions(texts: &Texts, kind: Option<DutyKind>, asked: &str) -> Vec<Choice> {
    DutyActionKind::ALL
        .iter()
        .filter(|action| kind.is_none_or(|kind| duties::fits(kind, **action)))
        .map(|action| Choice::new(action.as_str(), texts.word("duty-action", action.as_str()), asked))
        .collect()
}

fn sections(
    (texts, names, caller): (&Texts, &Names, &Caller),
    duties: &[DutyView],
    today: NaiveDate,
) -> Vec<Section> {
    let soon = today.checked_add_days(Days::new(AHEAD)).unwrap_or(NaiveDate::MAX);
    let place = |duty: &DutyView| match duty.status {
        DutyStatus::Overdue => 0,
        DutyStatus::Open if duty.due_on < today => 3,
        DutyStatus::Open if duty.due_on <= soon => 1,
        DutyStatus::Open => 2,
        _ => 4,
    };
    let heads = [
        ("duties-late-title", "duties-late-note"),
        ("duties-soon-title", "duties-soon-note"),
        ("duties-later-title", "duties-later-note"),
        ("duties-recommended-title", "duties-recommended-note"),
        ("duties-done-title", "duties-done-note"),
    ];
    let section = |(n, (head, note)): (usize, &(&str, &str))| {
        let of: Vec<DutyEntry> = duties
            .iter()
            .filter(|duty| place(duty) == n)
            .map(|duty| DutyEntry::of(texts, names, duty, today).answered_by(caller, duty.kind))
            .collect();
        Section { head: texts.t(head), note: texts.n(note, of.len()), duties: of }
    };
    heads.iter().enumerate().map(section).filter(|section| !section.duties.is_empty()).collect()
}

/// What was sent about duties, as the use case takes it.
fn body(form: &Form) -> serde_json::Value {
    let mut body = json!({"action": form.text("action"), "on": form.text("on")});
    if let Some(note) = form.given("note") {
        body["note"] = json!(note);
    }
    body
}

/// Records the same act on every duty that was chosen: on all of them, or on none.
async fn act_on_several(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let texts = Texts::of(&visit);
    let kept = visit.form.text("asked").to_owned();
    let query = Form::parse(kept.as_bytes()).unwrap_or_default();
    let chosen: BTreeSet<Uuid> = visit.form.all("duty").filter_map(|id| Uuid::parse_str(id).ok()).collect();
    if chosen.is_empty() {
        let wrong = Wrong::one("duty", texts.t("duties-none-chosen"));
        return Answer::page_with(
            StatusCode::UNPROCESSABLE_ENTITY,
            &page(&pages, &visit, &query, wrong).await?,
        );
    }
    let sent = body(&visit.form);
    let count = chosen.len();
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move {
            for duty in chosen {
                duties::act(change, duty, &sent).await?;
            }
            Ok(())
        })
    })
    .await;
    match done {
        Ok(()) => {
            let said = if count == 1 { "said=duty-recorded" } else { "said=duties-recorded" };
            Ok(Answer::see(&format!("/duties?{kept}&{said}").replace("?&", "?")))
        }
        Err(Refusal::Faults(faults)) => {
            let wrong = Wrong::of(&faults);
            Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page(&pages, &visit, &query, wrong).await?)
        }
        Err(Refusal::Forbidden) => {
            let wrong = Wrong::one("duty", texts.t("duties-not-yours"));
            Answer::page_with(StatusCode::FORBIDDEN, &page(&pages, &visit, &query, wrong).await?)
        }
        Err(other) => Err(other.into()),
    }
}

/// A letter as the page of a duty lists it.
struct LetterLine {
    address: String,
    what: String,
}

#[derive(Template)]
#[template(path = "pages/duty.html")]
struct DutyPage {
    frame: Frame,
    duty: DutyEntry,
    basis: String,
    learned: String,
    letters: Vec<LetterLine>,
    acts: bool,
    actions: Vec<Choice>,
    on: String,
    note: String,
    examination: bool,
    wrong: Wrong,
}

async fn one(pages: &Pages, visit: &Visit, wrong: Wrong) -> Result<DutyPage, Stopped> {
    let id = visit.id_in_path()?;
    let (caller, texts) = (visit.caller(), Texts::of(visit));
    let mut moment = Moment::of(pages, visit).await?;
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    // The first in sight that comes after its predecessor is this one, or it is not in sight.
    let part = Part { after: Some(Uuid::from_u128(id.as_u128().saturating_sub(1))), limit: 1 };
    let found = duty_list::duties(tx, &caller, as_of, &Question::default(), part).await?;
    let duty = found.into_iter().next().filter(|duty| duty.id.0 == id).ok_or_else(Stopped::unknown)?;
    let names = Names::of(tx, &caller, as_of).await?;
    let names = names
        .and_groups(tx, &caller, as_of, duty.subject.group_id.map(|id| id.0).into_iter().collect())
        .await?;
    let workers = duty.subject.worker_id.map(|id| id.0).into_iter().collect();
    let names = names.and_workers(tx, &caller, as_of, workers).await?;
    let mut letters = Vec::new();
    if let (DutyKind::NotifyResults, Some(worker), Ok(scope)) =
        (duty.kind, duty.subject.worker_id, caller.may(Action::ReadHistories))
    {
        let to_worker = [Where::Is("worker_id", Key::Id(Some(worker.0))), Where::Standing];
        for letter in versions::list::<Letter>(tx, &scope, as_of, &to_worker, None).await? {
            letters.push(LetterLine {
                address: format!("/letters/{}", letter.id),
                what: format!(
                    "{}, {}",
                    names.agent(letter.fact.agent_code.as_str()),
                    told::day(letter.fact.issued_on)
                ),
            });
        }
    }
    if let Some(worker) = duty.subject.worker_id {
        reading::note_worker(pages, visit, as_of, worker).await?;
    }
    let entry = DutyEntry::of(texts, &names, &duty, as_of.date).answered_by(&caller, duty.kind);
    let basis: Vec<String> = duty.basis.iter().flatten().map(|position| told::count(*position)).collect();
    Ok(DutyPage {
        basis: basis.join(", "),
        learned: duty.learned_on.map(told::day).unwrap_or_default(),
        letters,
        acts: moment.as_known_on.is_none() && entry.answerable,
        actions: actions(texts, Some(duty.kind), visit.form.text("action")),
        on: visit.form.given("on").map_or_else(|| as_of.date.to_string(), str::to_owned),
        note: visit.form.text("note").to_owned(),
        examination: crate::registry::duty_view::is_examination(duty.kind),
        wrong,
        frame: Frame::titled(pages, visit, entry.what.clone()).at(moment.fix),
        duty: entry,
    })
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&one(&pages, &visit, Wrong::default()).await?)
}

async fn act_on_one(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let duty = visit.id_in_path()?;
    let sent = body(&visit.form);
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move { duties::act(change, duty, &sent).await.map(drop) })
    })
    .await;
    match done {
        Ok(()) => Ok(Answer::see(&format!("/duties/{duty}?said=duty-recorded"))),
        Err(Refusal::Faults(faults)) => {
            let page = one(&pages, &visit, Wrong::of(&faults)).await?;
            Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
        Err(other) => Err(other.into()),
    }
}

#[derive(Template)]
#[template(path = "pages/calendar.html")]
struct CalendarPage {
    frame: Frame,
    address: String,
    until: String,
}

/// Makes the address of the calendar of whoever asks; it is shown this once.
async fn calendar(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (token, secret) =
        write(&pages, &visit, |change| Box::pin(sign_in::make_own_calendar(change))).await?;
    let here = visit.headers.get("host").and_then(|host| host.to_str().ok()).unwrap_or_default();
    let base = pages.settings.public_url.clone().unwrap_or_else(|| format!("http://{here}"));
    Answer::page(&CalendarPage {
        frame: Frame::of(&pages, &visit, "calendar-title"),
        address: format!("{base}/api/v1/calendars/{secret}/due-dates.ics"),
        until: told::day(token.fact.expires_on),
    })
}
