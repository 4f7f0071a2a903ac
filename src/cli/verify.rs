//! `doseward verify`: proves the journal, or names the first fault.

use crate::access::policy::Action;
use crate::cli::failure::Failure;
use crate::cli::progress::Telling;
use crate::cli::session::Session;
use crate::registry::refusal::Refusal;
use crate::registry::verify::{self, RecordFault};

/// Proves the whole record and says so, or names the first fault.
///
/// # Errors
/// The record is not sound; the caller may not prove it; storage fails.
pub async fn run(session: &Session) -> Result<(), Failure> {
    session.caller.may(Action::VerifyJournal).map_err(Refusal::from)?;
    let mut telling = Telling::new();
    let found = verify::verify(&session.registry, |progress| telling.hear(progress)).await?;
    let found = found.for_reader(&session.caller);
    telling.end();
    for chain in &found.chains {
        println!("{:8} entries  {}  {}", chain.entries, chain.head, chain.chain);
    }
    match &found.first_fault {
        None => {
            println!("sound: {} entries, every version and every stored conclusion agree", found.entries);
            Ok(())
        }
        Some(fault) => Err(Failure::Refused(in_words(fault))),
    }
}

fn in_words(fault: &RecordFault) -> String {
    let ordinal = fault.ordinal.map(|ordinal| format!(", entry {ordinal}")).unwrap_or_default();
    let chain = fault.chain.as_ref().map(|chain| format!(", chain {chain}")).unwrap_or_default();
    format!("the record is not sound: position {}{ordinal}{chain}: {}", fault.position, fault.what)
}
