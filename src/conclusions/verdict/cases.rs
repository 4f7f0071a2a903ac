//! Verdicts worked by hand. The rules are this registry's own; every number is invented, the sums are arithmetic.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::{GroupEvidence, SampleEvidence};
use crate::conclusions::invented::{ARM, WORKER, agent, date, event, group, id, shift, version};
use crate::conclusions::verdict::conclude::control_verdicts;
use crate::conclusions::verdict::confounder::Confounder;
use crate::conclusions::verdict::task_sample::{TaskEvidence, WholeShift};
use crate::conclusions::verdict::view::{ExclusionReason, VerdictView};
use crate::hygiene::control_effect::{EffectMethod, TargetAnswer, Verdict};
use crate::hygiene::sufficiency::Sufficiency;
use crate::model::facts::control::Control;
use crate::model::facts::sampling::Position;
use crate::model::measured::Measured;
use crate::model::version::Version;
use serde_json::{Value, json};
use std::collections::BTreeSet;

const DOOR: u128 = 42;

fn arm() -> Value {
    json!([id(ARM)])
}

/// The tests' group with a second control that may run.
fn shop() -> GroupEvidence {
    let mut shop = group(Some("2025-01-01"));
    let door = json!({"code": "D", "title": "door", "kind": "engineering"});
    shop.controls.push(version::<Control>(DOOR, Some(1), &door));
    shop.controls[0].fact.title = crate::model::text::Line::new("arm").unwrap();
    shop
}

fn verdicts(samples: &[SampleEvidence], whole_shifts: &[WholeShift], asked: Asked) -> Vec<VerdictView> {
    let shop = shop();
    let task = shop.tasks[0].clone();
    let agent = agent("chromium_vi");
    control_verdicts(&TaskEvidence { task: &task, group: &shop, agent: &agent, samples, whole_shifts }, asked)
}

fn judge(samples: &[SampleEvidence]) -> VerdictView {
    verdicts(samples, &[], Asked::default()).remove(0)
}

/// A sample of worker `who` on a date of March 2026.
fn taken(number: u128, who: u128, day: u32, running: &Value, value: f64, change: &Value) -> SampleEvidence {
    let mut fields = json!({"worker_id": id(50 + who), "shift_date": format!("2026-03-{day:02}"),
        "control_ids_running": running});
    for (name, value) in change.as_object().unwrap() {
        fields[name] = value.clone();
    }
    shift(number, &event(6, &json!({})), &fields, &json!({"value": value}))
}

fn plain(number: u128, who: u128, day: u32, running: &Value, value: f64) -> SampleEvidence {
    taken(number, who, day, running, value, &json!({}))
}

/// Three workers on three dates, each with both states: ratios 1/4, 1/2, 1/4.
fn three_pairs(change_with: &Value) -> Vec<SampleEvidence> {
    [(1, 8.0, 2.0), (2, 4.0, 2.0), (3, 16.0, 4.0)]
        .into_iter()
        .flat_map(|(who, without, with)| {
            let day = u32::try_from(who).unwrap() + 1;
            [
                plain(100 + who, who, day, &json!([]), without),
                taken(200 + who, who, day, &arm(), with, change_with),
            ]
        })
        .collect()
}

fn near(found: Option<f64>, expected: f64) -> bool {
    found.is_some_and(|found| (found - expected).abs() < 1e-4)
}

#[test]
fn pairs_are_compared_as_pairs_and_the_sentence_has_interval_and_shifts() {
    let verdict = judge(&three_pairs(&json!({})));
    // ln ratios -1.38629, -0.69315, -1.38629: mean -1.15525, s 0.40019, se 0.23105, t(0.975, 2) = 4.30265:
    // ln limits -2.14937 and -0.16112.
    assert_eq!(verdict.method, Some(EffectMethod::PairedOnLogs));
    let ratio = verdict.ratio_of_geometric_means.unwrap();
    assert!(near(ratio.estimate, 0.31498) && near(ratio.lower_95, 0.11656) && near(ratio.upper_95, 0.85119));
    assert_eq!((verdict.verdict, verdict.target), (Some(Verdict::Lowered), Some(TargetAnswer::Unsettled)));
    assert_eq!((verdict.worker_count, verdict.date_count, verdict.n_with), (3, 3, Some(3)));
    assert_eq!((verdict.first, verdict.last), (Some(date("2026-03-02")), Some(date("2026-03-04"))));
    assert!(!verdict.confounded && verdict.confounders.is_empty());
    assert_eq!(
        verdict.sentence,
        "With the control “arm” exposure in the breathing zone was lower by 69 % (95 % interval 15 % to 88 %) over 3 shifts \
         without and 3 with the control “arm”; the target of 50 % lower is unsettled."
    );
    assert_eq!(verdict.flags, ["usual_minutes_not_stated"]);
}

#[test]
fn a_pair_too_few_or_a_shift_in_one_state_is_unpaired_and_recurring_workers_are_flagged() {
    let mut samples = three_pairs(&json!({}));
    samples.push(plain(300, 3, 9, &json!([]), 8.0));
    let verdict = judge(&samples);
    assert_eq!(verdict.method, Some(EffectMethod::WelchOnLogs));
    assert!(verdict.flags.contains(&"repeated_workers".to_owned()));
    samples.truncate(4);
    let verdict = judge(&samples);
    assert_eq!(verdict.method, Some(EffectMethod::WelchOnLogs));
    assert_eq!(verdict.confounders, [Confounder::FewDates]);
    assert!(verdict.sentence.starts_with("Too few to describe this group: "), "{}", verdict.sentence);
}

#[test]
fn filters_of_one_shift_and_state_are_one_value_weighted_by_time() {
    // (3 x 120 + 1 x 360) / 480 = 1.5; a duplicate is averaged with its original: (1 + 2) / 2 = 1.5 for 360 minutes.
    let samples = [
        plain(100, 1, 2, &json!([]), 6.0),
        taken(201, 1, 2, &arm(), 3.0, &json!({"minutes_run": 120})),
        taken(202, 1, 2, &arm(), 1.0, &json!({"minutes_run": 360})),
        taken(
            203,
            1,
            2,
            &arm(),
            2.0,
            &json!({"minutes_run": 360, "covers": "duplicate", "duplicate_of": "S202"}),
        ),
    ];
    let asked = Asked { working: true, ..Asked::default() };
    let verdict = verdicts(&samples, &[], asked).remove(0);
    assert_eq!((verdict.n_without, verdict.n_with), (Some(1), Some(1)));
    let working = verdict.working.unwrap();
    let value = working.iter().find(|step| step.step == "value with, 2026-03-02").unwrap();
    // (3 x 120 + 1.5 x 360) / 480 = 1.875.
    assert_eq!(value.result["value"], json!(1.875));
    assert_eq!(value.inputs.as_array().unwrap().len(), 3);
    // One value on each side tells no spread: the posterior takes every one the prior holds for possible.
    assert_eq!((verdict.method, verdict.verdict), (Some(EffectMethod::Posterior), Some(Verdict::Undecided)));
    assert!(
        verdict.further_samples.is_some() && verdict.sentence.contains(" further "),
        "{}",
        verdict.sentence
    );
}

#[test]
fn only_samples_with_the_same_other_controls_are_compared_and_the_others_are_named() {
    let mut samples = three_pairs(&json!({}));
    samples.push(plain(301, 1, 9, &json!([id(DOOR)]), 8.0));
    samples.push(plain(302, 1, 9, &json!([id(DOOR), id(ARM)]), 8.0));
    samples.push(taken(303, 1, 10, &Value::Null, 8.0, &json!({})));
    samples.push(taken(304, 1, 10, &arm(), 8.0, &json!({"running_share": 0.5})));
    samples.push(taken(305, 1, 11, &arm(), 8.0, &json!({"representative": false})));
    let verdict = judge(&samples);
    let reasons: Vec<_> =
        verdict.excluded.iter().map(|one| (one.sample_id.0.as_u128(), one.reason)).collect();
    assert_eq!(
        reasons,
        [
            (303, ExclusionReason::ControlStateNotRecorded),
            (304, ExclusionReason::ControlPartlyRunning),
            (305, ExclusionReason::NotRepresentative),
            (301, ExclusionReason::OtherControlsDiffer),
            (302, ExclusionReason::OtherControlsDiffer),
        ]
    );
    assert_eq!((verdict.n_without, verdict.n_with), (Some(3), Some(3)));
}

#[test]
fn what_is_worn_has_no_verdict_and_a_control_without_samples_says_that_there_is_nothing() {
    let found = verdicts(&[], &[], Asked::default());
    assert_eq!(found.len(), 1);
    assert_eq!((found[0].control_id.0, found[0].verdict), (id(ARM), None));
    assert_eq!(
        found[0].sentence,
        "Nothing to compare: exposure in the breathing zone was measured on 0 shifts \
         without and 0 with the control “arm”."
    );
    assert!(found[0].flags.contains(&"no_results".to_owned()));
}

#[test]
fn another_welding_time_confounds_and_the_sentence_says_that_it_shows_nothing() {
    let mut samples = three_pairs(&json!({"arc_minutes": 160}));
    for sample in samples.iter_mut().step_by(2) {
        sample.sample.fact.arc_minutes = Some(240.0);
    }
    // 20 against 30 arc minutes an hour: a third less.
    let verdict = judge(&samples);
    assert_eq!((verdict.confounders.as_slice(), verdict.confounded), (&[Confounder::ArcTime][..], true));
    assert_eq!(
        verdict.sentence,
        "With the control “arm” exposure in the breathing zone was lower by 69 % (95 % interval 15 % to 88 %) over 3 shifts \
         without and 3 with the control “arm”, but the welding time also differed: this does not show that the control “arm” did it."
    );
    for sample in samples.iter_mut().step_by(2) {
        sample.sample.fact.arc_minutes = Some(200.0);
    }
    // 20 against 25: exactly a fifth is not over it.
    assert!(!judge(&samples).confounded);
}

#[test]
fn what_else_differs_is_found() {
    let change = json!({"materials": "316L", "location": "Bay 2", "covers": "task", "minutes_run": 360});
    let mut samples = three_pairs(&change);
    for sample in samples.iter_mut().step_by(2) {
        sample.event = std::sync::Arc::new(event(6, &json!({"purpose": ["worst_case"]})));
    }
    samples[5].sample.fact.worker_id = Some(id(59).into());
    let found = judge(&samples).confounders;
    assert_eq!(
        found,
        [
            Confounder::Tasks,
            Confounder::Materials,
            Confounder::Workers,
            Confounder::Locations,
            Confounder::SampledMinutes,
            Confounder::Selection,
        ]
    );
}

#[test]
fn one_state_wholly_before_the_other_confounds_by_date_and_by_the_clock() {
    let before =
        |day| [1, 2, 3].map(|who| plain(100 + who, who, day + u32::try_from(who).unwrap(), &json!([]), 8.0));
    let after = [1, 2, 3].map(|who| {
        plain(
            200 + who,
            who,
            20 + u32::try_from(who).unwrap(),
            &arm(),
            [2.0, 3.0, 4.0][usize::try_from(who).unwrap() - 1],
        )
    });
    let samples: Vec<_> = before(1).into_iter().chain(after).collect();
    assert_eq!(judge(&samples).confounders, [Confounder::OrderInTime]);
    // Mornings without, afternoons with; 14:00Z is 07:00 in Denver in winter.
    let mut pairs = three_pairs(&json!({}));
    for (place, sample) in pairs.iter_mut().enumerate() {
        let day = sample.sample.fact.shift_date;
        let (start, end) = if place % 2 == 0 { ("14:00", "18:00") } else { ("18:30", "22:30") };
        let run = json!({"start": format!("{day}T{start}:00Z"), "end": format!("{day}T{end}:00Z")});
        let runs: Vec<crate::model::facts::sampling::Run> =
            vec![crate::model::shape::Shape::parse(&run).unwrap()];
        sample.sample.fact.runs = Some(runs);
    }
    assert_eq!(judge(&pairs).confounders, [Confounder::OrderInTime]);
}

#[test]
fn non_detects_stay_bounds_and_a_reduction_is_never_said_to_be_above_99() {
    let mut samples: Vec<_> = (1..=3)
        .map(|who| {
            plain(
                100 + who,
                who,
                u32::try_from(who).unwrap() + 1,
                &json!([]),
                [1001.0, 1002.0, 1003.0][usize::try_from(who).unwrap() - 1],
            )
        })
        .collect();
    samples.extend((1..=3).map(|who| {
        let fields = json!({"worker_id": id(50 + who), "shift_date": format!("2026-03-0{}", who + 1),
            "control_ids_running": arm()});
        let below = json!({"value": 0.05, "comparator": "<"});
        shift(200 + who, &event(6, &json!({})), &fields, &below)
    }));
    let verdict = judge(&samples);
    assert_eq!((verdict.n_below_without, verdict.n_below_with), (Some(0), Some(3)));
    assert_eq!(verdict.method, Some(EffectMethod::ProfileLikelihood));
    assert_eq!(verdict.verdict, Some(Verdict::Lowered));
    assert!(
        verdict.sentence.contains(" was lower by more than 99 % (95 % limit) over 3 shifts"),
        "{}",
        verdict.sentence
    );
}

#[test]
fn area_values_are_compared_at_the_same_location_only_and_stand_beside_the_breathing_zone() {
    let area = |number, day, running: &Value, value, place: &str| {
        let fields = json!({"worker_id": null, "position": "area", "location": place});
        taken(number, 0, day, running, value, &fields)
    };
    let samples = [
        area(101, 2, &json!([]), 4.0, "Pillar 1"),
        area(102, 3, &json!([]), 4.4, "pillar 1"),
        area(103, 4, &json!([]), 4.2, "Pillar 1"),
        area(104, 4, &json!([]), 40.0, "Gate"),
        area(201, 2, &arm(), 4.1, "Pillar 1"),
        area(202, 3, &arm(), 4.3, "Pillar 1"),
        area(203, 4, &arm(), 4.2, "Pillar 1"),
    ];
    let found = verdicts(&samples, &[], Asked::default());
    assert_eq!(
        found.iter().map(|one| one.position).collect::<Vec<_>>(),
        [Position::BreathingZone, Position::Area]
    );
    let room = &found[1];
    assert_eq!(room.excluded.len(), 1);
    assert_eq!(room.excluded[0].reason, ExclusionReason::LocationInOneState);
    assert_eq!(room.method, Some(EffectMethod::PairedOnLogs));
    assert_eq!((room.verdict, room.target), (Some(Verdict::NoDifferenceShown), Some(TargetAnswer::NotMet)));
    assert_eq!(room.worker_count, 0);
    assert!(!room.flags.contains(&"awaits_posterior".to_owned()));
    assert!(room.sentence.contains("showed no difference (95 % interval"), "{}", room.sentence);
}

#[test]
fn inlet_and_outlet_give_a_removal_efficiency_and_no_verdict() {
    let end = |number, position: &str, day: u32, value: f64, hour: &str| {
        let run = json!([{"start": format!("2026-03-{day:02}T{hour}:00:00Z"),
            "end": format!("2026-03-{day:02}T{hour}:50:00Z")}]);
        let fields = json!({"worker_id": null, "position": position, "location": "Filter 1", "runs": run});
        taken(number, 0, day, &arm(), value, &fields)
    };
    let samples = [
        end(101, "inlet", 2, 100.0, "15"),
        end(102, "outlet", 2, 2.0, "15"),
        end(103, "inlet", 3, 100.0, "15"),
        end(104, "outlet", 3, 0.5, "15"),
        end(105, "outlet", 4, 0.5, "15"),
        end(106, "inlet", 4, 100.0, "18"),
    ];
    // A door that was closed on another day has no part in it.
    let mut with_door = samples.to_vec();
    with_door.push(plain(300, 1, 9, &json!([id(DOOR)]), 1.0));
    let found = verdicts(&with_door, &[], Asked::default());
    let positions: Vec<_> = found.iter().map(|one| (one.control_id.0.as_u128(), one.position)).collect();
    assert_eq!(
        positions,
        [(ARM, Position::BreathingZone), (ARM, Position::Outlet), (DOOR, Position::BreathingZone)]
    );
    let filter = &found[1];
    // Penetration: the root of 0.02 x 0.005 is 0.01.
    let removal = filter.removal_efficiency.as_ref().unwrap();
    assert_eq!(removal.pairs, 2);
    assert!(near(removal.efficiency_percent.as_ref().unwrap().estimate, 99.0));
    assert_eq!((filter.verdict, filter.n_with, filter.position), (None, None, Position::Outlet));
    let partnerless: Vec<_> = filter.excluded.iter().map(|one| one.reason).collect();
    assert_eq!(partnerless, [ExclusionReason::NoSimultaneousPartner; 2]);
    assert!(filter.sentence.contains("the control “arm” holds back 99 %"), "{}", filter.sentence);
    assert!(filter.sentence.contains("of what enters the filter"), "{}", filter.sentence);
}

#[test]
fn what_several_controls_hold_back_together_is_credited_to_none_of_them() {
    let end = |number, position: &str, day: u32, value: f64| {
        let run = json!([{"start": format!("2026-03-{day:02}T15:00:00Z"),
            "end": format!("2026-03-{day:02}T15:50:00Z")}]);
        let fields = json!({"worker_id": null, "position": position, "location": "Filter 1", "runs": run});
        taken(number, 0, day, &json!([id(ARM), id(DOOR)]), value, &fields)
    };
    let outlets = [2.0, 1.0, 0.5];
    let samples: Vec<SampleEvidence> = (2..)
        .zip(outlets)
        .flat_map(|(day, outlet)| {
            let number = u128::from(100 + 2 * day);
            [end(number, "inlet", day, 100.0), end(number + 1, "outlet", day, outlet)]
        })
        .collect();
    let found = verdicts(&samples, &[], Asked::default());
    let removals: Vec<_> = found.iter().filter(|one| one.removal_efficiency.is_some()).collect();
    assert_eq!(removals.len(), 2);
    for removal in removals {
        let sentence = &removal.sentence;
        // Penetration: the cube root of 0.02 x 0.01 x 0.005 is 0.01.
        assert!(sentence.starts_with("What ran there together holds back 99 %"), "{sentence}");
        assert!(sentence.contains("of what enters the filter"), "{sentence}");
        assert!(!sentence.contains("arm") && !sentence.contains("door"), "{sentence}");
        assert!(removal.flags.contains(&"several_controls_ran".to_owned()));
    }
}

#[test]
fn a_background_of_the_same_shift_is_taken_off_and_its_move_confounds() {
    let mut samples = three_pairs(&json!({}));
    let background = |number, day, running: &Value, value| {
        let fields = json!({"worker_id": null, "task_id": null, "position": "background"});
        taken(number, 0, day, running, value, &fields)
    };
    samples.extend((2..=4).map(|day| background(300 + u128::from(day), day, &Value::Null, 1.0)));
    let verdict = judge(&samples);
    assert!(verdict.flags.contains(&"background_subtracted".to_owned()));
    // 1/7, 1/3, 3/15: the cube root of 1/105.
    assert!(near(verdict.ratio_of_geometric_means.unwrap().estimate, (1.0_f64 / 105.0).cbrt()));
    assert!(verdict.confounders.is_empty());
    // A background of 1 with and 8 without moved by 7, the values by 9.3333 - 2.6667 = 6.6667.
    samples.truncate(6);
    samples.extend((2..=4).map(|day| background(300 + u128::from(day), day, &json!([]), 8.0)));
    samples.extend((2..=4).map(|day| background(400 + u128::from(day), day, &arm(), 1.0)));
    assert_eq!(judge(&samples).confounders, [Confounder::Background]);
}

#[test]
fn short_term_samples_stand_apart_and_count_for_no_shift() {
    let mut samples = three_pairs(&json!({}));
    samples.push(taken(301, 1, 9, &arm(), 8.0, &json!({"covers": "short_term", "minutes_run": 15})));
    let found = verdicts(&samples, &[], Asked::default());
    assert_eq!(found.iter().map(|one| one.short_term).collect::<Vec<_>>(), [false, true]);
    assert_eq!((found[0].n_with, found[1].n_with), (Some(3), Some(1)));
    assert!(found[1].flags.contains(&"one_state_only".to_owned()));
}

#[test]
fn what_remains_is_projected_unless_a_whole_shift_with_the_control_was_measured() {
    let samples = three_pairs(&json!({}));
    let mut shop = shop();
    shop.tasks[0].fact.usual_minutes_per_shift = Some(240.0);
    let task: Version<_> = shop.tasks[0].clone();
    let agent = agent("chromium_vi");
    let flags = |whole_shifts: &[WholeShift]| {
        let evidence =
            TaskEvidence { task: &task, group: &shop, agent: &agent, samples: &samples, whole_shifts };
        let verdict = control_verdicts(&evidence, Asked::default()).remove(0);
        (verdict.flags, verdict.sufficiency)
    };
    // Chromium(VI): 2.0, 2.0 and 4.0 ug/m3 over half a shift are 1.0, 1.0 and 2.0 against 2.5 and 5 (29 CFR 1910.1026).
    assert_eq!(flags(&[]), (vec!["projected".to_owned()], Some(Sufficiency::Unsettled)));
    let whole = |ran: BTreeSet<_>| WholeShift {
        worker_id: id(WORKER).into(),
        shift_date: date("2026-03-02"),
        ran,
        twa: Measured::Value(1.0),
    };
    assert_eq!(flags(&[whole(BTreeSet::new())]).0, ["projected"]);
    let low = WholeShift { twa: Measured::Value(0.02), ..whole(BTreeSet::from([id(ARM).into()])) };
    let many: Vec<WholeShift> = (0..9)
        .map(|k| WholeShift { twa: low.twa.scaled(if k % 2 == 0 { 1.0 } else { 1.3 }), ..low.clone() })
        .collect();
    assert_eq!(flags(&many), (Vec::new(), Some(Sufficiency::BelowActionLevel)));
}

#[test]
fn results_not_yet_accepted_are_counted_and_left_out_when_asked() {
    let mut samples = three_pairs(&json!({}));
    samples[1].results[0].fact.status = crate::model::facts::laboratory::ResultStatus::Submitted;
    samples[3].results[0].fact.status = crate::model::facts::laboratory::ResultStatus::Voided;
    let verdict = judge(&samples);
    assert_eq!((verdict.not_accepted, verdict.n_with), (1, Some(2)));
    assert_eq!(verdict.excluded[0].reason, ExclusionReason::ChangedAfterResult);
    let asked = Asked { accepted_only: true, ..Asked::default() };
    let verdict = verdicts(&samples, &[], asked).remove(0);
    assert_eq!((verdict.not_accepted, verdict.n_with, verdict.excluded.len()), (0, Some(1), 1));
}

#[test]
fn what_is_voided_after_its_result_is_known_is_excluded_and_the_verdict_says_so() {
    let mut samples = three_pairs(&json!({}));
    assert!(!judge(&samples).flags.contains(&"changed_after_result".to_owned()));
    samples[0].sample.voided = Some("Wrong worker".into());
    samples[1].results[0].fact.status = crate::model::facts::laboratory::ResultStatus::Voided;
    samples[2].sample.voided = Some("Wrong worker".into());
    samples[2].results.clear();
    samples[2].sample.fact.agent_codes = Some(vec![crate::model::text::Code::new("chromium_vi").unwrap()]);
    let verdict = judge(&samples);
    let reason = |sample: &SampleEvidence| {
        let found = verdict.excluded.iter().find(|one| one.sample_id.0 == sample.sample.id);
        found.map(|one| one.reason)
    };
    assert_eq!(reason(&samples[0]), Some(ExclusionReason::ChangedAfterResult));
    assert_eq!(reason(&samples[1]), Some(ExclusionReason::ChangedAfterResult));
    assert_eq!(reason(&samples[2]), Some(ExclusionReason::Voided));
    assert!(verdict.flags.contains(&"changed_after_result".to_owned()));
}

#[test]
fn the_order_of_the_samples_changes_nothing() {
    let mut samples = three_pairs(&json!({}));
    let asked = Asked { working: true, ..Asked::default() };
    let one = verdicts(&samples, &[], asked);
    samples.reverse();
    assert_eq!(one, verdicts(&samples, &[], asked));
}
