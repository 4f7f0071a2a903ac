//! One's own account: password, sessions.

use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::form::Wrong;
use crate::pages::frame::Frame;
use crate::pages::sign_in;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::registry::enter::Entered;
use crate::registry::passwords;
use crate::registry::refusal::Refusal;
use askama::Template;
use axum::http::StatusCode;
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![
        Page::get("/account", Who::SignedIn, show),
        Page::post("/account/password", Who::SignedIn, change_password),
        Page::post("/account/sessions/{id}/end", Who::SignedIn, end_session),
        Page::post("/account/sessions/end-others", Who::SignedIn, end_others),
    ]
}

/// A session as the page lists it.
struct SessionRow {
    id: Uuid,
    client: String,
    began: String,
    seen: String,
    this_one: bool,
}

#[derive(Template)]
#[template(path = "pages/own_account.html")]
struct OwnAccountPage {
    frame: Frame,
    email: String,
    has_factor: bool,
    shortest: usize,
    wrong: Wrong,
    sessions: Vec<SessionRow>,
}

async fn page(pages: &Pages, visit: &Visit, wrong: Wrong) -> Result<OwnAccountPage, Stopped> {
    let session = visit.signed_in()?;
    let sessions = pages.registry.own_sessions(&session.caller).await?;
    let texts = Texts::of(visit);
    let row = |own: crate::registry::sessions::OwnSession| SessionRow {
        id: own.id,
        client: if own.client.is_empty() { texts.t("account-client-unknown") } else { own.client },
        began: told::instant(own.began_at),
        seen: told::instant(own.seen_at),
        this_one: own.id == session.id,
    };
    Ok(OwnAccountPage {
        frame: Frame::of(pages, visit, "account-title"),
        email: session.email.clone(),
        has_factor: pages.registry.has_second_factor(session.caller.account).await?,
        shortest: passwords::SHORTEST,
        wrong,
        sessions: sessions.into_iter().map(row).collect(),
    })
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&page(&pages, &visit, Wrong::default()).await?)
}

async fn change_password(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let session = visit.signed_in()?;
    let texts = Texts::of(&visit);
    let (old, new) = (visit.form.raw("old_password"), visit.form.raw("new_password"));
    let changed = if new == visit.form.raw("again") {
        pages.registry.change_password(session, old, new).await
    } else {
        Err(Refusal::fault("/again", texts.t("password-not-twice")))
    };
    let wrong = match changed {
        Ok(Entered::Wait(wait)) => Wrong::one("old_password", sign_in::wait_in_words(texts, wait)),
        Ok(_) => return Ok(Answer::see("/account?said=password-changed")),
        Err(Refusal::Faults(faults)) => Wrong::of(&faults),
        Err(other) => return Err(other.into()),
    };
    Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page(&pages, &visit, wrong).await?)
}

async fn end_session(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    pages.registry.end_session(&visit.caller(), visit.id_in_path()?).await?;
    Ok(Answer::see("/account?said=session-ended"))
}

async fn end_others(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let session = visit.signed_in()?;
    pages.registry.end_other_sessions(&session.caller, session.id).await?;
    Ok(Answer::see("/account?said=sessions-ended"))
}
