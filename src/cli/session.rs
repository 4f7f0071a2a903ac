//! A command's access to the registry: the open database, and the caller it acts as.

use crate::access::caller::Caller;
use crate::cli::failure::Failure;
use crate::cli::operator::operator;
use crate::model::facts::account::TokenUse;
use crate::registry::enter_pack;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Registry;
use crate::service;
use crate::settings::Settings;

/// The variable that names the token a command acts with.
const TOKEN: &str = "DOSEWARD_TOKEN";

/// The registry, and who works on it.
#[derive(Debug)]
pub struct Session {
    /// The registry.
    pub registry: Registry,
    /// The caller.
    pub caller: Caller,
}

impl Session {
    /// Opens a database as the account of `DOSEWARD_TOKEN`, or as the console with the operating-system user.
    ///
    /// # Errors
    /// The database cannot be opened, or the token does not work.
    pub async fn open(settings: &Settings) -> Result<Self, Failure> {
        must_be_there(settings.database_url.reveal())?;
        let registry = service::open(settings).await?;
        let caller = match std::env::var(TOKEN) {
            Ok(token) => {
                registry.caller_of(token.trim(), TokenUse::Api).await.map_err(|refusal| match refusal {
                    Refusal::Unauthorised => Failure::Refused(format!("the token in {TOKEN} does not work")),
                    other => other.into(),
                })?
            }
            Err(_) => enter_pack::console(&operator()),
        };
        Ok(Self { registry, caller })
    }

    /// Opens a database to make an account: it may be the first thing done with it, so it need not be there yet.
    ///
    /// # Errors
    /// As [`open`](Self::open).
    pub async fn open_or_make(settings: &Settings) -> Result<Self, Failure> {
        service::open(settings).await?.database.close().await;
        Self::open(settings).await
    }

    /// Opens a database as the console, to do what the roles of no account allow.
    ///
    /// # Errors
    /// As [`open`](Self::open); and when there is a token, for it would be passed over in silence.
    pub async fn open_for_the_whole(database_url: &str) -> Result<Self, Failure> {
        must_be_the_console()?;
        must_be_there(database_url)?;
        Self::open_as_console(database_url).await
    }

    /// Opens a database as the console, whatever token there is.
    pub(crate) async fn open_as_console(database_url: &str) -> Result<Self, Failure> {
        let registry = service::open_at(database_url).await?;
        Ok(Self { registry, caller: enter_pack::console(&operator()) })
    }
}

/// Refuses a token where the whole registry is handled: no account's roles reach over all that is in it.
///
/// # Errors
/// There is a token.
pub(super) fn must_be_the_console() -> Result<(), Failure> {
    match std::env::var_os(TOKEN) {
        None => Ok(()),
        Some(_) => Err(Failure::Refused(format!(
            "a backup holds everything, medical grounds too, which the roles of no account reach over: it is made and \
             restored from the console, without {TOKEN}"
        ))),
    }
}

/// Refuses a SQLite file that is not there: a mistyped address must not become an empty registry that proves sound.
fn must_be_there(database_url: &str) -> Result<(), Failure> {
    let Some(path) = database_url.strip_prefix("sqlite:") else { return Ok(()) };
    let path = path.trim_start_matches("//").split('?').next().unwrap_or_default();
    if std::path::Path::new(path).exists() {
        Ok(())
    } else {
        Err(Failure::Refused(format!("there is no registry at {path}; serve, demo and account add make one")))
    }
}
