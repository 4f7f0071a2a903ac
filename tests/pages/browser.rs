//! A real browser, driven over WebDriver (W3C) by plain JSON: Debian's Chromium and its driver.

use base64::Engine as _;
use serde_json::{Value, json};
use std::io::{BufRead as _, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// Flags without which it does not start in a container, or asks the network for things.
const FLAGS: &[&str] = &[
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--hide-scrollbars",
];
/// The tabulator, the enter key and the control key, as WebDriver names them.
pub(crate) const TAB: &str = "\u{E004}";
pub(crate) const ENTER: &str = "\u{E007}";
pub(crate) const CONTROL: char = '\u{E009}';
/// The key under which WebDriver names an element.
const ELEMENT: &str = "element-6066-11e4-a52e-4f735466cecf";

/// A browser with one window.
pub(crate) struct Browser {
    driver: Child,
    client: reqwest::Client,
    session: String,
    _profile: tempfile::TempDir,
}

/// A thing on a page.
#[derive(Debug, Clone)]
pub(crate) struct Element(String);

impl Browser {
    /// Starts one.
    pub(crate) async fn start() -> Self {
        let program = std::env::var("CHROMEDRIVER").unwrap_or_else(|_| "chromedriver".into());
        let mut driver = Command::new(&program)
            .arg("--port=0")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap_or_else(|error| {
                panic!(
                    "{program} does not start ({error}): the tests of the pages need Debian's packages chromium and \
                     chromium-driver (apt-get install chromium chromium-driver; tests/run does so)"
                )
            });
        let mut lines = BufReader::new(driver.stdout.take().unwrap()).lines();
        let port = loop {
            let line = lines.next().expect("the driver says where it listens").unwrap();
            if let Some((_, rest)) = line.split_once("started successfully on port ") {
                break rest.trim_end_matches('.').to_owned();
            }
        };
        // What else it says is read and thrown away, or it would stand still.
        std::thread::spawn(move || lines.for_each(drop));
        let profile = tempfile::tempdir().unwrap();
        let mut flags: Vec<String> = FLAGS.iter().map(|flag| (*flag).to_owned()).collect();
        flags.push(format!("--user-data-dir={}", profile.path().display()));
        let wanted = json!({"capabilities": {"alwaysMatch": {
            "browserName": "chrome",
            "goog:chromeOptions": {"args": flags},
        }}});
        let client = reqwest::Client::new();
        let base = format!("http://127.0.0.1:{port}");
        let made = client.post(format!("{base}/session")).json(&wanted).send().await.unwrap();
        let made: Value = made.json().await.unwrap();
        let id = made["value"]["sessionId"].as_str().unwrap_or_else(|| panic!("no browser: {made}"));
        let session = format!("{base}/session/{id}");
        let browser = Self { driver, client, session, _profile: profile };
        // What a click leads to is waited for by looking for something on it.
        browser.ask("/timeouts", json!({"implicit": 20_000})).await.unwrap();
        browser
    }

    async fn ask(&self, path: &str, body: Value) -> Result<Value, Value> {
        let answer = self.client.post(format!("{}{path}", self.session)).json(&body).send().await.unwrap();
        let well = answer.status().is_success();
        let mut answer: Value = answer.json().await.unwrap();
        if well { Ok(answer["value"].take()) } else { Err(answer["value"].take()) }
    }

    /// A command of the browser's own protocol.
    async fn command(&self, name: &str, parameters: Value) -> Value {
        let body = json!({"cmd": name, "params": parameters});
        self.ask("/goog/cdp/execute", body).await.unwrap_or_else(|error| panic!("{name}: {error}"))
    }

    /// Opens an address and waits until it is loaded.
    pub(crate) async fn open(&self, address: &str) {
        self.ask("/url", json!({"url": address})).await.unwrap_or_else(|error| panic!("{address}: {error}"));
    }

    /// The address that is open.
    pub(crate) async fn address(&self) -> String {
        self.run("return location.href", &[]).await.as_str().unwrap().to_owned()
    }

    /// What a script gives back.
    pub(crate) async fn run(&self, script: &str, arguments: &[Value]) -> Value {
        let body = json!({"script": script, "args": arguments});
        self.ask("/execute/sync", body).await.unwrap_or_else(|error| panic!("{script:.80}: {error}"))
    }

    /// What a script gives to its last argument.
    pub(crate) async fn run_until(&self, script: &str) -> Value {
        let body = json!({"script": script, "args": []});
        self.ask("/execute/async", body).await.unwrap_or_else(|error| panic!("{script:.80}: {error}"))
    }

    /// The first thing that a selector finds.
    pub(crate) async fn find(&self, selector: &str) -> Element {
        let found = self.ask("/element", json!({"using": "css selector", "value": selector})).await;
        let found = found.unwrap_or_else(|error| panic!("{selector} is not there: {error}"));
        Element(found[ELEMENT].as_str().unwrap().to_owned())
    }

    /// Types into a field.
    pub(crate) async fn type_into(&self, selector: &str, text: &str) {
        let element = self.find(selector).await;
        let path = format!("/element/{}/value", element.0);
        self.ask(&path, json!({"text": text})).await.unwrap();
    }

    /// Clicks; what it leads to is there once something on it is [found](Self::find).
    pub(crate) async fn click(&self, selector: &str) {
        let element = self.find(selector).await;
        let path = format!("/element/{}/click", element.0);
        self.ask(&path, json!({})).await.unwrap_or_else(|error| panic!("{selector}: {error}"));
    }

    /// Presses keys one after the other, wherever the focus is.
    pub(crate) async fn keys(&self, keys: &str) {
        let strokes: Vec<Value> = keys
            .chars()
            .flat_map(|key| ["keyDown", "keyUp"].map(|deed| json!({"type": deed, "value": key.to_string()})))
            .collect();
        self.strokes(strokes).await;
    }

    /// Presses a key while another is held.
    pub(crate) async fn chord(&self, held: char, key: char) {
        let stroke = |deed: &str, key: char| json!({"type": deed, "value": key.to_string()});
        let strokes =
            [stroke("keyDown", held), stroke("keyDown", key), stroke("keyUp", key), stroke("keyUp", held)];
        self.strokes(strokes.to_vec()).await;
    }

    async fn strokes(&self, strokes: Vec<Value>) {
        let body = json!({"actions": [{"type": "key", "id": "keyboard", "actions": strokes}]});
        self.ask("/actions", body).await.unwrap_or_else(|error| panic!("keys: {error}"));
    }

    /// Goes on from field to field with the tabulator until one that a selector describes has the focus.
    pub(crate) async fn tab_to(&self, selector: &str) {
        for _ in 0..600 {
            self.keys(TAB).await;
            let there =
                self.run("return !!document.activeElement?.matches(arguments[0])", &[json!(selector)]).await;
            if there == true {
                return;
            }
        }
        panic!("no tabulator leads to {selector}");
    }

    /// The text of the page as a person reads it.
    pub(crate) async fn text(&self) -> String {
        let body = self.find("body").await;
        let address = format!("{}/element/{}/text", self.session, body.0);
        let answer: Value = self.client.get(address).send().await.unwrap().json().await.unwrap();
        answer["value"].as_str().unwrap_or_default().to_owned()
    }

    /// Width of the window, in CSS pixels.
    pub(crate) async fn width(&self, width: u32) {
        let size = json!({"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": false});
        self.command("Emulation.setDeviceMetricsOverride", size).await;
    }

    /// Light or dark.
    pub(crate) async fn tone(&self, tone: &str) {
        let features = json!([{"name": "prefers-color-scheme", "value": tone}]);
        self.command("Emulation.setEmulatedMedia", json!({"features": features})).await;
    }

    /// Whether pages may run their scripts.
    pub(crate) async fn scripts(&self, on: bool) {
        self.command("Emulation.setScriptExecutionDisabled", json!({"value": !on})).await;
    }

    /// Puts a cookie there.
    pub(crate) async fn set_cookie(&self, cookie: Value) {
        self.command("Network.setCookie", cookie).await;
    }

    /// Forgets every cookie.
    pub(crate) async fn forget(&self) {
        self.command("Network.clearBrowserCookies", json!({})).await;
    }

    /// The whole page as a picture.
    pub(crate) async fn picture(&self, file: &Path) {
        let size = self.command("Page.getLayoutMetrics", json!({})).await;
        let size = &size["cssContentSize"];
        let clip = json!({"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1});
        let asked = json!({"format": "png", "captureBeyondViewport": true, "clip": clip});
        let taken = self.command("Page.captureScreenshot", asked).await;
        let bytes =
            base64::engine::general_purpose::STANDARD.decode(taken["data"].as_str().unwrap()).unwrap();
        std::fs::write(file, bytes).unwrap();
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // The browser is the driver's child and goes with its session.
        let session = self.session.clone();
        let ending = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
            runtime.block_on(async move {
                let _ = reqwest::Client::new().delete(session).send().await;
            });
        });
        let _ = ending.join();
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}
