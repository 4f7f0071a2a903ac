//! Somebody with a browser that knows no script: cookies, forms, nothing else.

use crate::harness::TestApp;
use doseward::model::facts::account::Role;
use doseward::model::identifiers::AccountId;
use doseward::registry::clock::Clock as _;
use doseward::registry::enter_pack::console;
use doseward::registry::one_time_codes::{self, CodeUse};
use doseward::registry::passwords::{self, Password};
use serde_json::Value;
use std::collections::BTreeMap;
use std::sync::Mutex;

/// The password of every person of these tests.
pub(crate) const PASSWORD: &str = "three brass lamps at noon";

/// Somebody at a browser.
pub(crate) struct Person {
    address: String,
    client: reqwest::Client,
    cookies: Mutex<BTreeMap<String, String>>,
}

/// What came back.
#[derive(Debug)]
pub(crate) struct Page {
    pub(crate) status: u16,
    pub(crate) headers: reqwest::header::HeaderMap,
    pub(crate) html: String,
}

impl Page {
    /// A header as text; empty if it is not there.
    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// Where it leads.
    pub(crate) fn leads_to(&self) -> &str {
        self.header("location")
    }

    /// The token of its forms.
    pub(crate) fn token(&self) -> String {
        let after = self.html.split("name=\"form_token\" value=\"").nth(1).unwrap_or_default();
        after.split('"').next().unwrap_or_default().to_owned()
    }
}

impl Person {
    /// Somebody new at an address.
    pub(crate) fn at(address: &str) -> Self {
        let client = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
        Self { address: address.to_owned(), client, cookies: Mutex::default() }
    }

    /// Somebody who is signed in as an account of the test.
    pub(crate) async fn signed_in(app: &TestApp, name: &str) -> Self {
        set_password(app, name).await;
        let person = Self::at(&app.address);
        let page = person.sign_in(&format!("{name}@example.org"), PASSWORD).await;
        assert_eq!((page.status, page.leads_to()), (303, "/"), "{}", page.html);
        person
    }

    /// Somebody who is signed in as an account of the test, with the second factor where one is asked for.
    pub(crate) async fn signed_in_whole(app: &TestApp, name: &str) -> Self {
        set_password(app, name).await;
        let person = Self::at(&app.address);
        let page = person.sign_in(&format!("{name}@example.org"), PASSWORD).await;
        if page.leads_to() != "/" {
            let enrol = person.get("/sign-in/second-factor").await;
            let code = code_of(app, &enrol);
            let given = person
                .send_form("/sign-in/second-factor", "/sign-in/second-factor", &[("code", &code)])
                .await;
            assert_eq!(given.leads_to(), "/", "{}", given.html);
        }
        person
    }

    /// Looks at a page.
    pub(crate) async fn get(&self, path: &str) -> Page {
        self.send(self.client.get(format!("{}{path}", self.address)).header("accept", "text/html")).await
    }

    /// Sends a form as its page would: with the origin of that page.
    pub(crate) async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Page {
        self.post_from(path, fields, Some(&self.address)).await
    }

    /// Sends a form from any page.
    pub(crate) async fn post_from(&self, path: &str, fields: &[(&str, &str)], origin: Option<&str>) -> Page {
        let body = serde_urlencoded::to_string(fields).unwrap();
        let mut request = self
            .client
            .post(format!("{}{path}", self.address))
            .header("accept", "text/html")
            .header("content-type", "application/x-www-form-urlencoded")
            .body(body);
        if let Some(origin) = origin {
            request = request.header("origin", origin);
        }
        self.send(request).await
    }

    /// Sends a form with a file, written out with `x` between its parts.
    pub(crate) async fn post_multipart(&self, path: &str, body: String) -> Page {
        let request = self
            .client
            .post(format!("{}{path}", self.address))
            .header("accept", "text/html")
            .header("content-type", "multipart/form-data; boundary=x")
            .header("origin", &self.address)
            .body(body);
        self.send(request).await
    }

    /// Sends a form with the token of the page that it stands on.
    pub(crate) async fn send_form(&self, page: &str, path: &str, fields: &[(&str, &str)]) -> Page {
        let token = self.get(page).await.token();
        let mut all = vec![("form_token", token.as_str())];
        all.extend(fields);
        self.post(path, &all).await
    }

    /// Signs in.
    pub(crate) async fn sign_in(&self, email: &str, password: &str) -> Page {
        self.post("/sign-in", &[("email", email), ("password", password)]).await
    }

    /// The value of a cookie.
    pub(crate) fn cookie(&self, name: &str) -> Option<String> {
        self.cookies.lock().unwrap().get(name).cloned()
    }

    /// Puts a cookie there.
    pub(crate) fn set_cookie(&self, name: &str, value: &str) {
        self.cookies.lock().unwrap().insert(name.to_owned(), value.to_owned());
    }

    async fn send(&self, request: reqwest::RequestBuilder) -> Page {
        let cookies: Vec<String> =
            self.cookies.lock().unwrap().iter().map(|(name, value)| format!("{name}={value}")).collect();
        let request = if cookies.is_empty() { request } else { request.header("cookie", cookies.join("; ")) };
        let response = request.send().await.unwrap();
        for line in response.headers().get_all("set-cookie") {
            let pair = line.to_str().unwrap().split(';').next().unwrap();
            let (name, value) = pair.split_once('=').unwrap();
            let mut kept = self.cookies.lock().unwrap();
            if value.is_empty() {
                kept.remove(name)
            } else {
                kept.insert(name.into(), value.into())
            };
        }
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        Page { status, headers, html: response.text().await.unwrap() }
    }
}

/// The identifier of an account of the test.
pub(crate) async fn account(app: &TestApp, name: &str) -> uuid::Uuid {
    let mut after = String::new();
    loop {
        let page = app.as_role("administrator").get(&format!("/accounts?limit=500{after}")).await;
        let items = page.json["items"].as_array().unwrap();
        let email = Value::String(format!("{name}@example.org"));
        if let Some(found) = items.iter().find(|one| one["email"] == email) {
            return found["id"].as_str().unwrap().parse().unwrap();
        }
        after = format!("&after={}", page.json["next"].as_str().unwrap());
    }
}

/// Gives an account of the test its password, as the command line would.
pub(crate) async fn set_password(app: &TestApp, name: &str) {
    let id = account(app, name).await;
    let hash = passwords::hashed(&app.registry, Password::new(PASSWORD).unwrap()).await.unwrap();
    let mut change = app.registry.begin_plain(&console("test")).await.unwrap();
    passwords::keep(&mut change, AccountId(id), hash).await.unwrap();
    app.registry.commit(change, None).await.unwrap();
}

/// A one-time code of an account of the test.
pub(crate) async fn one_time_code(app: &TestApp, name: &str) -> String {
    let id = account(app, name).await;
    let mut change = app.registry.begin_plain(&console("test")).await.unwrap();
    let lifetime = one_time_codes::LIFETIME;
    let code = one_time_codes::make_code(&mut change, &app.registry, id, CodeUse::Password, lifetime).await;
    app.registry.commit(change, None).await.unwrap();
    code.unwrap()
}

/// The roles whose people give no second factor.
pub(crate) const WITHOUT_FACTOR: [Role; 3] = [Role::Hygienist, Role::Coordinator, Role::Corporate];

/// The code that an app shows now, from what the page gives it to type in.
pub(crate) fn code_of(app: &TestApp, page: &Page) -> String {
    let secret = page.html.split("class=\"secret\">").nth(1).unwrap().split('<').next().unwrap();
    code_for(app, secret)
}

/// The code that an app shows now for a secret as it is typed in.
pub(crate) fn code_for(app: &TestApp, secret: &str) -> String {
    let secret: String = secret.split_whitespace().collect();
    let totp = totp_rs::Builder::new().with_secret(totp_rs::Secret::try_from_base32(secret).unwrap());
    let now = u64::try_from(app.clock.now().timestamp()).unwrap();
    totp.build().unwrap().generate(now).to_string()
}
