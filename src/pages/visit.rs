//! A request as a page sees it: who asks, which thing, with which parameters and fields.

use crate::access::caller::Caller;
use crate::model::identifiers::AccountId;
use crate::pages::form::{Form, SentFile};
use crate::pages::stopped::Stopped;
use crate::registry::sessions::Session;
use axum::http::HeaderMap;
use std::net::IpAddr;
use uuid::Uuid;

/// A request whose sender, fields and right to the page have been looked at.
#[derive(Debug, Clone)]
pub struct Visit {
    /// Who is signed in.
    pub session: Option<Session>,
    /// The secret of the session, from which the token of its forms is made.
    pub(crate) secret: Option<String>,
    /// The page's path as the table has it.
    pub route: &'static str,
    /// The path as sent.
    pub path: String,
    /// The query as sent.
    pub raw_query: String,
    /// The parts of the path that the table names.
    pub parts: Vec<(String, String)>,
    /// The query, decoded.
    pub query: Form,
    /// The fields of the form that was sent, decoded.
    pub form: Form,
    /// The files that were sent with it.
    pub files: Vec<SentFile>,
    /// The headers.
    pub headers: HeaderMap,
    /// The number of this request, which the log knows.
    pub id: String,
    /// Where it came from.
    pub from: Option<IpAddr>,
}

impl Visit {
    /// Who asks; nobody where nobody is signed in.
    pub fn caller(&self) -> Caller {
        match &self.session {
            Some(session) => session.caller.clone(),
            None => Caller { account: AccountId(Uuid::nil()), grants: Vec::new(), console_user: None },
        }
    }

    /// The session; every page but those for anybody has one.
    ///
    /// # Errors
    /// Nobody is signed in.
    pub fn signed_in(&self) -> Result<&Session, Stopped> {
        self.session.as_ref().ok_or_else(Stopped::signed_out)
    }

    /// A named part of the path; empty if the page has no such part.
    pub fn part(&self, name: &str) -> &str {
        self.parts.iter().find(|(part, _)| part == name).map_or("", |(_, value)| value)
    }

    /// The identifier in the path.
    ///
    /// # Errors
    /// What is no identifier is the name of nothing.
    pub fn id_in_path(&self) -> Result<Uuid, Stopped> {
        let text = self.part("id");
        Uuid::parse_str(text).ok().filter(|_| text.len() == 36).ok_or_else(Stopped::unknown)
    }

    /// What the browser says of itself.
    pub fn client(&self) -> &str {
        self.headers.get("user-agent").and_then(|name| name.to_str().ok()).unwrap_or_default()
    }

    /// Whether it comes from this machine.
    pub fn is_from_here(&self) -> bool {
        self.from.is_none_or(|from| from.is_loopback())
    }
}
