//! Papers for people: what an examining professional is given.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{Question, note_worker, sound};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::conclusions::examiner_packet::ExaminerPacket;
use crate::export;
use crate::model::identifiers::WorkerId;
use crate::model::shape::{Faults, Shape as _};
use crate::model::text::Code;
use crate::registry::anchor::ChainState;
use crate::registry::conclude::{examiner_packet, history};
use axum::http::{StatusCode, header};
use std::future::Future;

/// Whether a paper or what stands on it is asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Form {
    Data,
    Paper,
}

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    vec![
        packet("/workers/{id}/examiner-packet", |app, request| read_packet(app, request, Form::Data))
            .answers(200, "The packet.", Schema::of::<ExaminerPacket>("ExaminerPacket")),
        packet("/workers/{id}/examiner-packet.html", |app, request| read_packet(app, request, Form::Paper))
            .answers_with(
                200,
                "The same as a paper, for A4 and Letter.",
                "text/html",
                Some(Schema::of::<String>("")),
            ),
    ]
}

/// What is alike of the packet in both forms.
fn packet<H, A>(path: &str, handler: H) -> Endpoint
where
    H: Fn(App, Request) -> A + Send + Sync + 'static,
    A: Future<Output = Result<Reply, Problem>> + Send + 'static,
{
    Endpoint::get(path, Access::Needs(Action::ReadHistories), handler)
        .says("surveillance", "Read what an examining professional is given")
        .more(
            "Work, exposure, protective equipment with the time worn, and dates of earlier examinations: former, current \
             and anticipated. Whole or not at all: whoever sees some sites only is refused.",
        )
        .needs::<Code>("agent_code", "For an examination because of this agent.")
        .as_known_on()
}

async fn read_packet(app: App, request: Request, form: Form) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut faults = Faults::default();
    let question = Question::of(&request, &mut faults);
    let code = request.needed::<Code>("agent_code", &mut faults);
    sound(faults)?;
    let asked = history::Question {
        agent_code: code.map(|code| code.to_string()).unwrap_or_default(),
        from: None,
        to: None,
        lag_years: 0,
        now: question.as_known_on.is_none(),
    };
    if asked.now {
        app.registry.settle().await?;
    }
    let now = app.registry.seen_from(question.as_known_on);
    let (mut tx, as_of) = question.snapshot(&app).await?;
    let packet = examiner_packet::examiner_packet(&mut tx, &request.caller, as_of, now, id, &asked).await?;
    let state = ChainState::at(&mut tx, as_of.position, None).await?;
    drop(tx);
    note_worker(&app, &request, as_of, WorkerId(id)).await?;
    match form {
        Form::Data => Ok(Reply::ok(&packet.to_json()).proved_by(&state)),
        Form::Paper => {
            let html = export::examiner_packet::write(&packet, &state).map_err(Problem::internal)?;
            Ok(Reply::new(StatusCode::OK, "text/html; charset=utf-8", html)
                .with(header::CONTENT_SECURITY_POLICY, &export::paper::security_policy())
                .proved_by(&state))
        }
    }
}
