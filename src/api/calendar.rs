//! The calendar of due dates, for programs that can only be given an address.

use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::export::icalendar;
use crate::model::facts::account::TokenUse;
use crate::registry::conclude::due_dates;
use crate::registry::refusal::Refusal;
use axum::http::{StatusCode, header};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    vec![
        Endpoint::get("/calendars/{token}/due-dates.ics", Access::SecretInPath, due_dates)
            .says("exports", "Read the calendar of due dates")
            .more(
                "For calendar programs, which keep an address and send no credentials: the token in it opens this \
                 calendar alone, holds as long as it says and can be revoked. What the token's account sees is due, \
                 without the name of any worker.",
            )
            .answers_with(200, "iCalendar (RFC 5545).", "text/calendar", Some(Schema::of::<String>(""))),
    ]
}

async fn due_dates(app: App, request: Request) -> Result<Reply, Problem> {
    // Whatever is wrong with the token, there is nothing at this address.
    let caller = app.registry.caller_of(request.part("token"), TokenUse::Calendar).await;
    let caller = caller.map_err(|refusal| match refusal {
        Refusal::Unauthorised => Problem::unknown(),
        other => other.into(),
    })?;
    app.registry.settle().await?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.as_of(&mut tx, None).await?;
    let dates = due_dates::due_dates(&mut tx, &caller, as_of).await?;
    drop(tx);
    let text = icalendar::write(&dates);
    Ok(Reply::new(StatusCode::OK, "text/calendar; charset=utf-8", text)
        .with(header::CACHE_CONTROL, "private, no-store"))
}
