//! The line that a page leaves in the access log when it shows named workers; on disk before the page leaves.

use crate::model::identifiers::WorkerId;
use crate::pages::Pages;
use crate::pages::stopped::Stopped;
use crate::pages::visit::Visit;
use crate::registry::reading::Read;
use crate::store::versions::AsOf;

/// Leaves the line of a page that shows one worker.
///
/// # Errors
/// Only when storage fails; then the page must not leave.
pub async fn note_worker(pages: &Pages, visit: &Visit, as_of: AsOf, worker: WorkerId) -> Result<(), Stopped> {
    note(pages, visit, as_of, (Some(worker), None), 1).await
}

/// Leaves the line of a page that shows several; nothing where nobody is named.
///
/// # Errors
/// Only when storage fails; then the page must not leave.
pub async fn note_bulk(
    pages: &Pages,
    visit: &Visit,
    as_of: AsOf,
    scope: &str,
    workers: usize,
) -> Result<(), Stopped> {
    if workers == 0 {
        return Ok(());
    }
    note(pages, visit, as_of, (None, Some(scope.to_owned())), workers).await
}

async fn note(
    pages: &Pages,
    visit: &Visit,
    as_of: AsOf,
    (worker, scope): (Option<WorkerId>, Option<String>),
    workers: usize,
) -> Result<(), Stopped> {
    let request = format!("page {}", visit.route);
    let client = visit.from.map(|address| address.to_string());
    let position = as_of.position;
    let read = Read { request, worker, scope, position, workers, client, purpose: None };
    Ok(pages.registry.note_reading(&visit.caller(), read).await?)
}
