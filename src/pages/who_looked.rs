//! Who looked at whom: at one worker, to tell him, and the whole log for those who oversee it.

use crate::access::policy::Action;
use crate::model::facts::worker::Worker;
use crate::model::identifiers::{AccountId, WorkerId};
use crate::pages::Pages;
use crate::pages::account_names::AccountNames;
use crate::pages::answer::Answer;
use crate::pages::frame::Frame;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::registry::access_log::{self, AccessLineView, LogQuestion, Named};
use crate::registry::recording;
use crate::store::versions::Page as Part;
use askama::Template;
use std::collections::BTreeSet;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![
        Page::get("/workers/{id}/access-log", Who::May(Action::ReadAccessOfWorkers), of_worker),
        Page::get("/access-log", Who::May(Action::ReadAccessLog), whole).in_menu("menu-access-log"),
    ]
}

/// How many lines stand on a page.
const TOGETHER: i64 = 100;

/// A line of the log.
struct Line {
    at: String,
    who: String,
    client: String,
    what: String,
    spanned: String,
    named: String,
    purpose: String,
}

#[derive(Template)]
#[template(path = "pages/who_looked.html")]
struct WhoLooked {
    frame: Frame,
    /// The worker's page; empty for the whole log.
    worker: String,
    lead: String,
    lines: Vec<Line>,
    next: String,
}

fn part(visit: &Visit) -> Part {
    Part { after: visit.query.given("after").and_then(|id| Uuid::parse_str(id).ok()), limit: TOGETHER }
}

/// The lines of the page, and after which one the next begins.
fn cut(mut found: Vec<AccessLineView>) -> (Vec<AccessLineView>, Option<Uuid>) {
    let most = usize::try_from(TOGETHER).unwrap_or_default();
    let more = found.len() > most;
    found.truncate(most);
    let next = found.last().filter(|_| more).map(|line| line.id);
    (found, next)
}

async fn of_worker(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let (found, next) = cut(access_log::about(&mut tx, &caller, as_of, id, part(&visit)).await?);
    let worker = recording::read::<Worker>(&mut tx, &caller, as_of, id).await?;
    let accounts: BTreeSet<AccountId> = found.iter().map(|line| line.account_id).collect();
    let accounts = AccountNames::of(&mut tx, &caller, as_of, accounts).await?;
    drop(tx);
    reading::note_worker(&pages, &visit, as_of, WorkerId(id)).await?;
    let name = format!("{} {}", worker.fact.given_name, worker.fact.family_name);
    Answer::page(&WhoLooked {
        worker: format!("/workers/{id}"),
        lead: texts.with("looked-lead-worker", &[("who", &name)]),
        lines: found.into_iter().map(|line| told_line(texts, &accounts, line)).collect(),
        next: next.map(|next| format!("/workers/{id}/access-log?after={next}")).unwrap_or_default(),
        frame: Frame::titled(&pages, &visit, texts.with("looked-title-worker", &[("who", &name)])),
    })
}

async fn whole(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let (found, next) = cut(access_log::whole(&mut tx, &caller, LogQuestion::default(), part(&visit)).await?);
    let accounts: BTreeSet<AccountId> = found.iter().map(|line| line.account_id).collect();
    let accounts = AccountNames::of(&mut tx, &caller, as_of, accounts).await?;
    drop(tx);
    // Workers stand here by no identifier and no name, so that this page is no look at any of them.
    Answer::page(&WhoLooked {
        worker: String::new(),
        lead: texts.t("looked-lead-all"),
        lines: found.into_iter().map(|line| told_line(texts, &accounts, line)).collect(),
        next: next.map(|next| format!("/access-log?after={next}")).unwrap_or_default(),
        frame: Frame::of(&pages, &visit, "looked-title-all"),
    })
}

fn told_line(texts: &Texts, accounts: &AccountNames, line: AccessLineView) -> Line {
    let workers = usize::try_from(line.workers).unwrap_or_default();
    // A scope is a word and an identifier; people are told the word.
    let word = |scope: &String| {
        told::words(
            scope.split(' ').take_while(|part| part.len() < 36).collect::<Vec<_>>().join(" ").as_str(),
        )
    };
    Line {
        at: told::instant(line.at),
        who: accounts.told(texts, line.account_id),
        client: line.client.unwrap_or_default(),
        what: line.request,
        spanned: match (&line.scope, line.worker_id) {
            (Some(scope), None) => texts.with_number("looked-several", workers, &[("what", &word(scope))]),
            _ => texts.t("looked-one"),
        },
        named: match line.named {
            Some(Named::ByName) => texts.t("looked-by-name"),
            Some(Named::InBulk) => texts.t("looked-in-bulk"),
            None => String::new(),
        },
        purpose: match (line.purpose, line.purpose_stated) {
            (Some(purpose), _) => purpose,
            (None, true) => texts.t("looked-purpose-kept"),
            (None, false) => String::new(),
        },
    }
}
