//! Group profiles in two eras, and a standing that two rounds lower.

use super::filters::{filter, litres, said};
use super::plant::Plant;
use super::{close, items, near, only, sourced, words};
use serde_json::{Value, json};

async fn eras(plant: &Plant<'_>, group: &str) -> Vec<Value> {
    let path = format!("/groups/{}/profiles?agent_code=chromium_vi&working=true", plant.id(group));
    let eras = plant.read("hygienist", &path).await;
    for era in items(&eras) {
        sourced(era);
    }
    items(&eras).to_vec()
}

/// The welders before the extraction arm: 2, 4, 4, 1, 2 and 8 ug/m3.
pub(super) async fn of_uncensored_results(plant: &Plant<'_>) {
    let eras = eras(plant, "WLD").await;
    // The arm came on 1 September 2025 and cut an era; the half mask of June cuts none.
    assert_eq!(eras.len(), 2);
    assert_eq!((&eras[0]["from"], eras[0].get("to")), (&json!("2025-09-01"), None));
    assert_eq!(eras[0]["control_ids"], json!([plant.id("ARM")]));
    let era = &eras[1];
    assert_eq!((era.get("from"), &era["to"]), (None, &json!("2025-09-01")));
    assert_eq!((&era["n"], &era["n_below"], &era["method"]), (&json!(6), &json!(0), &json!("exact")));
    assert_eq!((&era["worker_count"], &era["date_count"]), (&json!(2), &json!(3)));
    near(&era["shift_minutes"], 480.0);
    near(&era["largest_result"]["value"], 8.0);
    // In powers of two: 1, 2, 2, 0, 1, 3; mean 9/6 = 1.5. GM = 2^1.5 = 2 x 1.414213562 = 2.828427125.
    near(&era["geometric_mean"]["value"], 2.828_427_124_746_19);
    // Squares of the differences: 0.25 x 4 + 2.25 x 2 = 5.5; / 5 = 1.1; root 1.048808848; GSD = 2^1.048808848 = 2.068821034.
    near(&era["geometric_standard_deviation"], 2.068_821_033_637_917_6);
    // Minimum variance unbiased mean: Finney, J. R. Statist. Soc. Suppl. 7 (1941) 155-161; limits: Land, Ann. Math.
    // Statist. 42 (1971) 1187-1205; both computed with scipy 1.17.1 (series; quad and brentq).
    let mean = &era["arithmetic_mean"];
    close(&mean["estimate"], 3.502_300_432_777_225);
    close(&mean["lower_95"], 2.210_623_380_518_631_7);
    close(&mean["upper_95"], 10.606_443_534_440_809);
    // exp(ln GM + 1.6449 ln GSD); limits by the non-central t (Hahn and Meeker, Statistical Intervals, 1991, 4.4),
    // computed with scipy 1.17.1 (nct).
    let percentile = &era["percentile_95"];
    close(&percentile["estimate"], 9.351_106_183_831_91);
    close(&percentile["upper_70"], 13.865_977_928_531_86);
    close(&percentile["upper_95"], 41.893_411_031_738_374);
    // Above 5 ug/m3 (29 CFR 1910.1026(c)): z = (ln 5 - ln 2.828427) / ln 2.068821 = 0.569717 / 0.726979 = 0.78368;
    // 1 - Phi(z) = 0.2166; limits computed with scipy 1.17.1 (nct and brentq).
    assert_eq!(era["limit"], json!({"authority": "OSHA", "value": 5.0, "unit": "ug/m3"}));
    let above = &era["exceedance_fraction"];
    close(&above["estimate"], 0.216_614_628_443_200_29);
    close(&above["lower_95"], 0.062_784_092_683_612_36);
    close(&above["upper_70"], 0.310_511_439_598_589_73);
    close(&above["upper_95"], 0.511_048_140_031_312_9);
    // Shapiro and Wilk, Biometrika 52 (1965) 591-611, by Royston's AS R94; computed with scipy 1.17.1 (shapiro).
    super::within(&era["lognormal_fit"]["w"], 0.960_044_773_083_917_4, 1e-5);
    super::within(&era["lognormal_fit"]["p_value"], 0.820_085_612_681_946_7, 1e-4);
    // EN 689:2018, 5.5.3: from six results the 70 % upper limit of the percentile decides; 13.87 is above 5.
    assert_eq!(era["en_689"], json!({"stage": "statistical", "outcome": "non_compliance"}));
    // Workers differ no more than days do: two shifts each of three workers (Searle, Casella and McCulloch, 1992, 3.6).
    assert_eq!(words(&era["flags"]), ["between_workers_below_zero"]);
    assert_eq!(era["workers"]["between"], json!(0.0));
    // The five bands of the 95th percentile hold everything between them.
    let bands: f64 = era["posterior"]["rating_probabilities"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one.as_f64().unwrap())
        .sum();
    super::within(&json!(bands), 1.0, 1e-9);
    // The first round sets the standing from the beginning; 8 is above 5 (29 CFR 1910.1026(c)).
    let standing = json!([{"authority": "OSHA", "value": "above_limit",
        "round": {"event_id": plant.id("T25-03"), "date": "2025-03-12"}}]);
    assert_eq!(era["standing"], standing);
    assert_eq!(eras[0]["standing"], standing, "a new era keeps the standing until its own rounds move it");
    assert_eq!((&eras[0]["n"], words(&eras[0]["flags"])), (&json!(0), vec!["no_results"]));
    let failed = only(era["left_out"].as_array().unwrap(), |one| one["sample_id"] == plant.id("T9"));
    assert_eq!(failed["reason"], "pump_failed");
    let step = only(era["working"].as_array().unwrap(), |step| step["step"] == "geometric mean");
    assert_eq!(step["inputs"]["results"].as_array().unwrap().len(), 6);
}

/// Rounds of October 2025 with the arm running, and one of November with another filter of less air.
pub(super) async fn two_rounds_lower_the_standing(plant: &mut Plant<'_>) {
    let running = json!({"task_id": plant.id("ROOT"), "control_ids_running": [plant.id("ARM")]});
    let less_air = super::filters::with(
        running.clone(),
        &json!({"flow_before": litres("1.00"), "flow_after": litres("1.00")}),
    );
    // Denver is UTC-6 until 2 November 2025 (IANA).
    let rounds = [
        ("T25-10a", "2025-10-06", "-06:00", ["T11", "T12"], &running),
        ("T25-10b", "2025-10-20", "-06:00", ["T13", "T14"], &running),
        ("T25-11", "2025-11-03", "-07:00", ["T15", "T16"], &less_air),
    ];
    for (reference, date, offset, [ada, cleo], of_ada) in rounds {
        let hours = ["07:00", "15:00"];
        let samples = [
            filter(ada, plant.id("Ada"), date, hours, offset, of_ada),
            filter(cleo, plant.id("Cleo"), date, hours, offset, &running),
        ];
        let event = json!({"reference": reference, "sampled_by": "K. Marl", "samples": samples});
        plant.sample("tarn", "TRN", event).await;
    }
    // The file of the laboratory, first with two mistakes; 18540-29-9 is the CAS number of chromium(VI).
    let head = "report_number=L25-310&laboratory=Hollow%20Lane%20Laboratory&received_on=2025-11-17";
    let wrong = "sample_number,agent,comparator,value,unit,reporting_limit,blank_corrected\n\
        T11,18540-29-9,,0.96,ug,0.24,yes\n\
        T12,chromium_vi,,0.12,ug,0.24,yes\n\
        T99,chromium_vi,,0.96,ug,0.24,yes\n";
    let refused = plant.csv("tarn", "TRN", head, wrong, true).await;
    assert_eq!(refused.status, 422, "{}", refused.text);
    // Below its own reporting limit without a comparator; a sample that nobody knows.
    assert_eq!(refused.pointers(), ["/results/1/value", "/results/2/sample_number"]);
    let right = "sample_number,agent,comparator,value,unit,reporting_limit,blank_corrected\n\
        T11,18540-29-9,,0.96,ug,0.24,yes\n\
        T12,chromium_vi,<,0.24,ug,0.24,yes\n\
        T13,chromium_vi,,1.92,ug,0.24,yes\n\
        T14,chromium_vi,,0.48,ug,0.24,yes\n\
        T15,chromium_vi,<,0.24,ug,0.24,yes\n\
        T16,chromium_vi,,1.44,ug,0.24,yes\n";
    let tried = plant.csv("tarn", "TRN", head, right, true).await;
    assert_eq!((tried.status, &tried.json["dry_run"]), (200, &json!(true)), "{}", tried.text);
    let answer = plant.csv("tarn", "TRN", head, right, false).await;
    assert_eq!(answer.status, 201, "{}", answer.text);
    // 0.96 ug / 960 L = 1 ug/m3; < 0.24 / 0.96 = < 0.25; 1.92 / 0.96 = 2; 0.48 / 0.96 = 0.5; with 1 L/min x 480 min
    // = 480 L < 0.24 / 0.48 = < 0.5; 1.44 / 0.96 = 1.5.
    let expected = [
        ("T11", false, 1.0),
        ("T12", true, 0.25),
        ("T13", false, 2.0),
        ("T14", false, 0.5),
        ("T15", true, 0.5),
        ("T16", false, 1.5),
    ];
    for (number, below, value) in expected {
        let result = &said(&answer.json, number)["results"][0];
        near(&result["concentration"]["value"], value);
        assert_eq!(result["concentration"].get("comparator"), below.then(|| json!("<")).as_ref());
        assert_eq!(result.get("mass_corrected"), None, "the laboratory took the blank off");
    }
    // Nothing that is not accepted lowers a standing.
    assert_eq!(eras(plant, "WLD").await[0]["standing"][0]["value"], "above_limit");
    a_duty_while_the_standing_is_high(plant).await;
    for number in ["T11", "T12", "T13", "T14"] {
        plant.accept(plant.id(number)).await;
    }
    // 29 CFR 1910.1026(d)(2)(v): below 2.5 ug/m3, confirmed at least seven days later; 6 to 20 October are fourteen.
    let eras = eras(plant, "WLD").await;
    let lowered = json!([{"authority": "OSHA", "value": "below_action_level", "since": "2025-10-20",
        "round": {"event_id": plant.id("T25-10b"), "date": "2025-10-20"},
        "clause": "29 CFR 1910.1026(d)(2)(v)"}]);
    assert_eq!(eras[0]["standing"], lowered);
    assert_eq!(eras[0]["not_accepted"], json!(2));
    assert_eq!(eras[1]["standing"][0]["value"], "above_limit", "the era before keeps what it was");
}

/// Until the results are accepted Cleo, who came on Monday 6 October 2025, is to be examined.
async fn a_duty_while_the_standing_is_high(plant: &Plant<'_>) {
    let path = format!("/duties?worker_id={}", plant.id("Cleo"));
    let answer = plant.read("hygienist", &path).await;
    let duty = only(items(&answer), |_| true);
    // Her own filters of 6 and 20 October and 3 November lie below 2.5, but nobody has accepted them yet: they take no day
    // out. From Monday 6 October 2025 twelve months hold 52 weeks of five days and Monday 5 October 2026: 261.
    assert_eq!(duty["days_counted"], json!(261));
    assert_eq!(duty["window"], json!({"from": "2025-10-06", "to": "2026-10-06"}));
    // 29 CFR 1910.1026(k)(2)(i): 30 days after the first counted day, 6 October, is 5 November.
    assert_eq!(duty["due_on"], "2025-11-05");
}

/// The welders with the arm: 1, 2, 0.5, 1.5, < 0.25 and < 0.5 ug/m3.
pub(super) async fn of_censored_results(plant: &Plant<'_>) {
    let eras = eras(plant, "WLD").await;
    let era = &eras[0];
    assert_eq!((&era["n"], &era["n_below"]), (&json!(6), &json!(2)));
    assert_eq!(era["method"], "maximum_likelihood");
    assert_eq!((&era["worker_count"], &era["date_count"]), (&json!(2), &json!(3)));
    // Maximum likelihood of a normal distribution of logarithms, each non-detect with Phi of its own limit (Cohen,
    // Technometrics 1 (1959) 217-237); computed with scipy 1.17.1 (minimize, norm.logpdf and norm.logcdf).
    close(&era["geometric_mean"]["value"], 0.612_457_670_397_456_6);
    close(&era["geometric_standard_deviation"], 2.705_339_251_235_33);
    // exp(mu + sigma^2 / 2); exp(mu + 1.6449 sigma); 1 - Phi((ln 5 - mu) / sigma).
    close(&era["arithmetic_mean"]["estimate"], MEAN_WITH_ARM);
    close(&era["percentile_95"]["estimate"], 3.147_875_622_386_316_2);
    close(&era["exceedance_fraction"]["estimate"], 0.017_438_539_630_094_71);
    // Limits under a prior uniform in mu and ln sigma (Box and Tiao, Bayesian Inference in Statistical Analysis, 1973, 2.4);
    // computed with NumPy 2 and SciPy 1.17.1 (quadrature over both, brentq). Four detected values leave them wide.
    super::within(&era["percentile_95"]["upper_70"], 9.574_379_788_129_734, 1e-5);
    super::within(&era["percentile_95"]["upper_95"], 190.730_011_331_002_1, 1e-3);
    // The largest is 2, with nothing below its limit above it.
    assert_eq!(era["largest_result"], json!({"value": 2.0, "unit": "ug/m3"}));
    assert_eq!(era.get("lognormal_fit"), None);
    // Half the limit (common practice): 1, 2, 0.5, 1.5, 0.125, 0.25; sum 5.375; / 6 = 0.895833333.
    near(&era["substitution"]["half"]["arithmetic_mean"]["value"], 5.375 / 6.0);
}

/// Mean of the welders before the arm, in ug/m3, with its one-sided 95 % limits.
pub(super) const WELDERS: [f64; 3] = [3.502_300_432_777_225, 2.210_623_380_518_631_7, 10.606_443_534_440_809];
/// Mean of the welders with the arm, in ug/m3.
pub(super) const MEAN_WITH_ARM: f64 = 1.004_975_598_899_680_7;
