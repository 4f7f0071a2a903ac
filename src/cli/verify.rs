//! `doseward verify`: proves the journal, or names the first fault.

use crate::access::policy::Action;
use crate::cli::failure::Failure;
use crate::cli::progress::Telling;
use crate::cli::session::Session;
use crate::registry::anchor::key::PublicKey;
use crate::registry::anchor::text::Signed;
use crate::registry::refusal::Refusal;
use crate::registry::verify::anchored::{AnchorFinding, Witness};
use crate::registry::verify::{self, RecordFault, Verification};
use std::fmt::Write as _;
use std::path::{Path, PathBuf};

/// What to hold the record against.
#[derive(Debug, Default, clap::Args)]
pub struct Options {
    /// An anchor that was kept outside: nothing may have been cut off or written anew since.
    #[arg(long, value_name = "FILE")]
    anchor: Option<PathBuf>,
    /// The public key as it was kept outside (PEM); left out: one that the registry knows.
    #[arg(long, value_name = "FILE", requires = "anchor")]
    key: Option<PathBuf>,
}

/// Proves the whole record and says so, or names the first fault.
///
/// # Errors
/// The record is not sound; the caller may not prove it; storage fails.
pub async fn run(session: &Session, options: Options) -> Result<(), Failure> {
    session.caller.may(Action::VerifyJournal).map_err(Refusal::from)?;
    let witness = witness(&options)?;
    let mut telling = Telling::new();
    let hear = |progress| telling.hear(progress);
    let found = verify::verify_with(&session.registry, witness.as_ref(), hear).await?;
    let found = found.for_reader(&session.caller);
    telling.end();
    for chain in &found.chains {
        println!("{:8} entries  {}  {}", chain.entries, chain.head, chain.chain);
    }
    println!("{:8} lines    {}  access log", found.access_log.lines, found.access_log.digest);
    if found.access_log.without_place > 0 {
        println!(
            "{:8} lines of an earlier release beside it; the next start takes them in",
            found.access_log.without_place
        );
    }
    if found.originals.files > 0 {
        println!("{:8} files    {} bytes of uploaded files", found.originals.files, found.originals.bytes);
    }
    if let Some(anchor) = found.anchor.as_ref().filter(|anchor| anchor.contained) {
        println!("contains the anchor of {} at position {}", anchor.at.to_rfc3339(), anchor.position);
        println!("it is signed with the key {}", anchor.key);
        for step in &anchor.followed_by {
            println!("which was followed on {} by {}", step.at.date_naive(), step.key);
        }
    }
    if found.sound {
        println!("sound: {} entries, every version and every stored conclusion agree", found.entries);
        return Ok(());
    }
    Err(Failure::Refused(in_words(&found)))
}

fn witness(options: &Options) -> Result<Option<Witness>, Failure> {
    let Some(file) = &options.anchor else { return Ok(None) };
    let wrong = |file: &Path, what: String| Failure::Refused(format!("{}: {what}", file.display()));
    let read = |file: &Path| std::fs::read_to_string(file).map_err(|error| wrong(file, error.to_string()));
    let signed = Signed::parse(&read(file)?);
    let signed = signed.map_err(|what| wrong(file, format!("is no anchor as it was handed out: {what}")))?;
    let key = match &options.key {
        Some(file) => Some(PublicKey::from_pem(&read(file)?).map_err(|what| wrong(file, what))?),
        None => None,
    };
    Ok(Some(Witness { signed, key }))
}

fn in_words(found: &Verification) -> String {
    let record = found.first_fault.iter().map(of_record);
    let anchor = found.anchor.iter().flat_map(of_anchor);
    record.chain(anchor).collect::<Vec<_>>().join("\n")
}

fn of_record(fault: &RecordFault) -> String {
    let ordinal = fault.ordinal.map(|ordinal| format!(", entry {ordinal}")).unwrap_or_default();
    let chain = fault.chain.as_ref().map(|chain| format!(", chain {chain}")).unwrap_or_default();
    format!("the record is not sound: position {}{ordinal}{chain}: {}", fault.position, fault.what)
}

fn of_anchor(anchor: &AnchorFinding) -> Vec<String> {
    let at = anchor.at.to_rfc3339();
    let said = anchor.faults.iter().map(|fault| {
        let mut place = String::new();
        if let Some(chain) = &fault.chain {
            write!(place, "chain {chain}: ").expect("writing to a String cannot fail");
        }
        format!("the record does not contain the anchor of {at}: {place}{}", fault.what)
    });
    said.collect()
}
