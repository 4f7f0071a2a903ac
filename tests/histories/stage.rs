//! A registry behind its router, with a clock that moves by hand and identifiers that are counted.
//!
//! Nothing follows the marks in the background: with that, the same requests find everything in the same state.

use axum::Router;
use axum::body::Body;
use axum::http::{HeaderMap, Request, header, request};
use chrono::{DateTime, Duration, TimeZone as _, Utc};
use doseward::api::{App, dispatch};
use doseward::model::facts::account::Account;
use doseward::registry::backup::restore::Backup;
use doseward::registry::clock::{Clock, Ids};
use doseward::registry::enter_pack::console;
use doseward::registry::place::Under;
use doseward::registry::writer::Registry;
use doseward::registry::{recording, sign_in};
use doseward::store::backend::Database;
use doseward::surveillance::pack::Pack;
use http_body_util::BodyExt as _;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, Connection as _, PgConnection};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use tower::ServiceExt as _;
use uuid::Uuid;

/// Who asks.
const ROLES: [&str; 3] = ["hygienist", "physician", "corporate"];

/// Stands still until it is moved.
struct HandClock(AtomicI64);

impl Clock for HandClock {
    fn now(&self) -> DateTime<Utc> {
        // 2 March 2026 is a Monday.
        Utc.with_ymd_and_hms(2026, 3, 2, 15, 0, 0).unwrap() + Duration::seconds(self.0.load(Ordering::SeqCst))
    }
}

/// Counted, not drawn.
struct CountedIds(AtomicU64);

impl Ids for CountedIds {
    fn id(&self, at: DateTime<Utc>) -> Uuid {
        let mut counted = [0; 10];
        counted[2..].copy_from_slice(&self.0.fetch_add(1, Ordering::SeqCst).to_be_bytes());
        uuid::Builder::from_unix_timestamp_millis(u64::try_from(at.timestamp_millis()).unwrap(), &counted)
            .into_uuid()
    }

    fn random(&self, into: &mut [u8]) {
        let counted = self.0.fetch_add(1, Ordering::SeqCst).to_be_bytes();
        for (byte, counted) in into.iter_mut().zip(counted.iter().rev().cycle()) {
            *byte = *counted;
        }
    }
}

/// What came back.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Answer {
    /// HTTP status.
    pub(crate) status: u16,
    /// The body.
    pub(crate) text: String,
}

impl Answer {
    /// The body as JSON.
    pub(crate) fn json(&self) -> Value {
        serde_json::from_str(&self.text).unwrap_or(Value::Null)
    }

    /// The identifier of what was made, if anything was.
    pub(crate) fn id(&self) -> Option<String> {
        (self.status == 201).then(|| self.json()["id"].as_str().map(str::to_owned)).flatten()
    }
}

/// A registry behind its router.
pub(crate) struct Stage {
    /// The registry.
    pub(crate) registry: Registry,
    clock: Arc<HandClock>,
    router: Router,
    tokens: BTreeMap<&'static str, String>,
    _kept: Kept,
}

impl Stage {
    /// One on the engine that the tests run on.
    pub(crate) async fn set() -> Self {
        match server() {
            Some(server) => Self::on_postgres(&server).await,
            None => Self::on_sqlite().await,
        }
    }

    /// One on SQLite.
    pub(crate) async fn on_sqlite() -> Self {
        let (url, kept) = place_on_sqlite();
        Self::over(&url, kept).await
    }

    /// One on PostgreSQL, in a database of its own.
    pub(crate) async fn on_postgres(server: &str) -> Self {
        let (url, kept) = place_on_postgres(server).await;
        Self::over(&url, kept).await
    }

    /// A registry of its own at the same moment, restored from a backup of this one: on PostgreSQL where a server is
    /// named. Whoever had a token here has it there.
    pub(crate) async fn restored(&self, backup: &Path, server: Option<&str>) -> Self {
        let (url, kept) = match server {
            Some(server) => place_on_postgres(server).await,
            None => place_on_sqlite(),
        };
        let database = Database::open(&url).await.unwrap();
        let clock = Arc::new(HandClock(AtomicI64::new(self.clock.0.load(Ordering::SeqCst))));
        // Identifiers that the other registry has not given yet.
        let registry = Registry::new(database, clock.clone(), Arc::new(CountedIds(AtomicU64::new(1 << 40))));
        let backup = Backup::open(backup, |_| {}).unwrap();
        let restored = backup.restore(&registry, |_| {}).await.unwrap();
        assert_eq!(restored.written_since, 0, "no time has passed, so nothing follows");
        let router = dispatch::router(App::new(registry.clone()));
        Self { registry, clock, router, tokens: self.tokens.clone(), _kept: kept }
    }

    async fn over(url: &str, kept: Kept) -> Self {
        let database = Database::open(url).await.unwrap();
        let clock = Arc::new(HandClock(AtomicI64::new(0)));
        let registry = Registry::new(database, clock.clone(), Arc::new(CountedIds(AtomicU64::new(0))));
        registry.enter_pack(Pack::built_in()).await.unwrap();
        let router = dispatch::router(App::new(registry.clone()));
        let mut stage = Self { registry, clock, router, tokens: BTreeMap::new(), _kept: kept };
        for role in ROLES {
            stage.join(role, json!([{"role": role}])).await;
        }
        stage
    }

    /// Lets somebody in who has roles of his own.
    pub(crate) async fn join(&mut self, name: &'static str, roles: Value) {
        let token = account(&self.registry, name, roles).await;
        self.tokens.insert(name, token);
    }

    /// Now.
    pub(crate) fn now(&self) -> DateTime<Utc> {
        self.clock.now()
    }

    /// Lets time pass.
    pub(crate) fn pass(&self, seconds: i64) {
        self.clock.0.fetch_add(seconds, Ordering::SeqCst);
    }

    /// Lets days pass, and the registry look at what a new day changes.
    pub(crate) async fn pass_days(&self, days: i64) {
        self.pass(days * 86_400);
        self.registry.follow_marks(std::future::ready(())).await;
    }

    /// Follows every mark.
    pub(crate) async fn settle(&self) {
        self.registry.settle().await.unwrap();
    }

    /// `GET`.
    pub(crate) async fn get(&self, who: &str, path: &str) -> Answer {
        self.ask(who, "GET", path, "", Body::empty()).await
    }

    /// `GET` of what must be there.
    pub(crate) async fn read(&self, who: &str, path: &str) -> String {
        let answer = self.get(who, path).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.text);
        answer.text
    }

    /// `POST` of JSON.
    pub(crate) async fn post(&self, who: &str, path: &str, body: &Value) -> Answer {
        self.ask(who, "POST", path, "application/json", Body::from(body.to_string())).await
    }

    /// `PATCH`, against the revision that a tag names.
    pub(crate) async fn patch(&self, who: &str, path: &str, tag: Option<&str>, body: &Value) -> Answer {
        let request = Request::builder().header(header::CONTENT_TYPE, "application/json");
        let request = match tag {
            Some(tag) => request.header(header::IF_MATCH, tag),
            None => request,
        };
        self.send(who, "PATCH", path, request, Body::from(body.to_string())).await.0
    }

    /// `GET` of one thing that must be there, with its tag.
    pub(crate) async fn tagged(&self, who: &str, path: &str) -> (Answer, String) {
        let (answer, headers) = self.send(who, "GET", path, Request::builder(), Body::empty()).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.text);
        (answer, headers[header::ETAG].to_str().unwrap().to_owned())
    }

    /// `POST` of a CSV file.
    pub(crate) async fn post_csv(&self, who: &str, path: &str, file: String) -> Answer {
        self.ask(who, "POST", path, "text/csv", Body::from(file)).await
    }

    async fn ask(&self, who: &str, method: &str, path: &str, media_type: &str, body: Body) -> Answer {
        let mut request = Request::builder();
        if !media_type.is_empty() {
            request = request.header(header::CONTENT_TYPE, media_type);
        }
        self.send(who, method, path, request, body).await.0
    }

    async fn send(
        &self,
        who: &str,
        method: &str,
        path: &str,
        request: request::Builder,
        body: Body,
    ) -> (Answer, HeaderMap) {
        let base = if path == "/metrics" { "" } else { "/api/v1" };
        let request = request
            .method(method)
            .uri(format!("{base}{path}"))
            .header(header::AUTHORIZATION, format!("Bearer {}", self.tokens[who]))
            .header("x-request-id", "replayed");
        let response = self.router.clone().oneshot(request.body(body).unwrap()).await.unwrap();
        let (head, body) = response.into_parts();
        let bytes = body.collect().await.unwrap().to_bytes();
        let text = String::from_utf8(bytes.to_vec()).unwrap();
        (Answer { status: head.status.as_u16(), text }, head.headers)
    }
}

/// A fresh SQLite file.
fn place_on_sqlite() -> (String, Kept) {
    let folder = tempfile::tempdir().unwrap();
    let url = format!("sqlite:{}", folder.path().join("registry.sqlite").display());
    (url, Kept::Folder { _folder: folder })
}

/// A fresh database on the server.
async fn place_on_postgres(server: &str) -> (String, Kept) {
    static MADE: AtomicU64 = AtomicU64::new(0);
    // Names as the API's tests use them: what a killed run leaves over is swept away by the next.
    let count = MADE.fetch_add(1, Ordering::SeqCst);
    let name = format!("doseward_test_{}_replay{count}", std::process::id());
    on_server(server, format!("CREATE DATABASE {name}")).await;
    let (before, _) = server.rsplit_once('/').unwrap();
    (format!("{before}/{name}"), Kept::Server { url: server.to_owned(), name })
}

/// A new account with roles; gives its token.
async fn account(registry: &Registry, name: &str, roles: Value) -> String {
    let mut change = registry.begin_plain(&console("test")).await.unwrap();
    let body = json!({"email": format!("{name}@example.org"), "roles": roles});
    let account = recording::record::<Account>(&mut change, Under::Nothing, None, &body).await.unwrap();
    let body = json!({"label": "test", "days": 365});
    let (_, secret) = sign_in::make_token(&mut change, account.id, &body).await.unwrap();
    registry.commit(change, None).await.unwrap();
    secret
}

/// The PostgreSQL server on which databases may be made, if there is one.
pub(crate) fn server() -> Option<String> {
    std::env::var("TEST_DATABASE_URL").ok()
}

/// What is gone when the stage is.
enum Kept {
    Folder { _folder: tempfile::TempDir },
    Server { url: String, name: String },
}

async fn on_server(url: &str, sql: String) {
    let mut server = PgConnection::connect(url).await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut server).await.unwrap();
    server.close().await.unwrap();
}

impl Drop for Kept {
    fn drop(&mut self) {
        if let Self::Server { url, name } = self {
            let (url, sql) = (url.clone(), format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)"));
            // A runtime of its own: the test's is on its way out.
            let dropped = std::thread::spawn(move || {
                let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
                runtime.block_on(on_server(&url, sql));
            });
            drop(dropped.join());
        }
    }
}
