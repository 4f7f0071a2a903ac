//! What several conclusions are asked with: as known on, accepted only, with the working; and the line they leave.

use crate::api::App;
use crate::api::endpoint::Endpoint;
use crate::api::problem::Problem;
use crate::api::request::Request;
use crate::conclusions::asked::Asked;
use crate::model::identifiers::WorkerId;
use crate::model::shape::Faults;
use crate::registry::reading::Read;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use chrono::{DateTime, Utc};

impl Endpoint {
    /// May be asked as known at an instant.
    #[must_use]
    pub fn as_known_on(self) -> Self {
        self.asks::<DateTime<Utc>>(
            "as_known_on",
            "Answer with what was known at this instant, seen from that day.",
        )
    }

    /// May be asked as known at an instant, with the working, and of accepted results only.
    #[must_use]
    pub fn concluded(self) -> Self {
        self.as_known_on()
            .asks::<bool>("working", "Show the steps, with formula, inputs, result and source.")
            .asks::<bool>("accepted_only", "Leave out results that nobody has accepted yet, blanks too.")
    }
}

/// How a conclusion is asked for.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Question {
    /// As known at this instant.
    pub(crate) as_known_on: Option<DateTime<Utc>>,
    /// With the working, of accepted results only.
    pub(crate) asked: Asked,
}

impl Question {
    /// Reads the parameters that every conclusion knows.
    pub(crate) fn of(request: &Request, faults: &mut Faults) -> Self {
        Self {
            as_known_on: request.parameter("as_known_on", faults),
            asked: Asked {
                working: request.flag("working", faults),
                accepted_only: request.flag("accepted_only", faults),
            },
        }
    }

    /// A snapshot to answer from, and as of when.
    pub(crate) async fn snapshot(self, app: &App) -> Result<(Tx, AsOf), Problem> {
        let mut tx = app.registry.database.read().await?;
        let as_of = app.registry.as_of(&mut tx, self.as_known_on).await?;
        Ok((tx, as_of))
    }
}

/// Refuses a request whose parameters have faults.
pub(crate) fn sound(faults: Faults) -> Result<(), Problem> {
    if faults.is_empty() { Ok(()) } else { Err(faults.into()) }
}

/// Leaves the line of a request about one worker.
pub(crate) async fn note_worker(
    app: &App,
    request: &Request,
    as_of: AsOf,
    worker: WorkerId,
) -> Result<(), Problem> {
    let asked = format!("{} {}", request.method, request.route);
    note_worker_as(app, request, &asked, as_of, worker).await
}

/// The same under another name than the request's own.
pub(crate) async fn note_worker_as(
    app: &App,
    request: &Request,
    asked: &str,
    as_of: AsOf,
    worker: WorkerId,
) -> Result<(), Problem> {
    let read = Read {
        request: asked.to_owned(),
        worker: Some(worker),
        scope: None,
        position: as_of.position,
        workers: 1,
    };
    Ok(app.registry.note_reading(&request.caller, read).await?)
}

/// Leaves the line of a bulk read; nothing where nobody was named.
pub(crate) async fn note_bulk(
    app: &App,
    request: &Request,
    as_of: AsOf,
    scope: &str,
    workers: usize,
) -> Result<(), Problem> {
    if workers == 0 {
        return Ok(());
    }
    let read = Read {
        request: format!("{} {}", request.method, request.route),
        worker: None,
        scope: Some(scope.to_owned()),
        position: as_of.position,
        workers,
    };
    Ok(app.registry.note_reading(&request.caller, read).await?)
}
