//! Anchors to be kept outside, and the key that signs them.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::model::shape::Shape as _;
use crate::registry::anchor::SigningKeyView;
use axum::http::{StatusCode, header};

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let text = || Some(Schema::of::<String>(""));
    vec![
        Endpoint::get("/anchor", Access::Needs(Action::ReadJournal), anchor)
            .says("record", "Download an anchor of the record")
            .more(
                "A small signed text to be kept outside: when, the journal's position, count and head hash of every chain in \
                 sight, and count and digest of the access log. A later proof held against it finds a tail that was cut \
                 off and a chain that was written anew. Whoever sees some sites gets their chains and the corporation's. \
                 The medical chain stands open for a physician of all sites; for everybody else there is a digest that \
                 shows neither its count nor whether it grew.",
            )
            .answers_with(200, "The anchor, its signature in the last line.", "text/plain", text()),
        Endpoint::get("/signing-key", Access::AnyAccount, key)
            .says("record", "Read the public key that anchors are signed with")
            .answers(200, "The key with its fingerprint.", Schema::of::<SigningKeyView>("SigningKey")),
        Endpoint::get("/signing-key/announcements", Access::AnyAccount, announcements)
            .says("record", "Download the announcements of keys")
            .more(
                "A small signed text for each change of the key, in order, with an empty line between: the key before, the key \
                 that follows, and the signature of the key before. Empty where the first key still signs.",
            )
            .answers_with(200, "The announcements.", "text/plain", text()),
        Endpoint::get("/signing-key.pem", Access::AnyAccount, pem)
            .says("record", "Download the public key that anchors are signed with")
            .answers_with(200, "PEM, for openssl.", "application/x-pem-file", text()),
    ]
}

async fn anchor(app: App, request: Request) -> Result<Reply, Problem> {
    let signed = app.registry.anchor(&request.caller).await?;
    let name = format!("attachment; filename=\"anchor-{}.txt\"", signed.anchor.position);
    Ok(Reply::new(StatusCode::OK, "text/plain; charset=utf-8", signed.to_string())
        .with(header::CONTENT_DISPOSITION, &name))
}

async fn key(app: App, _request: Request) -> Result<Reply, Problem> {
    Ok(Reply::ok(&app.registry.public_key().await?.to_json()))
}

async fn announcements(app: App, _request: Request) -> Result<Reply, Problem> {
    let statements = app.registry.key_announcements().await?;
    Ok(Reply::new(StatusCode::OK, "text/plain; charset=utf-8", statements)
        .with(header::CONTENT_DISPOSITION, "attachment; filename=\"key-announcements.txt\""))
}

async fn pem(app: App, _request: Request) -> Result<Reply, Problem> {
    let key = app.registry.public_key().await?;
    Ok(Reply::new(StatusCode::OK, "application/x-pem-file", key.public_key)
        .with(header::CONTENT_DISPOSITION, "attachment; filename=\"signing-key.pem\""))
}
