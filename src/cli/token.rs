//! `doseward token add`: makes a bearer token of an account.

use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::model::facts::account::{Account, Email};
use crate::registry::refusal::Refusal;
use crate::registry::sign_in;
use crate::store::tables::Key;
use crate::store::versions::{self, Where};
use serde_json::json;
use uuid::Uuid;

/// Tokens.
#[derive(Debug, clap::Subcommand)]
pub enum Command {
    /// Makes a token and prints it, alone, on standard output; it is never shown again.
    Add(Options),
}

/// What a token is made of.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The account's address.
    email: String,
    /// What it is for.
    #[arg(long)]
    label: String,
    /// Days until it expires, at most 365.
    #[arg(long, default_value_t = 90)]
    days: i64,
}

/// Makes the token.
///
/// # Errors
/// No such account, or a fault in what was given.
pub async fn run(session: &Session, command: Command) -> Result<(), Failure> {
    let Command::Add(options) = command;
    let account = account_of(session, &options.email)
        .await?
        .ok_or_else(|| Failure::Refused(format!("there is no account {}", options.email)))?;
    println!("{}", add(session, account, &options.label, options.days).await?);
    Ok(())
}

/// Makes a token; its secret.
pub(crate) async fn add(session: &Session, account: Uuid, label: &str, days: i64) -> Result<String, Failure> {
    let mut change = session.registry.begin_plain(&session.caller).await?;
    let body = json!({"label": label, "days": days});
    let (_, secret) = sign_in::make_token(&mut change, account, &body).await?;
    session.registry.commit(change, None).await?;
    Ok(secret)
}

/// The account with an address.
pub(crate) async fn account_of(session: &Session, email: &str) -> Result<Option<Uuid>, Failure> {
    use crate::access::policy::Action;
    let scope = session.caller.may(Action::ManageAccounts).map_err(Refusal::from)?;
    let Some(email) = Email::new(email) else { return Ok(None) };
    let mut tx = session.registry.database.read().await?;
    let as_of = session.registry.now(&mut tx).await?;
    let of_email = [Where::Is("email", Key::Text(Some(email.as_str().to_owned()))), Where::Standing];
    Ok(versions::list::<Account>(&mut tx, &scope, as_of, &of_email, None).await?.pop().map(|found| found.id))
}
