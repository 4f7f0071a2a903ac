//! Noise over HTTP: from dosimeters on a press shop to averages, profiles, a verdict, a history and an audiogram.
//!
//! 29 CFR 1910.95: action level 85 dBA, a dose of 50 % with the threshold of 80 dBA; limit 90 dBA with that of 90; exchange
//! rate 5 dB (Appendix A). Every level is invented; the sums stand beside the numbers.

use crate::harness::{Client, TestApp};
use serde_json::{Value, json};

struct Shop<'a> {
    hygienist: Client<'a>,
    coordinator: Client<'a>,
    site: String,
    group: String,
    task: String,
    enclosure: String,
    workers: [String; 2],
}

impl<'a> Shop<'a> {
    async fn open(app: &'a TestApp) -> Self {
        let (hygienist, coordinator) = (app.as_role("hygienist"), app.as_role("coordinator"));
        let site = app.site("LYN").await;
        let group = app.group(&site, "PRESS").await;
        let task = json!({"code": "PUNCH", "title": "Punching", "group_id": group});
        let task = hygienist.post(&format!("/sites/{site}/tasks"), &task).await.id();
        let enclosure = json!({"code": "BOX", "title": "enclosure", "kind": "engineering"});
        let enclosure = hygienist.post(&format!("/sites/{site}/controls"), &enclosure).await.id();
        let mut workers = Vec::new();
        for (number, given) in [("1", "Oda"), ("2", "Per")] {
            let worker = json!({"employee_number": number, "given_name": given, "family_name": "Vale",
                "employer": "Own works", "hired_on": "2025-01-06"});
            let worker = coordinator.post("/workers", &worker).await.id();
            let assignment = json!({"group_id": group, "from": "2025-01-06", "shifts_per_week": 5,
                "hours_per_shift": 8});
            coordinator.post(&format!("/workers/{worker}/assignments"), &assignment).await.id();
            workers.push(worker);
        }
        let workers = [workers.remove(0), workers.remove(0)];
        Self { hygienist, coordinator, site, group, task, enclosure, workers }
    }

    /// A dosimeter run on a day of February 2026, from 07:00 or 11:00 by the site's clock.
    fn run(
        &self,
        number: &str,
        day: u32,
        worker: usize,
        hours: [u32; 2],
        boxed: bool,
        read: &Value,
    ) -> Value {
        let at = |hour: u32| format!("2026-02-{day:02}T{hour:02}:00:00-07:00");
        let running = if boxed { json!([self.enclosure]) } else { json!([]) };
        json!({"number": number, "position": "breathing_zone", "shift_date": format!("2026-02-{day:02}"),
            "sampler_kind": "dosimeter", "worker_id": self.workers[worker], "task_id": self.task,
            "control_ids_running": running, "runs": [{"start": at(hours[0]), "end": at(hours[1])}],
            "agent_codes": ["noise"], "on_site_results": read})
    }

    async fn event(&self, reference: &str, purpose: &str, samples: &[Value]) -> Value {
        let event = json!({"reference": reference, "purpose": [purpose], "sampled_by": "K. Marl",
            "samples": samples});
        let path = format!("/sites/{}/sampling-events", self.site);
        let made = self.coordinator.post(&path, &event).await;
        assert_eq!(made.status, 201, "{}", made.text);
        for sample in made.json["samples"].as_array().unwrap() {
            let path = format!("/samples/{}/acceptance", sample["id"].as_str().unwrap());
            let accepted = self.hygienist.post(&path, &json!({})).await;
            assert_eq!(accepted.status, 201, "{}", accepted.text);
        }
        made.json
    }

    async fn read(&self, path: &str) -> Value {
        let answer = self.hygienist.get(path).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.text);
        answer.json
    }
}

/// What a dosimeter shows: the average levels of its run by three criteria.
fn levels(limit: f64, action_level: f64, niosh: f64) -> Value {
    let read = |criterion: &str, level: f64| json!({"agent_code": "noise", "value": {"value": level, "unit": "dB[A]"}, "criterion": criterion});
    json!([read("osha_limit", limit), read("osha_action_level", action_level), read("niosh", niosh)])
}

#[track_caller]
fn near(found: &Value, expected: f64) {
    let number = found.as_f64().unwrap_or_else(|| panic!("{found} is no number"));
    assert!((number - expected).abs() < 1e-6, "{number} is not {expected}");
}

#[tokio::test]
async fn dosimeters_lead_to_averages_profiles_a_verdict_a_history_and_an_audiogram() {
    let app = TestApp::spawn().await;
    let shop = Shop::open(&app).await;
    routine_shifts(&shop).await;
    averages(&shop).await;
    profiles(&shop).await;
    verdict(&shop).await;
    history(&shop).await;
}

/// Three routine days without the enclosure; on the first the shift is in two runs, and one reads a dose.
async fn routine_shifts(shop: &Shop<'_>) {
    let dose = json!([
        {"agent_code": "noise", "value": {"value": 50, "unit": "%"}, "criterion": "osha_action_level"}]);
    let samples = [
        shop.run("N1", 2, 0, [7, 11], false, &levels(90.0, 91.0, 92.0)),
        // 25 % over 4 hours is the level of 50 % over 8: 85 dBA.
        shop.run(
            "N2",
            2,
            0,
            [11, 15],
            false,
            &json!([
            {"agent_code": "noise", "value": {"value": 0, "unit": "%"}, "criterion": "osha_limit"},
            {"agent_code": "noise", "value": {"value": 25, "unit": "%"}, "criterion": "osha_action_level"}]),
        ),
        shop.run("N3", 3, 1, [7, 15], false, &levels(84.0, 88.0, 90.0)),
        shop.run("N4", 4, 0, [7, 15], false, &levels(86.0, 89.0, 91.0)),
    ];
    let made = shop.event("R1", "routine", &samples).await;
    let second = &made["samples"][1]["results"];
    let action =
        second.as_array().unwrap().iter().find(|one| one["criterion"] == "osha_action_level").unwrap();
    near(&action["concentration"]["value"], 85.0);
    assert_eq!(action["dose"]["value"], json!(25.0));
    // A share of something that is no dose by a criterion is refused.
    let mut bare = dose.clone();
    bare[0].as_object_mut().unwrap().remove("criterion");
    let event = json!({"reference": "R0", "sampled_by": "K. Marl",
        "samples": [shop.run("N0", 5, 0, [7, 15], false, &bare)]});
    let refused = shop.coordinator.post(&format!("/sites/{}/sampling-events", shop.site), &event).await;
    assert_eq!(refused.pointers(), ["/samples/0/on_site_results/0/value/unit"], "{}", refused.text);
}

async fn averages(shop: &Shop<'_>) {
    let path = format!("/shift-averages?group_id={}&agent_code=noise&working=true", shop.group);
    let found = shop.read(&path).await;
    let found = found["items"].as_array().unwrap();
    let of = |date: &str, criterion: &str| {
        let mut these = found.iter().filter(|one| one["shift_date"] == date && one["criterion"] == criterion);
        these.next().unwrap_or_else(|| panic!("nothing of {date} by {criterion}")).clone()
    };
    // 4 h at 91 dBA: 50 x 2^(1/5) = 57.434918 %; with 25 % it is 82.434918 %, 90 + 5 log2(0.82434918) = 88.606637.
    let action = of("2026-02-02", "osha_action_level");
    near(&action["dose"]["value"], 82.434_917_750);
    near(&action["eight_hour_twa"]["value"], 88.606_637_341);
    let compared = json!([{"authority": "OSHA", "kind": "action_level", "value": 85.0, "unit": "dB[A]",
        "answer": "at_or_above"}]);
    assert_eq!((&action["comparisons"], &action["flags"]), (&compared, &json!([])));
    assert_eq!(action["working"].as_array().unwrap().len(), 2);
    // 4 h at 90 dBA: 50 %, and nothing more from the second run: 85 dBA, below the limit of 90.
    let limit = of("2026-02-02", "osha_limit");
    near(&limit["eight_hour_twa"]["value"], 85.0);
    assert_eq!(
        (&limit["comparisons"][0]["kind"], &limit["comparisons"][0]["answer"]),
        (&json!("twa"), &json!("below"))
    );
    // NIOSH was read over half the shift only: a range, and no limit of its own is in the registry.
    let niosh = of("2026-02-02", "niosh");
    assert!(niosh["eight_hour_twa"]["lower"].is_number(), "{niosh}");
    assert_eq!((&niosh["comparisons"], &niosh["flags"]), (&json!([]), &json!(["shift_partly_sampled"])));
}

async fn profiles(shop: &Shop<'_>) {
    let path = format!("/groups/{}/profiles?agent_code=noise&working=true", shop.group);
    let found = shop.read(&path).await;
    let found = found["items"].as_array().unwrap();
    let criteria: Vec<_> = found.iter().map(|item| item["criterion"].as_str().unwrap()).collect();
    assert_eq!(criteria, ["osha_limit", "osha_action_level", "niosh"]);
    // 85, 84 and 86 dBA: mean 85, standard deviation 1; share above 90: 1 - Phi(5) = 2.87e-7 (table).
    let limit = &found[0];
    near(&limit["mean_level"]["estimate"], 85.0);
    near(&limit["standard_deviation_level"], 1.0);
    near(&limit["percentile_95"]["estimate"], 86.644_853_626_951);
    near(&limit["exceedance_fraction"]["estimate"], 2.866_515_7e-7);
    assert_eq!((&limit["n"], &limit["limit"]["value"]), (&json!(3), &json!(90.0)));
    assert_eq!(limit.get("geometric_mean"), None);
    // The highest of the round is 89 dBA by the action level's criterion and 86 by the limit's.
    assert_eq!(limit["standing"][0]["value"], "at_or_above_action_level");
    assert_eq!(
        (&found[1]["limit"]["kind"], &found[1]["limit"]["value"]),
        (&json!("action_level"), &json!(85.0))
    );
    // Of the split shift NIOSH's is a range and stays out; the second run was read by other criteria.
    let reasons: Vec<_> =
        found[2]["left_out"].as_array().unwrap().iter().map(|one| one["reason"].as_str().unwrap()).collect();
    assert_eq!((&found[2]["n"], reasons), (&json!(2), vec!["part_of_shift", "other_criterion"]));
    for item in found {
        for step in item["working"].as_array().unwrap() {
            assert!(step["source"].as_str().is_some_and(|source| !source.is_empty()), "{step}");
        }
    }
}

/// The enclosure tried on three days against three without; most samples were read by the action level's criterion.
async fn verdict(shop: &Shop<'_>) {
    let period = json!({"control_id": shop.enclosure, "from": "2026-02-09"});
    shop.hygienist.post(&format!("/tasks/{}/control-periods", shop.task), &period).await.id();
    let trials = [
        (9, 91.0, false),
        (10, 85.0, true),
        (11, 92.0, false),
        (12, 86.0, true),
        (16, 90.0, false),
        (17, 84.0, true),
    ];
    let samples: Vec<Value> = trials
        .iter()
        .zip(0..)
        .map(|(&(day, level, boxed), n)| {
            let read = levels(level - 4.0, level - 2.0, level);
            shop.run(&format!("V{n}"), day, n % 2, [7, 15], boxed, &read)
        })
        .collect();
    shop.event("R2", "control_trial", &samples).await;
    let path = format!("/tasks/{}/control-verdicts?agent_code=noise&working=true", shop.task);
    let found = shop.read(&path).await;
    let verdict = &found["items"][0];
    assert_eq!(
        (&verdict["criterion"], &verdict["position"]),
        (&json!("osha_action_level"), &json!("breathing_zone"))
    );
    // Beside the three of the trial stand the routine shifts without the enclosure: all six are one level each.
    assert_eq!((&verdict["n_without"], &verdict["n_with"]), (&json!(6), &json!(3)));
    // Without: 88.606637, 88, 89, 89, 90 and 88, mean 88.767773; with: 83, 84 and 82, mean 83.
    let difference = &verdict["difference_level"];
    near(&difference["estimate"], -5.767_772_890);
    // Computed with SciPy 1.17.1 (ttest_ind with unequal variances).
    near(&difference["lower_95"], -7.780_506_707);
    near(&difference["upper_95"], -3.755_039_074);
    assert_eq!((&difference["unit"], &verdict["verdict"]), (&json!("dB[A]"), &json!("lowered")));
    for absent in ["reduction_percent", "ratio_of_geometric_means", "target", "target_reduction_percent"] {
        assert_eq!(verdict.get(absent), None, "{absent}");
    }
    let sentence = verdict["sentence"].as_str().unwrap();
    assert!(sentence.contains("was lower by 5.8 dB (95 % interval"), "{sentence}");
}

async fn history(shop: &Shop<'_>) {
    let path = format!("/workers/{}/history?agent_code=noise&to=2026-02-09&working=true", shop.workers[0]);
    let found = shop.read(&path).await;
    // Before the enclosure one interval with the group's mean of 88.606637, 88 and 89 dBA.
    let interval = &found["intervals"][0];
    assert_eq!((&interval["basis"], &interval["criterion"]), (&json!("group"), &json!("osha_action_level")));
    near(&interval["mean"]["estimate"], (88.606_637_341 + 88.0 + 89.0) / 3.0);
    assert_eq!(
        (&interval["mean"]["unit"], &interval["level_band"]),
        (&json!("dB[A]"), &json!("from_85_to_below_90"))
    );
    // 6 January 2025 to 9 February 2026: 399 days of full time.
    let years: Vec<_> = found["years_by_level"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| (one["band"].as_str().unwrap(), one["years"].as_f64().unwrap()))
        .collect();
    let loud = years.iter().find(|(band, _)| *band == "from_85_to_below_90").unwrap();
    assert!((loud.1 - 399.0 / 365.25).abs() < 1e-9, "{years:?}");
    assert!(years.iter().all(|(band, years)| *band == "from_85_to_below_90" || *years < 1e-12), "{years:?}");
    assert_eq!((found.get("cumulative"), found.get("average_intensity")), (None, None));
    // Two shifts by the 3 dB exchange rate, 90 and 91 dBA.
    let energy = found["equal_energy_mean"]["estimate"].as_f64().unwrap();
    assert!(90.5 < energy && energy < 90.7, "{energy}");
    let flags: Vec<_> = found["flags"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert!(flags.contains(&"levels_not_added") && !flags.contains(&"no_equal_energy_data"), "{flags:?}");
    // Own days at or above 85 dBA: 2 and 4 February, and those of the trial without the enclosure.
    let days = &found["days_at_or_above_action_level"];
    assert!(days["measured"].as_i64().unwrap() >= 2, "{days}");
    // 29 CFR 1910.95(g)(5)(i): a baseline audiogram within six months of the first day at or above the action level.
    let duties = shop.read(&format!("/duties?worker_id={}", shop.workers[0])).await;
    let duty = &duties["items"][0];
    assert_eq!((&duty["agent_code"], &duty["trigger_id"]), (&json!("noise"), &json!("ST075")), "{duties}");
}
