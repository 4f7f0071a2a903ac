//! Searching from anywhere: workers by name or number, samples by number, sites and groups by code or name. What is looked
//! for is sent as a form, so that no name stands in an address.

use crate::access::policy::Action;
use crate::model::facts::group::Group;
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::frame::Frame;
use crate::pages::moment::Moment;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::registry::find_workers;
use crate::store::tables::Key;
use crate::store::versions::{self, Page as Part, Where};
use askama::Template;
use serde_json::json;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::post("/find", Who::May(Action::ReadGroups), find)]
}

/// The most of a kind that are listed.
const SHOWN: i64 = 25;

/// Something that was found.
struct Found {
    what: String,
    more: String,
    address: String,
}

/// What was found of one kind.
struct Kind {
    head: String,
    found: Vec<Found>,
    /// Whether there are more than are listed.
    more: bool,
}

#[derive(Template)]
#[template(path = "pages/find.html")]
struct FindPage {
    frame: Frame,
    text: String,
    kinds: Vec<Kind>,
}

async fn find(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let text = visit.form.text("text").to_owned();
    let mut kinds = Vec::new();
    let mut named = 0;
    let mut moment = Moment::of(&pages, &visit).await?;
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    if !text.is_empty() {
        let names = Names::of(tx, &caller, as_of).await?;
        let part = Part { after: None, limit: SHOWN };
        if caller.may(Action::ReadWorkers).is_ok() {
            let found = find_workers::search(tx, &caller, as_of, &json!({"text": text}), part).await?;
            let workers = found.iter().map(|(id, view)| worker(*id, view)).collect();
            kinds.push(kind(texts.t("find-workers"), workers));
            named = found.len();
        }
        if let Ok(scope) = caller.may(Action::ReadSamples) {
            let number = [Where::Is("number", Key::Text(Some(text.clone())))];
            let samples = versions::list::<Sample>(tx, &scope, as_of, &number, Some(part)).await?;
            let sample = |sample: &crate::model::version::Version<Sample>| Found {
                what: sample.fact.number.to_string(),
                more: format!(
                    "{}, {}, {}",
                    sample.site.and_then(|site| names.site(site)).unwrap_or_default(),
                    told::day(sample.fact.shift_date),
                    told::words(sample.fact.position.as_str())
                ),
                address: format!("/samples/{}", sample.id),
            };
            kinds.push(kind(texts.t("find-samples"), samples.iter().map(sample).collect()));
            let reference = [Where::Is("reference", Key::Text(Some(text.clone())))];
            let events = versions::list::<SamplingEvent>(tx, &scope, as_of, &reference, Some(part)).await?;
            let event = |event: &crate::model::version::Version<SamplingEvent>| Found {
                what: event.fact.reference.to_string(),
                more: event.site.and_then(|site| names.site(site)).unwrap_or_default().to_owned(),
                address: format!("/sampling-events/{}", event.id),
            };
            kinds.push(kind(texts.t("find-events"), events.iter().map(event).collect()));
        }
        let folded = text.to_lowercase();
        let holds = |one: &str| one.to_lowercase().contains(&folded);
        if let Ok(scope) = caller.may(Action::ReadGroups) {
            let groups = versions::list::<Group>(tx, &scope, as_of, &[Where::Standing], None).await?;
            let found = groups
                .iter()
                .filter(|group| holds(group.fact.title.as_str()) || holds(group.fact.code.as_str()))
                .map(|group| Found {
                    what: group.fact.title.to_string(),
                    more: format!(
                        "{}, {}",
                        group.fact.code,
                        group.site.and_then(|site| names.site(site)).unwrap_or_default()
                    ),
                    address: format!("/groups/{}", group.id),
                });
            kinds.push(kind(texts.t("find-groups"), found.collect()));
            let sites = names.sites().into_iter().filter(|(id, name)| {
                scope.sites.holds(*id) && (holds(name) || names.site_code(*id).is_some_and(holds))
            });
            let found = sites.map(|(id, name)| Found {
                what: name.to_owned(),
                more: names.site_code(id).unwrap_or_default().to_owned(),
                address: format!("/sites/{id}"),
            });
            kinds.push(kind(texts.t("find-sites"), found.collect()));
        }
    }
    reading::note_bulk(&pages, &visit, as_of, "search", named).await?;
    kinds.retain(|kind| !kind.found.is_empty());
    Answer::page(&FindPage { frame: Frame::of(&pages, &visit, "find-title"), text, kinds })
}

fn kind(head: String, mut found: Vec<Found>) -> Kind {
    let most = usize::try_from(SHOWN).unwrap_or_default();
    let more = found.len() > most;
    found.truncate(most);
    Kind { head, found, more }
}

fn worker(id: uuid::Uuid, view: &serde_json::Value) -> Found {
    let text = |field: &str| view[field].as_str().unwrap_or_default();
    let employments = view["employments"].as_array().into_iter().flatten().map(|one| {
        let told = |field: &str| one[field].as_str().unwrap_or_default();
        format!("{}, {}", told("employee_number"), told("employer"))
    });
    Found {
        what: format!("{} {}", text("given_name"), text("family_name")),
        more: employments.collect::<Vec<_>>().join("; "),
        address: format!("/workers/{id}"),
    }
}
