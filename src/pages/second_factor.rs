//! The second factor: setting it up, and giving its code.

use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::frame::Frame;
use crate::pages::qr;
use crate::pages::sign_in;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::visit::Visit;
use crate::registry::enter::Entered;
use crate::registry::refusal::Refusal;
use askama::Template;
use axum::http::{StatusCode, header};

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![
        Page::get("/sign-in/second-factor", Who::HalfSignedIn, show),
        Page::post("/sign-in/second-factor", Who::HalfSignedIn, give),
    ]
}

#[derive(Template)]
#[template(path = "pages/second_factor.html")]
struct SecondFactorPage {
    frame: Frame,
    to: String,
    /// The secret in groups of four, to type in; empty where it is set up already.
    secret: String,
    /// The same to scan.
    drawing: String,
    wrong: String,
}

async fn page(pages: &Pages, visit: &Visit, to: &str, wrong: String) -> Result<SecondFactorPage, Stopped> {
    let session = visit.signed_in()?;
    let texts = Texts::of(visit);
    let set_up = pages.registry.has_second_factor(session.caller.account).await?;
    let (secret, drawing) = if set_up {
        (String::new(), String::new())
    } else {
        let enrolment = pages.registry.enrolment(session).await?;
        let drawing = qr::drawing(&enrolment.address, &texts.t("factor-drawing")).unwrap_or_default();
        (in_fours(&enrolment.secret), drawing)
    };
    let title = if set_up { "factor-title-code" } else { "factor-title-enrol" };
    let frame = Frame::titled(pages, visit, texts.t(title));
    Ok(SecondFactorPage { frame, to: to.to_owned(), secret, drawing, wrong })
}

/// Letters in groups of four, as they are read out.
fn in_fours(secret: &str) -> String {
    let letters: Vec<char> = secret.chars().collect();
    letters.chunks(4).map(|four| four.iter().collect::<String>()).collect::<Vec<_>>().join(" ")
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&page(&pages, &visit, visit.query.text("to"), String::new()).await?)
}

async fn give(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let session = visit.signed_in()?;
    let to = visit.form.text("to");
    let texts = Texts::of(&visit);
    match pages.registry.give_code(session, visit.form.text("code"), visit.client()).await {
        Ok(Entered::Wait(wait)) => {
            let wrong = sign_in::wait_in_words(texts, wait);
            let answer =
                Answer::page_with(StatusCode::TOO_MANY_REQUESTS, &page(&pages, &visit, to, wrong).await?)?;
            Ok(answer.with(header::RETRY_AFTER, &(wait.num_seconds() + 1).to_string()))
        }
        Ok(entered) => sign_in::go_in(&pages, &visit, entered, to).await,
        Err(Refusal::Unauthorised) => {
            let wrong = texts.t("factor-wrong");
            Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page(&pages, &visit, to, wrong).await?)
        }
        Err(other) => Err(other.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_told_in_groups_of_four() {
        assert_eq!(in_fours("GEZDGNBVGY"), "GEZD GNBV GY");
    }
}
