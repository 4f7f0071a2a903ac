//! Accounts and their tokens.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::facts::{Naming, answer, collection, item, list, read};
use crate::api::problem::Problem;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::model::facts::account::{Account, Token};
use crate::model::shape::Shape;
use crate::registry::facts::results::Because;
use crate::registry::place::Under;
use crate::registry::recording;
use crate::registry::sign_in::{self, TokenDraft};
use serde_json::{Value, json};

const ACCOUNT: Naming =
    Naming { tag: "accounts", one: "an account", many: "accounts", last: "accounts", component: "Account" };
const TOKEN: Naming =
    Naming { tag: "accounts", one: "a token", many: "tokens", last: "tokens", component: "Token" };

/// The endpoints of this room.
pub(crate) fn endpoints() -> Vec<Endpoint> {
    let needed = Access::Needs(Action::ManageAccounts);
    let account =
        json!({"email": "coordinator@example.org", "roles": [{"role": "coordinator", "site_ids": []}]});
    let mut all = Vec::new();
    all.extend(collection::<Account>("/accounts", Under::Nothing, ACCOUNT, account));
    all.extend(item::<Account>(ACCOUNT));
    all.extend([
        Endpoint::get("/accounts/{id}/tokens", needed, |app, request| list::<Token>(app, request, Under::Account))
            .says("accounts", "List an account's tokens")
            .paged()
            .answers(200, "A page; secrets are not among them.", answer::<Token>(TOKEN).list_of()),
        Endpoint::post("/accounts/{id}/tokens", needed, make_token)
            .says("accounts", "Make a token")
            .more(
                "The answer holds the secret in `token`, this once: only its digest is kept, and a second asking \
                 with the same Idempotency-Key answers without it. A token that opens the calendar goes into the \
                 address `/calendars/{token}/due-dates.ics` and works nowhere else.",
            )
            .takes::<TokenDraft>("TokenDraft", json!({"label": "nightly import", "days": 90}))
            .answers(201, "Made.", made_token_schema()),
        Endpoint::get("/tokens/{id}", needed, read::<Token>)
            .says("accounts", "Read a token")
            .more("Without its secret; `voided` if it is revoked.")
            .answers_one(answer::<Token>(TOKEN)),
        Endpoint::post("/tokens/{id}/revocation", needed, revoke_token)
            .says("accounts", "Revoke a token")
            .more("It stops working at once and for good.")
            .takes::<Because>("Because", json!({"reason": "The laptop was lost."}))
            .answers(201, "Revoked.", answer::<Token>(TOKEN)),
    ]);
    all
}

fn made_token_schema() -> Schema {
    let mut schema = answer::<Token>(TOKEN).schema;
    schema["properties"]["token"] =
        json!({"type": "string", "description": "The secret, for Authorization: Bearer. Shown once."});
    Schema::named("MadeTokenAnswer", schema)
}

async fn make_token(app: App, request: Request) -> Result<Reply, Problem> {
    let account = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let (version, secret) = sign_in::make_token(change, account, body).await?;
            let without = recording::view(&version);
            let mut view = without.clone();
            view["token"] = Value::String(secret);
            Ok(Made::with_secret(&format!("/tokens/{}", version.id), view, without))
        })
    })
    .await
}

async fn revoke_token(app: App, request: Request) -> Result<Reply, Problem> {
    let token = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let because = Because::parse(body)?;
            let version = sign_in::revoke_token(change, token, because.reason.as_str()).await?;
            Ok(Made::new(&format!("/tokens/{}", version.id), recording::view(&version)))
        })
    })
    .await
}
