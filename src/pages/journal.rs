//! The journal: every change in the order in which it was recorded, by site or by fact.

use crate::access::policy::Action;
use crate::model::identifiers::{AccountId, SiteId};
use crate::pages::Pages;
use crate::pages::account_names::AccountNames;
use crate::pages::answer::Answer;
use crate::pages::form::{Form, Wrong};
use crate::pages::frame::{Choice, Frame};
use crate::pages::names::Names;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::registry::journal::{self, JournalCursor, JournalEntryView, JournalPage, JournalQuestion};
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use askama::Template;
use std::collections::BTreeSet;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/journal", Who::May(Action::ReadJournal), list).in_menu("menu-journal")]
}

/// How many entries stand on a page.
const TOGETHER: i64 = 50;

/// An entry in the list.
struct Line {
    address: String,
    position: String,
    at: String,
    what: String,
    site: String,
    who: String,
}

#[derive(Template)]
#[template(path = "pages/journal.html")]
struct JournalList {
    frame: Frame,
    lead: String,
    sites: Vec<Choice>,
    kinds: Vec<Choice>,
    from: String,
    subject: String,
    wrong: Wrong,
    lines: Vec<Line>,
    earlier: String,
    later: String,
}

/// What the address asks for.
struct Asked {
    site: Option<SiteId>,
    subject: Option<Uuid>,
    kind: Option<&'static str>,
    from: Option<i64>,
}

fn asked(query: &Form, kinds: &[&'static str], texts: &Texts, wrong: &mut Wrong) -> Asked {
    let id = |name: &str| query.given(name).and_then(|id| Uuid::parse_str(id).ok());
    let from = query.given("from").and_then(|text| {
        let digits: String = text.chars().filter(|sign| !sign.is_whitespace()).collect();
        let from = digits.parse().ok().filter(|from| *from > 0);
        if from.is_none() {
            wrong.note("from", texts.t("journal-from-wrong"));
        }
        from
    });
    let kind = query.given("kind").and_then(|asked| kinds.iter().find(|kind| **kind == asked)).copied();
    Asked { site: id("site").map(SiteId), subject: id("subject"), kind, from }
}

async fn list(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(&visit));
    let mut wrong = Wrong::default();
    let known = journal::kinds(&caller);
    let asked = asked(&visit.query, &known, texts, &mut wrong);
    pages.registry.settle().await?;
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let (found, from) = found(&mut tx, &visit, as_of, &asked).await?;
    let names = Names::of(&mut tx, &caller, as_of).await?;
    let accounts: BTreeSet<AccountId> = found.items.iter().map(|entry| entry.account_id).collect();
    let accounts = AccountNames::of(&mut tx, &caller, as_of, accounts).await?;
    let chosen = visit.query.text("site");
    let sites = names.sites().into_iter().map(|(id, name)| Choice::new(id.to_string(), name, chosen));
    let chosen_kind = asked.kind.unwrap_or_default();
    let mut kinds: Vec<Choice> = known
        .into_iter()
        .map(|kind| Choice::new(kind, told::heading(&texts.word("fact-kind", kind)), chosen_kind))
        .collect();
    kinds.sort_by(|one, other| one.label.cmp(&other.label));
    let kept = visit.query.as_query(&["from", "said"]);
    let with_from = |from: i64| format!("/journal?{kept}&from={from}").replace("?&", "?");
    let first = found.items.first().map_or(from, |entry| entry.position);
    Answer::page(&JournalList {
        lead: texts.with("journal-lead", &[("entry", &told::count(as_of.position))]),
        sites: std::iter::once(Choice::new("", texts.t("every-site"), chosen)).chain(sites).collect(),
        kinds: std::iter::once(Choice::new("", texts.t("journal-every-kind"), chosen_kind))
            .chain(kinds)
            .collect(),
        from: visit.query.text("from").to_owned(),
        subject: asked.subject.map(|id| id.to_string()).unwrap_or_default(),
        wrong,
        lines: found.items.iter().rev().map(|entry| line(texts, &names, &accounts, entry)).collect(),
        earlier: if first > 1 && asked.subject.is_none() {
            with_from((first - TOGETHER).max(1))
        } else {
            String::new()
        },
        later: found.next.map(|next| with_from(next.position)).unwrap_or_default(),
        frame: Frame::of(&pages, &visit, "journal-title"),
    })
}

/// The page of entries that is asked for, and from which position on: of a fact all its entries, else the newest ones unless
/// a position is named.
async fn found(
    tx: &mut Tx,
    visit: &Visit,
    as_of: AsOf,
    asked: &Asked,
) -> Result<(JournalPage, i64), Stopped> {
    let caller = visit.caller();
    let question = |from: i64| JournalQuestion {
        site: asked.site,
        subject: asked.subject,
        kind: asked.kind,
        after: Some(JournalCursor { position: from - 1, ordinal: i64::MAX }),
        until: Some(as_of.position),
        limit: TOGETHER,
    };
    if let Some(from) = asked.from.or(asked.subject.map(|_| 1)) {
        return Ok((journal::page(tx, &caller, as_of, &question(from)).await?, from));
    }
    // A site of which nothing is new is looked for further and further back.
    let mut back = TOGETHER;
    loop {
        let from = (as_of.position - back + 1).max(1);
        let page = journal::page(tx, &caller, as_of, &question(from)).await?;
        if !page.items.is_empty() || from == 1 {
            return Ok((page, from));
        }
        back = back.saturating_mul(10);
    }
}

fn line(texts: &Texts, names: &Names, accounts: &AccountNames, entry: &JournalEntryView) -> Line {
    Line {
        address: format!("/journal/{}.{}", entry.position, entry.ordinal),
        position: told::count(entry.position),
        at: told::instant(entry.at),
        what: what(texts, entry),
        site: entry.site_id.and_then(|site| names.site(site)).unwrap_or_default().to_owned(),
        who: accounts.told(texts, entry.account_id),
    }
}

/// What was done with which kind of fact.
pub fn what(texts: &Texts, entry: &JournalEntryView) -> String {
    let kind = told::heading(&texts.word("fact-kind", &entry.kind));
    let deed = texts.word("deed", &entry.deed.replace(' ', "_"));
    texts.with("journal-what", &[("what", &kind), ("who", &deed)])
}
