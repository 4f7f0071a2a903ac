//! Every clause for a worker, and early warnings.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{Question, note_bulk, note_worker, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::model::facts::site::Site;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::shape::{Faults, Shape as _};
use crate::model::text::Code;
use crate::registry::conclude::derive;
use crate::registry::conclude::early_warnings::{self, EarlyWarning};
use crate::registry::conclude::sight::Sight;
use crate::registry::conclude::surveillance::{SurveillanceView, surveillance};
use crate::registry::recording;
use crate::store::backend::Tx;
use crate::store::versions::AsOf;
use std::collections::BTreeSet;

/// The probability that a warning is given above where none is asked for (our own choice).
const USUALLY_ABOVE: f64 = 0.2;

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let reads = Access::Needs(Action::ReadDuties);
    vec![
        Endpoint::get("/workers/{id}/surveillance", reads, read)
            .says("surveillance", "Read every clause for a worker and an agent, with its days and the chance of passing them")
            .more(
                "By air, conditions, history and releases; medical grounds are not among them. The rule's own count \
                 decides; the chance stands beside it. A reader who sees only some of the sites behind it gets the flag \
                 days_across_sites and no number. A clause that holds under several rule sets stands there once, under the \
                 one that asks for most; one of another authority whose level is not in force, or does not convert into \
                 the agent's unit, stands there with a flag that says so, and nothing is counted by it. A clause that is \
                 met appears to trigger surveillance: the law in force and a licensed professional decide.",
            )
            .needs::<Code>("agent_code", "Of this agent.")
            .as_known_on()
            .answers(200, "In the order of the clauses.", Schema::of::<SurveillanceView>("Surveillance")),
        Endpoint::get("/early-warnings", reads, list)
            .says("surveillance", "List workers who meet no clause yet and are likely to within twelve months")
            .more(
                "The probability that counted and planned days are enough, by what the groups' results say of the share \
                 of days at the level. Workers with days at sites out of sight, and those whose groups have no results, \
                 are not listed: an empty list is no proof that nobody will meet a clause.",
            )
            .asks::<SiteId>("site_id", "About workers on this site.")
            .asks::<Code>("agent_code", "About this agent.")
            .asks::<f64>("above", "Those whose probability is above this, from 0 to 1; 0.2 if left out.")
            .names_things()
            .as_known_on()
            .paged()
            .answers(200, "The likeliest first.", Schema::of::<EarlyWarning>("EarlyWarning").list_of()),
    ]
}

fn sight_of(question: Question, tx: &mut Tx, as_of: AsOf) -> Sight<'_> {
    match question.as_known_on {
        None => Sight::of_now(tx, as_of),
        Some(_) => Sight::new(tx, as_of),
    }
}

async fn read(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let code = request.needed::<Code>("agent_code", &mut faults);
    sound(faults)?;
    let Some(code) = code else { return Err(Faults::default().into()) };
    let now = app.registry.seen_from(question.as_known_on);
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let mut sight = sight_of(question, &mut tx, as_of);
    let view = surveillance(&mut sight, &request.caller, now, id, &code).await?;
    drop(tx);
    note_worker(&app, &request, as_of, WorkerId(id)).await?;
    Ok(Reply::ok(&view.to_json()))
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let above = request.parameter("above", &mut faults).unwrap_or(USUALLY_ABOVE);
    if !(0.0..=1.0).contains(&above) {
        faults.note("/above", "must be 0 to 1");
    }
    let site: Option<SiteId> = request.parameter("site_id", &mut faults);
    let agent_code: Option<Code> = request.parameter("agent_code", &mut faults);
    let stretch = request.stretch(&mut faults);
    sound(faults)?;
    let now = app.registry.seen_from(question.as_known_on);
    let (mut tx, as_of) = question.snapshot(&app).await?;
    if let Some(site) = site {
        recording::read::<Site>(&mut tx, &request.caller, as_of, site.0).await?;
    }
    if let Some(code) = &agent_code {
        derive::must_be_agent(&mut tx, as_of, code.as_str()).await?;
    }
    let asked = early_warnings::Question { site, agent_code: agent_code.map(|code| code.to_string()), above };
    let mut sight = sight_of(question, &mut tx, as_of);
    let found = early_warnings::early_warnings(&mut sight, &request.caller, now, &asked).await?;
    drop(tx);
    let (found, next) = stretch.cut(found)?;
    let workers: BTreeSet<WorkerId> = found.iter().map(|one| one.worker_id).collect();
    note_bulk(&app, &request, as_of, "early warnings", workers).await?;
    Ok(Reply::page(&request, found.iter().map(EarlyWarning::to_json).collect(), next))
}
