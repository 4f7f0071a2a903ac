//! The demonstration: everything in it loads, everything in its tour is there, and a second start finds it again.

use crate::place::Place;
use serde_json::Value;
use std::io::{BufRead as _, BufReader, Read as _};
use std::process::{Child, Stdio};

/// A demonstration that is being served.
struct Served {
    child: Child,
    welcome: String,
}

impl Served {
    /// Serves the demonstration of a directory; what it prints until it says how to stop.
    fn start(place: &Place, directory: &str) -> Self {
        let mut command = place.command(&["demo", "--directory", directory]);
        let child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
        let mut served = Self { child, welcome: String::new() };
        let mut lines = BufReader::new(served.child.stdout.take().unwrap()).lines();
        while !served.welcome.contains("Stop with Ctrl-C") {
            let Some(line) = lines.next() else {
                let mut told = String::new();
                served.child.stderr.take().unwrap().read_to_string(&mut told).unwrap();
                panic!("the demonstration ended: {}{told}", served.welcome);
            };
            served.welcome.push_str(&line.unwrap());
            served.welcome.push('\n');
        }
        served
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        // Ignored: it may have ended already, and then the test has said so.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The token and the addresses of every `curl` line of a text.
fn curl_lines(text: &str) -> Vec<(String, Vec<String>)> {
    text.lines()
        .map(str::trim)
        .filter(|line| line.starts_with("curl "))
        .map(|line| {
            let mut quoted = line.split('\'').skip(1).step_by(2).map(str::to_owned);
            let header = quoted.next().unwrap();
            (header.strip_prefix("Authorization: ").unwrap().to_owned(), quoted.collect())
        })
        .collect()
}

async fn get(token: &str, url: &str) -> Value {
    let answer = reqwest::Client::new().get(url).header("authorization", token).send().await.unwrap();
    assert_eq!(answer.status(), 200, "{url}");
    answer.json().await.unwrap()
}

#[test]
fn the_demonstration_loads_shows_what_its_tour_promises_and_is_found_again() {
    let place = Place::new("demo");
    let directory = place.path("demo").display().to_string();
    let loaded = place.run(&["demo", "--directory", &directory, "--no-serve"]);
    assert_eq!(loaded.code, 0, "{}", loaded.err);
    assert!(loaded.out.contains("16-2026.jsonl"), "{}", loaded.out);
    let again = place.run(&["demo", "--directory", &directory, "--no-serve"]);
    assert!(again.out.contains("loaded already"), "{}", again.out);

    let served = Served::start(&place, &directory);
    for role in ["administrator", "hygienist", "coordinator", "physician", "corporate"] {
        assert!(served.welcome.contains(&format!("\n  {role}")), "{}", served.welcome);
    }
    let first = curl_lines(&served.welcome);
    assert_eq!(first.len(), 3, "{}", served.welcome);
    let tour = std::fs::read_to_string(place.path("demo").join("tour.md")).unwrap();
    every_row_has_a_line(&tour);
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap().block_on(async {
        for (token, urls) in curl_lines(&tour).iter().chain(&first) {
            for url in urls {
                get(token, url).await;
            }
        }
        verdicts_are_those_promised(&tour).await;
        two_sites_together_call_for_an_examination(&first).await;
        the_offices_do_their_work(&tour).await;
    });
}

fn every_row_has_a_line(tour: &str) {
    let lines: Vec<&str> = tour.lines().filter(|line| !line.is_empty()).collect();
    for pair in lines.windows(2).filter(|pair| pair[0].starts_with("* ")) {
        assert!(pair[1].trim().starts_with("curl "), "nothing to look at: {}", pair[0]);
    }
}

/// What the tour says of each control, and what the registry must therefore answer.
async fn verdicts_are_those_promised(tour: &str) {
    for (row, position, verdict, target) in [
        ("lowered exposure and is sufficient", "breathing_zone", "lowered", "met"),
        ("lowered it by more than nine tenths", "breathing_zone", "lowered", "met"),
        ("helps at the breathing zone", "breathing_zone", "lowered", "met"),
        ("helps at the breathing zone", "area", "no_difference_shown", "not_met"),
        ("failed: no difference", "breathing_zone", "no_difference_shown", "not_met"),
        ("still undecided", "breathing_zone", "undecided", "unsettled"),
        ("lowered, with values below", "breathing_zone", "lowered", "met"),
    ] {
        let items = items_of(tour, row).await;
        let found = items.iter().find(|item| item["position"] == position);
        let found = found.unwrap_or_else(|| panic!("{row}: no verdict at {position}"));
        assert_eq!(found["verdict"], verdict, "{row} at {position}: {found}");
        assert_eq!(found["target"], target, "{row} at {position}: {found}");
    }
    let confounded = items_of(tour, "confounded: the booth").await;
    assert!(confounded[0]["confounders"].as_array().unwrap().contains(&"arc_time".into()));
    let standing = items_of(tour, "standing changed when a control came").await;
    assert_eq!(standing[0]["standing"][0]["value"], "below_action_level");
    assert_eq!(standing[0]["standing"][0]["since"], "2024-11-13");
    assert_eq!(standing[1]["standing"][0]["value"], "above_limit");
}

/// The items that the first line of a row answers.
async fn items_of(tour: &str, row: &str) -> Vec<Value> {
    let start = tour.find(&format!("* {row}")).unwrap_or_else(|| panic!("no row: {row}"));
    let (token, urls) = curl_lines(&tour[start..]).swap_remove(0);
    get(&token, &urls[0]).await["items"].as_array().unwrap().clone()
}

async fn two_sites_together_call_for_an_examination(first: &[(String, Vec<String>)]) {
    let (token, urls) = &first[2];
    let history = get(token, &urls[0]).await;
    let worst = &history["days_at_or_above_action_level"]["by_standing"]["worst_12_months"];
    // 20 days at each of two sites; the clause asks for 30 in 12 months: 29 CFR 1910.1026(k)(1)(i)(A).
    assert_eq!(worst["count"], 40, "{history}");
    let duties = get(token, &urls[1]).await;
    assert_eq!(duties["items"][0]["kind"], "offer_examination", "{duties}");
    assert_eq!(duties["items"][0]["days_counted"], 40);
}

/// Most of what is owed is done in time; some is late, declined, waived or still to come.
async fn the_offices_do_their_work(tour: &str) {
    let letters = items_of(tour, "letters with results").await;
    assert!(letters.len() > 20 && letters.iter().all(|letter| letter["status"] == "issued"), "{letters:?}");
    let (token, urls) =
        curl_lines(&tour[tour.find("* an examination that rests on a ground").unwrap()..]).swap_remove(0);
    let all = urls[0].split("/duties").next().unwrap().to_owned() + "/duties?limit=500&kind=";
    let count = async |kind: &str, status: &str| {
        let answer = get(&token, &format!("{all}{kind}&status={status}")).await;
        answer["items"].as_array().unwrap().len()
    };
    let [met, late, declined, waived] = [
        count("periodic_examination", "met").await,
        count("periodic_examination", "overdue").await,
        count("periodic_examination", "declined").await,
        count("periodic_examination", "waived").await,
    ];
    assert!(met > 30 && (1..=6).contains(&late), "{met} met, {late} overdue");
    assert_eq!((declined, waived), (1, 1));
    let (told, untold) = (count("notify_results", "met").await, count("notify_results", "overdue").await);
    assert!(told > 100 && untold < told / 10, "{told} told, {untold} overdue");
    let answered = items_of(tour, "a request for records, answered").await;
    assert_eq!(answered.len(), 1);
    assert_eq!(count("answer_record_request", "met").await, 1);
    assert_eq!(count("answer_record_request", "open").await, 1);
    assert!(count("offer_examination", "met").await > 50);
}
