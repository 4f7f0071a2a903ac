//! The one table of pages: router, menu and the tests that walk every page all come from it.

use crate::access::policy::Action;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::stopped::Stopped;
use crate::pages::visit::Visit;
use axum::http::Method;
use std::future::Future;
use std::pin::Pin;
use std::sync::LazyLock;

/// The most bytes of a form.
pub const FORM_MOST: usize = 2 << 20;
/// The most bytes of a form with a file.
pub const FILE_MOST: usize = 11 << 20;

type Answering = Pin<Box<dyn Future<Output = Result<Answer, Stopped>> + Send>>;
type Handler = Box<dyn Fn(Pages, Visit) -> Answering + Send + Sync>;

/// Who may open a page.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Who {
    /// Anybody.
    Anybody,
    /// Whoever has begun to sign in: a second factor is asked for still, or set up.
    HalfSignedIn,
    /// Whoever is signed in.
    SignedIn,
    /// Whoever the policy lets do this.
    May(Action),
}

/// One page, or one form that is sent.
pub struct Page {
    /// `GET` to look, `POST` to do.
    pub method: Method,
    /// The whole path, its parameters in braces.
    pub path: &'static str,
    /// Who may open it.
    pub who: Who,
    /// Its entry in the menu, as a key of the texts.
    pub menu: Option<&'static str>,
    /// The most bytes of what is sent.
    pub body_most: usize,
    pub(crate) handler: Handler,
}

impl std::fmt::Debug for Page {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.method, self.path)
    }
}

impl Page {
    fn new<H, A>(method: Method, path: &'static str, who: Who, handler: H) -> Self
    where
        H: Fn(Pages, Visit) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Answer, Stopped>> + Send + 'static,
    {
        let handler: Handler = Box::new(move |pages, visit| Box::pin(handler(pages, visit)));
        Self { method, path, who, menu: None, body_most: FORM_MOST, handler }
    }

    /// A page to look at: it changes nothing.
    pub fn get<H, A>(path: &'static str, who: Who, handler: H) -> Self
    where
        H: Fn(Pages, Visit) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Answer, Stopped>> + Send + 'static,
    {
        Self::new(Method::GET, path, who, handler)
    }

    /// A form that is sent, from a page of ours alone.
    pub fn post<H, A>(path: &'static str, who: Who, handler: H) -> Self
    where
        H: Fn(Pages, Visit) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Answer, Stopped>> + Send + 'static,
    {
        Self::new(Method::POST, path, who, handler)
    }

    /// Stands in the menu of whoever may open it.
    #[must_use]
    pub fn in_menu(mut self, key: &'static str) -> Self {
        self.menu = Some(key);
        self
    }

    /// Takes a file.
    #[must_use]
    pub fn takes_file(mut self) -> Self {
        self.body_most = FILE_MOST;
        self
    }
}

/// Every page.
pub fn pages() -> &'static [Page] {
    static PAGES: LazyLock<Vec<Page>> = LazyLock::new(crate::pages::all_pages);
    &PAGES
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn no_page_stands_twice_and_only_pages_to_look_at_stand_in_the_menu() {
        let mut seen = BTreeSet::new();
        for page in pages() {
            assert!(seen.insert((page.method.to_string(), page.path)), "{page:?} stands twice");
            assert!(
                page.menu.is_none() || (page.method == Method::GET && !page.path.contains('{')),
                "{page:?}"
            );
        }
    }

    #[test]
    fn without_signing_in_only_the_way_in_is_open() {
        let open: Vec<&str> =
            pages().iter().filter(|page| page.who == Who::Anybody).map(|page| page.path).collect();
        assert_eq!(open, ["/sign-in", "/sign-in", "/enter/{code}", "/enter/{code}", "/assets/{name}"]);
    }
}
