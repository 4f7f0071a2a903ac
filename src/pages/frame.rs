//! What surrounds every page: title, menu, who is signed in, where one stands in time, and the texts.

use crate::access::caller::Caller;
use crate::pages::Pages;
use crate::pages::assets;
use crate::pages::cross_site;
use crate::pages::form::Wrong;
use crate::pages::moment::Fix;
use crate::pages::settings::PageSettings;
use crate::pages::table::{Who, pages};
use crate::pages::texts::{self, Texts};
use crate::pages::visit::Visit;
use std::borrow::Borrow;

/// An entry of the menu.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Where it leads.
    pub address: &'static str,
    /// What it says.
    pub label: String,
    /// Whether this page is there, or below.
    pub current: bool,
}

/// What surrounds a page. Every template of a page has one, under the name `frame`.
#[derive(Debug, Clone)]
pub struct Frame {
    texts: &'static Texts,
    /// The title, as the browser shows it.
    pub title: String,
    /// Who is signed in: address and roles.
    pub who: Option<String>,
    /// The menu.
    pub menu: Vec<Entry>,
    /// The token of the session's forms; empty where nobody is signed in.
    pub token: String,
    /// Where one stands in time.
    pub fix: Option<Fix>,
    /// What was just done, told once.
    pub said: Option<String>,
    /// Whether whoever is signed in may search.
    pub may_search: bool,
    /// Whether this is the demonstration.
    pub demonstration: bool,
    /// Whether whoever looks has signed in whole.
    pub whole: bool,
}

impl Frame {
    /// The frame of a page whose title is this text.
    pub fn of(pages: &Pages, visit: &Visit, title: &str) -> Self {
        Self::titled(pages, visit, Texts::of(visit).t(title))
    }

    /// The frame of a page with a title that is put together: the name of a group, say.
    pub fn titled(pages: &Pages, visit: &Visit, title: String) -> Self {
        let texts = Texts::of(visit);
        let whole = visit.session.as_ref().is_some_and(|session| session.whole);
        let caller = visit.caller();
        let who = visit
            .session
            .as_ref()
            .map(|session| format!("{}, {}", session.email, roles(texts, &session.caller)));
        let said = visit.query.given("said").and_then(|key| texts.said(key));
        Self {
            texts,
            title,
            who,
            menu: if whole { menu(texts, &caller, &visit.path) } else { Vec::new() },
            token: visit.secret.as_deref().map(cross_site::token).unwrap_or_default(),
            fix: None,
            said,
            may_search: whole && caller.may(crate::access::policy::Action::ReadGroups).is_ok(),
            demonstration: pages.settings.demonstration,
            whole,
        }
    }

    /// The frame of an answer that no page was reached for.
    pub(crate) fn bare(settings: Option<&PageSettings>, title: String) -> Self {
        Self {
            texts: texts::english(),
            title,
            who: None,
            menu: Vec::new(),
            token: String::new(),
            fix: None,
            said: None,
            may_search: false,
            demonstration: settings.is_some_and(|settings| settings.demonstration),
            whole: false,
        }
    }

    /// The same, with where one stands in time.
    #[must_use]
    pub fn at(mut self, fix: Fix) -> Self {
        self.fix = Some(fix);
        self
    }

    /// The language of the texts.
    pub fn language(&self) -> &'static str {
        self.texts.language()
    }

    /// A text.
    pub fn t(&self, key: &str) -> String {
        self.texts.t(key)
    }

    /// A text about a number of things: the number decides on its form.
    pub fn n(&self, key: &str, number: impl Borrow<usize>) -> String {
        self.texts.n(key, *number.borrow())
    }

    /// A text with one thing put in.
    pub fn w(&self, key: &str, what: &str) -> String {
        self.texts.with(key, &[("what", what)])
    }

    /// A text with several things put in.
    pub fn with(&self, key: &str, what: &[(&str, &str)]) -> String {
        self.texts.with(key, what)
    }

    /// A word of the API as people read it: `duty-kind` and `written_plan` are the text `duty-kind-written-plan`.
    pub fn word(&self, family: &str, word: &str) -> String {
        self.texts.word(family, word)
    }

    /// A number of worker-days.
    pub fn days(&self, days: &i64) -> String {
        self.texts.n("parts-days", usize::try_from(*days).unwrap_or_default())
    }

    /// The number of worker-days that a share is one of.
    pub fn of_days(&self, days: impl Borrow<i64>) -> String {
        self.texts.n("parts-of-days", usize::try_from(*days.borrow()).unwrap_or_default())
    }

    /// The style sheet.
    pub fn style(&self) -> &'static str {
        assets::style()
    }

    /// The typeface, which is asked for early.
    pub fn face(&self) -> &'static str {
        assets::face()
    }

    /// The icon.
    pub fn icon(&self) -> &'static str {
        assets::icon()
    }

    /// The small script of the pages.
    pub fn script(&self) -> &'static str {
        assets::script()
    }

    /// The menu, if there is one.
    pub fn has_menu(&self) -> bool {
        !self.menu.is_empty()
    }
}

/// A field of a form as its template draws it: what was typed, and what is wrong with it.
#[derive(Debug, Clone, Default)]
pub struct Field {
    /// What was typed.
    pub value: String,
    /// What is wrong.
    pub wrong: String,
}

impl Field {
    /// The field of a form that was sent and has faults, or is shown for the first time.
    pub fn of(visit: &Visit, wrong: &Wrong, name: &str) -> Self {
        Self { value: visit.form.raw(name).to_owned(), wrong: wrong.at(name).to_owned() }
    }

    /// Whether nothing is wrong.
    pub fn is_right(&self) -> bool {
        self.wrong.is_empty()
    }
}

/// A choice of a list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// What is sent.
    pub value: String,
    /// What it says.
    pub label: String,
    /// Whether it is chosen.
    pub chosen: bool,
}

impl Choice {
    /// A choice; chosen where it is what was asked for.
    pub fn new(value: impl Into<String>, label: impl Into<String>, asked: &str) -> Self {
        let value = value.into();
        Self { chosen: value == asked, value, label: label.into() }
    }
}

/// The roles of somebody in words.
fn roles(texts: &Texts, caller: &Caller) -> String {
    let told: Vec<String> = caller
        .grants
        .iter()
        .map(|grant| {
            let role = texts.word("role", grant.role.as_str());
            match grant.site_ids.as_ref().map(Vec::len) {
                None => texts.with("role-on-all-sites", &[("what", &role)]),
                Some(sites) => texts.with_number("role-on-sites", sites, &[("what", &role)]),
            }
        })
        .collect();
    told.join("; ")
}

fn menu(texts: &Texts, caller: &Caller, path: &str) -> Vec<Entry> {
    let may = |who: Who| match who {
        Who::Anybody | Who::SignedIn => true,
        Who::HalfSignedIn => false,
        Who::May(action) => caller.may(action).is_ok(),
    };
    pages()
        .iter()
        .filter_map(|page| page.menu.map(|key| (page, key)))
        .filter(|(page, _)| may(page.who))
        .map(|(page, key)| Entry {
            address: page.path,
            label: texts.t(key),
            current: path == page.path
                || (page.path != "/"
                    && path.strip_prefix(page.path).is_some_and(|rest| rest.starts_with('/'))),
        })
        .collect()
}
