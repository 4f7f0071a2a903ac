//! The line that a page leaves in the access log when it shows named workers; on disk before the page leaves.

use crate::model::identifiers::WorkerId;
use crate::pages::Pages;
use crate::pages::stopped::Stopped;
use crate::pages::visit::Visit;
use crate::registry::reading::Read;
use crate::store::versions::AsOf;
use std::collections::BTreeSet;

/// The field in which a reader says what he looks for.
pub const PURPOSE: &str = "stated_purpose";
/// The most signs of it that are kept.
const PURPOSE_MOST: usize = 200;

/// Leaves the line of a page that shows one worker.
///
/// # Errors
/// Only when storage fails; then the page must not leave.
pub async fn note_worker(pages: &Pages, visit: &Visit, as_of: AsOf, worker: WorkerId) -> Result<(), Stopped> {
    note(pages, visit, as_of, (Some(worker), None), 1).await
}

/// Leaves the line of a page that names these workers and spans a thing they belong to; of one alone it names him.
///
/// # Errors
/// Only when storage fails; then the page must not leave.
pub async fn note_spanning(
    pages: &Pages,
    visit: &Visit,
    as_of: AsOf,
    scope: String,
    workers: BTreeSet<WorkerId>,
) -> Result<(), Stopped> {
    let Some(first) = workers.first() else { return Ok(()) };
    let alone = (workers.len() == 1).then_some(*first);
    note(pages, visit, as_of, (alone, Some(scope)), workers.len()).await
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
    // What it is for is sent as a form, since it may tell of symptoms, which belong into no address.
    let purpose = visit.form.given(PURPOSE).map(printable);
    let read = Read { request, worker, scope, position, workers, client, purpose };
    Ok(pages.registry.note_reading(&visit.caller(), read).await?)
}

/// A purpose as it is kept: signs that can be printed, and not too many.
fn printable(text: &str) -> String {
    text.chars().filter(|sign| !sign.is_control()).take(PURPOSE_MOST).collect()
}
