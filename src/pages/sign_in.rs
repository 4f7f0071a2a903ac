//! Signing in and out.

use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::cookies::Cookie;
use crate::pages::frame::Frame;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::visit::Visit;
use crate::registry::enter::{self, Attempt, Entered};
use askama::Template;
use axum::http::{StatusCode, header};
use chrono::Duration;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![
        Page::get("/sign-in", Who::Anybody, show),
        Page::post("/sign-in", Who::Anybody, sign_in),
        Page::post("/sign-out", Who::SignedIn, sign_out),
    ]
}

#[derive(Template)]
#[template(path = "pages/sign_in.html")]
struct SignInPage {
    frame: Frame,
    email: String,
    to: String,
    /// Why somebody is not in; empty on the first sight.
    wrong: String,
    /// Whether anybody may sign in over this line at all.
    open: bool,
}

/// Where somebody wanted to go: a path of ours, and nothing that a browser could take for another host.
pub(crate) fn onward(to: &str) -> &str {
    let ours = to.starts_with('/') && !to.starts_with("//") && !to.contains(['\\', '\r', '\n', '\t']);
    if ours { to } else { "/" }
}

/// Passwords go over TLS, or stay on this machine.
pub(crate) fn is_open(pages: &Pages, visit: &Visit) -> bool {
    pages.settings.is_secure() || visit.is_from_here()
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    match &visit.session {
        Some(session) if session.whole => return Ok(Answer::see(onward(visit.query.text("to")))),
        Some(_) => return Ok(Answer::see("/sign-in/second-factor")),
        None => {}
    }
    Answer::page(&SignInPage {
        frame: Frame::of(&pages, &visit, "sign-in-title"),
        email: String::new(),
        to: visit.query.text("to").to_owned(),
        wrong: String::new(),
        open: is_open(&pages, &visit),
    })
}

async fn sign_in(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let open = is_open(&pages, &visit);
    let (email, to) = (visit.form.text("email").to_owned(), visit.form.text("to").to_owned());
    let texts = Texts::of(&visit);
    let again = |status: StatusCode, wrong: String| {
        let frame = Frame::of(&pages, &visit, "sign-in-title");
        Answer::page_with(status, &SignInPage { frame, email: email.clone(), to: to.clone(), wrong, open })
    };
    if !open {
        return again(StatusCode::FORBIDDEN, texts.t("sign-in-closed"));
    }
    let entered = pages
        .registry
        .enter(Attempt {
            email: &email,
            password: visit.form.raw("password"),
            device: Cookie::Device.value(&pages.settings, &visit.headers),
            from: visit.from,
            client: visit.client(),
            second_factor: !pages.settings.demonstration,
        })
        .await?;
    match entered {
        Entered::Refused => again(StatusCode::UNPROCESSABLE_ENTITY, texts.t("sign-in-wrong")),
        Entered::Wait(wait) => {
            let answer = again(StatusCode::TOO_MANY_REQUESTS, wait_in_words(texts, wait))?;
            Ok(answer.with(header::RETRY_AFTER, &(wait.num_seconds() + 1).to_string()))
        }
        entered => go_in(&pages, &visit, entered, &to).await,
    }
}

/// How long somebody has to wait.
pub(crate) fn wait_in_words(texts: &Texts, wait: Duration) -> String {
    let minutes = usize::try_from(wait.num_seconds().div_euclid(60) + 1).unwrap_or(1);
    texts.n("sign-in-wait", minutes)
}

/// Sets the cookies of somebody who got in, or half in, and shows the way.
pub(crate) async fn go_in(
    pages: &Pages,
    visit: &Visit,
    entered: Entered,
    to: &str,
) -> Result<Answer, Stopped> {
    let settings = &pages.settings;
    match entered {
        Entered::In { secret } => {
            let session = pages.registry.session_of(&secret).await?.ok_or_else(Stopped::signed_out)?;
            let device = Cookie::Device.value(settings, &visit.headers);
            let device = pages.registry.remember_device(session.caller.account, device).await?;
            Ok(Answer::see(onward(to))
                .with_cookie(&Cookie::Session.set(settings, &secret))
                .with_cookie(&Cookie::Device.set(settings, &device)))
        }
        Entered::Code { secret } | Entered::Enrol { secret } => {
            let to = serde_urlencoded::to_string([("to", onward(to))]).unwrap_or_default();
            Ok(Answer::see(&format!("/sign-in/second-factor?{to}"))
                .with_cookie(&Cookie::Session.set(settings, &secret)))
        }
        Entered::Refused | Entered::Wait(_) => Err(Stopped::signed_out()),
    }
}

async fn sign_out(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    enter::leave(&pages.registry, visit.signed_in()?).await?;
    Ok(Answer::see("/sign-in?said=signed-out")
        .with_cookie(&Cookie::Session.clear(&pages.settings))
        .with(axum::http::HeaderName::from_static("clear-site-data"), "\"cache\""))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nobody_is_sent_to_another_host() {
        for to in ["https://evil.example", "//evil.example", "/\\evil.example", "javascript:alert(1)", ""] {
            assert_eq!(onward(to), "/", "{to}");
        }
        assert_eq!(onward("/duties?site=ALD"), "/duties?site=ALD");
    }
}
