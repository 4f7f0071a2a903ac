//! `doseward rebuild`: computes every stored conclusion anew.

use crate::access::policy::Action;
use crate::cli::failure::Failure;
use crate::cli::progress::Telling;
use crate::cli::session::Session;
use crate::registry::rebuild;
use crate::registry::refusal::Refusal;

/// Computes every stored conclusion anew and says what differed from before (nothing should), and which duties and moves of
/// standing were written because of it.
///
/// # Errors
/// The caller may not; storage fails.
pub async fn run(session: &Session) -> Result<(), Failure> {
    session.caller.may(Action::VerifyJournal).map_err(Refusal::from)?;
    let mut telling = Telling::new();
    let rebuilt = rebuild::rebuild(&session.registry, |progress| telling.hear(progress)).await?;
    telling.end();
    println!("{} conclusions stand, {} differ from those before", rebuilt.rows, rebuilt.differing);
    for row in &rebuilt.first_differing {
        println!("  {} {} {}", row.kind, row.subject_id, row.agent_code);
    }
    println!("{} duties and moves of standing ought to be otherwise and were written", rebuilt.rewritten);
    for row in &rebuilt.first_rewritten {
        println!("  {} {} {} at position {}", row.kind, row.deed, row.fact_id, row.position);
    }
    Ok(())
}
