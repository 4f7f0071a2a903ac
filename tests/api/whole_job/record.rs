//! Exports, repeated requests, and the journal behind it all.

use super::plant::Plant;
use super::{items, near};
use serde_json::{Value, json};
use std::collections::BTreeMap;

type Row = BTreeMap<String, String>;

async fn export(plant: &Plant<'_>, name: &str) -> Vec<Row> {
    let answer = plant.speak("corporate").get(&format!("/exports/{name}.csv")).await;
    assert_eq!(answer.status, 200, "{}", answer.text);
    assert!(answer.header("content-type").starts_with("text/csv"));
    let mut reader = csv::Reader::from_reader(answer.text.as_bytes());
    reader.deserialize().map(|row| row.unwrap()).collect()
}

/// The corporate office takes both files out.
pub(super) async fn exports(plant: &Plant<'_>) {
    let samples = export(plant, "samples").await;
    // A row for each result, replaced ones too, and one for each of the two samples whose pump failed.
    assert_eq!(samples.len(), plant.results + 2);
    let of =
        |number: &str| -> Vec<&Row> { samples.iter().filter(|row| row["sample_number"] == number).collect() };
    let first = of("T1")[0];
    assert_eq!((first["site_code"].as_str(), first["group_code"].as_str()), ("TRN", "WLD"));
    assert_eq!((first["worker_name"].as_str(), first["reported"].as_str()), ("Ada Moss", "1.95"));
    near(&number(&first["volume_litres"]), 960.0);
    near(&number(&first["concentration"]), 2.0);
    assert_eq!((first["status"].as_str(), first["unit"].as_str()), ("accepted", "ug/m3"));
    let coarse = of("Q31")[0];
    assert_eq!((coarse["comparator"].as_str(), number(&coarse["concentration"])), ("<", json!(3.1)));
    let standing: Vec<&str> =
        of("Q23").iter().filter(|row| row["stands"] == "true").map(|row| row["reported"].as_str()).collect();
    assert_eq!((of("Q23").len(), standing), (2, vec!["3.84"]));
    assert!(samples.iter().all(|row| row["status"] != "submitted"
        || row["stands"] == "false"
        || row["position"] == "field_blank"));

    let surveillance = export(plant, "surveillance").await;
    let told: Vec<_> = surveillance
        .iter()
        .map(|row| {
            (
                row["worker_name"].as_str(),
                row["due_on"].as_str(),
                row["days_counted"].as_str(),
                row["status"].as_str(),
            )
        })
        .collect();
    assert_eq!(
        told,
        [
            ("Ada Moss", "2025-04-02", "163", "overdue"),
            ("Orla Venn", "2025-04-02", "40", "met"),
            ("Milo Tark", "2025-06-02", "31", "overdue"),
            ("Cleo Dray", "2025-11-05", "261", "withdrawn"),
        ]
    );
    assert_eq!(plant.speak("corporate").post("/workers", &json!({})).await.status, 403);

    let answer = plant.speak("physician").get("/exports/surveillance.fhir.json").await;
    assert!(answer.header("content-type").starts_with("application/fhir+json"), "{}", answer.text);
    let of = |kind: &str| -> Vec<&Value> {
        let entries = answer.json["entry"].as_array().unwrap();
        entries.iter().map(|entry| &entry["resource"]).filter(|one| one["resourceType"] == kind).collect()
    };
    let counts = ["Patient", "ServiceRequest", "Task"].map(|kind| of(kind).len());
    assert_eq!(counts, [4, 4, 4]);
    // Orla's own filters among the cutters are reasons of her request.
    let orla = format!("urn:uuid:{}", plant.id("Orla"));
    let asked =
        of("ServiceRequest").into_iter().find(|one| one["subject"]["reference"] == orla.as_str()).unwrap();
    assert_eq!(
        (&asked["status"], &asked["occurrencePeriod"]["end"]),
        (&json!("completed"), &json!("2025-04-02"))
    );
    assert!(!asked["reasonReference"].as_array().unwrap().is_empty(), "{asked}");
    assert!(of("Observation").iter().all(|one| one["valueQuantity"]["code"] == "ug/m3"), "{}", answer.text);
}

/// A calendar program sees what is due and when, by a token that opens nothing else, and names nobody.
pub(super) async fn calendar(plant: &Plant<'_>) {
    let administrator = plant.app.as_role("administrator");
    let accounts = administrator.get("/accounts").await;
    let is_physician = |account: &&Value| account["roles"][0]["role"] == "physician";
    let physician = items(&accounts.json).iter().find(is_physician).unwrap();
    let path = format!("/accounts/{}/tokens", physician["id"].as_str().unwrap());
    let made = administrator.post(&path, &json!({"label": "calendar", "opens": "calendar"})).await;
    let token = made.json["token"].as_str().unwrap();
    let address = format!("/calendars/{token}/due-dates.ics");
    let read = plant.app.as_nobody().get(&address).await;
    assert_eq!(read.status, 200, "{}", read.text);
    assert!(read.header("content-type").starts_with("text/calendar"));
    let unfolded = read.text.replace("\r\n ", "");
    let (examinations, others): (Vec<&str>, Vec<&str>) = unfolded
        .split("BEGIN:VEVENT")
        .skip(1)
        .partition(|event| event.contains("SUMMARY:Examination to offer\r\n"));
    // Ada's and Milo's; Orla's was met and Cleo's withdrawn long after they were due.
    for day in ["20250402", "20250602"] {
        let line = format!("DTSTART;VALUE=DATE:{day}\r\n");
        assert_eq!(examinations.iter().filter(|event| event.contains(&line)).count(), 1, "{examinations:#?}");
    }
    assert!(others.iter().any(|event| event.contains("\\, WLD\\, chromium_vi")), "{others:#?}");
    for event in &examinations {
        for secret in ["chromium", "lead", "1910", "examination of"] {
            assert!(!event.contains(secret), "{secret} stands in {event}");
        }
    }
    for name in ["Ada", "Moss", "Milo", "Tark", "Orla", "Venn"] {
        assert!(!unfolded.contains(name), "{name} stands in {unfolded}");
    }
    assert_eq!(plant.app.with_token(token).get("/duties").await.status, 401);
    let of_api = format!("/calendars/{}/due-dates.ics", plant.app.token("physician"));
    assert_eq!(plant.app.as_nobody().get(&of_api).await.status, 404);
    let because = json!({"reason": "the calendar is no longer used"});
    administrator.post(&format!("/tokens/{}/revocation", made.id()), &because).await;
    assert_eq!(plant.app.as_nobody().get(&address).await.status, 404);
}

fn number(cell: &str) -> Value {
    json!(cell.parse::<f64>().unwrap())
}

/// The same request again is answered as before and stores nothing; another under its key is refused.
pub(super) async fn replays(plant: &Plant<'_>) {
    let path = format!("/sites/{}/sampling-events", plant.id("QUI"));
    let event = json!({"reference": "Q26-03", "sampled_by": "J. Lund", "samples": [
        {"number": "Q91", "position": "field_blank", "shift_date": "2026-03-02", "agent_codes": ["lead"]}]});
    let quill = plant.speak("quill");
    let first = quill.post_with_key(&path, "once", &event).await;
    let again = quill.post_with_key(&path, "once", &event).await;
    assert_eq!((first.status, again.status), (201, 201), "{}", again.text);
    assert_eq!(first.json, again.json);
    let mut other = event.clone();
    other["sampled_by"] = json!("K. Marl");
    assert_eq!(quill.post_with_key(&path, "once", &other).await.status, 422);
    // The reference is taken under any key.
    assert_eq!(quill.post_with_key(&path, "twice", &event).await.status, 409);
    let events = plant.read("quill", &path).await;
    assert_eq!(items(&events).iter().filter(|one| one["reference"] == "Q26-03").count(), 1);
}

/// Who did what stands in one order, and the record proves itself.
pub(super) async fn journal(plant: &Plant<'_>) {
    let path = format!("/journal?subject_id={}", plant.id("T25-03"));
    let entries = plant.read("corporate", &path).await;
    let entry = &items(&entries)[0];
    assert_eq!(
        (&entry["site_id"], &entry["subject_id"]),
        (&json!(plant.id("TRN")), &json!(plant.id("T25-03")))
    );
    assert_eq!(entry["image"]["fact"]["reference"], "T25-03", "{entry}");
    // The administrator sees that a sample was entered, not what it says.
    let path = format!("/journal?subject_id={}", plant.id("T1"));
    let envelope = plant.app.as_role("administrator").get(&path).await;
    assert_eq!(envelope.status, 200, "{}", envelope.text);
    assert!(items(&envelope.json).iter().all(|entry| entry.get("image").is_none()), "{}", envelope.text);
    for prover in [plant.app.as_role("administrator"), plant.speak("corporate")] {
        let proved = prover.post("/journal/verification", &json!({})).await;
        assert_eq!(proved.status, 200, "{}", proved.text);
        assert_eq!(proved.json["sound"], json!(true), "{}", proved.text);
        assert_eq!(proved.json.get("first_fault"), None);
    }
}
