//! One entry of the journal: who recorded what, when and why, and what stood there before.

use crate::access::policy::Action;
use crate::model::identifiers::WorkerId;
use crate::pages::Pages;
use crate::pages::account_names::AccountNames;
use crate::pages::answer::Answer;
use crate::pages::frame::Frame;
use crate::pages::journal::what;
use crate::pages::names::Names;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::pages::working_told::value;
use crate::registry::journal::{self, JournalCursor, JournalEntryView, JournalQuestion};
use askama::Template;
use serde_json::{Map, Value};

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/journal/{place}", Who::May(Action::ReadJournal), show)]
}

/// The most versions of a fact that are looked through for the one before.
const VERSIONS_MOST: i64 = 500;

/// A field of the fact: what it held before and what it holds.
struct Field {
    name: String,
    before: String,
    now: String,
    changed: bool,
}

#[derive(Template)]
#[template(path = "pages/journal_entry.html")]
struct EntryPage {
    frame: Frame,
    position: String,
    at: String,
    who: String,
    site: String,
    reason: String,
    readable: bool,
    changes: bool,
    fields: Vec<Field>,
    earlier: String,
    all: String,
    chain: String,
    hashes: Vec<(String, String)>,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let place = JournalCursor::parse(visit.part("place")).ok_or_else(Stopped::unknown)?;
    if place.position < 1 || place.ordinal < 1 {
        return Err(Stopped::unknown());
    }
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let before = JournalCursor { position: place.position, ordinal: place.ordinal - 1 };
    let question = JournalQuestion { after: Some(before), limit: 1, ..JournalQuestion::default() };
    let page = journal::page(&mut tx, &caller, as_of, &question).await?;
    let is_it = |entry: &JournalEntryView| entry.position == place.position && entry.ordinal == place.ordinal;
    let entry = page.items.into_iter().next().filter(is_it).ok_or_else(Stopped::unknown)?;
    let of_fact = JournalQuestion {
        subject: Some(entry.subject_id),
        until: Some(place.position),
        limit: VERSIONS_MOST,
        ..JournalQuestion::default()
    };
    let versions = journal::page(&mut tx, &caller, as_of, &of_fact).await?;
    let earlier = versions
        .items
        .iter()
        .rfind(|one| (one.position, one.ordinal) < (place.position, place.ordinal) && one.kind == entry.kind);
    let names = Names::of(&mut tx, &caller, as_of).await?;
    let accounts = AccountNames::of(&mut tx, &caller, as_of, [entry.account_id].into()).await?;
    let mut workers = page.workers;
    workers.extend(versions.workers);
    let scope = format!("journal {}", entry.subject_id);
    let workers = workers.into_iter().map(WorkerId).collect();
    reading::note_spanning(&pages, &visit, as_of, scope, workers).await?;
    let image = entry.image.as_ref();
    let text = |field: &str| image.and_then(|image| image[field].as_str()).unwrap_or_default();
    Answer::page(&EntryPage {
        position: told::count(entry.position),
        at: told::instant(entry.at),
        who: match text("console_user") {
            "" => accounts.told(texts, entry.account_id),
            user => texts.with("journal-console-user", &[("who", user)]),
        },
        site: entry.site_id.and_then(|site| names.site(site)).unwrap_or_default().to_owned(),
        reason: match text("reason") {
            "" => text("voided").to_owned(),
            reason => reason.to_owned(),
        },
        readable: image.is_some(),
        changes: earlier.is_some_and(|earlier| earlier.image.is_some()),
        fields: fields(image, earlier.and_then(|earlier| earlier.image.as_ref())),
        earlier: earlier.map(|one| format!("/journal/{}.{}", one.position, one.ordinal)).unwrap_or_default(),
        all: format!("/journal?subject={}", entry.subject_id),
        chain: texts.with("journal-chain", &[("what", &entry.chain), ("entry", &told::count(entry.place))]),
        hashes: [
            ("journal-image-digest", &entry.image_digest),
            ("journal-entry-hash", &entry.entry_hash),
            ("journal-previous-hash", &entry.previous_hash),
        ]
        .map(|(key, hash)| (texts.t(key), hash.clone()))
        .to_vec(),
        frame: Frame::titled(&pages, &visit, what(texts, &entry)),
    })
}

/// The fields of a fact, those of the earlier version beside.
fn fields(now: Option<&Value>, before: Option<&Value>) -> Vec<Field> {
    let empty = Map::new();
    let of = |image: Option<&Value>| image.and_then(|image| image["fact"].as_object().cloned());
    let (now, before) = (of(now), of(before));
    let compares = before.is_some();
    let (now, before) = (now.as_ref().unwrap_or(&empty), before.as_ref().unwrap_or(&empty));
    let mut names: Vec<&String> = now.keys().collect();
    names.extend(before.keys().filter(|name| !now.contains_key(*name)));
    names
        .into_iter()
        .map(|name| {
            let told = |of: &Map<String, Value>| of.get(name).map(value).unwrap_or_default();
            Field {
                name: told::heading(&told::words(name)),
                before: told(before),
                now: told(now),
                changed: compares && now.get(name) != before.get(name),
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn fields_that_changed_came_or_went_are_told_with_both_values() {
        let before = json!({"fact": {"mass": {"value": "0.50", "unit": "ug"}, "note": "first", "kept": 1}});
        let now = json!({"fact": {"mass": {"value": "0.55", "unit": "ug"}, "kept": 1, "more": true}});
        let told: Vec<_> = fields(Some(&now), Some(&before))
            .into_iter()
            .map(|field| (field.name, field.before, field.now, field.changed))
            .collect();
        let of = |name: &str, before: &str, now: &str, changed| {
            (name.to_owned(), before.to_owned(), now.to_owned(), changed)
        };
        assert_eq!(told.len(), 4);
        assert!(told.contains(&of("Mass", "0.50 µg", "0.55 µg", true)), "{told:?}");
        assert!(told.contains(&of("Kept", "1", "1", false)));
        assert!(told.contains(&of("More", "", "yes", true)));
        assert!(told.contains(&of("Note", "first", "", true)));
        assert!(
            fields(Some(&now), None).iter().all(|field| !field.changed),
            "a first version changes nothing"
        );
    }
}
