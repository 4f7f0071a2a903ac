//! `doseward key`: the keys that sign anchors and bundles.

use crate::access::policy::Action;
use crate::cli::anchor::put;
use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::model::shape::write_instant;
use crate::registry::anchor::key::PrivateKey;
use crate::registry::journal::hex;
use crate::registry::refusal::Refusal;
use std::path::PathBuf;

/// Keys.
#[derive(Debug, clap::Subcommand)]
pub enum Command {
    /// Lists every key that has signed here, the oldest first, and which followed which.
    List,
    /// Replaces the key: the old one announces the new one and signs nothing more.
    Rotate(Rotation),
    /// Writes every announcement into a file, for whoever keeps an older key.
    Announcements(Announcements),
}

/// What replaces the key.
#[derive(Debug, clap::Args)]
pub struct Rotation {
    /// The new private key as PEM, kept where it is; left out: a new one that the database keeps.
    #[arg(long, value_name = "FILE")]
    new: Option<PathBuf>,
}

/// Where to.
#[derive(Debug, clap::Args)]
pub struct Announcements {
    /// The file that is written; one that is there already is left as it is.
    file: PathBuf,
}

/// Does it.
///
/// # Errors
/// The caller may not; what [`rotate_key`](crate::registry::writer::Registry::rotate_key) refuses; a file is there already or
/// cannot be read.
pub async fn run(session: &Session, command: Command) -> Result<(), Failure> {
    match command {
        Command::List => list(session).await,
        Command::Rotate(rotation) => rotate(session, rotation).await,
        Command::Announcements(Announcements { file }) => {
            put(&file, &session.registry.key_announcements().await?)
        }
    }
}

async fn list(session: &Session) -> Result<(), Failure> {
    session.caller.may(Action::ReadJournal).map_err(Refusal::from)?;
    for key in session.registry.keys().await? {
        let stands = match (&key.followed_by, key.signs) {
            (Some(next), _) => format!("followed by {next}"),
            (None, true) => "signs now".to_owned(),
            (None, false) => "signs no more, and announced no other".to_owned(),
        };
        let by = key.announced_by.map(|by| format!(", announced by {by}")).unwrap_or_default();
        println!("{}  since {}{by}, {stands}", key.fingerprint, write_instant(key.since));
    }
    Ok(())
}

async fn rotate(session: &Session, rotation: Rotation) -> Result<(), Failure> {
    if session.caller.console_user.is_none() {
        return Err(Failure::Refused(
            "the key is replaced at the console, without DOSEWARD_TOKEN: whoever holds it speaks for the whole registry"
                .into(),
        ));
    }
    let new = match &rotation.new {
        Some(file) => {
            let told = |what: String| Failure::Refused(format!("{}: {what}", file.display()));
            let text = std::fs::read_to_string(file).map_err(|error| told(error.to_string()))?;
            Some(PrivateKey::from_pem(&text).map_err(told)?)
        }
        None => None,
    };
    let rotated = session.registry.rotate_key(&session.caller, new.as_ref()).await?;
    let announced = &rotated.statement.announcement;
    println!("{} signs in place of {}", hex(&announced.key.fingerprint()), hex(&announced.before));
    match &rotation.new {
        Some(file) if !rotated.kept => println!(
            "Set DOSEWARD_SIGNING_KEY_FILE to {} and start every instance anew: until then nothing is signed.",
            file.display()
        ),
        _ => println!("The database keeps it, and has forgotten the private half of the old one."),
    }
    println!("Make a backup: earlier ones hold the old key. Keep the new fingerprint beside the anchors.");
    Ok(())
}
