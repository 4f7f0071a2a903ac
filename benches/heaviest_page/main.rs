//! Server time of the pages beside that of the API calls whose numbers they show, on the demonstration.
//!
//! `cargo bench --bench heaviest_page` looks at every page of each kind once, takes the slowest of each kind, and asks for it
//! and for its calls in turn; the median of the rounds counts. It ends with 1 where a page takes more than the goal.
#![expect(clippy::unwrap_used, reason = "a bench that cannot go on stops")]

#[path = "../../tests/pages/demonstration.rs"]
#[expect(dead_code, reason = "the tests of the pages use the rest of it")]
mod demonstration;

use demonstration::Demonstration;
use reqwest::{Client, redirect};
use std::collections::{BTreeMap, BTreeSet};
use std::process::ExitCode;
use std::time::{Duration, Instant};

/// An odd number of rounds has a median.
const ROUNDS: usize = 9;
/// So many pages of a kind are looked at to find the slowest.
const OF_A_KIND: usize = 60;
/// A page gathers what several calls answer, draws it and writes it out: our own choice of what is bearable.
const TIMES_MOST: f64 = 10.0;
/// What is quicker than this is not worth a ratio.
const QUICK: Duration = Duration::from_millis(50);

/// The kinds of pages, each with the calls that answer its numbers; `{id}` and `{agent}` are the page's.
const KINDS: &[(&str, &[&str])] = &[
    ("/", &["/duties"]),
    ("/sites", &["/overview"]),
    (
        "/groups/{id}",
        &["/groups/{id}/profiles?agent_code={agent}", "/shift-averages?group_id={id}&agent_code={agent}"],
    ),
    ("/tasks/{id}", &["/tasks/{id}/control-verdicts?agent_code={agent}&working=true"]),
    (
        "/workers/{id}",
        &[
            "/workers/{id}/history?agent_code={agent}",
            "/workers/{id}/surveillance?agent_code={agent}",
            "/shift-averages?worker_id={id}&agent_code={agent}",
        ],
    ),
];

/// Somebody who is signed in by a link of the demonstration.
struct Reader {
    address: String,
    client: Client,
    cookie: String,
}

impl Reader {
    async fn enter(demo: &Demonstration, role: &str) -> Self {
        let client = Client::builder().redirect(redirect::Policy::none()).build().unwrap();
        let link = &demo.links[role];
        let page = client.get(link).send().await.unwrap().text().await.unwrap();
        assert!(page.contains("<form"), "{page}");
        let sent = client.post(link).header("origin", &demo.address).send().await.unwrap();
        let cookies = sent.headers().get_all("set-cookie").iter().map(|line| line.to_str().unwrap());
        let cookie = cookies.map(|line| line.split(';').next().unwrap()).collect::<Vec<_>>().join("; ");
        assert!(!cookie.is_empty(), "nobody is signed in: {}", sent.status());
        Self { address: demo.address.clone(), client, cookie }
    }

    async fn page(&self, path: &str) -> (Duration, String) {
        let request = self.client.get(format!("{}{path}", self.address)).header("cookie", &self.cookie);
        let start = Instant::now();
        let answer = request.send().await.unwrap();
        assert!(answer.status().is_success(), "{path}: {}", answer.status());
        let text = answer.text().await.unwrap();
        (start.elapsed(), text)
    }

    /// A token of an account, as an administrator makes it on its page.
    async fn token_of(&self, email: &str) -> String {
        let (_, accounts) = self.page("/accounts").await;
        let row = accounts
            .split("href=\"/accounts/")
            .skip(1)
            .find(|rest| rest.split("</tr>").next().unwrap().contains(email));
        let account = row.unwrap_or_else(|| panic!("no {email}: {accounts}")).split('"').next().unwrap();
        let path = format!("/accounts/{account}");
        let (_, page) = self.page(&path).await;
        let token = page.split("name=\"form_token\" value=\"").nth(1).unwrap().split('"').next().unwrap();
        let fields = [("form_token", token), ("label", "bench"), ("opens", "api"), ("days", "1")];
        let made = self
            .client
            .post(format!("{}{path}/tokens", self.address))
            .header("cookie", &self.cookie)
            .header("origin", &self.address)
            .header("content-type", "application/x-www-form-urlencoded")
            .body(serde_urlencoded::to_string(fields).unwrap())
            .send()
            .await
            .unwrap();
        let shown = made.text().await.unwrap();
        shown
            .split("class=\"secret\">")
            .nth(1)
            .unwrap_or_else(|| panic!("{shown}"))
            .split('<')
            .next()
            .unwrap()
            .to_owned()
    }
}

/// The links of a page that lead to a kind of page.
fn links(html: &str, kind: &str) -> Vec<String> {
    let head = kind.split("{id}").next().unwrap();
    let all =
        html.split(" href=\"").skip(1).map(|rest| rest.split('"').next().unwrap().replace("&#38;", "&"));
    all.filter(|link| {
        let rest = link.strip_prefix(head).unwrap_or_default();
        kind.contains("{id}") && rest.split('?').next().is_some_and(|id| id.len() == 36)
    })
    .collect()
}

/// Every page of each kind that links lead to from the first pages on.
async fn reached(reader: &Reader) -> BTreeMap<&'static str, BTreeSet<String>> {
    let mut found: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    let mut next = vec!["/".to_owned(), "/sites".to_owned()];
    let mut seen = BTreeSet::new();
    while let Some(path) = next.pop() {
        if !seen.insert(path.clone()) {
            continue;
        }
        let (_, html) = reader.page(&path).await;
        next.extend(links(&html, "/sites/{id}"));
        for (kind, _) in KINDS {
            let of = found.entry(kind).or_default();
            if *kind == path {
                of.insert(path.clone());
            }
            for link in links(&html, kind) {
                if of.len() < OF_A_KIND && of.insert(link.clone()) {
                    next.push(link);
                }
            }
        }
    }
    found
}

fn median(mut times: Vec<Duration>) -> Duration {
    times.sort();
    times[times.len() / 2]
}

async fn measured() -> bool {
    let demo = Demonstration::start();
    let token = Reader::enter(&demo, "administrator").await.token_of("corporate@").await;
    let reader = Reader::enter(&demo, "corporate").await;
    let of_kind = reached(&reader).await;
    println!(
        "{:<16} {:>9} {:>9} {:>7} {:>9}  slowest of its kind",
        "page", "page ms", "call ms", "times", "page kB"
    );
    let mut well = true;
    for (kind, of) in KINDS {
        let mut slowest: Option<(Duration, String, String)> = None;
        for path in &of_kind[kind] {
            let (took, html) = reader.page(path).await;
            if slowest.as_ref().is_none_or(|(most, ..)| took > *most) {
                slowest = Some((took, path.clone(), html));
            }
        }
        let Some((_, path, html)) = slowest else { continue };
        let id = path.split(['/', '?']).find(|part| part.len() == 36).unwrap_or_default();
        // The agent that the page shows: the one that is chosen in its list, or the only one.
        let chosen = html
            .split("<option value=\"")
            .skip(1)
            .find(|option| option.split('>').next().unwrap().contains("selected"));
        let named = path.split("agent_code=").nth(1).map(|rest| rest.split('&').next().unwrap());
        let agent =
            named.or_else(|| chosen.map(|option| option.split('"').next().unwrap())).unwrap_or_default();
        let (mut pages, mut calls) = (Vec::new(), Vec::new());
        for _ in 0..ROUNDS {
            pages.push(reader.page(&path).await.0);
            let start = Instant::now();
            for call in *of {
                let call = call.replace("{id}", id).replace("{agent}", agent);
                let request =
                    reader.client.get(format!("{}/api/v1{call}", reader.address)).bearer_auth(&token);
                let answer = request.send().await.unwrap();
                assert!(answer.status().is_success(), "{call}: {}", answer.text().await.unwrap());
                answer.bytes().await.unwrap();
            }
            calls.push(start.elapsed());
        }
        let (page, call) = (median(pages), median(calls));
        let times = page.as_secs_f64() / call.as_secs_f64();
        let missed = times > TIMES_MOST && page > QUICK;
        well &= !missed;
        #[expect(clippy::cast_precision_loss, reason = "kilobytes of a page")]
        let weight = html.len() as f64 / 1_000.0;
        println!(
            "{kind:<16} {:>9.1} {:>9.1} {times:>7.1} {weight:>9.0}  {path}{}",
            page.as_secs_f64() * 1_000.0,
            call.as_secs_f64() * 1_000.0,
            if missed { "  MISSED" } else { "" },
        );
    }
    println!("goal: at most {TIMES_MOST} times the call, or below {} ms", QUICK.as_millis());
    well
}

fn main() -> ExitCode {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    if runtime.block_on(measured()) { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
