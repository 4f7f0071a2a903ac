//! A hood tried with and without on four tasks.

use super::filters::{filter, report, row};
use super::plant::Plant;
use super::{close, items, near, only, sourced, words};
use serde_json::{Value, json};

/// Task, worker, date, in the morning, hood running, mass in ug: 2.00 L/min x 240 min = 480 L, so that 0.48 ug are
/// 1 ug/m3, 3.84 ug 8 ug/m3, and so on.
const TRIALS: [(&str, &str, &str, bool, bool, &str); 28] = [
    ("TACK", "Uma", "2026-01-12", true, false, "3.84"),
    ("TACK", "Vic", "2026-01-13", true, false, "1.92"),
    ("TACK", "Uma", "2026-01-14", true, false, "7.68"),
    ("TACK", "Vic", "2026-01-15", true, false, "3.84"),
    ("TACK", "Vic", "2026-01-12", true, true, "0.48"),
    ("TACK", "Uma", "2026-01-13", true, true, "0.96"),
    ("TACK", "Vic", "2026-01-14", true, true, "0.48"),
    ("TACK", "Uma", "2026-01-15", true, true, "0.24"),
    ("FILL", "Uma", "2026-01-19", true, false, "3.84"),
    ("FILL", "Uma", "2026-01-19", false, true, "0.96"),
    ("FILL", "Vic", "2026-01-20", false, false, "1.92"),
    ("FILL", "Vic", "2026-01-20", true, true, "0.96"),
    ("FILL", "Uma", "2026-01-21", true, false, "0.96"),
    ("FILL", "Uma", "2026-01-21", false, true, "0.48"),
    ("CAP", "Uma", "2026-01-12", false, false, "1.92"),
    ("CAP", "Vic", "2026-01-13", false, false, "3.84"),
    ("CAP", "Uma", "2026-01-14", false, false, "0.96"),
    ("CAP", "Vic", "2026-01-15", false, false, "1.92"),
    ("CAP", "Vic", "2026-01-12", false, true, "0.48"),
    ("CAP", "Uma", "2026-01-13", false, true, "<0.48"),
    ("CAP", "Vic", "2026-01-14", false, true, "0.24"),
    ("CAP", "Uma", "2026-01-15", false, true, "<0.24"),
    ("GOUGE", "Uma", "2026-01-26", true, false, "1.92"),
    ("GOUGE", "Vic", "2026-01-27", true, false, "3.84"),
    ("GOUGE", "Uma", "2026-01-28", true, false, "1.92"),
    ("GOUGE", "Vic", "2026-01-26", true, true, "0.96"),
    ("GOUGE", "Uma", "2026-01-27", true, true, "0.48"),
    ("GOUGE", "Vic", "2026-01-28", true, true, "0.48"),
];

/// Enters the trials and reads the four verdicts.
pub(super) async fn verdicts_on_a_hood(plant: &mut Plant<'_>) {
    let mut samples = Vec::new();
    let mut rows = Vec::new();
    for (n, (task, worker, date, morning, runs, mass)) in TRIALS.into_iter().enumerate() {
        let number = format!("H{n}");
        let hours = if morning { ["07:00", "11:00"] } else { ["12:00", "16:00"] };
        let running: Vec<&str> = if runs { vec![plant.id("HOOD")] } else { Vec::new() };
        let mut change = json!({"covers": "task", "task_id": plant.id(task), "control_ids_running": running});
        if task == "GOUGE" {
            change["arc_minutes"] = json!(if runs { 60 } else { 120 });
        }
        samples.push(filter(&number, plant.id(worker), date, hours, "-07:00", &change));
        let limit = mass.strip_prefix('<').unwrap_or("0.12");
        rows.push(row(&number, mass, limit, "yes"));
    }
    let event = json!({"reference": "T26-01", "purpose": ["control_trial"], "sampled_by": "K. Marl", "samples": samples});
    plant.sample("tarn", "TRN", event).await;
    plant.report("tarn", "TRN", &report("L26-07", "2026-02-09", &rows)).await;

    // Welch, Biometrika 34 (1947) 28-35, on logarithms; in powers of two without 3, 2, 4, 3: mean 3, variance 2/3; with
    // 0, 1, 0, -1: mean 0, variance 2/3. Ratio 2^-3 = 0.125; se = root(2/3/4 + 2/3/4) = root(1/3); df = 6 for equal
    // variances of four and four; t(0.975, 6) = 2.446912; half width 1.412725; limits 2^-4.412725 = 0.046950 and
    // 2^-1.587275 = 0.332800. p and probabilities: t = 3 / 0.577350 = 5.196152, computed with scipy 1.17.1 (t).
    let tack = verdict(plant, "TACK").await;
    assert_eq!(
        (&tack["method"], &tack["n_without"], &tack["n_with"]),
        (&json!("welch_on_logs"), &json!(4), &json!(4))
    );
    figures(&tack, [0.125, 0.046_950_189_270_480_1, 0.332_799_510_348_818_94]);
    close(&tack["p_value"], 0.002_022_367_740_542_720_6);
    close(&tack["probability_lowered"], 0.998_988_816_129_728_7);
    close(&tack["probability_target_met"], 0.993_300_017_643_834_5);
    // 0.3328 is below 1 and below 1 - 50 % = 0.5.
    assert_eq!((&tack["verdict"], &tack["target"]), (&json!("lowered"), &json!("met")));
    assert_eq!((&tack["confounded"], &tack["confounders"]), (&json!(false), &json!([])));
    assert!(words(&tack["flags"]).contains(&"repeated_workers"));
    assert_eq!(
        (&tack["worker_count"], &tack["date_count"], &tack["not_accepted"]),
        (&json!(2), &json!(4), &json!(8))
    );

    // Student, Biometrika 6 (1908) 1-25, pairs on logarithms: 2/8, 2/4, 1/2 are -2, -1, -1 in powers of two; mean -4/3;
    // variance (4/9 + 1/9 + 1/9) / 2 = 1/3; se = root(1/3/3) = 1/3; t(0.975, 2) = 4.302653; half width 1.434218;
    // 2^-1.333333 = 0.396850, 2^-2.767551 = 0.146853, 2^0.100884 = 1.072431.
    let fill = verdict(plant, "FILL").await;
    assert_eq!((&fill["method"], &fill["n_with"]), (&json!("paired_on_logs"), &json!(3)));
    figures(&fill, [0.396_850_262_992_049_9, 0.146_853_452_641_625_75, 1.072_430_565_328_216_5]);
    close(&fill["p_value"], 0.057_190_958_417_936_65);
    // The interval holds 1 and the target 0.5.
    assert_eq!((&fill["verdict"], &fill["target"]), (&json!("undecided"), &json!("unsettled")));
    assert_eq!(fill["confounded"], json!(false));

    // Without 4, 8, 2, 4; with 1, < 1, 0.5, < 0.5. Common standard deviation, limits where twice the drop of the log
    // likelihood is 3.8415 (Cox and Hinkley, Theoretical Statistics, 1974); computed with scipy 1.17.1 (minimize, brentq).
    let cap = verdict(plant, "CAP").await;
    assert_eq!((&cap["method"], &cap["n_below_with"]), (&json!("profile_likelihood"), &json!(2)));
    figures(&cap, [0.136_268_358_989_075_97, 0.053_309_389_929_509_55, 0.289_538_234_502_095_1]);
    super::within(&cap["p_value"], 0.000_314_368_146_600_181_9, 1e-5);
    close(&cap["probability_lowered"], 0.999_842_815_926_699_9);
    close(&cap["probability_target_met"], 0.998_040_605_919_944_9);
    assert_eq!((&cap["verdict"], &cap["target"]), (&json!("lowered"), &json!("met")));

    // Without 2, 3, 2: mean 7/3, variance 1/3; with 1, 0, 0: mean 1/3, variance 1/3; ratio 2^-2 = 0.25; se =
    // root(1/3/3 x 2) = 0.471405; df 4; t(0.975, 4) = 2.776445; half width 1.308829; 2^-3.308829 = 0.100912,
    // 2^-0.691171 = 0.619351. Arc time: 120 / 240 x 60 = 30 min an hour without, 60 / 240 x 60 = 15 with: half of it less.
    let gouge = verdict(plant, "GOUGE").await;
    figures(&gouge, [0.25, 0.100_912_110_315_690_64, 0.619_350_837_124_273_2]);
    assert_eq!((&gouge["verdict"], &gouge["target"]), (&json!("lowered"), &json!("unsettled")));
    assert_eq!((&gouge["confounded"], &gouge["confounders"]), (&json!(true), &json!(["arc_time"])));
    let sentence = gouge["sentence"].as_str().unwrap();
    assert!(sentence.contains("welding time") && sentence.contains("does not show"), "{sentence}");
}

/// The one verdict on a task, with its working.
async fn verdict(plant: &Plant<'_>, task: &str) -> Value {
    let path = format!("/tasks/{}/control-verdicts?agent_code=chromium_vi&working=true", plant.id(task));
    let answer = plant.read("hygienist", &path).await;
    let found = only(items(&answer), |one| one["control_id"] == plant.id("HOOD"));
    assert_eq!(found["position"], "breathing_zone");
    sourced(found);
    found.clone()
}

/// Ratio and reduction with limits: the reduction is 100 x (1 - ratio), its limits swapped.
fn figures(verdict: &Value, [estimate, lower, upper]: [f64; 3]) {
    let (ratio, reduction) = (&verdict["ratio_of_geometric_means"], &verdict["reduction_percent"]);
    close(&ratio["estimate"], estimate);
    close(&ratio["lower_95"], lower);
    close(&ratio["upper_95"], upper);
    close(&reduction["estimate"], 100.0 * (1.0 - estimate));
    close(&reduction["lower_95"], 100.0 * (1.0 - upper));
    close(&reduction["upper_95"], 100.0 * (1.0 - lower));
    near(&verdict["target_reduction_percent"], 50.0);
}
