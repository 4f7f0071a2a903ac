//! Anchors: small signed texts that are kept elsewhere, and show later that nothing was cut off or written anew.

use crate::access::policy::Action;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::frame::Frame;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::told;
use crate::pages::visit::Visit;
use askama::Template;
use axum::http::{StatusCode, header};

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let proves = Who::May(Action::VerifyJournal);
    vec![
        Page::get("/anchors", proves, show).in_menu("menu-anchors"),
        Page::get("/anchors/newest", proves, anchor),
        Page::get("/anchors/signing-key", proves, key),
        Page::get("/anchors/announcements", proves, announcements),
    ]
}

#[derive(Template)]
#[template(path = "pages/anchors.html")]
struct AnchorsPage {
    frame: Frame,
    lead: String,
    chains: usize,
    fingerprint: String,
    since: String,
    text: String,
    earlier: Vec<EarlierKey>,
}

/// A key that has signed before.
struct EarlierKey {
    fingerprint: String,
    since: String,
    followed: bool,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let signed = pages.registry.anchor(&visit.caller()).await?;
    let key = pages.registry.public_key().await?;
    let mut known = pages.registry.keys().await?;
    known.retain(|one| !one.signs);
    let earlier = known.into_iter().map(|one| EarlierKey {
        since: told::instant(one.since),
        followed: one.followed_by.is_some(),
        fingerprint: one.fingerprint,
    });
    let frame = Frame::of(&pages, &visit, "anchors-title");
    let entry = told::count(signed.anchor.position);
    Answer::page(&AnchorsPage {
        lead: frame.with("anchors-lead", &[("entry", &entry)]),
        chains: signed.anchor.chains.len(),
        fingerprint: key.fingerprint,
        since: told::instant(key.since),
        text: signed.to_string(),
        earlier: earlier.collect(),
        frame,
    })
}

/// The anchor as a file.
async fn anchor(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let signed = pages.registry.anchor(&visit.caller()).await?;
    let name = format!("attachment; filename=\"anchor-{}.txt\"", signed.anchor.position);
    Ok(Answer::file(StatusCode::OK, "text/plain; charset=utf-8", signed.to_string())
        .with(header::CONTENT_DISPOSITION, &name))
}

/// What each key said of the one that follows it, as a file.
async fn announcements(pages: Pages, _visit: Visit) -> Result<Answer, Stopped> {
    let statements = pages.registry.key_announcements().await?;
    Ok(Answer::file(StatusCode::OK, "text/plain; charset=utf-8", statements)
        .with(header::CONTENT_DISPOSITION, "attachment; filename=\"key-announcements.txt\""))
}

/// The public key that anchors are signed with, as a file.
async fn key(pages: Pages, _visit: Visit) -> Result<Answer, Stopped> {
    let key = pages.registry.public_key().await?;
    Ok(Answer::file(StatusCode::OK, "application/x-pem-file", key.public_key)
        .with(header::CONTENT_DISPOSITION, "attachment; filename=\"signing-key.pem\""))
}
