//! What the demonstration's physician did about the examinations that the facts ask for.
//!
//! Duties are written by the registry, so no seed file can name them; they are acted on as a physician would.

use crate::cli::demo::desk::{Desk, Router, Sent};
use crate::cli::failure::Failure;
use crate::model::facts::account::Role;
use serde_json::{Value, json};

/// Examinations due in this year and later are still to be offered.
const STILL_OPEN_FROM: &str = "2026-01-01";
/// Every seventh of the earlier ones was forgotten.
const FORGOTTEN_EVERY: usize = 7;

/// Offers most of the examinations of earlier years on the day they were due; gives how many.
///
/// # Errors
/// The registry refuses one.
pub(super) async fn offer<R: Router>(desk: &Desk<R>) -> Result<usize, Failure> {
    let answer = desk.get(Role::Physician, "/duties?kind=offer_examination&status=overdue&limit=500").await?;
    let mut offered = 0;
    for (n, duty) in answer.body["items"].as_array().into_iter().flatten().enumerate() {
        let (Some(id), Some(due_on)) = (duty["id"].as_str(), duty["due_on"].as_str()) else { continue };
        if due_on >= STILL_OPEN_FROM || n % FORGOTTEN_EVERY == 0 {
            continue;
        }
        let body: Value = json!({"action": "offered", "on": due_on});
        let key = Some(format!("demo:offered:{id}"));
        let sent = Sent { kind: "application/json", body: body.to_string(), key };
        let answer = desk.post(Role::Physician, &format!("/duties/{id}/actions"), sent).await?;
        if !answer.status.is_success() {
            return Err(Failure::Refused(format!("duty {id} was not offered: {}", answer.body)));
        }
        offered += 1;
    }
    Ok(offered)
}
