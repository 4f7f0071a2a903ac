//! What an examining professional is given, as a paper: work, exposure, protection and earlier examinations of a worker.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::export;
use crate::model::identifiers::WorkerId;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::moment::Moment;
use crate::pages::reading;
use crate::pages::stopped::Stopped;
use crate::pages::visit::Visit;
use crate::registry::anchor::ChainState;
use crate::registry::conclude::examiner_packet::examiner_packet;
use crate::registry::conclude::history::Question;
use axum::http::{StatusCode, header};
use uuid::Uuid;

/// Where the paper of a worker and an agent is; empty for whoever is given none: it is whole, so that it is for those who see
/// all sites and may know of examinations.
pub fn address(caller: &Caller, worker: Uuid, agent: &str, day: &str) -> String {
    let whole = caller.may(Action::ReadHistories).is_ok_and(|scope| scope.is_all());
    if agent.is_empty() || !whole || caller.may(Action::MedicalGrounds).is_err() {
        return String::new();
    }
    let known = if day.is_empty() { String::new() } else { format!("&as_known_on={day}") };
    format!("/workers/{worker}/examiner-packet?agent_code={agent}{known}")
}

/// The paper.
pub(super) async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let caller = visit.caller();
    let mut moment = Moment::of(&pages, &visit).await?;
    let now = pages.registry.seen_from(moment.as_known_on);
    let asked = Question {
        agent_code: visit.query.text("agent_code").to_owned(),
        from: None,
        to: None,
        lag_years: 0,
        now: moment.is_now(),
    };
    let (tx, as_of) = (&mut moment.tx, moment.as_of);
    let packet = examiner_packet(tx, &caller, as_of, now, id, &asked).await?;
    let state = ChainState::for_reader(tx, as_of.position, &caller, Action::ReadHistories).await?;
    reading::note_worker(&pages, &visit, as_of, WorkerId(id)).await?;
    let html = export::examiner_packet::write(&packet, &state).map_err(Stopped::inside)?;
    Ok(Answer::file(StatusCode::OK, "text/html; charset=utf-8", html)
        .with(header::CONTENT_SECURITY_POLICY, &export::paper::security_policy()))
}
