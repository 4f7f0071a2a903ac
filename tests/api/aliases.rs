//! Two entries of one worker: merged, corrected while merged, and taken apart again. All of it is invented.

use crate::harness::{Answer, TestApp};
use crate::overview::{Shop, micrograms};
use doseward::registry::rebuild::rebuild;
use doseward::store::access_log::Reading;
use doseward::store::backend::Database;
use serde_json::{Value, json};

/// One person with an entry at each of two sites. Thirty days a year at or above 2.5 ug/m3 of hexavalent chromium:
/// 29 CFR 1910.1026(b), (k)(1)(i)(A).
struct TwoEntries<'a> {
    shop: Shop<'a>,
    /// The entry at the first site, which becomes the alias.
    one: String,
    /// The entry at the second site, which stays.
    other: String,
    hot: String,
    melt: String,
}

impl<'a> TwoEntries<'a> {
    /// Twenty days at each site, from Monday 2 February and from Monday 2 March (today), and 24 February at both.
    async fn enter(app: &'a TestApp) -> Self {
        let (here, there) = (app.site("LYN").await, app.site("BRK").await);
        for (name, site) in [("here", &here), ("there", &there)] {
            app.add_account_on(name, "coordinator", &[site]).await;
        }
        app.add_account_on("hygienist_here", "hygienist", &[&here]).await;
        let mut shop = Shop { app, here: here.clone(), there: there.clone(), events: 0 };
        let (hot, melt) = (shop.group(&here, "HOT").await, shop.group(&there, "MELT").await);
        let (one, other) = (shop.worker("1").await, shop.worker("2").await);
        for (worker, group, from, to) in
            [(&one, &hot, "2026-02-02", "2026-02-28"), (&other, &melt, "2026-03-02", "2026-03-28")]
        {
            let assignment = json!({"group_id": group, "from": from, "to": to, "shifts_per_week": 5,
                "hours_per_shift": 8});
            shop.post(&format!("/workers/{worker}/assignments"), assignment).await;
        }
        for (worker, group, site) in [(&one, &hot, &here), (&other, &melt, &there)] {
            shop.here.clone_from(site);
            let sample = json!({"position": "breathing_zone", "worker_id": worker, "group_id": group});
            let sample = shop.measured(sample, "2026-02-24", micrograms(6.0)).await;
            shop.post(&format!("/samples/{sample}/acceptance"), json!({})).await;
        }
        shop.here.clone_from(&here);
        Self { shop, one, other, hot, melt }
    }

    fn app(&self) -> &'a TestApp {
        self.shop.app
    }

    async fn merge(&self) -> String {
        let body = json!({"of_worker_id": self.other, "reason": "One person, hired again."});
        self.shop.post(&format!("/workers/{}/aliases", self.one), body).await.id()
    }

    async fn close(&self, alias: &str) {
        let body = json!({"reason": "Two persons of one name."});
        self.shop.post(&format!("/aliases/{alias}/closing"), body).await;
    }

    async fn get(&self, role: &str, path: &str) -> Answer {
        self.app().registry.settle().await.unwrap();
        let answer = self.app().as_role(role).get(path).await;
        assert_eq!(answer.status, 200, "{role} {path}: {}", answer.text);
        answer
    }

    async fn duties(&self, worker: &str) -> Vec<Value> {
        let found = self.get("physician", &format!("/duties?worker_id={worker}")).await;
        found.json["items"].as_array().unwrap().clone()
    }

    /// Everything that is asked about the two, by whoever may ask it, but for journal positions and revisions.
    async fn everything(&self) -> Vec<(String, Value)> {
        let mut found = Vec::new();
        for (role, workers) in
            [("physician", &[&self.one, &self.other][..]), ("here", &[&self.one]), ("there", &[&self.other])]
        {
            let mut paths: Vec<String> =
                ["/workers", "/early-warnings?above=0", "/duties", "/overview"].map(str::to_owned).into();
            paths.extend(
                ["surveillance", "duties", "samples", "histories"].map(|of| format!("/exports/{of}.json")),
            );
            let groups = match role {
                "here" => &[&self.hot][..],
                "there" => &[&self.melt],
                _ => &[&self.hot, &self.melt],
            };
            paths.extend(groups.iter().map(|group| format!("/groups/{group}/profiles")));
            for worker in workers {
                paths.push(format!("/workers/{worker}"));
                paths.push(format!("/workers/{worker}/history?agent_code=chromium_vi&working=true"));
                paths.push(format!("/workers/{worker}/surveillance?agent_code=chromium_vi"));
                paths.push(format!("/shift-averages?worker_id={worker}"));
                paths.push(format!("/duties?worker_id={worker}"));
                if role == "physician" {
                    paths.push(format!("/workers/{worker}/examiner-packet?agent_code=chromium_vi"));
                }
            }
            for path in paths {
                let answer = self.get(role, &path).await;
                found.push((format!("{role} {path}"), without_positions(answer.json)));
            }
        }
        found
    }
}

fn without_positions(mut value: Value) -> Value {
    match &mut value {
        Value::Object(fields) => {
            fields.retain(|name, _| !["position", "revision", "basis"].contains(&name.as_str()));
            fields.values_mut().for_each(|field| *field = without_positions(field.take()));
        }
        Value::Array(items) => {
            // A duty that the merge raised was written, and stays readable as withdrawn.
            items.retain(|item| item.get("status") != Some(&json!("withdrawn")));
            for item in items {
                *item = without_positions(item.take());
            }
        }
        _ => {}
    }
    value
}

fn all_alike(before: &[(String, Value)], after: &[(String, Value)]) {
    for ((asked, then), (_, now)) in before.iter().zip(after) {
        assert!(then == now, "{asked}:\n{then}\nis now\n{now}");
    }
    assert_eq!(before.len(), after.len());
}

/// That the journal and the stored conclusions prove sound, and a rebuild moves nothing.
async fn holds(app: &TestApp) {
    let proof = app.as_role("administrator").post("/journal/verification", &json!({})).await;
    assert_eq!((proof.status, &proof.json["sound"]), (200, &json!(true)), "{}", proof.text);
    let rebuilt = rebuild(&app.registry, |_| {}).await.unwrap();
    assert_eq!((rebuilt.differing, rebuilt.rewritten), (0, 0), "{rebuilt:?}");
}

#[tokio::test]
async fn merged_corrected_and_split_is_as_never_merged() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    let list = two.get("hygienist", &format!("/workers/{}/assignments", two.one)).await;
    let assignment = format!("/assignments/{}", list.ids()[0]);
    let correct = async |shifts: f64| {
        let body = json!({"shifts_per_week": shifts, "reason": "Miscounted."});
        let request =
            app.as_role("hygienist").request("PATCH", &assignment).header("if-match", "*").json(&body);
        let answer = Answer::of(request).await;
        assert_eq!(answer.status, 200, "{}", answer.text);
    };
    let at_first = two.everything().await;
    correct(4.0).await;
    let never_merged = two.everything().await;
    correct(5.0).await;
    all_alike(&at_first, &two.everything().await);

    let alias = two.merge().await;
    let merged = two.everything().await;
    assert!(merged != at_first);
    holds(&app).await;
    correct(4.0).await;
    two.close(&alias).await;
    all_alike(&never_merged, &two.everything().await);
    holds(&app).await;

    // Voiding one that was closed takes nothing back, and one that stands takes the entries apart as closing does.
    let again = two.merge().await;
    two.shop.post(&format!("/aliases/{again}/voiding"), json!({"reason": "A slip."})).await;
    all_alike(&never_merged, &two.everything().await);
    two.shop.post(&format!("/aliases/{again}/voiding-withdrawal"), json!({"reason": "It was none."})).await;
    let history = two.get("physician", &format!("/workers/{}/history?agent_code=chromium_vi", two.one)).await;
    assert_eq!(history.json["worker_id"], json!(two.other));
    holds(&app).await;
}

#[tokio::test]
async fn twenty_days_under_each_of_two_entries_meet_one_clause_once() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    let days = async |worker: &str| {
        let path = format!("/workers/{worker}/surveillance?agent_code=chromium_vi");
        let found = two.get("hygienist", &path).await;
        let clauses = found.json["clauses"].as_array().unwrap().clone();
        let clause = clauses.into_iter().find(|clause| clause["trigger_id"] == "ST001").unwrap();
        (clause["days_counted"].as_i64().unwrap(), clause["met"].as_bool().unwrap())
    };
    assert_eq!((days(&two.one).await, days(&two.other).await), ((20, false), (21, false)));
    assert_eq!(two.duties(&two.one).await.len() + two.duties(&two.other).await.len(), 0);
    two.merge().await;
    // 24 February counts once, though the person was measured at both sites that day.
    assert_eq!((days(&two.one).await, days(&two.other).await), ((40, true), (40, true)));
    for asked in [&two.one, &two.other] {
        let duties = two.duties(asked).await;
        let told: Vec<_> = duties.iter().map(|duty| (&duty["trigger_id"], &duty["subject"])).collect();
        assert_eq!(told, [(&json!("ST001"), &json!({"worker_id": two.other}))]);
        let history = two.get("physician", &format!("/workers/{asked}/history?agent_code=chromium_vi")).await;
        assert_eq!(
            (&history.json["worker_id"], &history.json["also_known_as"]),
            (&json!(two.other), &json!([two.one]))
        );
        let groups: Vec<_> =
            history.json["intervals"].as_array().unwrap().iter().map(|one| &one["group_id"]).collect();
        assert!(groups.contains(&&json!(two.hot)) && groups.contains(&&json!(two.melt)), "{groups:?}");
        assert_eq!(history.json["days_at_or_above_action_level"]["measured"], 1);
        let averages = two.get("physician", &format!("/shift-averages?worker_id={asked}")).await;
        let workers: Vec<_> =
            averages.json["items"].as_array().unwrap().iter().map(|one| &one["worker_id"]).collect();
        assert_eq!(workers, [&json!(two.other), &json!(two.other)]);
        let packet =
            two.get("physician", &format!("/workers/{asked}/examiner-packet?agent_code=chromium_vi")).await;
        assert_eq!(packet.json["worker_id"], json!(two.other));
        assert_eq!(packet.json["also_known_as"], json!([two.one]));
    }
    // Facts keep the entry under which they were recorded.
    let samples = two.get("hygienist", "/exports/samples.json").await;
    let of: Vec<_> = samples.json.as_array().unwrap().iter().map(|row| &row["worker_id"]).collect();
    assert_eq!(of, [&json!(two.other), &json!(two.one)]);
    let assignments = two.get("hygienist", &format!("/workers/{}/assignments", two.one)).await;
    assert_eq!(assignments.ids().len(), 1);
    // One person in every list.
    let rows = two.get("hygienist", "/exports/surveillance.csv").await;
    assert_eq!(rows.text.lines().count(), 2, "{}", rows.text);
    let histories = two.get("hygienist", "/exports/histories.json").await;
    let of: Vec<_> = histories.json.as_array().unwrap().iter().map(|one| &one["worker_id"]).collect();
    assert_eq!(of, [&json!(two.other)]);
    for text in ["1", "2", "ada"] {
        let found = app.as_role("hygienist").post("/workers/search", &json!({"text": text})).await;
        assert_eq!(found.ids(), [two.other.as_str()], "{text}");
        assert_eq!(found.json["items"][0]["employments"].as_array().unwrap().len(), 2);
    }
    let by_number = json!({"employer": "Own works", "employee_number": "1"});
    let found = app.as_role("hygienist").post("/workers/search", &by_number).await;
    assert_eq!(found.ids(), [two.other.as_str()]);
    let entry = two.get("hygienist", &format!("/workers/{}", two.one)).await;
    assert_eq!(
        (&entry.json["recorded_under"], &entry.json["employee_number"]),
        (&json!(two.other), &json!("1"))
    );
}

/// The days at the first site are enough alone, so that the entry there is owed an examination before it is merged.
async fn who_stays_at_the_first_site(two: &TwoEntries<'_>) {
    let list = two.get("hygienist", &format!("/workers/{}/assignments", two.one)).await;
    let body = json!({"to": null, "reason": "He stayed."});
    let path = format!("/assignments/{}", list.ids()[0]);
    let request = two.app().as_role("hygienist").request("PATCH", &path).header("if-match", "*").json(&body);
    assert_eq!(Answer::of(request).await.status, 200);
}

#[tokio::test]
async fn duties_move_to_the_entry_that_stays_and_come_back() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    who_stays_at_the_first_site(&two).await;
    let before = two.duties(&two.one).await;
    assert_eq!(before.len(), 1, "{before:?}");
    app.clock.advance(chrono::Duration::days(3));
    app.registry.settle().await.unwrap();
    let before = two.duties(&two.one).await;
    assert_eq!(before[0]["learned_on"], json!("2026-03-02"));
    let alias = two.merge().await;
    let merged = two.duties(&two.other).await;
    let told: Vec<_> = merged.iter().map(|duty| (&duty["status"], &duty["subject"]["worker_id"])).collect();
    assert_eq!(told.len(), 2, "{merged:?}");
    assert_eq!(told[0], (&json!("withdrawn"), &json!(two.other)));
    assert_eq!(merged[0]["id"], before[0]["id"]);
    assert_eq!(merged[0]["recorded_under"], json!(two.other));
    assert!(merged[0]["withdrawn"].as_str().unwrap().starts_with("recorded under"), "{}", merged[0]);
    // What ought to stand does so under the other one, and the registry learned of it when it did.
    assert_eq!((&merged[1]["trigger_id"], &merged[1]["withdrawn"]), (&json!("ST001"), &Value::Null));
    for field in ["learned_on", "due_on", "clause"] {
        assert_eq!(merged[1][field], before[0][field], "{field}");
    }
    two.close(&alias).await;
    let after = two.duties(&two.one).await;
    let kept = |duties: &[Value]| without_positions(json!(duties));
    assert_eq!(kept(&after), kept(&before));
    let other = two.duties(&two.other).await;
    assert_eq!((other.len(), &other[0]["status"]), (1, &json!("withdrawn")));
}

#[tokio::test]
async fn an_examination_that_was_offered_under_either_entry_is_the_persons() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    who_stays_at_the_first_site(&two).await;
    let first = two.duties(&two.one).await;
    let act = format!("/duties/{}/actions", first[0]["id"].as_str().unwrap());
    let offered = json!({"action": "offered", "on": "2026-02-27"});
    assert_eq!(app.as_role("physician").post(&act, &offered).await.status, 201);
    let before = two.duties(&two.one).await;
    // 29 CFR 1910.1026(k)(2)(ii): the next one a year later.
    assert_eq!((before.len(), &before[1]["due_on"]), (2, &json!("2027-02-27")));
    let alias = two.merge().await;
    let merged = two.duties(&two.other).await;
    let stands: Vec<_> = merged
        .iter()
        .filter(|duty| duty["status"] != "withdrawn")
        .map(|duty| (&duty["kind"], &duty["status"], &duty["due_on"]))
        .collect();
    assert_eq!(
        stands,
        [
            (&json!("offer_examination"), &json!("met"), &first[0]["due_on"]),
            (&json!("periodic_examination"), &json!("open"), &json!("2027-02-27"))
        ],
        "one duty for a clause and an occasion: {merged:?}"
    );
    let packet =
        two.get("physician", &format!("/workers/{}/examiner-packet?agent_code=chromium_vi", two.other)).await;
    assert_eq!(packet.json["earlier_examinations"][0]["on"], json!("2026-02-27"));
    two.close(&alias).await;
    let after = two.duties(&two.one).await;
    assert_eq!(without_positions(json!(after)), without_positions(json!(before)));
    // The other one is owed nothing again.
    let other = two.duties(&two.other).await;
    assert!(other.iter().all(|duty| duty["status"] == "withdrawn"), "{other:?}");
}

#[tokio::test]
async fn only_whoever_sees_all_sites_merges_and_reads_aliases() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    let body = json!({"of_worker_id": two.other, "reason": "One person."});
    let path = format!("/workers/{}/aliases", two.one);
    for role in ["administrator", "coordinator", "physician", "corporate", "hygienist_here", "here"] {
        assert_eq!(app.as_role(role).post(&path, &body).await.status, 403, "{role}");
    }
    let alias = two.merge().await;
    for (role, status) in [
        ("hygienist", 200),
        ("physician", 200),
        ("corporate", 200),
        ("coordinator", 200),
        ("administrator", 403),
        ("here", 403),
        ("hygienist_here", 403),
    ] {
        for path in [&path, &format!("/aliases/{alias}")] {
            assert_eq!(app.as_role(role).get(path).await.status, status, "{role} {path}");
        }
        if role != "hygienist" {
            let because = json!({"reason": "x"});
            let closing = app.as_role(role).post(&format!("/aliases/{alias}/closing"), &because).await;
            assert_eq!(closing.status, 403, "{role}");
        }
    }
    let shown = two.get("hygienist", &format!("/aliases/{alias}")).await;
    assert_eq!((&shown.json["worker_id"], &shown.json["of_worker_id"]), (&json!(two.one), &json!(two.other)));
    two.close(&alias).await;
    let shown = two.get("hygienist", &format!("/aliases/{alias}")).await;
    assert!(shown.json["closed_at"].is_string());
    assert_eq!(shown.json["closing_reason"], json!("Two persons of one name."));
}

#[tokio::test]
async fn what_is_no_merge_is_refused() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    let hygienist = app.as_role("hygienist");
    let (third, void) = (two.shop.worker("3").await, two.shop.worker("4").await);
    two.shop.post(&format!("/workers/{void}/voiding"), json!({"reason": "Nobody."})).await;
    let merge = async |entry: &str, of: &str| {
        let body = json!({"of_worker_id": of, "reason": "One person."});
        hygienist.post(&format!("/workers/{entry}/aliases"), &body).await
    };
    let refused = async |entry: &str, of: &str, status: u16, pointer: &str| {
        let answer = merge(entry, of).await;
        assert_eq!(answer.status, status, "{}", answer.text);
        if status == 422 {
            assert_eq!(answer.pointers(), [pointer], "{}", answer.text);
        }
    };
    let nobody = "01900000-0000-7000-8000-0000000000aa";
    refused(&two.one, &two.one, 422, "/of_worker_id").await;
    refused(&two.one, nobody, 422, "/of_worker_id").await;
    refused(&two.one, &void, 422, "/of_worker_id").await;
    refused(&void, &two.one, 409, "").await;
    refused(nobody, &two.one, 404, "").await;
    let path = format!("/workers/{}/aliases", two.one);
    for body in [
        json!({"of_worker_id": two.other}),
        json!({"of_worker_id": two.other, "reason": "x", "closed_at": "2026-01-01T00:00:00Z"}),
    ] {
        assert_eq!(hygienist.post(&path, &body).await.status, 422, "{body}");
    }

    // Both employed by one employer on the same days: possible, and remarked upon.
    let made = merge(&two.one, &two.other).await;
    assert_eq!((made.status, &made.json["flags"]), (201, &json!(["employments_overlap"])), "{}", made.text);
    let alias = made.id();
    // Never a second step, never a ring: an alias points to one that is none.
    refused(&two.one, &third, 422, "").await;
    refused(&two.one, &two.other, 422, "").await;
    refused(&third, &two.one, 422, "/of_worker_id").await;
    refused(&two.other, &third, 422, "").await;
    assert_eq!(merge(&two.other, &two.one).await.pointers(), ["/of_worker_id", ""]);
    // A third entry of the same person points to the one that stays.
    let further = merge(&third, &two.other).await;
    assert_eq!(further.status, 201, "{}", further.text);
    let worker = two.get("hygienist", &format!("/workers/{}", two.other)).await;
    assert_eq!(worker.json["also_known_as"], json!([two.one, third]));

    // While they are joined neither entry is voided, and the person is assigned to a group once.
    for entry in [&two.one, &two.other] {
        let voiding = hygienist.post(&format!("/workers/{entry}/voiding"), &json!({"reason": "x"})).await;
        assert_eq!(voiding.status, 409, "{}", voiding.text);
    }
    let twice =
        json!({"group_id": two.hot, "from": "2026-02-16", "shifts_per_week": 5, "hours_per_shift": 8});
    let path = format!("/workers/{}/assignments", two.other);
    assert_eq!(hygienist.post(&path, &twice).await.pointers(), ["/from"]);
    two.close(&alias).await;
    assert_eq!(
        hygienist.post(&format!("/aliases/{alias}/closing"), &json!({"reason": "x"})).await.status,
        409
    );
    two.shop.post(&path, twice).await;
    refused(&two.one, &two.other, 422, "/of_worker_id").await;
    // A correction is checked as the merge was: by another entry.
    let correct = async |of: &str| {
        let body = json!({"of_worker_id": of, "reason": "Misread."});
        let path = format!("/aliases/{}", further.id());
        Answer::of(hygienist.request("PATCH", &path).header("if-match", "*").json(&body)).await
    };
    assert_eq!(correct(&third).await.status, 422);
    assert_eq!(correct(&two.one).await.status, 200);
    let worker = two.get("hygienist", &format!("/workers/{}", two.one)).await;
    assert_eq!(worker.json["also_known_as"], json!([third]));
    let other = two.get("hygienist", &format!("/workers/{}", two.other)).await;
    assert_eq!(other.json.get("also_known_as"), None);
}

#[tokio::test]
async fn before_the_merge_it_was_known_otherwise() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    let paths: Vec<String> = [&two.one, &two.other]
        .into_iter()
        .flat_map(|worker| {
            [
                format!("/workers/{worker}/history?agent_code=chromium_vi"),
                format!("/shift-averages?worker_id={worker}&agent_code=chromium_vi"),
                format!("/duties?worker_id={worker}&limit=50"),
            ]
        })
        .chain(["/exports/histories.csv?for=spreadsheet".to_owned()])
        .collect();
    let mut then = Vec::new();
    for path in &paths {
        then.push(two.get("physician", path).await.text);
    }
    let at = app.registry.clock.now().format("%Y-%m-%dT%H:%M:%S%.3fZ").to_string();
    app.clock.advance(chrono::Duration::minutes(5));
    let alias = two.merge().await;
    for (path, then) in paths.iter().zip(&then) {
        assert_ne!(&two.get("physician", path).await.text, then, "{path}");
        let known = two.get("physician", &format!("{path}&as_known_on={at}")).await;
        assert_eq!(&known.text, then, "{path}");
    }
    two.close(&alias).await;
}

#[tokio::test]
async fn a_coordinator_of_one_site_learns_nothing_of_the_other() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    let paths = |worker: &str| {
        [
            format!("/workers/{worker}"),
            format!("/workers/{worker}/history?agent_code=chromium_vi"),
            format!("/shift-averages?worker_id={worker}"),
            "/exports/histories.csv".to_owned(),
            "/exports/samples.csv".to_owned(),
            "/workers".to_owned(),
        ]
    };
    let mut before = Vec::new();
    for (role, worker) in [("here", &two.one), ("there", &two.other)] {
        for path in paths(worker) {
            before.push(two.get(role, &path).await.text);
        }
    }
    two.merge().await;
    let mut then = before.iter();
    for (role, worker, hidden, number) in
        [("here", &two.one, &two.other, "2"), ("there", &two.other, &two.one, "1")]
    {
        for path in paths(worker) {
            let now = two.get(role, &path).await;
            let (then, now) = (then.next().unwrap(), now.text);
            let same = match (serde_json::from_str(then), serde_json::from_str(&now)) {
                (Ok(then), Ok(now)) => without_positions(then) == without_positions(now),
                _ => *then == now,
            };
            assert!(same, "{role} {path}:\n{then}\n{now}");
        }
        // A clause that days at both sites meet is told as such, under the entry that he knows.
        let duties = two.get(role, &format!("/duties?worker_id={worker}")).await;
        let duty = &duties.json["items"][0];
        assert_eq!((&duty["trigger_id"], &duty["subject"]), (&json!("ST001"), &json!({"worker_id": worker})));
        assert_eq!((&duty["flags"], duty.get("days_counted")), (&json!(["days_across_sites"]), None));
        let surveillance =
            two.get(role, &format!("/workers/{worker}/surveillance?agent_code=chromium_vi")).await;
        assert_eq!(surveillance.json["worker_id"], json!(worker));
        let clause = &surveillance.json["clauses"][0];
        assert_eq!((&clause["flags"], clause.get("days_counted")), (&json!(["days_across_sites"]), None));
        for path in [
            format!("/duties?worker_id={worker}"),
            format!("/workers/{worker}/surveillance?agent_code=chromium_vi"),
            "/duties".to_owned(),
            "/early-warnings?above=0".to_owned(),
            "/overview".to_owned(),
            "/exports/surveillance.csv".to_owned(),
            "/exports/duties.json".to_owned(),
            "/exports/surveillance.fhir.json".to_owned(),
            "/exports/journal.json".to_owned(),
            "/exports/histories.json".to_owned(),
            format!("/workers/{worker}"),
            format!("/groups/{}/profiles", if role == "here" { &two.hot } else { &two.melt }),
        ] {
            let answer = two.get(role, &path).await;
            for secret in [hidden.as_str(), "also_known_as\":[", "recorded_under"] {
                assert!(!answer.text.contains(secret), "{role} {path} tells {secret}: {}", answer.text);
            }
        }
        let hidden_one = two.get(role, &format!("/duties?worker_id={hidden}")).await;
        assert_eq!(hidden_one.ids().len(), 0);
        for path in
            [format!("/workers/{hidden}"), format!("/workers/{hidden}/history?agent_code=chromium_vi")]
        {
            assert_eq!(app.as_role(role).get(&path).await.status, 404);
        }
        // Found by employer and number as before: name and number, and nothing that joins them.
        let search = json!({"employer": "Own works", "employee_number": number});
        let found = app.as_role(role).post("/workers/search", &search).await;
        let item = &found.json["items"][0];
        assert_eq!((&item["id"], item.as_object().unwrap().len()), (&json!(hidden), 4), "{item}");
    }
}

#[tokio::test]
async fn what_was_recorded_under_an_entry_out_of_sight_stays_out_of_a_readers_answers() {
    let app = TestApp::spawn().await;
    let mut two = TwoEntries::enter(&app).await;
    // Sampled at the first site without being assigned there: its coordinator does not see this entry.
    let sample = json!({"position": "breathing_zone", "worker_id": two.other, "group_id": two.hot});
    two.shop.measured(sample, "2026-02-25", micrograms(4.0)).await;
    let told = async |role: &str| {
        let averages = two.get(role, &format!("/shift-averages?worker_id={}", two.one)).await;
        let items = averages.json["items"].as_array().unwrap().clone();
        let workers: Vec<_> = items.iter().map(|one| one["worker_id"].clone()).collect();
        let history = two.get(role, &format!("/workers/{}/history?agent_code=chromium_vi", two.one)).await;
        (workers, history.json["days_at_or_above_action_level"]["measured"].clone())
    };
    assert_eq!(told("here").await, (vec![json!(two.one)], json!(1)));
    two.merge().await;
    assert_eq!(told("here").await, (vec![json!(two.one)], json!(1)));
    assert_eq!(told("physician").await, (vec![json!(two.other); 3], json!(2)));
    // Of his group he sees every shift, under the entries that it was recorded for.
    let of_group = two.get("here", &format!("/shift-averages?group_id={}", two.hot)).await;
    let workers: Vec<_> =
        of_group.json["items"].as_array().unwrap().iter().map(|one| one["worker_id"].clone()).collect();
    assert_eq!(workers, [json!(two.one), json!(two.other)]);
}

#[tokio::test]
async fn a_group_has_each_member_once() {
    let app = TestApp::spawn().await;
    let mut two = TwoEntries::enter(&app).await;
    // The second entry was sampled at the first site too, the day after the first one, and worked on there.
    let sample = json!({"position": "breathing_zone", "worker_id": two.other, "group_id": two.hot});
    let (hot, other) = (two.hot.clone(), two.other.clone());
    let sample = two.shop.measured(sample, "2026-02-25", micrograms(4.0)).await;
    let assignment =
        json!({"group_id": hot, "from": "2026-03-02", "shifts_per_week": 1, "hours_per_shift": 8});
    two.shop.post(&format!("/workers/{other}/assignments"), assignment).await;
    let counted = async || {
        let profile =
            two.get("hygienist", &format!("/groups/{}/profiles?agent_code=chromium_vi", two.hot)).await;
        profile.json["items"][0]["worker_count"].clone()
    };
    let members = async || {
        let found = two.get("hygienist", &format!("/samples/{sample}/represents")).await;
        let items = found.json["items"].as_array().unwrap().clone();
        items.iter().map(|one| (one["worker_id"].clone(), one["sampled"].clone())).collect::<Vec<_>>()
    };
    let letters = async || {
        let event = two.get("hygienist", &format!("/samples/{sample}")).await.json["event_id"].clone();
        let path = format!("/sampling-events/{}/letters", event.as_str().unwrap());
        let issued = app
            .as_role("hygienist")
            .post(
                &path,
                &json!({"agent_code": "chromium_vi",
            "corrective_action": "A hood by 1 May."}),
            )
            .await;
        assert!([200, 201].contains(&issued.status), "{}", issued.text);
        issued.json["letters"]
            .as_array()
            .unwrap()
            .iter()
            .map(|one| one["worker_id"].clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(counted().await, json!(2));
    assert_eq!(members().await, [(json!(two.one), json!(false)), (json!(two.other), json!(true))]);
    let alias = two.merge().await;
    assert_eq!(counted().await, json!(1));
    assert_eq!(members().await, [(json!(two.other), json!(true))]);
    assert_eq!(letters().await, [json!(two.other)]);
    holds(&app).await;
    two.close(&alias).await;
    assert_eq!(counted().await, json!(2));
    assert_eq!(members().await.len(), 2);
}

#[tokio::test]
async fn a_merge_reaches_a_group_in_which_both_were_sampled_on_different_days() {
    let app = TestApp::spawn().await;
    let site = app.site("LYN").await;
    let mut shop = Shop { app: &app, here: site.clone(), there: site.clone(), events: 0 };
    let group = shop.group(&site, "HOT").await;
    let (one, other) = (shop.worker("1").await, shop.worker("2").await);
    for (worker, day) in [(&one, "2026-02-24"), (&other, "2026-02-25")] {
        let sample = json!({"position": "breathing_zone", "worker_id": worker, "group_id": group});
        shop.measured(sample, day, micrograms(6.0)).await;
    }
    let workers = async || {
        app.registry.settle().await.unwrap();
        let profile = app.as_role("hygienist").get(&format!("/groups/{group}/profiles")).await;
        profile.json["items"][0]["worker_count"].clone()
    };
    assert_eq!(workers().await, json!(2));
    let body = json!({"of_worker_id": other, "reason": "One person."});
    let alias = shop.post(&format!("/workers/{one}/aliases"), body).await.id();
    assert_eq!(workers().await, json!(1));
    shop.post(&format!("/aliases/{alias}/closing"), json!({"reason": "Two."})).await;
    assert_eq!(workers().await, json!(2));
}

#[tokio::test]
async fn what_follows_under_either_entry_is_seen_at_once() {
    let app = TestApp::spawn().await;
    let mut two = TwoEntries::enter(&app).await;
    two.merge().await;
    let measured = async |two: &TwoEntries<'_>| {
        let path = format!("/workers/{}/history?agent_code=chromium_vi", two.other);
        let history = two.get("physician", &path).await;
        history.json["days_at_or_above_action_level"]["measured"].clone()
    };
    assert_eq!(measured(&two).await, json!(1));
    // A fact about the entry that became the alias, read before anybody followed its mark.
    let sample = json!({"position": "breathing_zone", "worker_id": two.one, "group_id": two.hot});
    two.shop.measured(sample, "2026-02-25", micrograms(7.0)).await;
    let path = format!("/workers/{}/history?agent_code=chromium_vi", two.other);
    let at_once = app.as_role("physician").get(&path).await;
    assert_eq!(at_once.json["days_at_or_above_action_level"]["measured"], 2);
    assert_eq!(measured(&two).await, json!(2));
    holds(&app).await;
}

#[tokio::test]
async fn a_reading_names_the_entry_that_was_asked_for_and_the_others() {
    let app = TestApp::spawn().await;
    let two = TwoEntries::enter(&app).await;
    two.get("physician", &format!("/workers/{}/history?agent_code=chromium_vi", two.one)).await;
    two.merge().await;
    two.get("physician", &format!("/workers/{}/history?agent_code=chromium_vi", two.one)).await;
    let sql = "SELECT worker_id, scope FROM access_line WHERE request LIKE '%/history' ORDER BY at, id";
    let lines: Vec<(uuid::Uuid, Option<String>)> = match &app.registry.database {
        Database::Sqlite(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
        Database::Postgres(pool) => sqlx::query_as(sql).fetch_all(pool).await.unwrap(),
    };
    let asked: uuid::Uuid = two.one.parse().unwrap();
    assert_eq!(lines, [(asked, None), (asked, Some(format!("with {}", two.other)))]);
    let mut tx = app.registry.database.read().await.unwrap();
    let other = two.other.parse::<uuid::Uuid>().unwrap();
    let reading = Reading { worker: Some((other.into(), Vec::new())), limit: 10, ..Reading::default() };
    let about = doseward::store::access_log::lines(&mut tx, &reading).await.unwrap();
    assert_eq!(about.len(), 1, "who looked at the person, under whichever entry");
}
