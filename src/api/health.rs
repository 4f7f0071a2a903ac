//! Whether the service lives, whether it can work, and what it counts.

use crate::api::App;
use crate::api::endpoint::{Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::reply::Reply;
use crate::api::request::Request;
use axum::http::StatusCode;
use serde_json::json;
use std::time::Duration;

/// How long the database may take to say that it is there.
const PATIENCE: Duration = Duration::from_secs(3);

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let state = Schema::named(
        "Health",
        json!({
            "type": "object",
            "properties": {"status": {"type": "string", "enum": ["live", "ready"], "description": "The one asked about."}},
            "required": ["status"],
        }),
    );
    vec![
        Endpoint::open("/health/live", live).says("service", "Whether the process lives").answers(
            200,
            "It does.",
            state.clone(),
        ),
        Endpoint::open("/health/ready", ready)
            .says("service", "Whether the database can be reached")
            .more("503 with Retry-After while it cannot.")
            .answers(200, "It can.", state),
        Endpoint::open("/metrics", metrics).says("service", "Counters and latencies by route").answers_with(
            200,
            "Prometheus text format.",
            "text/plain",
            Some(Schema::of::<String>("")),
        ),
    ]
}

async fn live(_: App, _: Request) -> Result<Reply, Problem> {
    Ok(Reply::ok(&json!({"status": "live"})))
}

async fn ready(app: App, _: Request) -> Result<Reply, Problem> {
    let reach = async {
        let mut tx = app.registry.database.read().await?;
        app.registry.now(&mut tx).await
    };
    match tokio::time::timeout(PATIENCE, reach).await {
        Ok(Ok(_)) => Ok(Reply::ok(&json!({"status": "ready"}))),
        _ => Err(Problem::busy("the database cannot be reached")),
    }
}

async fn metrics(app: App, _: Request) -> Result<Reply, Problem> {
    Ok(Reply::new(
        StatusCode::OK,
        "text/plain; version=0.0.4; charset=utf-8",
        app.measures.render(&app.registry),
    ))
}
