//! Averages over eight hours of shifts that are not like the first ones.

use super::filters::{filter, litres, micrograms, report, row, said};
use super::plant::Plant;
use super::{items, near, only, sourced, words};
use serde_json::{Value, json};

async fn averages(plant: &Plant<'_>, query: &str) -> Vec<Value> {
    let found = plant.read("hygienist", &format!("/shift-averages?working=true&{query}")).await;
    for average in items(&found) {
        sourced(average);
    }
    items(&found).to_vec()
}

fn answer_of<'v>(average: &'v Value, kind: &str) -> &'v str {
    only(average["comparisons"].as_array().unwrap(), |one| one["kind"] == kind)["answer"].as_str().unwrap()
}

/// Mixed work in May 2025: a part of a shift, tasks, a stated rest, long and short sampling, duplicates, a changed flow,
/// a badge and a failed pump.
pub(super) async fn averages_of_shifts(plant: &mut Plant<'_>) {
    let [mia, rex, tam] = ["Mia", "Rex", "Tam"].map(|name| plant.id(name).to_owned());
    // New York is UTC-4 in May (IANA).
    let take = |number: &str, worker: &str, date: &str, hours: [&str; 2], change: Value| {
        filter(number, worker, date, hours, "-04:00", &change)
    };
    let (may_6, may_7, may_8) = ("2025-05-06", "2025-05-07", "2025-05-08");
    let samples = [
        take("Q1", &mia, may_6, ["07:00", "11:00"], json!({})),
        take("Q2", &mia, may_7, ["07:00", "11:00"], json!({"covers": "task"})),
        take("Q3", &mia, may_7, ["11:30", "15:30"], json!({"covers": "task"})),
        take("Q4", &mia, may_8, ["07:00", "13:00"], json!({})),
        take("Q5", &rex, may_6, ["07:00", "14:00"], json!({})),
        take("Q6", &rex, may_7, ["06:00", "16:00"], json!({})),
        take("Q7", &rex, may_8, ["07:00", "15:00"], json!({})),
        take("Q8", &rex, may_8, ["07:00", "15:00"], json!({"covers": "duplicate", "duplicate_of": "Q7"})),
        take("Q9", &tam, may_6, ["07:00", "15:00"], json!({"flow_after": litres("1.80")})),
        take(
            "Q10",
            &tam,
            may_7,
            ["07:00", "15:00"],
            json!({"sampler_kind": "passive", "agent_codes": ["toluene"],
            "flow_before": null, "flow_after": null, "pump": null, "calibrator": null, "calibrated_on": null,
            "medium": "diffusive badge"}),
        ),
        take(
            "Q11",
            &tam,
            may_8,
            ["07:00", "15:00"],
            json!({"outcome": "pump_failed", "flow_after": litres("0")}),
        ),
    ];
    let shifts = json!([
        {"worker_id": mia, "shift_date": may_8, "shift_minutes": 480,
            "unsampled": {"as": "zero", "reason": "Sent home at one o'clock."}},
        {"worker_id": rex, "shift_date": may_7, "shift_minutes": 600},
    ]);
    let event = json!({"reference": "Q25-05", "sampled_by": "J. Lund", "shifts": shifts, "samples": samples});
    plant.sample("quill", "QUI", event).await;
    let masses = [
        ("Q1", "2.40"),
        ("Q2", "1.92"),
        ("Q3", "0.48"),
        ("Q4", "2.88"),
        ("Q5", "1.68"),
        ("Q6", "2.40"),
        ("Q7", "2.88"),
        ("Q8", "4.80"),
        ("Q9", "2.19"),
    ];
    let mut rows: Vec<Value> = masses.iter().map(|(number, mass)| row(number, mass, "0.05", "yes")).collect();
    rows.push(json!({"sample_number": "Q10", "agent_code": "toluene",
        "concentration": {"value": "37.7", "unit": "mg/m3"}, "reporting_limit": {"value": "1.0", "unit": "mg/m3"},
        "blank_corrected": "yes"}));
    let answer = plant.report("quill", "QUI", &report("Q-05", "2025-05-20", &rows)).await;

    // Flow 2.00 to 1.80: 100 x (1.80 - 2.00) / 2.00 = -10 %; mean 1.90 x 480 = 912 L; 2.19 / 0.912 = 2.401315789;
    // by the lower flow 1.80 x 480 = 864 L; 2.19 / 0.864 = 2.534722222.
    let changed = said(&answer, "Q9");
    near(&changed["flow_change_percent"], -10.0);
    near(&changed["volume"]["value"], 912.0);
    near(&changed["results"][0]["concentration"]["value"], 2.19 / 0.912);
    near(&changed["results"][0]["value_at_lower_flow"]["value"], 2.19 / 0.864);
    assert!(words(&changed["flags"]).contains(&"flow_changed"));
    // mg/m3 to ppm: x 24.45 / molar mass (29 CFR 1910.1000, table Z-1 footnotes: 25 C and 760 mmHg); toluene 92.14
    // g/mol: 37.7 x 24.45 / 92.14 = 921.765 / 92.14 = 10.00396136.
    let badge = said(&answer, "Q10");
    near(&badge["results"][0]["concentration"]["value"], 37.7 * 24.45 / 92.14);
    assert_eq!(badge["results"][0]["concentration"]["unit"], "[ppm]");
    assert_eq!((badge.get("volume"), words(&badge["flags"])), (None, vec![]));

    // 29 CFR 1910.1000(d)(1)(i): (Ca Ta + Cb Tb + ...) / 8 hours; the divisor stays 480 min however long the shift.
    let averages = averages(plant, &format!("group_id={}&agent_code=chromium_vi", plant.id("MIX"))).await;
    let of = |worker: &str, date: &str| {
        only(&averages, |one| one["worker_id"] == worker && one["shift_date"] == date)
    };
    // 240 of 480 min at 5 and nothing stated: from 5 x 240 / 480 = 2.5 to 5 x 480 / 480 = 5.
    let part = of(&mia, may_6);
    assert_eq!(part["eight_hour_twa"], json!({"lower": 2.5, "upper": 5.0, "unit": "ug/m3"}));
    assert!(words(&part["flags"]).contains(&"shift_partly_sampled"));
    // 29 CFR 1910.1026(b), (c): 2.5 is certainly reached; whether 5 is, cannot be told.
    assert_eq!((answer_of(part, "action_level"), answer_of(part, "twa")), ("at_or_above", "cannot_tell"));
    // 1.92 / 0.48 = 4 and 0.48 / 0.48 = 1: (4 x 240 + 1 x 240) / 480 = 2.5.
    let tasks = of(&mia, may_7);
    near(&tasks["eight_hour_twa"]["value"], 2.5);
    assert_eq!(tasks["samples"], json!([plant.id("Q2"), plant.id("Q3")]));
    assert_eq!((answer_of(tasks, "action_level"), answer_of(tasks, "twa")), ("at_or_above", "below"));
    // 2.88 / 0.72 = 4 over 360 min, the rest stated as zero: 4 x 360 / 480 = 3.
    near(&of(&mia, may_8)["eight_hour_twa"]["value"], 3.0);
    // 1.68 / 0.84 = 2 over 420 min; 420 / 480 = 87.5 %, so the rest counts as sampled: 2 x 480 / 480 = 2.
    near(&of(&rex, may_6)["eight_hour_twa"]["value"], 2.0);
    // 2.40 / 1.20 = 2 over 600 min: 2 x 600 / 480 = 2.5.
    near(&of(&rex, may_7)["eight_hour_twa"]["value"], 2.5);
    // 2.88 / 0.96 = 3 and its duplicate 4.80 / 0.96 = 5: mean 4.
    near(&of(&rex, may_8)["eight_hour_twa"]["value"], 4.0);
    // 2.4013 by the mean flow and 2.5347 by the lower one lie on both sides of 2.5.
    let flow = of(&tam, may_6);
    near(&flow["eight_hour_twa"]["value"], 2.19 / 0.912);
    assert_eq!((answer_of(flow, "action_level"), answer_of(flow, "twa")), ("cannot_tell", "below"));
    assert!(!averages.iter().any(|one| one["worker_id"] == *tam && one["shift_date"] == may_8));
}

/// A shift from ten at night to five in the morning on which the clock goes back at two.
pub(super) async fn at_night_while_the_clock_goes_back(plant: &mut Plant<'_>) {
    // Denver goes from UTC-6 to UTC-7 on 2 November 2025 at 02:00 (IANA): 04:00 to 12:00 UTC are 480 min, though the
    // clock on the wall shows seven hours.
    let night = json!({"agent_codes": ["lead"], "medium": "MCE 0.8 um",
        "runs": [{"start": "2025-11-01T22:00:00-06:00", "end": "2025-11-02T05:00:00-07:00"}]});
    let sample = filter("T31", plant.id("Nia"), "2025-11-01", ["22:00", "23:00"], "-06:00", &night);
    let event = json!({"reference": "T25-N", "sampled_by": "K. Marl", "samples": [sample]});
    plant.sample("tarn", "TRN", event).await;
    let file = "sample_number,agent,value,unit,reporting_limit,blank_corrected\n\
        T31,lead,0.0192,mg,0.0005,yes\n";
    let head = "report_number=L25-311&laboratory=Hollow%20Lane%20Laboratory&received_on=2025-11-18";
    let answer = plant.csv("tarn", "TRN", head, file, false).await;
    assert_eq!(answer.status, 201, "{}", answer.text);
    // 2.00 x 480 = 960 L; 19.2 / 0.96 = 20 ug/m3.
    near(&said(&answer.json, "T31")["volume"]["value"], 960.0);
    let averages = averages(plant, &format!("worker_id={}&agent_code=lead", plant.id("Nia"))).await;
    assert_eq!(averages.len(), 1);
    assert_eq!(averages[0]["shift_date"], "2025-11-01");
    near(&averages[0]["eight_hour_twa"]["value"], 20.0);
    // 29 CFR 1910.1025(b): 30 ug/m3.
    assert_eq!(answer_of(&averages[0], "action_level"), "below");
}

/// `< 3.1` against 2.5.
pub(super) async fn a_non_detect_too_coarse(plant: &mut Plant<'_>) {
    let hours = ["07:00", "15:00"];
    let sample = filter("Q31", plant.id("Gus"), "2025-09-09", hours, "-04:00", &json!({}));
    let event = json!({"reference": "Q25-09G", "sampled_by": "J. Lund", "samples": [sample]});
    plant.sample("quill", "QUI", event).await;
    let rows = [row("Q31", "<2.976", "2.976", "yes")];
    plant.report("quill", "QUI", &report("Q-31", "2025-09-20", &rows)).await;
    // 2.976 / 0.96 = 3.1.
    let averages = averages(plant, &format!("worker_id={}", plant.id("Gus"))).await;
    assert_eq!(averages[0]["eight_hour_twa"], json!({"comparator": "<", "value": 3.1, "unit": "ug/m3"}));
    assert_eq!(answer_of(&averages[0], "action_level"), "cannot_tell");
    assert_eq!(answer_of(&averages[0], "twa"), "below");
    assert!(words(&averages[0]["flags"]).contains(&"reporting_limit_too_high"));
    let path = format!("/groups/{}/profiles?agent_code=chromium_vi", plant.id("GRD"));
    let profiles = plant.read("hygienist", &path).await;
    let era = &items(&profiles)[0];
    assert_eq!((&era["standing"][0]["value"], &era["n"]), (&json!("unknown"), &json!(1)));
    assert_eq!(era["largest_result"], json!({"comparator": "<", "value": 3.1, "unit": "ug/m3"}));
    assert_eq!(era.get("geometric_mean"), None);
}

/// Lead at 40 and at exactly 30 ug/m3.
pub(super) async fn lead(plant: &mut Plant<'_>) {
    let of_lead = json!({"agent_codes": ["lead"]});
    let hours = ["07:00", "15:00"];
    let samples = [
        filter("Q41", plant.id("Lena"), "2025-06-03", hours, "-04:00", &of_lead),
        filter("Q42", plant.id("Milo"), "2025-06-03", hours, "-04:00", &of_lead),
    ];
    let event = json!({"reference": "Q25-06", "sampled_by": "J. Lund", "samples": samples});
    plant.sample("quill", "QUI", event).await;
    let rows: Vec<Value> = [("Q41", "38.4"), ("Q42", "28.8")]
        .into_iter()
        .map(|(number, mass)| {
            super::filters::with(
                row(number, mass, "0.50", "yes"),
                &json!({"agent_code": "lead", "mass": micrograms(mass)}),
            )
        })
        .collect();
    plant.report("quill", "QUI", &report("Q-41", "2025-06-20", &rows)).await;
    // 38.4 / 0.96 = 40; 28.8 / 0.96 = 30: at the action level of 30 (29 CFR 1910.1025(b)), below the limit of 50 (c)(1).
    let averages = averages(plant, &format!("group_id={}", plant.id("BAT"))).await;
    for (worker, twa) in [("Lena", 40.0), ("Milo", 30.0)] {
        let average = only(&averages, |one| one["worker_id"] == plant.id(worker));
        near(&average["eight_hour_twa"]["value"], twa);
        assert_eq!((answer_of(average, "action_level"), answer_of(average, "twa")), ("at_or_above", "below"));
    }
}
