//! Somebody who speaks to the service, and keeps the driver's list.

use crate::acknowledged::List;
use doseward::model::facts::account::Account;
use doseward::registry::enter_pack::console;
use doseward::registry::place::Under;
use doseward::registry::recording;
use doseward::registry::sign_in::make_token;
use doseward::registry::writer::Registry;
use reqwest::header::HeaderMap;
use serde_json::{Value, json};

/// Somebody with a token.
#[derive(Debug, Clone)]
pub(crate) struct Client {
    http: reqwest::Client,
    token: String,
}

/// What came back.
#[derive(Debug, Clone)]
pub(crate) struct Answer {
    /// HTTP status.
    pub(crate) status: u16,
    /// Headers.
    pub(crate) headers: HeaderMap,
    /// The body.
    pub(crate) text: String,
}

impl Answer {
    /// The body as JSON.
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or(Value::Null)
    }

    /// The identifier of what was made; the test ends here if nothing was.
    pub(crate) fn id(&self) -> String {
        assert_eq!(self.status, 201, "{}", self.text);
        self.json()["id"].as_str().unwrap().to_owned()
    }

    /// The name of the problem.
    pub(crate) fn problem(&self) -> String {
        let kind = self.json()["type"].as_str().unwrap_or_default().to_owned();
        kind.strip_prefix("/problems/").unwrap_or("none").to_owned()
    }

    /// A header as text; empty if it is not there.
    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }
}

impl Client {
    /// A new account of a role on all sites, made past the service.
    pub(crate) async fn of_role(registry: &Registry, role: &str) -> Self {
        let mut change = registry.begin_plain(&console("trust")).await.unwrap();
        let body = json!({"email": format!("{role}@example.org"), "roles": [{"role": role}]});
        let account = recording::record::<Account>(&mut change, Under::Nothing, None, &body).await.unwrap();
        let (_, token) = make_token(&mut change, account.id, &json!({"label": "trust"})).await.unwrap();
        registry.commit(change, None).await.unwrap();
        // A connection that was answered is not used again: what one request meets is its own.
        let http = reqwest::Client::builder().pool_max_idle_per_host(0).build().unwrap();
        Self { http, token }
    }

    /// A request to be filled in.
    pub(crate) fn request(&self, method: &str, address: &str, path: &str) -> reqwest::RequestBuilder {
        let method = reqwest::Method::from_bytes(method.as_bytes()).unwrap();
        self.http.request(method, format!("{address}/api/v1{path}")).bearer_auth(&self.token)
    }

    /// `GET`; the test ends here if there is no answer.
    pub(crate) async fn get(&self, address: &str, path: &str) -> Answer {
        answered(self.request("GET", address, path)).await.unwrap()
    }

    /// `POST`; the test ends here if there is no answer.
    pub(crate) async fn post(&self, address: &str, path: &str, body: &Value) -> Answer {
        answered(self.request("POST", address, path).json(body)).await.unwrap()
    }

    /// `POST` with a key, on the list before it is sent and when it is acknowledged; nothing where no whole answer came.
    pub(crate) async fn post_listed(&self, list: &List, address: &str, asked: &Asked) -> Option<Answer> {
        list.sent(&asked.key, &asked.deed, &asked.about);
        let request = self.request("POST", address, &asked.path).header("idempotency-key", &asked.key);
        let request = match &asked.body {
            Value::String(file) => request.header("content-type", "text/csv").body(file.clone()),
            json => request.json(json),
        };
        let answer = answered(request).await?;
        if answer.status < 300 {
            list.acknowledged(&asked.key, &json!({"status": answer.status, "id": answer.json()["id"]}));
        }
        Some(answer)
    }
}

/// A request that the driver keeps.
#[derive(Debug, Clone)]
pub(crate) struct Asked {
    /// Its key.
    pub(crate) key: String,
    /// Where it goes.
    pub(crate) path: String,
    /// JSON; a text is a CSV file.
    pub(crate) body: Value,
    /// What is done, for the list.
    pub(crate) deed: String,
    /// What it is about, for the list.
    pub(crate) about: Value,
}

/// Sends a request; nothing where no whole answer came.
pub(crate) async fn answered(request: reqwest::RequestBuilder) -> Option<Answer> {
    let answer = request.send().await.ok()?;
    let (status, headers) = (answer.status().as_u16(), answer.headers().clone());
    // An answer that broke off is none.
    let text = answer.text().await.ok()?;
    Some(Answer { status, headers, text })
}
