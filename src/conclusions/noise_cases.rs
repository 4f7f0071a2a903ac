//! Days of noise worked by hand, from dosimeters to shift averages, standings and profiles.
//!
//! 29 CFR 1910.95: action level 85 dBA, a dose of 50 % with the threshold of 80 dBA; limit 90 dBA, a dose of 100 %;
//! exchange rate 5 dB (Appendix A). The rules of use are this registry's; every level is invented.

use crate::conclusions::asked::Asked;
use crate::conclusions::averaging::shift_averages;
use crate::conclusions::comparison::ComparisonAnswer;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::flag::Flag;
use crate::conclusions::group_standing::StandingRules;
use crate::conclusions::invented::{EVENT, agent, date, event, evidence, group, id, result, sample};
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::profile::{GroupConclusion, conclude_group};
use crate::conclusions::profile_view::{ProfileView, profile_views};
use crate::conclusions::sample::sample_view;
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::shift_average_view::shift_average_view;
use crate::conclusions::use_of_result::LeftOutReason;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::sampling::NoiseCriterion::{self, Niosh, OshaActionLevel, OshaLimit};
use crate::model::measured::Measured;
use crate::model::shape::Shape;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::level::Level;
use crate::surveillance::pack::Pack;
use serde_json::{Value, json};

fn db(level: f64) -> Value {
    json!({"value": level, "unit": "dB[A]"})
}

fn percent(dose: f64) -> Value {
    json!({"value": dose, "unit": "%"})
}

/// A dosimeter run with what was read by each criterion.
fn run(number: u128, change: &Value, read: &[(NoiseCriterion, Value)]) -> SampleEvidence {
    run_of(number, change, &json!({}), read)
}

fn run_of(
    number: u128,
    change: &Value,
    of_event: &Value,
    read: &[(NoiseCriterion, Value)],
) -> SampleEvidence {
    let base =
        json!({"sampler_kind": "dosimeter", "flow_before": null, "flow_after": null, "calibrated_on": null});
    let change = crate::conclusions::invented::with(base, change);
    let results = (0u128..).zip(read).map(|(n, (criterion, level))| {
        let change = json!({"agent_code": "noise", "mass": null, "criterion": criterion.as_str(),
            "concentration": level, "reporting_limit": null});
        result(number * 10 + n, number, &change)
    });
    evidence(&event(EVENT, of_event), sample(number, &change), results.collect(), Vec::new())
}

fn averages(samples: &[SampleEvidence]) -> Vec<ShiftTwa> {
    shift_averages(samples, &agent("noise"), &[&group(None)], Asked::default())
}

fn concluded(samples: &[SampleEvidence], noise: &AgentEvidence) -> GroupConclusion {
    let calendar = WorkingDays::default();
    let rules = StandingRules { pack: Pack::built_in(), of_others: &[], working_days: &calendar };
    conclude_group(&group(None), samples, noise, rules, Asked::default())
}

fn views(samples: &[SampleEvidence]) -> Vec<ProfileView> {
    let asked = Asked { working: true, ..Asked::default() };
    profile_views(&concluded(samples, &agent("noise")), asked)
}

fn answers(shift: &ShiftTwa) -> Vec<(LimitKind, ComparisonAnswer)> {
    shift.comparisons.iter().map(|one| (one.kind, one.answer)).collect()
}

#[test]
fn a_level_of_a_run_and_its_dose_give_each_other() {
    // 95 dBA over 240 of 480 minutes: half the time at twice the dose, 100 %.
    let half = json!({"minutes_run": 240});
    let seen = |value: Value| {
        let evidence = run(50, &half, &[(OshaLimit, value)]);
        let asked = Asked { working: true, ..Asked::default() };
        sample_view(&evidence, &[agent("noise")], asked).to_json()
    };
    for value in [db(95.0), percent(100.0)] {
        let view = seen(value);
        let found = &view["results"][0];
        assert_eq!((&found["concentration"], &found["dose"]), (&db(95.0), &percent(100.0)));
        assert_eq!((&found["criterion"], &found["flags"]), (&json!("osha_limit"), &json!([])));
        assert_eq!(view["working"].as_array().unwrap().len(), 1);
    }
    let silent = seen(percent(0.0));
    let below = json!({"comparator": "<", "value": 90.0, "unit": "dB[A]"});
    assert_eq!(silent["results"][0]["concentration"], below);
}

#[test]
fn a_result_without_a_criterion_makes_no_dose_and_says_so() {
    let mut evidence = run(50, &json!({}), &[(OshaLimit, db(88.0))]);
    evidence.results[0].fact.criterion = None;
    let found = &averages(std::slice::from_ref(&evidence))[0];
    assert_eq!((found.twa, found.dose, found.comparisons.len()), (None, None, 0));
    assert!(found.flags.contains(&Flag::NoNoiseDose) && found.flags.contains(&Flag::NoEightHourAverage));
    let era = &concluded(&[evidence], &agent("noise")).eras[0];
    assert_eq!(era.left_out[0].reason, LeftOutReason::NoNoiseDose);
    // A peak level is no A-weighted one.
    let peak = run(51, &json!({}), &[(OshaLimit, json!({"value": 140, "unit": "dB"}))]);
    assert_eq!(averages(&[peak])[0].twa, None);
}

#[test]
fn each_level_is_compared_by_its_own_criterion() {
    // With the threshold of 80 dBA a dose of 50 % is 85 dBA exactly; with that of 90 dBA 40 % is below the limit.
    let found = averages(&[run(
        50,
        &json!({}),
        &[(OshaLimit, percent(40.0)), (OshaActionLevel, percent(50.0)), (Niosh, db(87.0))],
    )]);
    let by: Vec<_> = found.iter().map(|shift| (shift.criterion.unwrap(), answers(shift))).collect();
    assert_eq!(
        by,
        [
            (OshaLimit, vec![(LimitKind::Twa, ComparisonAnswer::Below)]),
            (OshaActionLevel, vec![(LimitKind::ActionLevel, ComparisonAnswer::AtOrAbove)]),
            (Niosh, vec![]),
        ]
    );
    assert_eq!((found[1].twa, found[1].dose), (Some(Measured::Value(85.0)), Some(Measured::Value(50.0))));
    assert!(found.iter().all(|shift| shift.flags.is_empty()));
}

#[test]
fn one_threshold_bounds_the_other() {
    // What counts from 90 dBA on counts from 80 on too: 86 dBA by the limit's criterion reaches the action level.
    let [found] = &averages(&[run(50, &json!({}), &[(OshaLimit, db(86.0))])])[..] else { panic!("one") };
    assert_eq!(
        answers(found),
        [(LimitKind::Twa, ComparisonAnswer::Below), (LimitKind::ActionLevel, ComparisonAnswer::AtOrAbove)]
    );
    assert_eq!(found.flags, [Flag::OtherThresholdOnly]);
    let [found] = &averages(&[run(50, &json!({}), &[(OshaLimit, db(80.0))])])[..] else { panic!("one") };
    assert_eq!(answers(found)[1], (LimitKind::ActionLevel, ComparisonAnswer::CannotTell));
    let [found] = &averages(&[run(50, &json!({}), &[(OshaActionLevel, db(88.0))])])[..] else {
        panic!("one")
    };
    assert_eq!(answers(found)[0], (LimitKind::Twa, ComparisonAnswer::Below));
}

#[test]
fn parts_of_a_shift_add_as_doses() {
    // 95 dBA over 240 min is 100 %, 90 dBA over 240 min 50 %: 150 %, 90 + 5 log2(1.5) = 92.924812503606 dBA.
    let part =
        |number: u128, level: f64| run(number, &json!({"minutes_run": 240}), &[(OshaLimit, db(level))]);
    let samples = [part(50, 95.0), part(51, 90.0)];
    let found = &averages(&samples)[0];
    assert_eq!(found.dose, Some(Measured::Value(150.0)));
    assert_eq!(found.twa, Some(Measured::Value(92.924_812_503_6)));
    let steps = shift_average_view(found, Asked { working: true, ..Asked::default() }).working.unwrap();
    let steps: Vec<_> = steps.into_iter().map(|step| (step.step, step.result)).collect();
    assert_eq!(steps[0], ("dose of the shift".into(), percent(150.0)));
    assert_eq!(steps[1].0, "8-hour average");
    // A duplicate adds no time: the mean of 100 % and 50 % over 240 min is 75 %.
    let duplicate = run(
        51,
        &json!({"minutes_run": 240, "covers": "duplicate", "duplicate_of": "S50"}),
        &[(OshaLimit, db(90.0))],
    );
    let shifts = json!({"shifts": [{"worker_id": id(5), "shift_date": "2026-03-02", "shift_minutes": 240}],
        "shift_minutes": 240});
    let mut both = [part(50, 95.0), duplicate];
    for sample in &mut both {
        sample.event = std::sync::Arc::new(event(EVENT, &shifts));
    }
    assert_eq!(averages(&both)[0].dose, Some(Measured::Value(75.0)));
}

#[test]
fn time_not_sampled_is_as_stated_or_a_range() {
    let of = |minutes: u32, unsampled: Option<Value>| {
        let mut shift = json!({"worker_id": id(5), "shift_date": "2026-03-02", "shift_minutes": 480});
        if let Some(taken) = unsampled {
            shift["unsampled"] = json!({"as": taken, "reason": "Office"});
        }
        let change = json!({"minutes_run": minutes});
        averages(&[run_of(50, &change, &json!({"shifts": [shift]}), &[(OshaActionLevel, db(90.0))])])
            .remove(0)
    };
    // 240 min at 90 dBA are 50 %; the rest: nothing stated, from nothing to another 50 %.
    let found = of(240, None);
    assert_eq!(found.dose, Some(Measured::Between { lower: 50.0, upper: 100.0 }));
    assert_eq!(found.twa, Some(Measured::Between { lower: 85.0, upper: 90.0 }));
    assert_eq!(found.flags, [Flag::ShiftPartlySampled, Flag::OtherThresholdOnly]);
    assert_eq!(of(240, Some(json!("zero"))).dose, Some(Measured::Value(50.0)));
    assert_eq!(of(240, Some(json!("as_sampled"))).dose, Some(Measured::Value(100.0)));
    // 85 dBA over 240 min are 25 %; 75 dBA lies below the threshold and counts nothing.
    let stated = |level: f64| of(240, Some(json!({"concentration": db(level)}))).dose;
    assert_eq!(stated(85.0), Some(Measured::Value(75.0)));
    assert_eq!(stated(75.0), Some(Measured::Value(50.0)));
    // From 75 % of the shift on the sampled time speaks for the rest.
    assert_eq!(of(360, None).dose, Some(Measured::Value(100.0)));
}

// 90 + 16.61 log10(50 / (12.5 x 10)) = 83.39 dBA for ten hours (OSHA's policy on extended shifts, as worked example I-04).
#[test]
fn a_longer_shift_reaches_the_action_level_at_a_lower_level() {
    let of = |level: f64| {
        let found = averages(&[run_of(
            50,
            &json!({"minutes_run": 600}),
            &json!({"shift_minutes": 600}),
            &[(OshaActionLevel, db(level)), (OshaLimit, percent(0.0))],
        )]);
        answers(found.iter().find(|shift| shift.criterion == Some(OshaActionLevel)).unwrap())[0].1
    };
    assert_eq!(of(83.4), ComparisonAnswer::AtOrAbove);
    assert_eq!(of(83.3), ComparisonAnswer::Below);
}

#[test]
fn below_80_is_a_bound_and_no_dose_at_all_is_below_the_threshold() {
    let below = json!({"comparator": "<", "value": 80, "unit": "dB[A]"});
    let found = averages(&[run(50, &json!({}), &[(OshaLimit, percent(0.0)), (OshaActionLevel, below)])]);
    // 8 h at 80 dBA would be 25 %.
    assert_eq!((found[1].twa, found[1].dose), (Some(Measured::Below(80.0)), Some(Measured::Below(25.0))));
    assert_eq!((found[0].twa, found[0].dose), (Some(Measured::Below(90.0)), Some(Measured::Value(0.0))));
    assert!(found.iter().all(|shift| answers(shift)[0].1 == ComparisonAnswer::Below));
}

#[test]
fn a_bound_above_a_level_cannot_tell_and_is_flagged() {
    let below = json!({"comparator": "<", "value": 88, "unit": "dB[A]"});
    let found = averages(&[run(50, &json!({}), &[(OshaLimit, percent(0.0)), (OshaActionLevel, below)])]);
    assert_eq!(answers(&found[1]), [(LimitKind::ActionLevel, ComparisonAnswer::CannotTell)]);
    assert_eq!(found[1].flags, [Flag::ReportingLimitTooHigh]);
    assert_eq!((answers(&found[0])[0].1, found[0].flags.len()), (ComparisonAnswer::Below, 0));
}

/// Whole shifts on days of March by two criteria.
fn days(levels: &[(f64, f64)]) -> Vec<SampleEvidence> {
    (50u128..)
        .zip(levels)
        .map(|(number, (limit, action))| {
            let change =
                json!({"shift_date": format!("2026-03-{:02}", number - 48), "worker_id": id(number)});
            run(number, &change, &[(OshaLimit, db(*limit)), (OshaActionLevel, db(*action))])
        })
        .collect()
}

#[test]
fn a_round_is_read_by_both_criteria() {
    let level = |levels: &[(f64, f64)]| {
        let found = concluded(&days(levels), &agent("noise"));
        found.standings[0].on(date("2026-03-20")).unwrap().level
    };
    assert_eq!(level(&[(80.0, 84.9), (79.0, 83.0)]), Level::BelowActionLevel);
    assert_eq!(level(&[(80.0, 85.0), (79.0, 83.0)]), Level::AtOrAboveActionLevel);
    // Above 90 dBA with the threshold of 80 only is not above the limit.
    assert_eq!(level(&[(90.0, 91.0)]), Level::AtOrAboveActionLevel);
    assert_eq!(level(&[(90.1, 91.0)]), Level::AboveLimit);
}

#[test]
fn an_era_has_one_profile_of_normal_levels_for_each_criterion() {
    // 84, 86, 88: mean 86, standard deviation 2. Share above 85: 1 - Phi((85 - 86) / 2) = Phi(0.5) = 0.69146 (table).
    let found = views(&days(&[(80.0, 84.0), (84.0, 86.0), (88.0, 88.0)]));
    let seen: Vec<_> = found.iter().map(|view| (view.0.criterion.unwrap(), view.1.0.n)).collect();
    assert_eq!(seen, [(OshaLimit, 3), (OshaActionLevel, 3)]);
    let [limit, action] = [found[0].to_json(), found[1].to_json()];
    assert_eq!(limit["limit"], json!({"authority": "OSHA", "value": 90.0, "unit": "dB[A]", "kind": "twa"}));
    assert_eq!(action["limit"]["kind"], json!("action_level"));
    assert_eq!((&action["limit"]["value"], &action["mean_level"]["estimate"]), (&json!(85.0), &json!(86.0)));
    assert_eq!(
        (&action["standard_deviation_level"], &action["mean_level"]["unit"]),
        (&json!(2.0), &json!("dB[A]"))
    );
    assert_eq!(action["largest_result"], db(88.0));
    let share = action["exceedance_fraction"]["estimate"].as_f64().unwrap();
    assert!((share - 0.691_46).abs() < 1e-5, "{share}");
    assert_eq!(action["action_level_exceedance"], action["exceedance_fraction"]["estimate"]);
    assert_eq!(limit.get("action_level_exceedance"), None);
    for absent in [
        "geometric_mean",
        "geometric_standard_deviation",
        "arithmetic_mean",
        "substitution",
        "en_689",
        "kaplan_meier",
        "order_statistics",
        "lognormal_fit",
    ] {
        assert_eq!(action.get(absent), None, "{absent}");
    }
    assert!(action["normal_fit"]["w"].is_number() && action["percentile_95"]["upper_95"].is_number());
    assert_eq!(action["flags"], json!(["no_step_down"]));
    assert_eq!(action["working"].as_array().unwrap().len(), 3);
}

#[test]
fn a_shift_read_by_another_criterion_is_left_out_of_this_one() {
    let mut samples = days(&[(80.0, 84.0), (84.0, 86.0), (88.0, 88.0)]);
    samples[2].results.truncate(1);
    let found = concluded(&samples, &agent("noise"));
    let [action, limit] = &found.eras[..] else { panic!("two criteria") };
    assert_eq!((action.criterion, action.results.len()), (Some(OshaActionLevel), 2));
    assert_eq!(action.left_out[0].reason, LeftOutReason::OtherCriterion);
    assert_eq!((limit.results.len(), limit.left_out.len()), (3, 0));
    // An era without any noise has the profile of the limit, empty.
    let none = views(&[]);
    assert_eq!((none.len(), none[0].0.criterion, none[0].1.0.n), (1, Some(OshaLimit), 0));
}

#[test]
fn a_recommended_limit_is_met_by_its_own_criterion() {
    let mut noise = agent("noise");
    let niosh = json!({"authority": "NIOSH", "kind": "twa", "value": {"value": 85, "unit": "dB[A]"},
        "source": "NIOSH 98-126, 1998 (from memory)"});
    noise.limits.push(crate::conclusions::invented::limit_of_all(2000, &niosh));
    let sample = run(50, &json!({}), &[(OshaActionLevel, db(84.0)), (Niosh, db(86.0))]);
    let found = concluded(&[sample], &noise);
    let seen: Vec<_> =
        found.standings.iter().map(|one| (one.authority.as_str(), one.moves[0].level)).collect();
    assert_eq!(seen, [("OSHA", Level::BelowActionLevel), ("NIOSH", Level::AboveLimit)]);
    let by_niosh = found.eras.iter().find(|era| era.criterion == Some(Niosh)).unwrap();
    assert_eq!(by_niosh.limit, Some(85.0));
}
