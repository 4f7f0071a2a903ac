//! Workers' histories over both sites, the days that count, and the examinations that are owed.

use super::corrections::CUTTERS;
use super::plant::{EMPLOYER, Plant};
use super::profiles::{MEAN_WITH_ARM, WELDERS};
use super::{close, items, near, only, sourced, words};
use serde_json::{Value, json};

async fn history(plant: &Plant<'_>, who: &str, worker: &str, agent: &str) -> Value {
    let found = plant
        .read(who, &format!("/workers/{}/history?agent_code={agent}&working=true", plant.id(worker)))
        .await;
    sourced(&found);
    found
}

fn by_standing(history: &Value) -> &Value {
    &history["days_at_or_above_action_level"]["by_standing"]
}

/// Today is 2 March 2026, so that a history ends on the 3rd. A year is 365.25 days.
pub(super) async fn histories(plant: &Plant<'_>) {
    let orla = history(plant, "physician", "Orla", "chromium_vi").await;
    assert_eq!((&orla["from"], &orla["to"]), (&json!("2025-03-03"), &json!("2026-03-03")));
    let intervals = orla["intervals"].as_array().unwrap();
    let expected = [
        ("WLD", "TRN", "2025-03-03", "2025-03-31", WELDERS),
        ("CUT", "QUI", "2025-09-08", "2025-10-06", CUTTERS),
    ];
    assert_eq!(intervals.len(), 2);
    for (interval, (group, site, from, to, [mean, lower, upper])) in intervals.iter().zip(expected) {
        assert_eq!(
            (&interval["group_id"], &interval["site_id"]),
            (&json!(plant.id(group)), &json!(plant.id(site)))
        );
        assert_eq!(
            (&interval["from"], &interval["to"], &interval["basis"]),
            (&json!(from), &json!(to), &json!("group"))
        );
        close(&interval["mean"]["estimate"], mean);
        close(&interval["mean"]["lower"], lower);
        close(&interval["mean"]["upper"], upper);
        // Five shifts a week are full time.
        near(&interval["weight"], 1.0);
    }
    // 28 days each: (3.502300 + 4.666713) ug/m3 x 28 / 365.25 a = 0.626234 ug/m3 a = 0.000626234 mg/m3 a; the limits
    // alike: (2.210623 + 2.377654) and (10.606444 + 425.213041) x 28 / 365.25.
    let dose = &orla["cumulative"];
    let years = 28.0 / 365.25;
    for (found, n) in [(&dose["value"], 0), (&dose["lower"], 1), (&dose["upper"], 2)] {
        close(found, (WELDERS[n] + CUTTERS[n]) * years / 1000.0);
    }
    assert_eq!(dose["unit"], "mg/m3.a");
    // Employed, and assigned to nothing: 31 March to 8 September are 161 days, 6 October to 3 March 148.
    assert_eq!(
        orla["gaps"],
        json!([
            {"from": "2025-03-31", "to": "2025-09-08", "kind": "no_assignment"},
            {"from": "2025-10-06", "to": "2026-03-03", "kind": "no_assignment"},
        ])
    );
    assert_eq!(dose["at_least"], json!(true));
    near(&dose["years_missing"], (161.0 + 148.0) / 365.25);
    near(&orla["years_exposed"], 56.0 / 365.25);
    // The dose over the years exposed: the mean of the two means, since both lasted 28 days.
    let unit = orla["average_intensity"]["unit"].as_str().unwrap();
    assert_eq!(unit, "ug/m3");
    close(&orla["average_intensity"]["value"], f64::midpoint(WELDERS[0], CUTTERS[0]));
    near(&orla["measured_share"], 1.0);
    // Four weeks of five shifts while the welders stood above the limit and four at the cutters: 20 + 20. Her own filter
    // of 15 September, 8 ug/m3, is one of them.
    let days = &orla["days_at_or_above_action_level"];
    assert_eq!(
        days["by_standing"],
        json!({"worst_12_months":
        {"count": 40, "from": "2025-03-03", "to": "2026-03-03"}, "calendar_years": {"2025": 40}})
    );
    assert_eq!((&days["measured"], &days["undecided"]), (&json!(1), &json!(0)));

    // The first site's coordinator reads the part on that site.
    let part = history(plant, "tarn", "Orla", "chromium_vi").await;
    let sites: Vec<&Value> =
        part["intervals"].as_array().unwrap().iter().map(|one| &one["site_id"]).collect();
    assert_eq!(sites, [&json!(plant.id("TRN"))]);
    assert_eq!(by_standing(&part)["worst_12_months"]["count"], json!(20));

    // Two and a half shifts a week: 3, 2, 3, 2 in four weeks, half of full time. Monday 10 and Tuesday 11 March were
    // worked by schedule and measured below 2.5 (1 and 2); Wednesday 12 was measured at 8: 10 - 2 + 1 = 9.
    let bram = history(plant, "physician", "Bram", "chromium_vi").await;
    near(&bram["intervals"][0]["weight"], 0.5);
    close(&bram["cumulative"]["value"], WELDERS[0] * 0.5 * years / 1000.0);
    assert_eq!(by_standing(&bram)["worst_12_months"]["count"], json!(9));
    assert_eq!(bram["days_at_or_above_action_level"]["measured"], json!(1));

    // Ada stayed: 182 days before the arm, 183 with it (1 September to 3 March).
    let ada = history(plant, "physician", "Ada", "chromium_vi").await;
    close(&ada["cumulative"]["value"], (WELDERS[0] * 182.0 + MEAN_WITH_ARM * 183.0) / 365.25 / 1000.0);
    assert_eq!((&ada["gaps"], &ada["cumulative"]["at_least"]), (&json!([]), &json!(false)));
    // A mean with non-detects has limits too, so the dose has.
    let end = |name: &str| ada["cumulative"][name].as_f64().unwrap();
    assert!(end("lower") < end("value") && end("value") < end("upper"));
    let expected = &ada["days_at_or_above_action_level"]["expected"];
    let days = |name: &str| expected[name].as_f64().unwrap();
    assert!(0.0 < days("lower") && days("lower") < days("estimate") && days("estimate") < days("upper"));
    assert!(days("upper") <= 261.0, "no more than the days worked in twelve months");
    // The standing fell on 20 October: 3 March to 20 October are 33 weeks of 5 = 165; less 10 March (2 ug/m3) and
    // 6 October (1 ug/m3), measured below: 163. At or above: 11 and 12 March (4).
    assert_eq!(
        by_standing(&ada)["worst_12_months"],
        json!({"count": 163, "from": "2025-03-03", "to": "2026-03-03"})
    );
    assert_eq!(ada["days_at_or_above_action_level"]["measured"], json!(2));

    // Nobody can tell of Gus's five days: the group has no standing, and his own filter does not decide.
    let gus = history(plant, "physician", "Gus", "chromium_vi").await;
    let days = &gus["days_at_or_above_action_level"];
    assert_eq!((&by_standing(&gus)["worst_12_months"]["count"], &days["undecided"]), (&json!(0), &json!(5)));
    // A mean of non-detects alone awaits the posterior: no gap for that week, and a dose that is not known.
    assert_eq!(gus["intervals"][0]["basis"], "posterior");

    let forbidden = plant
        .app
        .as_role("administrator")
        .get(&format!("/workers/{}/history?agent_code=chromium_vi", plant.id("Orla")))
        .await;
    assert_eq!(forbidden.status, 403, "{}", forbidden.text);
}

/// Offers of an examination: chromium(VI) from thirty days on, lead from thirty-one.
pub(super) async fn examinations(plant: &Plant<'_>) {
    let listed = plant.read("hygienist", "/duties?kind=offer_examination").await;
    // Cleo's, from the weeks in which nobody had accepted what her filters say, was withdrawn: 7 to 17 October are nine
    // days.
    let withdrawn = only(items(&listed), |duty| duty["status"] == "withdrawn");
    assert_eq!(withdrawn["subject"]["worker_id"], plant.id("Cleo"));
    let cleo = history(plant, "physician", "Cleo", "chromium_vi").await;
    assert_eq!(by_standing(&cleo)["worst_12_months"]["count"], json!(9));
    let mut owed: Vec<(&str, &str, i64)> = items(&listed)
        .iter()
        .filter(|duty| duty["status"] != "withdrawn")
        .map(|duty| {
            let worker = duty["subject"]["worker_id"].as_str().unwrap();
            (worker, duty["trigger_id"].as_str().unwrap(), duty["days_counted"].as_i64().unwrap())
        })
        .collect();
    owed.sort_unstable();
    // 29 CFR 1910.1026(k)(1)(i)(A): 30 or more days a year; 1910.1025(j)(1)(i): more than 30. Lena, with lead on 30
    // days (six weeks of five), is owed none; Milo worked one day more.
    let mut expected =
        [(plant.id("Ada"), "ST001", 163), (plant.id("Orla"), "ST001", 40), (plant.id("Milo"), "ST010", 31)];
    expected.sort_unstable();
    assert_eq!(owed, expected);
    for (worker, days) in [("Lena", 30), ("Milo", 31)] {
        let history = history(plant, "physician", worker, "lead").await;
        assert_eq!(by_standing(&history)["worst_12_months"]["count"], json!(days));
    }

    let orla = format!("/duties?worker_id={}", plant.id("Orla"));
    let listed = plant.read("physician", &orla).await;
    let duty = only(items(&listed), |_| true);
    assert_eq!((&duty["kind"], &duty["agent_code"]), (&json!("offer_examination"), &json!("chromium_vi")));
    // 29 CFR 1910.1026(k)(2)(i): within 30 days after initial assignment: 3 March + 30 days = 2 April 2025.
    assert_eq!((&duty["due_on"], &duty["learned_on"]), (&json!("2025-04-02"), &json!("2026-03-02")));
    assert_eq!(duty["window"], json!({"from": "2025-03-03", "to": "2026-03-03"}));
    assert_eq!((&duty["status"], &duty["employer"]), (&json!("overdue"), &json!(EMPLOYER)));
    assert!(words(&duty["flags"]).contains(&"learned_after_due"));
    assert!(duty["clause"].as_str().unwrap().contains("1910.1026(k)(1)(i)(A)"), "{duty}");
    assert!(!duty["basis"].as_array().unwrap().is_empty());

    // Each coordinator sees that there are days at other sites, and no number.
    for who in ["tarn", "quill"] {
        let listed = plant.read(who, &orla).await;
        let seen = only(items(&listed), |_| true);
        assert!(words(&seen["flags"]).contains(&"days_across_sites"), "{seen}");
        assert_eq!((seen.get("days_counted"), seen.get("window")), (None, None));
        assert_eq!((&seen["due_on"], &seen["basis"]), (&duty["due_on"], &json!([])));
    }
    // 29 CFR 1910.1025(j)(3)(i)(B): before the first assignment, so on the first counted day itself.
    let milo = plant.read("quill", &format!("/duties?worker_id={}", plant.id("Milo"))).await;
    let lead = only(items(&milo), |_| true);
    assert_eq!((&lead["due_on"], &lead["days_counted"]), (&json!("2025-06-02"), &json!(31)));

    let path = format!("/duties/{}/actions", duty["id"].as_str().unwrap());
    let offered = json!({"action": "offered", "on": "2026-03-02"});
    assert_eq!(plant.speak("tarn").post(&path, &offered).await.status, 403);
    assert_eq!(plant.speak("hygienist").post(&path, &offered).await.status, 403);
    let acted = plant.speak("physician").post(&path, &offered).await;
    assert_eq!(acted.status, 201, "{}", acted.text);
    // 2 April 2025 to 2 March 2026: 365 - 31 = 334 days late.
    assert_eq!((&acted.json["status"], &acted.json["days_late"]), (&json!("met"), &json!(334)));
    let met = plant.read("corporate", "/duties?status=met&kind=offer_examination").await;
    assert_eq!(only(items(&met), |_| true)["id"], duty["id"]);
}
