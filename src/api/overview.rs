//! Sites and agents at a glance.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{Question, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::model::shape::{Faults, Shape as _};
use crate::registry::conclude::overview::{self, OverviewView};
use crate::registry::conclude::sight::Sight;

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    vec![
        Endpoint::get("/overview", Access::Needs(Action::ReadSamples), list)
            .says("conclusions", "List sites and agents with what is settled, what fails and what is overdue")
            .more(
                "The days of workers over the twelve months that end today, in four parts: settled below the action \
                 level, settled at or above it, measured without telling, not assessed; a worker and a date are one day \
                 at a site. A day is settled by the worker's own average, else by where the group stood. Counts of \
                 sites are no rank: read them beside the share that is not assessed.",
            )
            .as_known_on()
            .paged()
            .answers(200, "In order of site and agent.", Schema::of::<OverviewView>("Overview").list_of()),
    ]
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let stretch = request.stretch(&mut faults);
    sound(faults)?;
    if question.as_known_on.is_none() {
        app.registry.settle().await?;
    }
    let now = app.registry.seen_from(question.as_known_on);
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let mut sight = match question.as_known_on {
        None => Sight::of_now(&mut tx, as_of),
        Some(_) => Sight::new(&mut tx, as_of),
    };
    let found = overview::overview(&mut sight, &request.caller, now).await?;
    let (found, next) = stretch.cut(found)?;
    Ok(Reply::page(&request, found.iter().map(OverviewView::to_json).collect(), next))
}
