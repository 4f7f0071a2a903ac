//! Backups: how they are made and restored, and what there is to save.

use crate::access::policy::Action;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::frame::Frame;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::store::open;
use askama::Template;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    vec![Page::get("/backups", Who::May(Action::ManageAccounts), show).in_menu("menu-backups")]
}

#[derive(Template)]
#[template(path = "pages/backups.html")]
struct BackupsPage {
    frame: Frame,
    position: String,
    engine: &'static str,
    schema: String,
    software: &'static str,
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let schema = open::schema(&mut tx).await?;
    Answer::page(&BackupsPage {
        position: told::count(as_of.position),
        engine: pages.registry.database.engine(),
        schema: told::count(schema),
        software: env!("CARGO_PKG_VERSION"),
        frame: Frame::of(&pages, &visit, "backups-title"),
    })
}
