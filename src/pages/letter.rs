//! A letter as a paper: the text frozen on issue, for the screen and for print.

use crate::access::policy::Action;
use crate::export;
use crate::model::facts::letter::Letter;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::visit::Visit;
use crate::registry::anchor::ChainState;
use crate::registry::conclude::letters::overtaken;
use crate::store::versions;
use axum::http::{StatusCode, header};

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/letters/{id}", Who::May(Action::ReadHistories), show)]
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let scope = visit.caller().may(Action::ReadHistories)?;
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let letter = versions::find::<Letter>(&mut tx, &scope, as_of, id).await?.ok_or_else(Stopped::unknown)?;
    let event = letter.parent.unwrap_or_default();
    let overtaken = !overtaken(&mut tx, as_of, event, std::slice::from_ref(&letter)).await?.is_empty();
    let state =
        ChainState::for_reader(&mut tx, as_of.position, &visit.caller(), Action::ReadHistories).await?;
    drop(tx);
    reading::note_worker(&pages, &visit, as_of, letter.fact.worker_id).await?;
    let html = export::letter::page(&letter.fact, overtaken, &state).map_err(Stopped::inside)?;
    Ok(Answer::file(StatusCode::OK, "text/html; charset=utf-8", html)
        .with(header::CONTENT_SECURITY_POLICY, &export::paper::security_policy()))
}
