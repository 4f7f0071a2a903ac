//! What is handed out on a request for a worker's records. All of it is invented.

use crate::harness::{Answer, TestApp};
use crate::overview::{Shop, micrograms};
use serde_json::{Value, json};

/// Two in one group, both measured, and the air of the room.
struct Hall<'a> {
    shop: Shop<'a>,
    asked: String,
    other: String,
    group: String,
}

async fn employed(shop: &Shop<'_>, number: &str) -> String {
    let person = json!({"employee_number": number, "given_name": "Ada", "family_name": "Vale",
        "employer": "Own works", "hired_on": "2026-01-05"});
    shop.post("/workers", person).await.id()
}

async fn hall(app: &TestApp) -> Hall<'_> {
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    let mut shop = Shop { app, here: here.clone(), there, events: 0 };
    let group = shop.group(&here, "G1").await;
    let (asked, other) = (employed(&shop, "1").await, employed(&shop, "2").await);
    shop.assign(&asked, &group, "2026-02-02", 5.0).await;
    shop.assign(&other, &group, "2026-01-05", 5.0).await;
    let worn = |who: &str| json!({"position": "breathing_zone", "group_id": group, "worker_id": who});
    // Before the asked one came, then of both, and one that is voided.
    shop.measured(worn(&other), "2026-01-20", micrograms(9.0)).await;
    shop.measured(worn(&asked), "2026-02-04", micrograms(3.0)).await;
    shop.measured(worn(&other), "2026-02-04", micrograms(4.0)).await;
    let failed = shop.measured(worn(&asked), "2026-02-05", micrograms(50.0)).await;
    let void = json!({"reason": "The cassette was open."});
    shop.post(&format!("/samples/{failed}/voiding"), void).await;
    shop.measured(json!({"position": "area", "group_id": group}), "2026-02-04", micrograms(1.5)).await;
    Hall { shop, asked, other, group }
}

impl Hall<'_> {
    async fn request(&self, mut more: Value) -> String {
        let asked = json!({"received_on": "2026-02-20", "what": "Every exposure record."});
        more.as_object_mut().unwrap().extend(asked.as_object().unwrap().clone());
        self.shop.post(&format!("/workers/{}/record-requests", self.asked), more).await.id()
    }

    async fn package(&self, who: &str, request: &str) -> Answer {
        self.shop.app.as_role(who).get(&format!("/record-requests/{request}/package")).await
    }
}

fn told(package: &Value, part: &str) -> Vec<[Value; 4]> {
    let rows = package[part].as_array().unwrap().iter();
    rows.map(|row| {
        ["shift_date", "worn_by", "concentration", "void_because"].map(|name| match name {
            // Of what was voided no concentration is made: what was reported stays readable.
            "concentration" if row.get(name).is_none() => row["reported"]["value"].clone(),
            "concentration" => row[name]["value"].clone(),
            _ => row.get(name).cloned().unwrap_or_default(),
        })
    })
    .collect()
}

// 29 CFR 1910.1020(e)(2)(i)(A): records that measure the worker, and those of others with the same duties.
#[tokio::test]
async fn a_package_holds_what_measured_and_what_represents_and_names_nobody_else() {
    let app = TestApp::spawn().await;
    let hall = hall(&app).await;
    let request = hall.request(json!({"from": "worker"})).await;
    let answer = hall.package("hygienist", &request).await;
    assert_eq!(answer.status, 200, "{}", answer.text);
    let package = &answer.json;
    let row = |day: &str, by: Value, value: f64, void: Value| [json!(day), by, json!(value), void];
    let person = json!("Person A");
    assert_eq!(
        told(package, "own"),
        [
            row("2026-02-04", json!("the worker"), 3.0, Value::Null),
            row("2026-02-05", json!("the worker"), 50.0, json!("The cassette was open."))
        ]
    );
    assert_eq!(told(package, "representing"), [row("2026-02-04", person, 4.0, Value::Null)]);
    assert_eq!(told(package, "areas"), [row("2026-02-04", Value::Null, 1.5, Value::Null)]);
    // What was measured before this person came tells nothing more where the person was measured.
    assert_eq!(package["of_similar_work"], json!([]));
    assert_eq!((&package["route"], &package["due_on"]), (&json!("own_request"), &json!("2026-03-13")));
    assert!(package["limits"].as_array().unwrap().iter().any(|limit| limit["kind"] == "action_level"));
    // Accuracy that the standard asks for: 29 CFR 1910.1026(d)(5), edition A of the pack.
    assert_eq!(package["accuracy"][0]["clause"], "29 CFR 1910.1026(d)(5)");
    assert_eq!(package["profiles"][0]["group_id"], json!(hall.group));
    assert!(!answer.text.contains(&hall.other), "nobody else is named: {}", answer.text);
    let paper = app.as_role("hygienist").get(&format!("/record-requests/{request}/package.html")).await;
    assert!(paper.text.contains("Person A") && paper.text.contains("does not count: The cassette was open."));
    assert!(paper.text.contains("<s>reported 50"), "{}", paper.text);
    assert!(
        paper.text.contains("What is missing") && paper.text.contains("Medical records are kept elsewhere")
    );
}

#[tokio::test]
async fn of_somebody_never_measured_what_others_breathed_at_other_times_stands_in() {
    let app = TestApp::spawn().await;
    let (here, there) = (app.site("LYN").await, app.site("BRK").await);
    let mut shop = Shop { app: &app, here: here.clone(), there, events: 0 };
    let group = shop.group(&here, "G1").await;
    let (asked, other) = (employed(&shop, "1").await, employed(&shop, "2").await);
    shop.assign(&other, &group, "2026-01-05", 5.0).await;
    shop.assign(&asked, &group, "2026-02-02", 5.0).await;
    let worn = json!({"position": "breathing_zone", "group_id": group, "worker_id": other});
    shop.measured(worn, "2026-01-20", micrograms(9.0)).await;
    let hall = Hall { shop, asked, other, group };
    let request = hall.request(json!({"from": "worker"})).await;
    let package = hall.package("physician", &request).await.json;
    let row = [json!("2026-01-20"), json!("Person A"), json!(9.0), Value::Null];
    assert_eq!(told(&package, "of_similar_work"), [row]);
    let missing = package["missing"].to_string();
    assert!(
        missing.contains("chromium_vi: no valid result measures this person; nobody in the same group"),
        "{missing}"
    );
}

// 29 CFR 1910.1020(e)(2)(i)(B) and (c)(12).
#[tokio::test]
async fn nothing_is_handed_out_to_whom_nothing_lets_have_it() {
    let app = TestApp::spawn().await;
    let hall = hall(&app).await;
    let representative = hall.request(json!({"from": "representative"})).await;
    let refused = hall.package("hygienist", &representative).await;
    assert_eq!((refused.status, refused.pointers()), (409, vec!["/consented_on"]), "{}", refused.text);
    for (more, route) in [
        (json!({"from": "representative", "consented_on": "2026-02-19"}), "consent"),
        (json!({"from": "representative", "health_need": "Cough in one hall."}), "written_need"),
        (json!({"from": "authority"}), "authority"),
    ] {
        let request = hall.request(more).await;
        assert_eq!(hall.package("corporate", &request).await.json["route"], route);
    }
    let path = format!("/workers/{}/record-requests", hall.asked);
    for (more, at) in [
        (json!({"from": "worker", "health_need": "None."}), "/health_need"),
        (json!({"from": "other", "consent_until": "2026-03-01"}), "/consent_until"),
        (
            json!({"from": "other", "consented_on": "2026-02-01", "consent_until": "2027-02-02"}),
            "/consent_until",
        ),
        (json!({"from": "other", "consented_on": "2026-04-01"}), "/consented_on"),
    ] {
        let mut body = json!({"received_on": "2026-02-20", "what": "All."});
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let answer = app.as_role("hygienist").post(&path, &body).await;
        assert_eq!((answer.status, answer.pointers()), (422, vec![at]), "{body}");
    }
    // Whoever sees one site would hand out a part for the whole.
    app.add_account_on("here", "hygienist", &[&hall.shop.here]).await;
    let own = hall.request(json!({"from": "worker"})).await;
    assert_eq!(hall.package("here", &own).await.status, 403);
    let void = json!({"reason": "Sent twice."});
    hall.shop.post(&format!("/record-requests/{own}/voiding"), void).await;
    assert_eq!(hall.package("hygienist", &own).await.status, 409);
}
