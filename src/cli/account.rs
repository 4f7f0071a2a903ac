//! `doseward account add`: makes an account.

use crate::cli::failure::Failure;
use crate::cli::session::Session;
use crate::cli::token;
use crate::model::facts::account::{Account, Role};
use crate::model::facts::site::Site;
use crate::model::identifiers::AccountId;
use crate::registry::one_time_codes::{self, CodeUse};
use crate::registry::passwords::{self, Password};
use crate::registry::place::Under;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::tables::Key;
use crate::store::versions::{self, Where};
use serde_json::{Value, json};
use std::io::Read as _;

/// Accounts.
#[derive(Debug, clap::Subcommand)]
pub enum Command {
    /// Makes an account.
    Add(Options),
    /// Prints a one-time code, as the path of a page on which the account's password is chosen; it works for an hour.
    Invite(Invited),
}

/// Whom the code is for.
#[derive(Debug, clap::Args)]
pub struct Invited {
    /// The account's address.
    email: String,
}

/// What an account is made of.
#[derive(Debug, clap::Args)]
pub struct Options {
    /// The address it is known by.
    email: String,
    /// A role, on all sites or on one: `hygienist`, `coordinator:ALD`. May be given several times.
    #[arg(long = "role", required = true, value_name = "ROLE[:SITE CODE]", value_parser = wanted)]
    roles: Vec<Wanted>,
    /// Reads the password from standard input; without it the account works with tokens alone.
    #[arg(long)]
    password_stdin: bool,
}

/// A role as it was typed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Wanted {
    role: Role,
    site_code: Option<String>,
}

/// Makes the account.
///
/// # Errors
/// A fault in what was given, or an address that is taken.
pub async fn run(session: &Session, command: Command) -> Result<(), Failure> {
    let options = match command {
        Command::Add(options) => options,
        Command::Invite(invited) => return invite(session, &invited.email).await,
    };
    let password = if options.password_stdin { Some(read_password()?) } else { None };
    add(session, &options.email, &options.roles, password).await?;
    println!("made the account {}", options.email);
    Ok(())
}

/// Makes a one-time code and prints the path that it opens, alone, on standard output.
async fn invite(session: &Session, email: &str) -> Result<(), Failure> {
    let account = token::account_of(session, email).await?;
    let account = account.ok_or_else(|| Failure::Refused(format!("there is no account {email}")))?;
    let mut change = session.registry.begin_plain(&session.caller).await?;
    let (registry, opens) = (&session.registry, CodeUse::Password);
    let code =
        one_time_codes::make_code(&mut change, registry, account, opens, one_time_codes::LIFETIME).await?;
    session.registry.commit(change, None).await?;
    println!("/enter/{code}");
    Ok(())
}

/// Makes an account in one transaction, its password with it.
pub(crate) async fn add(
    session: &Session,
    email: &str,
    roles: &[Wanted],
    password: Option<Password>,
) -> Result<AccountId, Failure> {
    let hash = match password {
        Some(password) => {
            let mut salt = [0; 16];
            session.registry.ids.random(&mut salt);
            Some(password.hash(salt).await?)
        }
        None => None,
    };
    let mut change = session.registry.begin_plain(&session.caller).await?;
    let body = json!({"email": email, "roles": grants(&mut change, roles).await?});
    let account = recording::record::<Account>(&mut change, Under::Nothing, None, &body).await?;
    let id = AccountId(account.id);
    if let Some(hash) = hash {
        passwords::keep(&mut change, id, hash).await?;
    }
    session.registry.commit(change, None).await?;
    Ok(id)
}

/// A role on all sites.
pub(crate) const fn on_all_sites(role: Role) -> Wanted {
    Wanted { role, site_code: None }
}

fn wanted(text: &str) -> Result<Wanted, String> {
    let (role, site_code) = match text.split_once(':') {
        Some((_, "")) => return Err("the site's code is missing after the colon".into()),
        Some((role, code)) => (role, Some(code.to_owned())),
        None => (text, None),
    };
    let role = Role::from_word(role).ok_or_else(|| {
        let all: Vec<&str> = Role::ALL.iter().map(|role| role.as_str()).collect();
        format!("there is no role {role}; the roles are {}", all.join(", "))
    })?;
    Ok(Wanted { role, site_code })
}

/// The grants as the account keeps them: a role on all sites swallows the same role on one.
async fn grants(change: &mut Change, roles: &[Wanted]) -> Result<Value, Failure> {
    let mut grants = Vec::new();
    for role in Role::ALL {
        let of_role: Vec<&Wanted> = roles.iter().filter(|wanted| wanted.role == *role).collect();
        if of_role.is_empty() {
            continue;
        }
        let codes: Option<Vec<&String>> = of_role.iter().map(|wanted| wanted.site_code.as_ref()).collect();
        let Some(codes) = codes else {
            grants.push(json!({"role": role.as_str()}));
            continue;
        };
        let mut site_ids = Vec::new();
        for code in codes {
            let id = site_of(change, code).await?.to_string();
            if !site_ids.contains(&id) {
                site_ids.push(id);
            }
        }
        grants.push(json!({"role": role.as_str(), "site_ids": site_ids}));
    }
    Ok(Value::Array(grants))
}

/// The site of a code.
pub(crate) async fn site_of(change: &mut Change, code: &str) -> Result<uuid::Uuid, Failure> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_code = [Where::Is("code", Key::Text(Some(code.to_owned()))), Where::Standing];
    let found = versions::list::<Site>(&mut change.tx, &scope, as_of, &of_code, None)
        .await
        .map_err(Refusal::from)?
        .pop();
    found
        .map(|site| site.id)
        .ok_or_else(|| Failure::Refused(format!("there is no site with the code {code}")))
}

/// One line of standard input, without its end.
fn read_password() -> Result<Password, Failure> {
    let mut text = String::new();
    std::io::stdin().take(4096).read_to_string(&mut text)?;
    Ok(Password::new(text.lines().next().unwrap_or_default())?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_role_is_for_all_sites_or_for_the_one_behind_the_colon() {
        assert_eq!(wanted("hygienist"), Ok(on_all_sites(Role::Hygienist)));
        let at_site = Wanted { role: Role::Coordinator, site_code: Some("ALD".into()) };
        assert_eq!(wanted("coordinator:ALD"), Ok(at_site));
        assert!(wanted("coordinator:").is_err());
        assert!(wanted("king").is_err());
    }
}
