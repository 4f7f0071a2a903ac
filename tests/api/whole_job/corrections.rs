//! A laboratory takes a result back and analyses another again; what was known before stays to be read.

use super::filters::{filter, report, row, said};
use super::plant::Plant;
use super::{close, items, near, only, words};
use chrono::{DateTime, Duration, SecondsFormat, Utc};
use doseward::registry::clock::Clock as _;
use serde_json::{Value, json};

/// The instant before the corrections.
pub(super) async fn reports_are_corrected(plant: &mut Plant<'_>) -> DateTime<Utc> {
    let hours = ["07:00", "15:00"];
    let samples =
        [("Q21", "Orla", "2025-09-15"), ("Q22", "Piet", "2025-09-16"), ("Q23", "Piet", "2025-09-17")].map(
            |(number, worker, date)| filter(number, plant.id(worker), date, hours, "-04:00", &json!({})),
        );
    let event = json!({"reference": "Q25-09", "sampled_by": "J. Lund", "samples": samples});
    plant.sample("quill", "QUI", event).await;
    let rows = [
        row("Q21", "7.68", "0.05", "yes"),
        row("Q22", "1.44", "0.05", "yes"),
        row("Q23", "0.96", "0.05", "yes"),
    ];
    let first = plant.report("quill", "QUI", &report("Q-51", "2025-09-29", &rows)).await;
    // 7.68 / 0.96 = 8; 1.44 / 0.96 = 1.5; 0.96 / 0.96 = 1; GM = (8 x 1.5 x 1)^(1/3) = 12^(1/3) = 2.289428485.
    for (number, concentration) in [("Q21", 8.0), ("Q22", 1.5), ("Q23", 1.0)] {
        near(&said(&first, number)["results"][0]["concentration"]["value"], concentration);
    }
    near(&geometric_mean(plant, "").await, 12_f64.cbrt());
    let before = plant.app.clock.now();
    plant.app.clock.advance(Duration::minutes(10));

    // A second result of the same sample must say what it is.
    let silent = report("Q-52", "2025-10-06", &[row("Q23", "3.84", "0.05", "yes")]);
    let path = format!("/sites/{}/lab-reports", plant.id("QUI"));
    let refused = plant.speak("quill").post(&path, &silent).await;
    assert_eq!((refused.status, refused.pointers()), (409, vec!["/results/0"]), "{}", refused.text);

    let replaced = said(&first, "Q23")["results"][0]["id"].clone();
    let mut mistaken = row("Q23", "3.84", "0.05", "yes");
    mistaken["replaces"] = json!({"result_id": replaced, "as": "revised"});
    let mut revision = report("Q-51", "2025-10-06", &[mistaken]);
    revision["revision"] = json!(1);
    let revised = plant.report("quill", "QUI", &revision).await;
    assert_eq!((&first["revision"], &revised["revision"]), (&Value::Null, &json!(1)));
    // The laboratory's mistake: 3.84 / 0.96 = 4 stands at once; 1 stays readable.
    let results = said(&revised, "Q23")["results"].as_array().unwrap();
    assert_eq!(results.len(), 2);
    near(&only(results, |one| one["stands"] == true)["concentration"]["value"], 4.0);
    let old = only(results, |one| one["stands"] == false);
    assert_eq!((&old["id"], words(&old["flags"])), (&replaced, vec!["not_standing"]));

    // Analysed again: 1.5 stands until the hygienist chooses 1.92 / 0.96 = 2.
    let file = "sample_number,agent,value,unit,reporting_limit,blank_corrected,replaces\n\
        Q22,chromium_vi,1.92,ug,0.05,yes,reanalysed\n";
    let head = "report_number=Q-53&laboratory=Hollow%20Lane%20Laboratory&received_on=2025-10-07";
    let again = plant.csv("quill", "QUI", head, file, false).await;
    assert_eq!(again.status, 201, "{}", again.text);
    let results = said(&again.json, "Q22")["results"].as_array().unwrap();
    near(&only(results, |one| one["stands"] == true)["concentration"]["value"], 1.5);
    let waiting = only(results, |one| one["stands"] == false);
    near(&waiting["concentration"]["value"], 2.0);
    let path = format!("/results/{}/standing-choice", waiting["id"].as_str().unwrap());
    let why = json!({"reason": "The first extract was not complete."});
    assert_eq!(plant.speak("quill").post(&path, &why).await.status, 403, "a coordinator does not choose");
    assert_eq!(plant.speak("hygienist").post(&path, &why).await.status, 201);
    // 8, 2 and 4: GM = 64^(1/3) = 4; in powers of two 3, 1, 2: deviation 1, GSD = 2.
    let path = format!("/groups/{}/profiles?agent_code=chromium_vi", plant.id("CUT"));
    let profiles = plant.read("hygienist", &path).await;
    let era = &items(&profiles)[0];
    near(&era["geometric_mean"]["value"], 4.0);
    near(&era["geometric_standard_deviation"], 2.0);
    // Finney 1941 and Land 1971, computed with scipy 1.17.1.
    let mean = &era["arithmetic_mean"];
    for (found, expected) in
        [&mean["estimate"], &mean["lower_95"], &mean["upper_95"]].into_iter().zip(CUTTERS)
    {
        close(found, expected);
    }
    // EN 689:2018, 5.5.2: three results, 8 above the limit of 5.
    assert_eq!(era["en_689"], json!({"stage": "preliminary", "outcome": "non_compliance"}));
    assert_eq!(era["standing"][0]["value"], "above_limit");
    before
}

/// Mean of the plasma cutters, in ug/m3, with its one-sided 95 % limits.
pub(super) const CUTTERS: [f64; 3] = [4.666_713_361_457_01, 2.377_654_450_091_631, 425.213_041_115_233_47];

async fn geometric_mean(plant: &Plant<'_>, more: &str) -> Value {
    let path = format!("/groups/{}/profiles?agent_code=chromium_vi{more}", plant.id("CUT"));
    items(&plant.read("hygienist", &path).await)[0]["geometric_mean"]["value"].clone()
}

/// Sample, profile and history as they were known before the corrections.
pub(super) async fn what_was_known_before(plant: &Plant<'_>, before: &DateTime<Utc>) {
    let then = format!("as_known_on={}", before.to_rfc3339_opts(SecondsFormat::Millis, true));
    let sample = plant.read("hygienist", &format!("/samples/{}?{then}", plant.id("Q23"))).await;
    let results = sample["results"].as_array().unwrap();
    assert_eq!(results.len(), 1);
    near(&results[0]["concentration"]["value"], 1.0);
    assert_eq!(results[0]["status"], "submitted");
    near(&geometric_mean(plant, &format!("&{then}")).await, 12_f64.cbrt());
    near(&geometric_mean(plant, "").await, 4.0);
    let file = plant.speak("corporate").get(&format!("/exports/samples.csv?{then}")).await;
    let rows: Vec<&str> = file.text.lines().filter(|row| row.contains(",Q23,")).collect();
    assert_eq!(rows.len(), 1, "{}", file.text);
    assert!(rows[0].contains(",0.96,ug,"), "{}", rows[0]);
    let path = format!("/workers/{}/history?agent_code=chromium_vi&{then}", plant.id("Orla"));
    let history = plant.read("physician", &path).await;
    // 12^(1/3) is the GM; the mean of 8, 1.5 and 1 is not that of 8, 2 and 4.
    let cut = only(history["intervals"].as_array().unwrap(), |one| one["group_id"] == plant.id("CUT"));
    assert!((cut["mean"]["estimate"].as_f64().unwrap() - CUTTERS[0]).abs() > 0.1, "{cut}");
}
