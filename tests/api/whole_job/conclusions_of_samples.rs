//! The first round: six filters, two blanks and a pump that failed, and what they say at once.

use super::filters::{blank, filter, report, row, said};
use super::plant::Plant;
use super::{near, only, sourced, words};
use serde_json::json;

/// Whole shifts of the welders in March 2025, with the mass found on each.
const FILTERS: [(&str, &str, &str, &str); 6] = [
    ("T1", "Ada", "2025-03-10", "1.95"),
    ("T2", "Ada", "2025-03-11", "3.87"),
    ("T3", "Ada", "2025-03-12", "3.87"),
    ("T4", "Bram", "2025-03-10", "0.99"),
    ("T5", "Bram", "2025-03-11", "1.95"),
    ("T6", "Bram", "2025-03-12", "7.71"),
];

/// Enters the round, sends its report to try and in earnest, and reads what it says.
pub(super) async fn a_first_round(plant: &mut Plant<'_>) {
    // Denver is UTC-6 from 9 March 2025 (IANA).
    let mut samples: Vec<_> = FILTERS
        .iter()
        .map(|(number, worker, date, _)| {
            filter(number, plant.id(worker), date, ["07:00", "15:00"], "-06:00", &json!({}))
        })
        .collect();
    samples.push(blank("T7", "2025-03-10"));
    samples.push(blank("T8", "2025-03-12"));
    let failed = json!({"outcome": "pump_failed", "flow_after": null,
        "runs": [{"start": "2025-03-13T07:00:00-06:00"}]});
    samples.push(filter("T9", plant.id("Ada"), "2025-03-13", ["07:00", "15:00"], "-06:00", &failed));
    let event = json!({"reference": "T25-03", "sampled_by": "K. Marl", "samples": samples});
    let entered = plant.sample("tarn", "TRN", event).await;
    // Volume = mean flow x minutes (OSHA Technical Manual, section II, chapter 1): 2.00 L/min x 480 min = 960 L.
    let waiting = said(&entered, "T1");
    assert_eq!(waiting["position"], "breathing_zone");
    near(&waiting["volume"]["value"], 960.0);
    assert_eq!(waiting["volume"]["unit"], "L");
    // 100 x (2.00 - 2.00) / 2.00 = 0 %.
    assert_eq!(waiting["flow_change_percent"], json!(0.0));
    assert_eq!(words(&waiting["flags"]), ["result_awaited"]);
    // No concentration is made of a sample whose pump failed.
    assert_eq!(words(&said(&entered, "T9")["flags"]), ["outcome_not_valid"]);
    assert_eq!(said(&entered, "T9").get("volume"), None);

    let mut rows: Vec<_> =
        FILTERS.iter().map(|(number, _, _, mass)| row(number, mass, "0.05", "no")).collect();
    rows.push(row("T7", "0.06", "0.05", "no"));
    rows.push(row("T8", "<0.05", "0.05", "no"));
    let sent = report("L25-101", "2025-03-24", &rows);
    let tried = plant
        .speak("tarn")
        .post(&format!("/sites/{}/lab-reports?dry_run=true", plant.id("TRN")), &sent)
        .await;
    assert_eq!((tried.status, &tried.json["dry_run"]), (200, &json!(true)), "{}", tried.text);
    let kept = plant.read("tarn", &format!("/samples/{}", plant.id("T1"))).await;
    assert_eq!(kept["results"], json!([]), "a dry run stores nothing");

    let answer = plant.report("tarn", "TRN", &sent).await;
    assert_eq!(
        said(&tried.json, "T1")["results"][0]["concentration"],
        said(&answer, "T1")["results"][0]["concentration"]
    );
    // Field blanks (NIOSH Manual of Analytical Methods: sample less mean blank; a blank below its limit counts zero,
    // this registry's rule): mean (0.06 + 0) / 2 = 0.03 ug. Corrected mass: 1.95 - 0.03 = 1.92 ug.
    // Concentration = mass / volume (OSHA Technical Manual, section II, chapter 1): 1.92 ug / 960 L = 0.002 ug/L
    // = 2 ug/m3; likewise 3.84 / 0.96 = 4, 0.96 / 0.96 = 1, 7.68 / 0.96 = 8.
    let expected = [
        ("T1", 1.92, 2.0),
        ("T2", 3.84, 4.0),
        ("T3", 3.84, 4.0),
        ("T4", 0.96, 1.0),
        ("T5", 1.92, 2.0),
        ("T6", 7.68, 8.0),
    ];
    for (number, corrected, concentration) in expected {
        let result = &said(&answer, number)["results"][0];
        near(&result["mass_corrected"]["value"], corrected);
        near(&result["concentration"]["value"], concentration);
        assert_eq!(result["concentration"]["unit"], "ug/m3");
        // The mean blank, 0.03, is neither above a tenth of the least mass, 0.099, nor above the reporting limit, 0.05.
        assert_eq!(words(&result["flags"]), ["blank_subtracted"]);
        assert_eq!(result["status"], "submitted");
    }
    assert_eq!(
        said(&answer, "T1")["results"][0]["mass"],
        json!({"value": 1.95, "unit": "ug", "reported": "1.95"})
    );
    let of_blank = &said(&answer, "T8")["results"][0];
    assert_eq!((of_blank.get("concentration"), of_blank.get("mass_corrected")), (None, None));

    let shown = plant.read("hygienist", &format!("/samples/{}?working=true", plant.id("T1"))).await;
    let steps = shown["working"].as_array().unwrap();
    sourced(&shown);
    let volume = only(steps, |step| step["step"] == "volume");
    near(&volume["inputs"]["minutes"], 480.0);
    near(&volume["result"]["value"], 960.0);
    near(&only(steps, |step| step["step"] == "concentration of chromium_vi")["result"]["value"], 2.0);

    let represented = plant.read("hygienist", &format!("/samples/{}/represents", plant.id("T1"))).await;
    // On 10 March 2025 Ada, Bram and Orla are assigned to the welders; Ada wore this filter.
    let mut names: Vec<_> = super::items(&represented)
        .iter()
        .map(|one| (one["name"].as_str().unwrap(), one["sampled"].as_bool().unwrap()))
        .collect();
    names.sort_unstable();
    assert_eq!(names, [("Ada Moss", true), ("Bram Kest", false), ("Orla Venn", false)]);
    for (number, ..) in FILTERS {
        plant.accept(plant.id(number)).await;
    }
}
