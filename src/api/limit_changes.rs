//! What another limit would change.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::note_bulk;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::conclusions::limit_change::proposal::LimitProposal;
use crate::conclusions::limit_change::view::LimitChangeView;
use crate::model::identifiers::WorkerId;
use crate::model::shape::Shape as _;
use crate::registry::conclude::limit_change::preview;
use serde_json::json;
use std::collections::BTreeSet;

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    vec![
        Endpoint::post("/limit-changes/preview", Access::Needs(Action::ReadSamples), ask)
            .says("conclusions", "Ask what a proposed limit, over a shift or over minutes, would change at the sites in sight")
            .more(
                "Existing results are read as if the proposed level had held on every date in place of the authority's \
                 own, with the law's clauses and step-downs naming it; nothing is stored. Groups whose data are too \
                 coarse to tell come first, with the minutes a sample needs. Workers out of sight are counted only; \
                 days at sites out of sight keep their numbers back. A limit that no clause of its authority names triggers nobody. A limit \
                 over minutes is read against the strictest one of its authority, noise by the criterion that its level \
                 is met by; a peak is refused, since no result says how long one lasted.",
            )
            .takes::<LimitProposal>(
                "LimitProposal",
                json!({"agent_code": "chromium_vi", "kind": "action_level", "value": {"value": 0.9, "unit": "ug/m3"}}),
            )
            .answers(200, "What would change.", Schema::of::<LimitChangeView>("LimitChange")),
    ]
}

async fn ask(app: App, request: Request) -> Result<Reply, Problem> {
    let proposal = LimitProposal::parse(&request.json()?)?;
    // Nothing is followed up first: what is stale is worked out anew, and the record stays as it is.
    let now = app.registry.seen_from(None);
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.as_of(&mut tx, None).await?;
    let found = preview(&mut tx, &request.caller, as_of, now, &proposal).await?;
    drop(tx);
    let workers: BTreeSet<WorkerId> = found.newly_triggered.iter().map(|one| one.worker_id).collect();
    note_bulk(&app, &request, as_of, "limit change", workers).await?;
    Ok(Reply::ok(&found.to_json()))
}
