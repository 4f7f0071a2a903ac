//! JSON for programs: it translates between HTTP and the use cases and decides nothing.
//!
//! To add an endpoint, write a handler `async fn(App, Request) -> Result<Reply, Problem>` and put an
//! [`Endpoint`] into the list of its room; router, API document and the test of who may do what
//! follow from that.

pub mod access_log;
pub mod accounts;
pub mod aliases;
pub mod anchor;
pub mod calculations;
pub mod calendar;
pub mod client_address;
pub mod conclusions;
pub mod dispatch;
pub mod docs;
pub mod edge;
pub mod endpoint;
pub mod exports;
pub mod facts;
pub mod flags;
pub mod hand_over;
pub mod health;
pub mod held_rows;
pub mod kinds;
pub mod laboratory;
pub mod letters;
pub mod limit_changes;
pub mod measure;
pub mod medical;
pub mod openapi;
pub mod originals;
pub mod overview;
pub mod papers;
pub mod problem;
pub mod questions;
pub mod record;
pub mod record_requests;
pub mod reply;
pub mod request;
pub mod retention;
pub mod sampling;
pub mod standing_moves;
pub mod surveillance;
pub mod workers;
pub mod writing;

use crate::api::client_address::Proxies;
use crate::api::endpoint::Endpoint;
use crate::api::measure::Measures;
use crate::registry::clock::MachineIds;
use crate::registry::writer::Registry;
use axum::http::StatusCode;
use axum::response::Response;
use std::sync::Arc;
use tokio::sync::Semaphore;

/// The base of every path of the API.
pub const BASE: &str = "/api/v1";

/// How many requests are worked on at once; more are told to come back.
const AT_ONCE: usize = 256;

/// What a request needs of the program. Cheap to clone.
#[derive(Debug, Clone)]
pub struct App {
    /// The registry.
    pub registry: Registry,
    /// The proxies whose word about a client is taken.
    pub(crate) proxies: Arc<Proxies>,
    /// What is measured of the service itself.
    pub(crate) measures: Arc<Measures>,
    /// Identifiers of requests, apart from those of facts.
    pub(crate) request_ids: Arc<MachineIds>,
    /// Room for requests.
    pub(crate) room: Arc<Semaphore>,
    /// Tells people on a page what programs are told in a document.
    pub(crate) tell_people: Option<TellPeople>,
}

/// Tells a person, by status and the request's id, why there is no page.
pub type TellPeople = fn(StatusCode, &str) -> Response;

impl App {
    /// A face over a registry.
    pub fn new(registry: Registry) -> Self {
        Self {
            registry,
            proxies: Arc::default(),
            measures: Arc::new(Measures::new()),
            request_ids: Arc::default(),
            room: Arc::new(Semaphore::new(AT_ONCE)),
            tell_people: None,
        }
    }

    /// The same behind proxies.
    #[must_use]
    pub fn behind(self, proxies: Proxies) -> Self {
        Self { proxies: Arc::new(proxies), ..self }
    }

    /// The same, telling people on pages.
    #[must_use]
    pub fn telling_people(self, tell: TellPeople) -> Self {
        Self { tell_people: Some(tell), ..self }
    }
}

/// Every room's endpoints, in the order of the API document.
pub(crate) fn all_endpoints() -> Vec<Endpoint> {
    let mut all = kinds::endpoints();
    all.extend(workers::endpoints());
    all.extend(aliases::endpoints());
    all.extend(medical::endpoints());
    all.extend(record_requests::endpoints());
    all.extend(sampling::endpoints());
    all.extend(laboratory::endpoints());
    all.extend(held_rows::endpoints());
    all.extend(conclusions::endpoints());
    all.extend(standing_moves::endpoints());
    all.extend(overview::endpoints());
    all.extend(limit_changes::endpoints());
    all.extend(surveillance::endpoints());
    all.extend(calculations::endpoints());
    all.extend(exports::endpoints());
    all.extend(calendar::endpoints());
    all.extend(papers::endpoints());
    all.extend(letters::endpoints());
    all.extend(record::endpoints());
    all.extend(retention::endpoints());
    all.extend(originals::endpoints());
    all.extend(hand_over::endpoints());
    all.extend(anchor::endpoints());
    all.extend(access_log::endpoints());
    all.extend(accounts::endpoints());
    all.extend(docs::endpoints());
    all.extend(health::endpoints());
    all
}
