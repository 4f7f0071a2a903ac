//! `doseward reparse`: reads every uploaded file again and lists what this release reads otherwise.

use crate::cli::failure::Failure;
use crate::cli::progress::Telling;
use crate::cli::session::Session;
use crate::registry::originals::reparse;

/// Lists the differences; nothing is applied.
///
/// # Errors
/// The caller may not read samples; storage fails.
pub async fn run(session: &Session) -> Result<(), Failure> {
    let mut telling = Telling::new();
    let hear = |progress| telling.hear(progress);
    let found = reparse::reparse(&session.registry, &session.caller, hear).await?;
    telling.end();
    let nothing = "nothing";
    for one in &found.differences {
        println!(
            "{} {}  recorded {}  now {}",
            one.sha256,
            if one.pointer.is_empty() { "/" } else { &one.pointer },
            one.recorded.as_deref().unwrap_or(nothing),
            one.now.as_deref().unwrap_or(nothing),
        );
    }
    if found.closed > 0 {
        println!(
            "{} reports and events are in files that are closed or gone, and were not read",
            found.closed
        );
    }
    println!(
        "{} reports and events read again: {} differences; nothing was changed",
        found.read,
        found.differences.len()
    );
    Ok(())
}
