//! A sampling event: its samples with what they say, and the acceptance of all of it at once.

use crate::access::policy::Action;
use crate::conclusions::asked::Asked;
use crate::model::facts::laboratory::ResultStatus;
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::shape::Shape as _;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::changes_told::{self, ChangeTold};
use crate::pages::corrections;
use crate::pages::entry_reading::change_told;
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
use crate::registry::facts::results::{self, Because};
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
    vec![
        Page::get("/sampling-events/{id}", Who::May(Action::ReadSamples), show),
        Page::post("/sampling-events/{id}/acceptance", Who::May(Action::Accept), accept),
        Page::post("/sampling-events/{id}/voiding", Who::May(Action::Void), void),
        Page::post("/sampling-events/{id}/voiding-withdrawal", Who::May(Action::Void), withdraw_voiding),
    ]
}

/// A result in the row of its sample.
struct Said {
    agent: String,
    value: String,
    submitted: bool,
    voided: bool,
    flags: String,
}

/// A sample in the table.
struct SampleRow {
    address: String,
    number: String,
    position: String,
    who: String,
    volume: String,
    change: String,
    results: Vec<Said>,
    awaited: bool,
    voided: bool,
    flags: String,
}

#[derive(Template)]
#[template(path = "pages/sampling_event.html")]
struct EventPage {
    frame: Frame,
    id: Uuid,
    site: String,
    site_name: String,
    lead: String,
    voided: String,
    facts: Vec<(String, String)>,
    rows: Vec<SampleRow>,
    waiting: usize,
    /// Where it is corrected; empty for whoever may not.
    correction: String,
    accepts: bool,
    voids: bool,
    records: bool,
    changes: Vec<ChangeTold>,
    reason: String,
    wrong: Wrong,
}

/// The agent of a result, of noise with the criterion.
fn agent_told(result: &Value, texts: &Texts, names: &Names) -> String {
    let agent = names.agent(result["agent_code"].as_str().unwrap_or_default());
    match result["criterion"].as_str() {
        Some(criterion) => format!("{agent} ({})", texts.word("criterion", criterion)),
        None => agent,
    }
}

fn row(view: &Value, sample: &Sample, (texts, names): (&Texts, &Names)) -> SampleRow {
    let said = view["results"].as_array().into_iter().flatten().filter(|result| {
        // What was replaced is on the page of the sample.
        result["stands"].as_bool().unwrap_or_default() || result["status"] == ResultStatus::Voided.as_str()
    });
    let words = |flags: &Value, without: &[&str]| {
        let words = flags.as_array().into_iter().flatten().filter_map(Value::as_str);
        words.filter(|word| !without.contains(word)).map(told::words).collect::<Vec<_>>().join(", ")
    };
    let results: Vec<Said> = said
        .map(|result| {
            let value = [&result["concentration"], &result["dose"]].map(result_told::quantity);
            Said {
                agent: agent_told(result, texts, names),
                value: value.into_iter().filter(|told| !told.is_empty()).collect::<Vec<_>>().join(", "),
                submitted: result["status"] == ResultStatus::Submitted.as_str(),
                voided: result["status"] == ResultStatus::Voided.as_str(),
                flags: words(&result["flags"], &["voided", "not_accepted", "changed_after_result"]),
            }
        })
        .collect();
    let has =
        |word: &str| view["flags"].as_array().is_some_and(|flags| flags.iter().any(|flag| flag == word));
    let label = sample.labels.as_ref().and_then(|labels| labels.worker_name.clone());
    SampleRow {
        address: format!("/samples/{}", view["id"].as_str().unwrap_or_default()),
        number: sample.number.to_string(),
        position: texts.word("position", sample.position.as_str()),
        who: label.or_else(|| sample.location.as_ref().map(ToString::to_string)).unwrap_or_default(),
        volume: result_told::quantity(&view["volume"]),
        change: view["flow_change_percent"].as_f64().map(change_told).unwrap_or_default(),
        awaited: has("result_awaited") || (results.is_empty() && !sample.is_blank()),
        voided: has("voided"),
        flags: words(&view["flags"], &["voided", "result_awaited", "changed_after_result"]),
        results,
    }
}

async fn page(pages: &Pages, visit: &Visit, wrong: Wrong) -> Result<EventPage, Stopped> {
    let id = visit.id_in_path()?;
    let (caller, texts) = (visit.caller(), Texts::of(visit));
    let mut moment = Moment::of(pages, visit).await?;
    let is_now = moment.is_now();
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let event = recording::read::<SamplingEvent>(tx, &caller, as_of, id).await?;
    let mut found = gather::many::<Sample>(tx, as_of, &[id], Where::Parents).await?;
    found.sort_by(|one, other| one.fact.number.cmp(&other.fact.number));
    let facts_of: Vec<Sample> = found.iter().map(|sample| sample.fact.clone()).collect();
    let workers: BTreeSet<Uuid> =
        facts_of.iter().filter_map(|sample| sample.worker_id).map(|id| id.0).collect();
    let views = samples::views(tx, as_of, found, Asked::default()).await?;
    let names = Names::of(tx, &caller, as_of).await?;
    let rows: Vec<SampleRow> =
        views.iter().zip(&facts_of).map(|(view, sample)| row(view, sample, (texts, &names))).collect();
    let changes = changes_told::changes(tx, &caller, as_of, id, texts).await?;
    reading::note_bulk(pages, visit, as_of, "event", workers.len()).await?;
    let waiting = rows.iter().flat_map(|row| &row.results).filter(|result| result.submitted).count();
    let awaited = rows.iter().filter(|row| row.awaited && !row.voided).count();
    let may = |action: Action| {
        caller.may(action).is_ok_and(|scope| event.site.is_none_or(|site| scope.sites.holds(site)))
    };
    let days: BTreeSet<chrono::NaiveDate> = facts_of.iter().map(|sample| sample.shift_date).collect();
    let days: Vec<String> = days.into_iter().map(told::day).collect();
    let purposes: Vec<String> =
        event.fact.purpose.iter().map(|one| texts.word("purpose", one.as_str())).collect();
    let mut facts = vec![
        (texts.t("fact-shift-date"), days.join(", ")),
        (texts.t("entry-sampled-by"), event.fact.sampled_by.to_string()),
        (texts.t("entry-purpose"), purposes.join(", ")),
        (texts.t("fact-shift-minutes"), format!("{} min", event.fact.shift_minutes)),
    ];
    if let Some(conditions) = &event.fact.conditions {
        facts.push((texts.t("fact-conditions"), conditions.to_string()));
    }
    Ok(EventPage {
        id,
        site: event.site.map(|site| site.to_string()).unwrap_or_default(),
        site_name: event.site.and_then(|site| names.site(site)).unwrap_or_default().to_owned(),
        lead: lead(texts, rows.len(), waiting, awaited),
        voided: event.voided.clone().unwrap_or_default(),
        facts,
        rows,
        waiting,
        correction: corrections::form(
            &caller,
            is_now && event.stands(),
            event.site,
            &format!("/sampling-events/{id}"),
        ),
        accepts: is_now && event.stands() && may(Action::Accept),
        voids: is_now && may(Action::Void),
        records: is_now && event.stands() && may(Action::RecordSamples),
        changes,
        reason: visit.form.text("reason").to_owned(),
        wrong,
        frame: Frame::titled(
            pages,
            visit,
            texts.with("event-title", &[("what", event.fact.reference.as_str())]),
        )
        .at(moment.fix),
    })
}

fn lead(texts: &Texts, samples: usize, waiting: usize, awaited: usize) -> String {
    let mut told = vec![texts.n("event-lead", samples)];
    if waiting > 0 {
        told.push(texts.n("event-lead-waiting", waiting));
    }
    if awaited > 0 {
        told.push(texts.n("event-lead-awaited", awaited));
    }
    told.join(" ")
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&page(&pages, &visit, Wrong::default()).await?)
}

async fn answered(
    pages: &Pages,
    visit: &Visit,
    done: Result<(), Refusal>,
    said: &str,
) -> Result<Answer, Stopped> {
    match done {
        Ok(()) => Ok(Answer::see(&format!("/sampling-events/{}?{said}", visit.id_in_path()?))),
        Err(Refusal::Faults(faults)) => {
            let page = page(pages, visit, Wrong::of(&faults)).await?;
            Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
        Err(other) => Err(other.into()),
    }
}

/// Accepts every result of the event that waits: all of them, or none.
async fn accept(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let sent = visit.form.given("reason").map_or_else(|| json!({}), |reason| json!({"reason": reason}));
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move {
            let (caller, as_of) = (change.caller.clone(), change.as_of());
            recording::read::<SamplingEvent>(&mut change.tx, &caller, as_of, id).await?;
            let found = gather::many::<Sample>(&mut change.tx, as_of, &[id], Where::Parents).await?;
            let standing = found.into_iter().filter(Version::stands);
            let mut accepted = 0;
            for sample in standing {
                match results::accept(change, sample.id, &sent).await {
                    Ok(()) => accepted += 1,
                    // Nothing of this sample waits.
                    Err(Refusal::Conflict { .. }) => {}
                    Err(other) => return Err(other),
                }
            }
            if accepted == 0 {
                return Err(Refusal::taken("no result of this event waits for acceptance"));
            }
            Ok(())
        })
    })
    .await;
    answered(&pages, &visit, done, "said=results-accepted").await
}

async fn void(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (id, sent) = (visit.id_in_path()?, json!({"reason": visit.form.text("reason")}));
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move {
            let reason = Because::parse(&sent)?.reason;
            recording::void::<SamplingEvent>(change, id, reason.as_str()).await.map(drop)
        })
    })
    .await;
    answered(&pages, &visit, done, "said=voided").await
}

async fn withdraw_voiding(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (id, sent) = (visit.id_in_path()?, json!({"reason": visit.form.text("reason")}));
    let done = write(&pages, &visit, move |change| {
        Box::pin(async move {
            let reason = Because::parse(&sent)?.reason;
            recording::withdraw_voiding::<SamplingEvent>(change, id, reason.as_str()).await.map(drop)
        })
    })
    .await;
    answered(&pages, &visit, done, "said=voiding-withdrawn").await
}
