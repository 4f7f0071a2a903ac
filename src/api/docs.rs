//! The API document and the reference to browse it with, from files inside the program: no internet needed.

use crate::api::App;
use crate::api::endpoint::{Endpoint, Schema};
use crate::api::openapi;
use crate::api::problem::{KINDS, Problem};
use crate::api::reply::Reply;
use crate::api::request::Request;
use axum::http::{StatusCode, header};
use serde_json::json;
use std::sync::{Arc, LazyLock};
use utoipa_swagger_ui::Config;

/// The reference's pages run their own scripts and ask their own server, nothing else.
const PAGE_POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; \
    img-src 'self' data:; font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; \
    frame-ancestors 'none'";

static CONFIG: LazyLock<Arc<Config<'static>>> = LazyLock::new(|| {
    Arc::new(
        Config::from("/api/v1/openapi.json").validator_url("none").doc_expansion("none").use_base_layout(),
    )
});

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let document = Schema::named("", json!({"type": "object", "description": "An OpenAPI 3.1 document."}));
    let page = Schema::named("", json!({"type": "string"}));
    let problem = Schema::named(
        "ProblemKind",
        json!({
            "type": "object",
            "properties": {
                "type": {"type": "string", "description": "As in the problems of this kind."},
                "title": {"type": "string", "description": "What it is called."},
                "status": {"type": "integer", "description": "The HTTP status."},
                "advice": {"type": "string", "description": "What a program can do about it."},
            },
            "required": ["type", "title", "status", "advice"],
        }),
    );
    vec![
        Endpoint::open("/api/v1/openapi.json", document_of_the_api)
            .says("service", "The API document")
            .answers(200, "OpenAPI 3.1.", document),
        Endpoint::open("/api/docs", to_the_reference)
            .says("service", "To the browsable reference")
            .answers_with(308, "Moved to `/api/docs/`.", "text/plain", None),
        Endpoint::open("/api/docs/", reference).says("service", "The browsable reference").answers_with(
            200,
            "A page.",
            "text/html",
            Some(page.clone()),
        ),
        Endpoint::open("/api/docs/{file}", reference)
            .says("service", "A file of the browsable reference")
            .answers_with(200, "The file.", "application/octet-stream", Some(page)),
        Endpoint::open("/problems/{name}", problem_kind)
            .says("service", "What a kind of problem means")
            .answers(200, "The kind.", problem),
    ]
}

async fn document_of_the_api(_: App, _: Request) -> Result<Reply, Problem> {
    static TEXT: LazyLock<String> = LazyLock::new(|| openapi::document().to_string());
    Ok(Reply::json_text(StatusCode::OK, TEXT.clone()).with(header::CACHE_CONTROL, "no-cache"))
}

async fn to_the_reference(_: App, _: Request) -> Result<Reply, Problem> {
    Ok(Reply::new(StatusCode::PERMANENT_REDIRECT, "text/plain; charset=utf-8", "")
        .with(header::LOCATION, "/api/docs/"))
}

async fn reference(_: App, request: Request) -> Result<Reply, Problem> {
    let file = match request.part("file") {
        "" => "index.html",
        name => name,
    };
    let found = utoipa_swagger_ui::serve(file, Arc::clone(&CONFIG)).map_err(|_| Problem::panicked())?;
    let found = found.ok_or_else(Problem::unknown)?;
    let reply = Reply::new(StatusCode::OK, "application/octet-stream", found.bytes.into_owned())
        .with(header::CONTENT_TYPE, &found.content_type)
        .with(header::CACHE_CONTROL, "public, max-age=3600")
        .with(header::CONTENT_SECURITY_POLICY, PAGE_POLICY);
    Ok(if found.gzpipped { reply.with(header::CONTENT_ENCODING, "gzip") } else { reply })
}

async fn problem_kind(_: App, request: Request) -> Result<Reply, Problem> {
    let kind = KINDS.iter().find(|kind| kind.name == request.part("name")).ok_or_else(Problem::unknown)?;
    Ok(Reply::ok(&json!({
        "type": format!("/problems/{}", kind.name),
        "title": kind.title,
        "status": kind.status.as_u16(),
        "advice": kind.advice,
    })))
}
