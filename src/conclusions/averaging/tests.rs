use super::*;
use crate::conclusions::invented::{
    ARM, EVENT, GROUP, TASK, WORKER, agent, event, group, id, result, sample, shift,
};
use crate::conclusions::invented::{date, evidence, with};
use crate::conclusions::shift_average::whole_day;
use crate::conclusions::shift_average_view::shift_average_view;
use crate::conclusions::use_of_result::{ProfileUse, StandingUse};
use crate::model::shape::Shape;
use serde_json::{Value, json};

fn averages(samples: &[SampleEvidence]) -> Vec<ShiftTwa> {
    shift_averages(samples, &agent("chromium_vi"), &[&group(None)], Asked::default())
}

fn value(value: f64) -> Value {
    json!({"value": value})
}

fn answers(shift: &ShiftTwa) -> Vec<(&'static str, &'static str)> {
    shift.comparisons.iter().map(|one| (one.kind.as_str(), one.answer.as_str())).collect()
}

// All rules here are this registry's; chromium(VI): 5 and 2.5 ug/m3 (29 CFR 1910.1026(b), (c)); numbers invented.
#[test]
fn two_filters_of_a_shift_are_weighted_by_their_minutes_over_480() {
    // (4.0 x 240 + 1.0 x 240) / 480 = 2.5.
    let event = event(EVENT, &json!({}));
    let half = json!({"minutes_run": 240});
    let found = averages(&[shift(50, &event, &half, &value(4.0)), shift(51, &event, &half, &value(1.0))]);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].twa, Some(Measured::Value(2.5)));
    assert_eq!(answers(&found[0]), [("twa", "below"), ("action_level", "at_or_above")]);
    let view = shift_average_view(&found[0], Asked { working: true, ..Asked::default() }).to_json();
    assert_eq!(view["eight_hour_twa"], json!({"value": 2.5, "unit": "ug/m3"}));
    assert_eq!(view["comparisons"][0]["authority"], json!("OSHA"));
    assert_eq!(view["working"][0]["inputs"]["segments"][1]["minutes"], json!(240.0));
    assert_eq!(view.get("peaks"), None);
}

#[test]
fn less_than_three_quarters_sampled_is_a_range_unless_the_rest_is_stated() {
    // 240 of 480 minutes at 4: from 4 x 240 / 480 = 2 to 4.
    let part = json!({"minutes_run": 240});
    let silent = event(EVENT, &json!({}));
    let found = &averages(&[shift(50, &silent, &part, &value(4.0))])[0];
    assert_eq!(found.twa, Some(Measured::Between { lower: 2.0, upper: 4.0 }));
    assert!(found.part_sampled && found.flags.contains(&Flag::ShiftPartlySampled));
    assert_eq!(answers(found), [("twa", "below"), ("action_level", "cannot_tell")]);
    assert!(!found.flags.contains(&Flag::ReportingLimitTooHigh));
    assert_eq!((found.uses.profile, found.uses.own_record), (ProfileUse::Never, true));
    let stated = event(
        EVENT,
        &json!({"shifts": [{"worker_id": id(WORKER), "shift_date": "2026-03-02", "shift_minutes": 480,
            "unsampled": {"as": "zero", "reason": "In the office"}}]}),
    );
    let found = &averages(&[shift(50, &stated, &part, &value(4.0))])[0];
    assert_eq!((found.twa, found.part_sampled), (Some(Measured::Value(2.0)), false));
    // 360 of 480 minutes are enough: the rest counts as sampled.
    let found = &averages(&[shift(50, &silent, &json!({"minutes_run": 360}), &value(4.0))])[0];
    assert_eq!((found.twa, found.part_sampled), (Some(Measured::Value(4.0)), false));
}

#[test]
fn a_night_shift_is_the_date_it_starts_on() {
    let night = json!({"minutes_run": null, "runs": [
        {"start": "2026-03-02T22:00:00-07:00", "end": "2026-03-03T02:00:00-07:00"},
        {"start": "2026-03-03T02:00:00-07:00", "end": "2026-03-03T06:00:00-07:00"}]});
    let found = averages(&[shift(50, &event(EVENT, &json!({})), &night, &value(1.0))]);
    assert_eq!((found[0].shift_date, found[0].sampled_minutes), (date("2026-03-02"), 480.0));
}

#[test]
fn a_duplicate_is_averaged_with_its_original_and_adds_no_minutes() {
    let event = event(EVENT, &json!({}));
    // S49 comes first in order and ran shorter; the minutes are the original's.
    let duplicate = json!({"covers": "duplicate", "duplicate_of": "S50", "minutes_run": 400});
    let both = [shift(49, &event, &duplicate, &value(4.0)), shift(50, &event, &json!({}), &value(2.0))];
    let found = &averages(&both)[0];
    assert_eq!((found.twa, found.sampled_minutes), (Some(Measured::Value(3.0)), 480.0));
    // An original without a result leaves the duplicate to stand for it.
    assert_eq!(averages(&both[..1])[0].twa, Some(Measured::Value(4.0)));
}

#[test]
fn short_term_samples_never_enter_the_average() {
    let event = event(EVENT, &json!({}));
    let short = json!({"covers": "short_term", "minutes_run": 15});
    let samples = [shift(50, &event, &json!({}), &value(1.0)), shift(51, &event, &short, &value(90.0))];
    let found = &averages(&samples)[0];
    assert_eq!(found.twa, Some(Measured::Value(1.0)));
    assert_eq!(found.peaks[0].mean, Measured::Value(90.0));
    let alone = &averages(&samples[1..])[0];
    assert_eq!(alone.twa, None);
    assert!(alone.flags.contains(&Flag::NoEightHourAverage) && alone.comparisons.is_empty());
}

#[test]
fn a_short_term_limit_is_held_against_the_short_term_sample() {
    // Beryllium: 2.0 ug/m3 over 15 minutes, 0.2 over a shift, action level 0.1 (29 CFR 1910.1024(b), (c)).
    let event = event(EVENT, &json!({}));
    let beryllium = |number, change: &Value, found: f64| {
        let result_change = json!({"agent_code": "beryllium", "mass": null,
            "concentration": {"value": found, "unit": "ug/m3"}});
        evidence(&event, sample(number, change), vec![result(number + 500, number, &result_change)], vec![])
    };
    let short = json!({"covers": "short_term", "minutes_run": 15});
    let samples = [beryllium(50, &json!({}), 0.05), beryllium(51, &short, 2.0)];
    let found = &shift_averages(&samples, &agent("beryllium"), &[&group(None)], Asked::default())[0];
    assert_eq!(answers(found), [("twa", "below"), ("stel", "at_or_above"), ("action_level", "below")]);
    let whole = &shift_averages(&samples[..1], &agent("beryllium"), &[&group(None)], Asked::default())[0];
    assert_eq!(answers(whole)[1], ("stel", "cannot_tell"));
}

#[test]
fn an_agent_with_a_ceiling_only_is_compared_with_no_eight_hour_level() {
    // Manganese: C 5 mg/m3 (29 CFR 1910.1000 Table Z-1).
    let change = json!({"agent_code": "manganese", "mass": null,
        "concentration": {"value": 0.4, "unit": "mg/m3"}});
    let evidence =
        evidence(&event(EVENT, &json!({})), sample(50, &json!({})), vec![result(60, 50, &change)], vec![]);
    let found = &shift_averages(&[evidence], &agent("manganese"), &[&group(None)], Asked::default())[0];
    assert_eq!(answers(found), [("ceiling", "cannot_tell")]);
    assert_eq!(found.twa, Some(Measured::Value(0.4)));
}

#[test]
fn a_flow_that_changed_across_a_level_cannot_tell() {
    // 2.0 to 1.8 L/min: 2.4 ug in 912 L is 2.63, in 864 L 2.78; 2.25 ug: 2.467 and 2.604 lie around 2.5.
    let changed = json!({"flow_after": {"value": 1.8, "unit": "L/min"}});
    let with_mass = |mass: f64| {
        let result = result(60, 50, &json!({"mass": {"value": mass, "unit": "ug"}}));
        averages(&[evidence(&event(EVENT, &json!({})), sample(50, &changed), vec![result], vec![])]).remove(0)
    };
    assert_eq!(answers(&with_mass(2.4))[1], ("action_level", "at_or_above"));
    let across = with_mass(2.25);
    assert_eq!(answers(&across)[1], ("action_level", "cannot_tell"));
    assert!(across.flagged && !across.flags.contains(&Flag::ReportingLimitTooHigh));
}

#[test]
fn a_non_detect_too_coarse_raises_its_flag() {
    let coarse = json!({"comparator": "<", "value": 3.1});
    let found = &averages(&[shift(50, &event(EVENT, &json!({})), &json!({}), &coarse)])[0];
    assert_eq!(found.twa, Some(Measured::Below(3.1)));
    assert_eq!(answers(found), [("twa", "below"), ("action_level", "cannot_tell")]);
    assert!(found.flags.contains(&Flag::ReportingLimitTooHigh));
}

#[test]
fn a_shift_is_short_only_over_all_its_groups() {
    let other = 77;
    let entry = |group: u128, minutes: f64| {
        json!({"worker_id": id(WORKER), "shift_date": "2026-03-02", "group_id": id(group),
            "shift_minutes": minutes})
    };
    let half = json!({"minutes_run": 240});
    let split = event(EVENT, &json!({"shifts": [entry(GROUP, 240.0), entry(other, 240.0)]}));
    let found = &averages(&[shift(50, &split, &half, &value(4.0))])[0];
    // 4 x 240 / 480 = 2: the part of the shift in this group, wholly sampled.
    assert_eq!((found.twa, found.short_shift), (Some(Measured::Value(2.0)), false));
    let short = event(EVENT, &json!({"shifts": [entry(GROUP, 240.0)]}));
    let found = &averages(&[shift(50, &short, &half, &value(4.0))])[0];
    assert!(found.short_shift && !found.enters_profile());
    assert_eq!((found.uses.standing, found.uses.own_record), (StandingUse::OnlyUpward, true));
}

#[test]
fn a_day_is_the_sum_over_groups() {
    let event_of = |group: u128| {
        let entry = json!({"worker_id": id(WORKER), "shift_date": "2026-03-02", "group_id": id(group),
            "shift_minutes": 240});
        event(EVENT, &json!({"shifts": [entry]}))
    };
    let of = |number, group: u128, found: &Value| {
        shift(number, &event_of(group), &json!({"minutes_run": 240, "group_id": id(group)}), found)
    };
    let found = averages(&[of(50, GROUP, &value(4.0)), of(51, 77, &json!({"comparator": "<", "value": 1}))]);
    assert_eq!(found.len(), 2);
    assert!(found.iter().all(|part| !part.short_shift));
    assert!(found[1].flags.contains(&Flag::GroupUnknown));
    let parts: Vec<&ShiftTwa> = found.iter().collect();
    // 4 x 240/480 = 2, and from 0 to 0.5.
    let day = whole_day(&parts).unwrap().0;
    assert_eq!(day, Measured::Between { lower: 2.0, upper: 2.5 });
}

#[test]
fn an_average_takes_the_strictest_row_of_its_samples() {
    let event = event(EVENT, &json!({}));
    let half = json!({"minutes_run": 240});
    let odd = with(half.clone(), &json!({"representative": false}));
    let found = &averages(&[shift(50, &event, &half, &value(1.0)), shift(51, &event, &odd, &value(1.0))])[0];
    assert_eq!((found.uses.standing, found.uses.profile), (StandingUse::Beside, ProfileUse::Never));
}

#[test]
fn a_control_that_was_off_or_not_recorded_is_flagged() {
    let event = event(EVENT, &json!({}));
    let with_arm = group(Some("2026-01-01"));
    let flags = |running: &Value| {
        let sample = shift(50, &event, &json!({"control_ids_running": running}), &value(1.0));
        let found =
            shift_averages(&[sample], &agent("chromium_vi"), &[&with_arm], Asked::default()).remove(0);
        (found.flags, found.controls_as_in_era)
    };
    assert_eq!(flags(&json!([])), (vec![Flag::ControlOff], false));
    assert_eq!(flags(&json!([id(ARM)])), (vec![], true));
    assert_eq!(flags(&Value::Null), (vec![Flag::ControlStateNotRecorded], false));
    assert_eq!(id(TASK), with_arm.tasks[0].id);
}
