//! The journal and its proof.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{note_bulk, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::model::identifiers::{SiteId, WorkerId};
use crate::model::shape::{Faults, Shape as _};
use crate::model::text::Code;
use crate::record;
use crate::registry::anchor::text::Signed;
use crate::registry::journal::{self, JournalCursor, JournalEntryView, JournalQuestion};
use crate::registry::refusal::Refusal;
use crate::registry::verify::anchored::Witness;
use crate::registry::verify::{Verification, verify_with};
use crate::store::versions::AsOf;
use serde_json::json;
use uuid::Uuid;

record! {
    /// What the proof is to be held against.
    pub struct VerificationAsked {
        /// An anchor, the whole text of the file with its line breaks.
        anchor: Option<String>,
    }
}

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    vec![
        Endpoint::get("/journal", Access::Needs(Action::ReadJournal), read)
            .says("record", "Read the journal")
            .more(
                "The envelope is shown to whoever sees the site, the image only to whoever may read that fact. Medical \
                 grounds, and duties that rest on one, are listed to the physician alone: for other readers there is a \
                 gap in the positions, as there is where an entry is of a site out of their sight.",
            )
            .asks::<SiteId>("site_id", "Of this site.")
            .asks::<Uuid>("subject_id", "Of this fact.")
            .asks::<Code>("kind", "Of facts of this kind, as the entries name it.")
            .paged()
            .answers(200, "A page, in the one order of all changes.", Schema::of::<JournalEntryView>("JournalEntry").list_of()),
        Endpoint::post("/journal/verification", Access::Needs(Action::VerifyJournal), prove)
            .says("record", "Prove the journal, the versions, the stored conclusions and the access log")
            .more(
                "With an anchor (`GET /anchor`) also that nothing was cut off or written anew since it was made, which \
                 the record cannot prove of itself.",
            )
            .takes::<VerificationAsked>("VerificationAsked", json!({}))
            .body_optional()
            .answers(200, "Sound, or the first fault.", Schema::of::<Verification>("Verification")),
    ]
}

async fn read(app: App, request: Request) -> Result<Reply, Problem> {
    let mut faults = Faults::default();
    let site = request.parameter("site_id", &mut faults);
    let subject = request.parameter::<Uuid>("subject_id", &mut faults);
    let kind = request.parameter::<Code>("kind", &mut faults).and_then(|asked| {
        let known = journal::kinds(&request.caller).into_iter().find(|kind| *kind == asked.as_str());
        if known.is_none() {
            faults.note("/kind", "must be a kind of fact, as the entries of the journal name it");
        }
        known
    });
    let after = request.asked("after").and_then(|cursor| {
        let read = JournalCursor::parse(cursor);
        if read.is_none() {
            faults.note("/after", "must be a cursor from next of an earlier page");
        }
        read
    });
    let limit = request.limit(&mut faults);
    sound(faults)?;
    let question = JournalQuestion { site, subject, kind, after, until: None, limit };
    let page = app.registry.journal(&request.caller, &question).await?;
    note_bulk(
        &app,
        &request,
        AsOf { position: page.position, date: app.registry.clock.now().date_naive() },
        "journal",
        page.workers.iter().copied().map(WorkerId),
    )
    .await?;
    let items = page.items.iter().map(JournalEntryView::to_json).collect();
    Ok(Reply::page(&request, items, page.next.map(|cursor| cursor.to_string())))
}

async fn prove(app: App, request: Request) -> Result<Reply, Problem> {
    let asked = VerificationAsked::parse(&request.json()?)?;
    let witness = match asked.anchor {
        Some(text) => {
            let signed = Signed::parse(&text).map_err(|what| {
                Refusal::fault("/anchor", format!("is no anchor as it was handed out: {what}"))
            })?;
            Some(Witness { signed, key: None })
        }
        None => None,
    };
    app.registry.settle().await?;
    let found = verify_with(&app.registry, witness.as_ref(), |_| {}).await?.for_reader(&request.caller);
    Ok(Reply::ok(&found.to_json()))
}
