//! Getting in with a one-time code: opening its address uses nothing up, sending the form does.

use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::form::Wrong;
use crate::pages::frame::Frame;
use crate::pages::sign_in;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::visit::Visit;
use crate::registry::one_time_codes::{CodeUse, OpenCode};
use crate::registry::passwords;
use crate::registry::refusal::Refusal;
use askama::Template;
use axum::http::StatusCode;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/enter/{code}", Who::Anybody, show), Page::post("/enter/{code}", Who::Anybody, enter)]
}

#[derive(Template)]
#[template(path = "pages/one_time_code.html")]
struct CodePage {
    frame: Frame,
    address: String,
    email: String,
    /// Whether a password is chosen here.
    chooses: bool,
    shortest: usize,
    wrong: String,
}

async fn open(pages: &Pages, visit: &Visit) -> Result<OpenCode, Stopped> {
    if !sign_in::is_open(pages, visit) {
        return Err(Stopped::forbidden());
    }
    pages.registry.open_code(visit.part("code")).await?.ok_or_else(Stopped::unknown)
}

fn page(pages: &Pages, visit: &Visit, open: &OpenCode, wrong: String) -> CodePage {
    let chooses = open.opens == CodeUse::Password;
    let title = if chooses { "code-title-password" } else { "code-title-enter" };
    CodePage {
        frame: Frame::titled(pages, visit, Texts::of(visit).t(title)),
        address: visit.path.clone(),
        email: open.email.clone(),
        chooses,
        shortest: passwords::SHORTEST,
        wrong,
    }
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let open = open(&pages, &visit).await?;
    Answer::page(&page(&pages, &visit, &open, String::new()))
}

async fn enter(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let open = open(&pages, &visit).await?;
    let password = visit.form.raw("password");
    let texts = Texts::of(&visit);
    if open.opens == CodeUse::Password && password != visit.form.raw("again") {
        let again = page(&pages, &visit, &open, texts.t("password-not-twice"));
        return Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &again);
    }
    let second_factor = !pages.settings.demonstration;
    let entered =
        pages.registry.enter_by_code(visit.part("code"), Some(password), visit.client(), second_factor).await;
    match entered {
        Ok(entered) => sign_in::go_in(&pages, &visit, entered, "/").await,
        Err(Refusal::Faults(faults)) => {
            let wrong = texts.with("password-wrong", &[("what", Wrong::of(&faults).at("password"))]);
            Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page(&pages, &visit, &open, wrong))
        }
        Err(other) => Err(other.into()),
    }
}
