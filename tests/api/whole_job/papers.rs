//! What an examining professional is given, as data and as a paper.

use super::plant::{EMPLOYER, Plant};
use super::{items_of, only};
use serde_json::{Value, json};

/// Orla worked at two sites and was offered an examination; Ada works on.
pub(super) async fn for_the_examiner(plant: &Plant<'_>) {
    let path = |worker: &str, form: &str| {
        format!("/workers/{}/examiner-packet{form}?agent_code=chromium_vi", plant.id(worker))
    };
    let orla = plant.read("physician", &path("Orla", "")).await;
    assert_eq!((&orla["name"], &orla["employer"]), (&json!("Orla Venn"), &json!(EMPLOYER)));
    assert_eq!((&orla["employee_number"], &orla["as_of"]), (&json!("T-04"), &json!("2026-03-02")));
    let owed = only(items_of(&orla, "triggers"), |_| true);
    assert!(owed["clause"].as_str().unwrap().contains("1910.1026(k)(1)(i)(A)"), "{owed}");
    assert_eq!((&owed["status"], &owed["days_counted"]), (&json!("met"), &json!(40)));
    // March among the welders and September among the cutters: both are over.
    let work: Vec<_> = items_of(&orla, "work")
        .iter()
        .map(|one| {
            (one["site_code"].as_str().unwrap(), one["from"].as_str().unwrap(), one["when"].as_str().unwrap())
        })
        .collect();
    assert_eq!(work, [("TRN", "2025-03-03", "former"), ("QUI", "2025-09-08", "former")]);
    assert!(items_of(&orla, "exposure").iter().all(|one| one["when"] == "former"), "{orla}");
    let earlier = only(items_of(&orla, "earlier_examinations"), |_| true);
    assert_eq!((&earlier["on"], &earlier["action"]), (&json!("2026-03-02"), &json!("offered")));

    let ada = plant.read("physician", &path("Ada", "")).await;
    let ahead = only(items_of(&ada, "exposure"), |one| one["when"] == "anticipated");
    // From the day after the day of asking, as it was last known among the welders.
    assert_eq!((&ahead["from"], ahead.get("to")), (&json!("2026-03-03"), None));
    let last = items_of(&ada, "exposure").iter().rfind(|one| one["when"] != "anticipated").unwrap();
    assert_eq!((&ahead["mean"], &ahead["flags"]), (&last["mean"], &json!(["as_last_known"])));
    let limits: Vec<&Value> =
        items_of(&ada, "limits").iter().filter(|one| one["kind"] == "action_level").collect();
    assert_eq!((&limits[0]["value"]["value"], &limits[0]["value"]["unit"]), (&json!(2.5), &json!("ug/m3")));

    let paper = plant.speak("physician").get(&path("Ada", ".html")).await;
    assert!(paper.header("content-type").starts_with("text/html"), "{}", paper.text);
    assert!(paper.header("content-security-policy").contains("style-src 'sha256-"));
    for said in ["Ada Moss", "examining professional decide", "1910.1026(k)(1)(i)(A)", "to come", "2.5 µg/m³"]
    {
        assert!(paper.text.contains(said), "{said} is missing in {}", paper.text);
    }
    assert!(!paper.text.contains("<script") && !paper.text.contains(" style="));
    // A part is no packet.
    for who in ["tarn", "quill"] {
        assert_eq!(plant.speak(who).get(&path("Orla", "")).await.status, 403);
    }
}
