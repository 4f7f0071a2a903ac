//! Accounts and what belongs to them: roles, the way in, second factor, tokens. For the administrator alone.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::account::{Account, Grant, Role, Token, TokenUse};
use crate::model::identifiers::AccountId;
use crate::model::version::Version;
use crate::pages::Pages;
use crate::pages::answer::Answer;
use crate::pages::form::{Form, Wrong};
use crate::pages::frame::{Choice, Field, Frame};
use crate::pages::names::Names;
use crate::pages::stopped::Stopped;
use crate::pages::table::{Page, Who};
use crate::pages::texts::Texts;
use crate::pages::told;
use crate::pages::visit::Visit;
use crate::pages::writing::write;
use crate::registry::correcting::{self, Expected};
use crate::registry::one_time_codes::{self, CodeUse};
use crate::registry::place::Under;
use crate::registry::recording;
use crate::registry::refusal::Refusal;
use crate::registry::sign_in;
use crate::store::backend::Tx;
use crate::store::versions::{self, AsOf, Page as Part, Where};
use askama::Template;
use axum::http::StatusCode;
use serde_json::{Value, json};
use uuid::Uuid;

/// The pages of this room.
pub(crate) fn pages() -> Vec<Page> {
    let keeps = Who::May(Action::ManageAccounts);
    vec![
        Page::get("/accounts", keeps, list).in_menu("menu-accounts"),
        Page::post("/accounts", keeps, add),
        Page::get("/accounts/{id}", keeps, show),
        Page::post("/accounts/{id}/roles", keeps, change_roles),
        Page::post("/accounts/{id}/code", keeps, make_code),
        Page::post("/accounts/{id}/second-factor/removal", keeps, take_factor_away),
        Page::post("/accounts/{id}/disabling", keeps, disable),
        Page::post("/accounts/{id}/enabling", keeps, enable),
        Page::post("/accounts/{id}/tokens", keeps, make_token),
        Page::post("/tokens/{id}/revocation", keeps, revoke_token),
    ]
}

/// The most accounts and tokens of a list.
const MOST: i64 = 500;

/// An account as the list has it.
struct AccountLine {
    email: String,
    address: String,
    roles: String,
    disabled: bool,
}

/// A role as the form offers it: on all sites, on some, or not.
struct RoleChoice {
    value: &'static str,
    label: String,
    all: bool,
    sites: Vec<Choice>,
}

#[derive(Template)]
#[template(path = "pages/accounts.html")]
struct AccountsPage {
    frame: Frame,
    accounts: Vec<AccountLine>,
    email: Field,
    roles: Vec<RoleChoice>,
    wrong: Wrong,
}

/// What of roles a form says: `role-<role>` is `all` or missing, `site-<role>` names sites.
fn grants(form: &Form) -> Value {
    let grants = Role::ALL.iter().filter_map(|role| {
        let (all, sites) = (format!("role-{role}"), format!("site-{role}"));
        if form.ticked(&all) {
            return Some(json!({"role": role.as_str()}));
        }
        let on: Vec<&str> = form.all(&sites).collect();
        (!on.is_empty()).then(|| json!({"role": role.as_str(), "site_ids": on}))
    });
    Value::Array(grants.collect())
}

/// Every role with what of it is granted.
fn choices(texts: &Texts, names: &Names, granted: &[Grant]) -> Vec<RoleChoice> {
    let choice = |role: &Role| {
        let of_role = || granted.iter().filter(move |grant| grant.role == *role);
        let on = |id: crate::model::identifiers::SiteId| {
            of_role().any(|grant| grant.site_ids.as_ref().is_some_and(|ids| ids.contains(&id)))
        };
        RoleChoice {
            value: role.as_str(),
            label: texts.word("role", role.as_str()),
            all: of_role().any(|grant| grant.site_ids.is_none()),
            sites: names
                .sites()
                .into_iter()
                .map(|(id, name)| Choice { value: id.to_string(), label: name.to_owned(), chosen: on(id) })
                .collect(),
        }
    };
    Role::ALL.iter().map(choice).collect()
}

/// The grants of a form that is shown again.
fn typed(form: &Form) -> Vec<Grant> {
    use crate::model::shape::{Faults, Shape as _};
    Vec::<Grant>::read(&grants(form), "", &mut Faults::default()).unwrap_or_default()
}

fn roles_in_words(texts: &Texts, names: &Names, granted: &[Grant]) -> String {
    let told: Vec<String> = granted
        .iter()
        .map(|grant| {
            let role = texts.word("role", grant.role.as_str());
            match &grant.site_ids {
                None => texts.with("role-on-all-sites", &[("what", &role)]),
                Some(ids) => {
                    let sites: Vec<&str> = ids.iter().filter_map(|id| names.site(*id)).collect();
                    format!("{role}, {}", sites.join(", "))
                }
            }
        })
        .collect();
    told.join("; ")
}

async fn overview(pages: &Pages, visit: &Visit, wrong: Wrong) -> Result<AccountsPage, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(visit));
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let names = Names::of(&mut tx, &caller, as_of).await?;
    let all = Part { after: None, limit: MOST };
    let found = recording::list::<Account>(&mut tx, &caller, as_of, Under::Nothing, None, all).await?;
    let mut accounts: Vec<AccountLine> = found
        .into_iter()
        .map(|account| AccountLine {
            email: account.fact.email.as_str().to_owned(),
            address: format!("/accounts/{}", account.id),
            roles: roles_in_words(texts, &names, &account.fact.roles),
            disabled: !account.stands(),
        })
        .collect();
    accounts.sort_by(|one, other| (one.disabled, &one.email).cmp(&(other.disabled, &other.email)));
    Ok(AccountsPage {
        email: Field::of(visit, &wrong, "email"),
        roles: choices(texts, &names, &typed(&visit.form)),
        accounts,
        wrong,
        frame: Frame::of(pages, visit, "accounts-title"),
    })
}

async fn list(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&overview(&pages, &visit, Wrong::default()).await?)
}

/// The faults of roles under one name, whatever place in the list they have.
fn under_roles(refusal: Refusal) -> Result<Wrong, Stopped> {
    match refusal {
        Refusal::Faults(faults) => {
            let mut wrong = Wrong::default();
            for fault in faults.iter() {
                let field = if fault.pointer.starts_with("/roles") {
                    "roles"
                } else {
                    fault.pointer.trim_start_matches('/')
                };
                wrong.note(field, fault.detail.clone());
            }
            Ok(wrong)
        }
        Refusal::Conflict { detail, .. } => Ok(Wrong::one("email", detail)),
        other => Err(other.into()),
    }
}

async fn add(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let body = json!({"email": visit.form.text("email"), "roles": grants(&visit.form)});
    let made = write(&pages, &visit, move |change| {
        Box::pin(async move { recording::record::<Account>(change, Under::Nothing, None, &body).await })
    })
    .await;
    match made {
        Ok(account) => Ok(Answer::see(&format!("/accounts/{}?said=account-made", account.id))),
        Err(refusal) => {
            let page = overview(&pages, &visit, under_roles(refusal)?).await?;
            Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page)
        }
    }
}

/// A token as the page lists it.
struct TokenLine {
    label: String,
    opens: String,
    until: String,
    revocation: String,
    /// Why it does not work any more; empty while it does.
    over: String,
}

#[derive(Template)]
#[template(path = "pages/account.html")]
struct AccountPage {
    frame: Frame,
    id: Uuid,
    email: String,
    roles_told: String,
    roles: Vec<RoleChoice>,
    disabled: String,
    has_factor: bool,
    tokens: Vec<TokenLine>,
    uses: Vec<Choice>,
    /// A secret that is shown this once: a code's address or a token.
    shown_once: String,
    shown_what: String,
    label: Field,
    days: Field,
    reason: Field,
    wrong: Wrong,
}

async fn tokens(tx: &mut Tx, as_of: AsOf, account: Uuid, texts: &Texts) -> Result<Vec<TokenLine>, Stopped> {
    let everything = Scope::everything(AccountId(account));
    let all = Part { after: None, limit: MOST };
    let found = versions::list::<Token>(tx, &everything, as_of, &[Where::Parent(account)], Some(all)).await?;
    let line = |token: Version<Token>| TokenLine {
        label: token.fact.label.to_string(),
        opens: texts.word("token-use", token.fact.opens.unwrap_or(TokenUse::Api).as_str()),
        until: told::day(token.fact.expires_on),
        revocation: format!("/tokens/{}/revocation", token.id),
        over: match &token.voided {
            Some(reason) => texts.with("token-revoked", &[("what", reason)]),
            None if token.fact.expires_on <= as_of.date => texts.t("token-expired"),
            None => String::new(),
        },
    };
    Ok(found.into_iter().rev().map(line).collect())
}

async fn page(pages: &Pages, visit: &Visit, id: Uuid, wrong: Wrong) -> Result<AccountPage, Stopped> {
    let (caller, texts) = (visit.caller(), Texts::of(visit));
    let mut tx = pages.registry.database.read().await?;
    let as_of = pages.registry.now(&mut tx).await?;
    let account = recording::read::<Account>(&mut tx, &caller, as_of, id).await?;
    let names = Names::of(&mut tx, &caller, as_of).await?;
    let tokens = tokens(&mut tx, as_of, id, texts).await?;
    drop(tx);
    let email = account.fact.email.as_str().to_owned();
    let typed = typed(&visit.form);
    let granted = if typed.is_empty() { &account.fact.roles } else { &typed };
    Ok(AccountPage {
        id,
        roles_told: roles_in_words(texts, &names, &account.fact.roles),
        roles: choices(texts, &names, granted),
        disabled: account.voided.clone().unwrap_or_default(),
        has_factor: pages.registry.has_second_factor(AccountId(id)).await?,
        tokens,
        uses: TokenUse::ALL
            .iter()
            .map(|one| {
                Choice::new(one.as_str(), texts.word("token-use", one.as_str()), visit.form.text("opens"))
            })
            .collect(),
        shown_once: String::new(),
        shown_what: String::new(),
        label: Field::of(visit, &wrong, "label"),
        days: Field::of(visit, &wrong, "days"),
        reason: Field::of(visit, &wrong, "reason"),
        wrong,
        frame: Frame::titled(pages, visit, email.clone()),
        email,
    })
}

async fn show(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    Answer::page(&page(&pages, &visit, visit.id_in_path()?, Wrong::default()).await?)
}

async fn again(pages: &Pages, visit: &Visit, id: Uuid, refusal: Refusal) -> Result<Answer, Stopped> {
    let page = page(pages, visit, id, under_roles(refusal)?).await?;
    Answer::page_with(StatusCode::UNPROCESSABLE_ENTITY, &page)
}

async fn change_roles(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let body = json!({"roles": grants(&visit.form), "reason": visit.form.text("reason")});
    let changed = write(&pages, &visit, move |change| {
        Box::pin(
            async move { correcting::correct::<Account>(change, id, &Expected::Any, &body).await.map(drop) },
        )
    })
    .await;
    match changed {
        Ok(()) => Ok(Answer::see(&format!("/accounts/{id}?said=roles-changed"))),
        Err(refusal) => again(&pages, &visit, id, refusal).await,
    }
}

async fn make_code(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let registry = pages.registry.clone();
    let code = write(&pages, &visit, move |change| {
        Box::pin(async move {
            let lifetime = one_time_codes::LIFETIME;
            one_time_codes::make_code(change, &registry, id, CodeUse::Password, lifetime).await
        })
    })
    .await?;
    let mut page = page(&pages, &visit, id, Wrong::default()).await?;
    let here = visit.headers.get("host").and_then(|host| host.to_str().ok()).unwrap_or_default();
    let base = pages.settings.public_url.clone().unwrap_or_else(|| format!("http://{here}"));
    page.shown_once = format!("{base}/enter/{code}");
    page.shown_what = Texts::of(&visit).t("account-code-made");
    Answer::page(&page)
}

async fn take_factor_away(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    pages.registry.take_second_factor_away(&visit.caller(), id).await?;
    Ok(Answer::see(&format!("/accounts/{id}?said=factor-taken-away")))
}

async fn disable(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    turn(pages, visit, true).await
}

async fn enable(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    turn(pages, visit, false).await
}

async fn turn(pages: Pages, visit: Visit, off: bool) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let texts = Texts::of(&visit);
    let Some(reason) = visit.form.given("reason").map(str::to_owned) else {
        return again(&pages, &visit, id, Refusal::fault("/reason", texts.t("reason-missing"))).await;
    };
    write(&pages, &visit, move |change| {
        Box::pin(async move {
            if off {
                recording::void::<Account>(change, id, &reason).await.map(drop)
            } else {
                recording::withdraw_voiding::<Account>(change, id, &reason).await.map(drop)
            }
        })
    })
    .await?;
    let said = if off { "said=account-disabled" } else { "said=account-enabled" };
    Ok(Answer::see(&format!("/accounts/{id}?{said}")))
}

async fn make_token(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let mut body = json!({"label": visit.form.text("label"), "opens": visit.form.text("opens")});
    if let Some(days) = visit.form.given("days") {
        body["days"] = days.parse::<i64>().map_or_else(|_| json!(days), |days| json!(days));
    }
    let made = write(&pages, &visit, move |change| {
        Box::pin(async move { sign_in::make_token(change, id, &body).await })
    })
    .await;
    match made {
        Ok((_, secret)) => {
            let mut page = page(&pages, &visit, id, Wrong::default()).await?;
            page.shown_once = secret;
            page.shown_what = Texts::of(&visit).t("account-token-made");
            page.label = Field::default();
            page.days = Field::default();
            Answer::page(&page)
        }
        Err(refusal) => again(&pages, &visit, id, refusal).await,
    }
}

async fn revoke_token(pages: Pages, visit: Visit) -> Result<Answer, Stopped> {
    let id = visit.id_in_path()?;
    let texts = Texts::of(&visit);
    let reason = visit.form.given("reason").map_or_else(|| texts.t("token-revoked-here"), str::to_owned);
    let token = write(&pages, &visit, move |change| {
        Box::pin(async move { sign_in::revoke_token(change, id, &reason).await })
    })
    .await?;
    let account = token.parent.unwrap_or_default();
    Ok(Answer::see(&format!("/accounts/{account}?said=token-revoked")))
}
