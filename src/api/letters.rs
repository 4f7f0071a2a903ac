//! Letters to workers about the results of a sampling event.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::facts::shown;
use crate::api::problem::Problem;
use crate::api::questions::{note_named, note_worker, spanned};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::export;
use crate::model::facts::letter::{Letter, LetterDraft, LetterLink, LetterSays};
use crate::model::facts::sampling::SamplingEvent;
use crate::model::identifiers::{AccountId, EventId, LetterId, SiteId, WorkerId};
use crate::model::shape::Shape as _;
use crate::model::text::{Code, Paper};
use crate::model::version::Version;
use crate::registry::anchor::ChainState;
use crate::registry::conclude::letters::overtaken;
use crate::registry::facts::letters::{Dated, Outdated, issue};
use crate::registry::refusal::Refusal;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Page, Where};
use crate::{record, words};
use axum::http::{StatusCode, header};
use chrono::NaiveDate;
use serde_json::json;

words! {
    /// Whether a letter holds.
    pub enum LetterStatus {
        /// It holds as it was issued.
        Issued = "issued",
        /// What it rests on was corrected, and no other letter has taken its place yet.
        Overtaken = "overtaken",
        /// What it rests on was corrected, and another letter took its place.
        Amended = "amended",
    }
}

record! {
    /// A letter as it is handed out.
    pub struct LetterView {
        /// The letter.
        id: LetterId,
        /// The sampling event.
        event_id: Option<EventId>,
        /// The site.
        site_id: Option<SiteId>,
        /// To whom.
        worker_id: WorkerId,
        /// About which agent.
        agent_code: Code,
        /// Whether it holds.
        status: LetterStatus,
        /// When it was issued.
        issued_on: NaiveDate,
        /// Who had it written.
        issued_by: AccountId,
        /// What it says, for programs.
        says: LetterSays,
        /// Its text as HTML, frozen on issue; left out of lists.
        body: Option<Paper>,
        /// The SHA-256 of the text's UTF-8 bytes, in hexadecimal.
        sha256: Code,
        /// Journal positions of the facts it rests on.
        basis: Vec<i64>,
        /// The letter to the same reader whose place it took.
        amends: Option<LetterLink>,
        /// The letter that took its place.
        amended_by: Option<LetterLink>,
        /// The journal position at which it was issued or amended.
        position: i64,
    }
}

record! {
    /// What came of asking for letters.
    pub struct IssuedLetters {
        /// The letters that hold now, one to each reader.
        letters: Vec<LetterView>,
        /// Who received a letter that this request amended.
        outdated: Vec<Outdated>,
    }
}

/// Whether the letter or the paper is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Data,
    Paper,
}

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let reads = Access::Needs(Action::ReadHistories);
    let letter = || Schema::of::<LetterView>("Letter");
    let example = json!({"agent_code": "chromium_vi", "corrective_action": "We put a local exhaust arm at each table by 1 May.",
        "contact": "Safety office, extension 12"});
    vec![
        Endpoint::get("/sampling-events/{id}/letters", reads, list)
            .says("surveillance", "List the letters about an event")
            .more("Amended ones too, without their texts.")
            .paged()
            .answers(200, "A page.", letter().list_of()),
        Endpoint::post("/sampling-events/{id}/letters", Access::Needs(Action::IssueLetters), issue_letters)
            .says("surveillance", "Issue letters to everybody whom an event's samples measured or represent")
            .more(
                "One letter to each, frozen as issued; none names another worker. Asked again with the same facts, the same \
                 letters are answered. After a correction new ones take the place of the old, which then say `amended`, and \
                 `outdated` says who received those. Issuing does not meet the duty to tell people: the action `notified` does.",
            )
            .takes::<LetterDraft>("LetterDraft", example)
            .answers(201, "Issued.", Schema::of::<IssuedLetters>("IssuedLetters"))
            .answers(200, "Nothing was to be issued: these letters hold.", Schema::of::<IssuedLetters>("IssuedLetters")),
        Endpoint::get("/letters/{id}", reads, |app, request| read(app, request, Form::Data))
            .says("surveillance", "Read a letter")
            .answers_one(letter()),
        Endpoint::get("/letters/{id}/paper.html", reads, |app, request| read(app, request, Form::Paper))
            .says("surveillance", "Read a letter as a paper")
            .answers_with(200, "The frozen text on a page, for A4 and Letter.", "text/html", Some(Schema::of::<String>(""))),
    ]
}

fn view(letter: &Version<Letter>, overtaken: bool, whole: bool) -> LetterView {
    let fact = &letter.fact;
    LetterView {
        id: LetterId(letter.id),
        event_id: letter.parent.map(EventId),
        site_id: letter.site,
        worker_id: fact.worker_id,
        agent_code: fact.agent_code.clone(),
        status: match (&fact.amended_by, overtaken) {
            (Some(_), _) => LetterStatus::Amended,
            (None, true) => LetterStatus::Overtaken,
            (None, false) => LetterStatus::Issued,
        },
        issued_on: fact.issued_on,
        issued_by: fact.issued_by,
        says: fact.says.clone().as_computed(),
        body: whole.then(|| fact.body.clone()),
        sha256: fact.sha256.clone(),
        basis: fact.basis.clone(),
        amends: fact.amends.clone(),
        amended_by: fact.amended_by.clone(),
        position: letter.position,
    }
}

async fn issue_letters(app: App, request: Request) -> Result<Reply, Problem> {
    let event = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let text = |says: &LetterSays, dated: Dated<'_>| {
                export::letter::body(says, dated.on, dated.before)
                    .map_err(|_| Refusal::taken("the text of a letter could not be written"))
            };
            let issued = issue(change, event, body, text).await?;
            let answer = IssuedLetters {
                letters: issued.letters.iter().map(|letter| view(letter, false, false)).collect(),
                outdated: issued.outdated,
            };
            let address = format!("/sampling-events/{event}/letters");
            Ok(if issued.written {
                Made::new(&address, answer.to_json())
            } else {
                Made::before(answer.to_json())
            })
        })
    })
    .await
}

async fn list(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let page = request.page()?;
    let scope = request.caller.may(Action::ReadHistories).map_err(Refusal::from)?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let event = versions::find::<SamplingEvent>(&mut tx, &scope, as_of, id).await.map_err(Refusal::from)?;
    if event.is_none() {
        return Err(Refusal::Unknown.into());
    }
    let more = Page { limit: page.limit + 1, ..page };
    let found = versions::list::<Letter>(&mut tx, &scope, as_of, &[Where::Parent(id)], Some(more))
        .await
        .map_err(Refusal::from)?;
    let overtaken = overtaken(&mut tx, as_of, id, &found).await?;
    drop(tx);
    let told = |letter: &Version<Letter>| view(letter, overtaken.contains(&letter.id), false).to_json();
    let items: Vec<_> = found.iter().map(|letter| (letter.id, told(letter))).collect();
    note_named(&app, &request, as_of, spanned(&request, "event"), shown(page, &items)).await?;
    Ok(Reply::items(&request, page.limit, items))
}

async fn one(tx: &mut Tx, request: &Request, as_of: AsOf) -> Result<Version<Letter>, Refusal> {
    let id = request.id().map_err(|_| Refusal::Unknown)?;
    let scope = request.caller.may(Action::ReadHistories)?;
    versions::find::<Letter>(tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)
}

async fn read(app: App, request: Request, form: Form) -> Result<Reply, Problem> {
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let letter = one(&mut tx, &request, as_of).await?;
    let event = letter.parent.unwrap_or_default();
    let overtaken = !overtaken(&mut tx, as_of, event, std::slice::from_ref(&letter)).await?.is_empty();
    let state = ChainState::at(&mut tx, as_of.position, letter.site).await?;
    drop(tx);
    note_worker(&app, &request, as_of, letter.fact.worker_id).await?;
    match form {
        Form::Data => Ok(Reply::one(&request, letter.revision, &view(&letter, overtaken, true).to_json())
            .proved_by(&state)),
        Form::Paper => {
            let html = export::letter::page(&letter.fact, overtaken, &state).map_err(Problem::internal)?;
            Ok(Reply::new(StatusCode::OK, "text/html; charset=utf-8", html)
                .with(header::CONTENT_SECURITY_POLICY, &export::paper::security_policy())
                .proved_by(&state))
        }
    }
}
