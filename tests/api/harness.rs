//! A service for one test: its own port, database, clock and identifiers, and accounts of the five roles.

use chrono::{DateTime, Duration, Utc};
use doseward::access::caller::Caller;
use doseward::model::facts::account::Account;
use doseward::registry::backup::restore::Backup;
use doseward::registry::bundle::Bundle;
use doseward::registry::clock::{Clock, Ids};
use doseward::registry::enter_pack::console;
use doseward::registry::place::Under;
use doseward::registry::recording;
use doseward::registry::sign_in;
use doseward::registry::writer::Registry;
use doseward::service::{Service, ServiceError};
use doseward::store::backend::Database;
use doseward::surveillance::pack::Pack;
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use sqlx::{AssertSqlSafe, Connection as _};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::atomic::{AtomicI64, AtomicU64, Ordering};
use std::sync::{Arc, Mutex};
use tokio::net::TcpListener;
use tokio::sync::oneshot;
use tokio::task::JoinHandle;
use uuid::Uuid;

/// The roles that every service of a test has an account of, on all sites.
pub(crate) const ROLES: [&str; 5] = ["administrator", "hygienist", "coordinator", "physician", "corporate"];

/// A clock that stands at noon of 2 March 2026 (UTC) and moves a millisecond whenever it is looked at.
#[derive(Debug, Default)]
pub(crate) struct SteppingClock(AtomicI64);

impl SteppingClock {
    /// That many milliseconds after noon.
    fn from(millis: i64) -> Self {
        Self(AtomicI64::new(millis))
    }

    /// Moves it forward.
    pub(crate) fn advance(&self, by: Duration) {
        self.0.fetch_add(by.num_milliseconds(), Ordering::SeqCst);
    }
}

impl Clock for SteppingClock {
    fn now(&self) -> DateTime<Utc> {
        let noon = DateTime::parse_from_rfc3339("2026-03-02T12:00:00Z").unwrap().to_utc();
        noon + Duration::milliseconds(self.0.fetch_add(1, Ordering::SeqCst))
    }
}

/// Identifiers and bytes from a counter: the same requests get the same ones.
#[derive(Debug, Default)]
pub(crate) struct SeededIds(AtomicU64);

impl SeededIds {
    /// From this count on.
    fn from(count: u64) -> Self {
        Self(AtomicU64::new(count))
    }

    fn draw(&self) -> [u8; 32] {
        Sha256::digest(self.0.fetch_add(1, Ordering::SeqCst).to_be_bytes()).into()
    }
}

impl Ids for SeededIds {
    fn id(&self, at: DateTime<Utc>) -> Uuid {
        let millis = u64::try_from(at.timestamp_millis()).unwrap();
        let count = self.0.fetch_add(1, Ordering::SeqCst);
        // The counter fills the bits after the time, so that identifiers sort as they were made.
        let mut bytes = [0; 10];
        bytes[2..].copy_from_slice(&count.to_be_bytes());
        uuid::Builder::from_unix_timestamp_millis(millis, &bytes).into_uuid()
    }

    fn random(&self, into: &mut [u8]) {
        for part in into.chunks_mut(32) {
            part.copy_from_slice(&self.draw()[..part.len()]);
        }
    }
}

/// A running service.
pub(crate) struct TestApp {
    /// `http://127.0.0.1:<port>`.
    pub(crate) address: String,
    /// The registry behind it.
    pub(crate) registry: Registry,
    /// Its clock.
    pub(crate) clock: Arc<SteppingClock>,
    client: reqwest::Client,
    tokens: Mutex<BTreeMap<String, String>>,
    stop: Option<oneshot::Sender<()>>,
    serving: JoinHandle<Result<(), ServiceError>>,
    database: TestDatabase,
}

impl TestApp {
    /// Starts a service on a fresh database: schema, built-in rules, an account of each role.
    pub(crate) async fn spawn() -> Self {
        let template = Template::get().await;
        let database = template.copy().await;
        let opened = Database::open(&database.url).await.unwrap();
        let clock = Arc::new(SteppingClock::from(60_000));
        let registry = Registry::new(opened, clock.clone(), Arc::new(SeededIds::from(1 << 32)));
        Self::over(database, registry, clock, template.tokens.clone()).await
    }

    /// Starts a service of its own over a registry restored from a backup of this one, on SQLite or on whichever engine
    /// the tests run on. Whoever had a token here has it there.
    pub(crate) async fn restored(&self, backup: &Path, on_sqlite: bool) -> Self {
        let database = if on_sqlite { TestDatabase::on_sqlite(None) } else { TestDatabase::empty().await };
        let opened = Database::open(&database.url).await.unwrap();
        let clock = Arc::new(SteppingClock::from(self.clock.0.load(Ordering::SeqCst)));
        let registry = Registry::new(opened, clock.clone(), Arc::new(SeededIds::from(1 << 48)));
        let backup = Backup::open(backup, |_| {}).unwrap();
        let restored = backup.restore(&registry, |_| {}).await.unwrap();
        assert_eq!(restored.written_since, 0, "no time has passed, so nothing follows");
        let tokens = self.tokens.lock().unwrap().clone();
        Self::over(database, registry, clock, tokens).await
    }

    /// Starts a service of its own over a registry that took a bundle of this one over; nobody has a token there.
    pub(crate) async fn took_over(&self, bundle: &Path) -> Self {
        let database = TestDatabase::empty().await;
        let opened = Database::open(&database.url).await.unwrap();
        let clock = Arc::new(SteppingClock::from(self.clock.0.load(Ordering::SeqCst)));
        let registry = Registry::new(opened, clock.clone(), Arc::new(SeededIds::from(1 << 48)));
        let bundle = Bundle::open(bundle, None).unwrap();
        bundle.take_over(&registry, &console("test"), |_| {}).await.unwrap();
        Self::over(database, registry, clock, BTreeMap::new()).await
    }

    /// A registry in which nothing is, and its database, which is gone when it is let go.
    pub(crate) async fn empty(&self) -> (Registry, TestDatabase) {
        let database = TestDatabase::empty().await;
        let opened = Database::open(&database.url).await.unwrap();
        (Registry::new(opened, self.clock.clone(), Arc::new(SeededIds::from(1 << 48))), database)
    }

    async fn over(
        database: TestDatabase,
        registry: Registry,
        clock: Arc<SteppingClock>,
        tokens: BTreeMap<String, String>,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let service = Service::with(registry.clone(), listener).unwrap();
        let address = format!("http://{}", service.address());
        let (stop, stopped) = oneshot::channel();
        let serving = tokio::spawn(service.serve(async move {
            let _ = stopped.await;
        }));
        Self {
            address,
            registry,
            clock,
            client: reqwest::Client::new(),
            tokens: Mutex::new(tokens),
            stop: Some(stop),
            serving,
            database,
        }
    }

    /// The bytes of the SQLite file with everything written into it; nothing on PostgreSQL.
    pub(crate) async fn bytes_on_disk(&self) -> Option<Vec<u8>> {
        let file = self.database.directory.as_ref()?.path().join(FILE);
        if let Database::Sqlite(pool) = &self.registry.database {
            sqlx::query("PRAGMA wal_checkpoint(TRUNCATE)").execute(pool).await.unwrap();
        }
        Some(std::fs::read(file).unwrap())
    }

    /// Tells the service to stop.
    pub(crate) fn tell_to_stop(&mut self) {
        self.stop.take().unwrap().send(()).unwrap();
    }

    /// Waits until it has stopped.
    pub(crate) async fn stopped(&mut self) -> Result<(), ServiceError> {
        (&mut self.serving).await.unwrap()
    }

    /// The token of an account.
    pub(crate) fn token(&self, name: &str) -> String {
        let tokens = self.tokens.lock().unwrap();
        tokens.get(name).unwrap_or_else(|| panic!("there is no account {name}")).clone()
    }

    /// Makes an account with a token; `name` is then what [`as_role`](Self::as_role) takes.
    pub(crate) async fn add_account(&self, name: &str, roles: Value) {
        let secret = make_account(&self.registry, name, roles).await;
        self.tokens.lock().unwrap().insert(name.to_owned(), secret);
    }

    /// Makes an account that holds a role on some sites only.
    pub(crate) async fn add_account_on(&self, name: &str, role: &str, sites: &[&str]) {
        self.add_account(name, json!([{"role": role, "site_ids": sites}])).await;
    }

    /// Speaks as an account.
    pub(crate) fn as_role(&self, name: &str) -> Client<'_> {
        Client { app: self, token: Some(self.token(name)) }
    }

    /// Speaks with any token.
    pub(crate) fn with_token(&self, token: &str) -> Client<'_> {
        Client { app: self, token: Some(token.to_owned()) }
    }

    /// Speaks without credentials.
    pub(crate) fn as_nobody(&self) -> Client<'_> {
        Client { app: self, token: None }
    }

    /// Makes a site as the hygienist; gives its identifier.
    pub(crate) async fn site(&self, code: &str) -> String {
        let body = json!({
            "code": code, "name": format!("Site {code}"), "time_zone": "America/Denver",
            "rule_set": "us_general_industry"
        });
        self.as_role("hygienist").post("/sites", &body).await.id()
    }

    /// Makes a group at a site as the hygienist; gives its identifier.
    pub(crate) async fn group(&self, site: &str, code: &str) -> String {
        let body = json!({"code": code, "title": format!("Group {code}")});
        self.as_role("hygienist").post(&format!("/sites/{site}/groups"), &body).await.id()
    }
}

/// Makes an account with a token; gives the token's secret.
async fn make_account(registry: &Registry, name: &str, roles: Value) -> String {
    let caller: Caller = console("test");
    let mut change = registry.begin_plain(&caller).await.unwrap();
    let body = json!({"email": format!("{name}@example.org"), "roles": roles});
    let account = recording::record::<Account>(&mut change, Under::Nothing, None, &body).await.unwrap();
    let (_, secret) = sign_in::make_token(&mut change, account.id, &json!({"label": "test"})).await.unwrap();
    registry.commit(change, None).await.unwrap();
    secret
}

impl Drop for TestApp {
    fn drop(&mut self) {
        if let Some(stop) = self.stop.take() {
            let _ = stop.send(());
        }
    }
}

/// Somebody who speaks to the service.
#[derive(Clone)]
pub(crate) struct Client<'a> {
    app: &'a TestApp,
    token: Option<String>,
}

impl Client<'_> {
    /// A request to be filled in; a path that does not begin with `/api`, `/health` … is below `/api/v1`.
    pub(crate) fn request(&self, method: &str, path: &str) -> reqwest::RequestBuilder {
        let from_root =
            ["/api", "/health", "/metrics", "/problems"].iter().any(|start| path.starts_with(start));
        let base = if from_root { "" } else { "/api/v1" };
        let method = reqwest::Method::from_bytes(method.as_bytes()).unwrap();
        let request = self.app.client.request(method, format!("{}{base}{path}", self.app.address));
        match &self.token {
            Some(token) => request.bearer_auth(token),
            None => request,
        }
    }

    /// `GET`.
    pub(crate) async fn get(&self, path: &str) -> Answer {
        Answer::of(self.request("GET", path)).await
    }

    /// `POST` with a JSON body.
    pub(crate) async fn post(&self, path: &str, body: &Value) -> Answer {
        Answer::of(self.request("POST", path).json(body)).await
    }

    /// `POST` with an Idempotency-Key.
    pub(crate) async fn post_with_key(&self, path: &str, key: &str, body: &Value) -> Answer {
        Answer::of(self.request("POST", path).header("idempotency-key", key).json(body)).await
    }

    /// `POST` of any text with its media type.
    pub(crate) async fn post_text(
        &self,
        path: &str,
        media_type: &str,
        body: impl Into<reqwest::Body>,
    ) -> Answer {
        Answer::of(self.request("POST", path).header("content-type", media_type).body(body)).await
    }
}

/// What came back.
#[derive(Debug, Clone)]
pub(crate) struct Answer {
    /// HTTP status.
    pub(crate) status: u16,
    /// Headers.
    pub(crate) headers: reqwest::header::HeaderMap,
    /// The body as text.
    pub(crate) text: String,
    /// The body as JSON, where it is JSON.
    pub(crate) json: Value,
}

impl Answer {
    /// Sends a request.
    pub(crate) async fn of(request: reqwest::RequestBuilder) -> Self {
        let response = request.send().await.unwrap();
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let text = response.text().await.unwrap();
        let json = serde_json::from_str(&text).unwrap_or(Value::Null);
        Self { status, headers, text, json }
    }

    /// The identifier of the thing made; the test ends here if nothing was made.
    pub(crate) fn id(&self) -> String {
        assert_eq!(self.status, 201, "{}", self.text);
        self.json["id"].as_str().unwrap().to_owned()
    }

    /// A header as text; empty if it is not there.
    pub(crate) fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().unwrap())
    }

    /// The name of the problem.
    pub(crate) fn kind(&self) -> &str {
        self.json["type"].as_str().and_then(|kind| kind.strip_prefix("/problems/")).unwrap_or("none")
    }

    /// The pointers of the faults.
    pub(crate) fn pointers(&self) -> Vec<&str> {
        let errors = self.json["errors"].as_array().map_or(&[] as &[_], Vec::as_slice);
        errors.iter().filter_map(|error| error["pointer"].as_str()).collect()
    }

    /// The identifiers of a list's items.
    pub(crate) fn ids(&self) -> Vec<&str> {
        let items = self.json["items"].as_array().map_or(&[] as &[_], Vec::as_slice);
        items.iter().filter_map(|item| item["id"].as_str()).collect()
    }
}

/// Databases of this run carry the process in their name, so that another run knows which are left over.
const PREFIX: &str = "doseward_test_";
/// The name of the SQLite file in its directory.
const FILE: &str = "registry.sqlite";

/// What every test starts from, made once a run and copied.
struct Template {
    /// The bytes of the SQLite file.
    file: Vec<u8>,
    /// The database on the PostgreSQL server.
    name: Option<String>,
    tokens: BTreeMap<String, String>,
}

impl Template {
    async fn get() -> &'static Self {
        static TEMPLATE: tokio::sync::OnceCell<Template> = tokio::sync::OnceCell::const_new();
        TEMPLATE.get_or_init(Self::make).await
    }

    async fn make() -> Self {
        if let Ok(server) = std::env::var("TEST_DATABASE_URL") {
            sweep(&server).await;
        }
        let mut database = TestDatabase::create("template", None).await;
        let opened = Database::open(&database.url).await.unwrap();
        let (clock, ids) = (Arc::new(SteppingClock::default()), Arc::new(SeededIds::default()));
        let registry = Registry::new(opened, clock, ids);
        registry.enter_pack(Pack::built_in()).await.unwrap();
        let mut tokens = BTreeMap::new();
        for role in ROLES {
            tokens.insert(role.to_owned(), make_account(&registry, role, json!([{"role": role}])).await);
        }
        registry.database.close().await;
        let file =
            database.directory.as_ref().map(|directory| std::fs::read(directory.path().join(FILE)).unwrap());
        // Kept for the tests to come; the next run sweeps it away.
        let name = database.server.take().map(|(_, name)| name);
        Self { file: file.unwrap_or_default(), name, tokens }
    }

    async fn copy(&self) -> TestDatabase {
        TestDatabase::create(&next(), Some(self)).await
    }
}

/// A name that no other database of this run has.
fn next() -> String {
    static COUNT: AtomicU64 = AtomicU64::new(0);
    COUNT.fetch_add(1, Ordering::SeqCst).to_string()
}

/// A database of one test.
pub(crate) struct TestDatabase {
    url: String,
    /// For PostgreSQL: where to drop it, and its name.
    server: Option<(String, String)>,
    directory: Option<tempfile::TempDir>,
}

impl TestDatabase {
    /// One without anything in it.
    async fn empty() -> Self {
        Self::create(&next(), None).await
    }

    /// A SQLite file in a folder of its own, whatever the tests run on.
    fn on_sqlite(template: Option<&Template>) -> Self {
        let directory = tempfile::tempdir().unwrap();
        let file = directory.path().join(FILE);
        if let Some(template) = template {
            std::fs::write(&file, &template.file).unwrap();
        }
        let url = format!("sqlite:{}", file.display());
        Self { url, server: None, directory: Some(directory) }
    }

    async fn create(name: &str, template: Option<&Template>) -> Self {
        let Ok(server) = std::env::var("TEST_DATABASE_URL") else { return Self::on_sqlite(template) };
        let name = format!("{PREFIX}{}_{name}", std::process::id());
        let template = template.and_then(|template| template.name.as_ref());
        let from = template.map_or_else(String::new, |template| format!(" TEMPLATE {template}"));
        execute(&server, format!("CREATE DATABASE {name}{from}")).await;
        let mut url = reqwest::Url::parse(&server).unwrap();
        url.set_path(&name);
        Self { url: url.into(), server: Some((server, name)), directory: None }
    }
}

impl Drop for TestDatabase {
    fn drop(&mut self) {
        if let Some((server, name)) = self.server.take() {
            // A runtime of its own: the test's is on its way out.
            let dropping = std::thread::spawn(move || {
                let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
                runtime.block_on(execute(&server, format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)")));
            });
            let _ = dropping.join();
        }
    }
}

async fn execute(server: &str, statement: String) {
    let mut connection = sqlx::PgConnection::connect(server).await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(statement)).execute(&mut connection).await.unwrap();
    let _ = connection.close().await;
}

/// Drops what runs that were killed have left.
async fn sweep(server: &str) {
    let mut connection = sqlx::PgConnection::connect(server).await.unwrap();
    let names: Vec<(String,)> = sqlx::query_as("SELECT datname::text FROM pg_database WHERE datname LIKE $1")
        .bind(format!("{PREFIX}%"))
        .fetch_all(&mut connection)
        .await
        .unwrap();
    for (name,) in names {
        let process = name.strip_prefix(PREFIX).and_then(|rest| rest.split('_').next()).unwrap_or_default();
        let running = std::path::Path::new("/proc").join(process).exists();
        if !process.is_empty() && process.bytes().all(|byte| byte.is_ascii_digit()) && !running {
            // Another run may sweep at the same time.
            let drop = format!("DROP DATABASE IF EXISTS {name} WITH (FORCE)");
            let _ = sqlx::raw_sql(AssertSqlSafe(drop)).execute(&mut connection).await;
        }
    }
    let _ = connection.close().await;
}
