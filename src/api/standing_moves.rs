//! The moves of a group's standing as they were written.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{Question, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::model::shape::{Faults, Shape as _};
use crate::model::text::Code;
use crate::registry::standing_moves::{StandingMoveView, standing_moves};
use serde_json::{Value, json};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let moves = Schema::of::<StandingMoveView>("StandingMove").such_as(example());
    vec![
        Endpoint::get("/groups/{id}/standing-moves", Access::Needs(Action::ReadSamples), list)
            .says("conclusions", "List the moves of a group's standing, as they were written when they happened")
            .more(
                "Written by the registry itself and never changed: a move that later facts take back is named by the one \
                 that takes it back. The profile says how the group stands; these say when the registry learned of it, \
                 and from what.",
            )
            .asks::<Code>("agent_code", "Of this agent; left out: of every agent.")
            .as_known_on()
            .paged()
            .answers(200, "In the order in which they were written.", moves.list_of()),
    ]
}

/// A step down of chromium(VI): 29 CFR 1910.1026(d)(2)(v).
fn example() -> Value {
    json!({
        "id": "01900000-0000-7000-8000-00000000000a",
        "site_id": "01900000-0000-7000-8000-000000000001",
        "group_id": "01900000-0000-7000-8000-000000000002",
        "agent_code": "chromium_vi",
        "authority": "OSHA",
        "averaging": "eight_hour",
        "value_before": "at_or_above_action_level",
        "value": "below_action_level",
        "since": "2026-02-17",
        "learned_on": "2026-03-02",
        "cause": "round",
        "takes_back": [],
        "round": {"event_id": "01900000-0000-7000-8000-000000000003", "date": "2026-02-17"},
        "basis": [412, 418],
        "clause": "29 CFR 1910.1026(d)(2)(v)",
        "position": 419,
    })
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let stretch = request.stretch(&mut faults);
    sound(faults)?;
    if question.as_known_on.is_none() {
        // They are facts that follow from facts: what was just recorded is followed up before anybody reads them.
        app.registry.settle().await?;
    }
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let code = request.asked("agent_code");
    let found = standing_moves(&mut tx, &request.caller, as_of, id, code).await?;
    drop(tx);
    let (found, next) = stretch.cut(found)?;
    Ok(Reply::page(&request, found.iter().map(StandingMoveView::to_json).collect(), next))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_example_is_a_move() {
        assert_eq!(StandingMoveView::parse(&example()).unwrap().to_json(), example());
    }
}
