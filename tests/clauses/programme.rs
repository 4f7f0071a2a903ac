//! What is owed next, and when: credit, intervals, grounds, releases, leaving; calendar edges.
//!
//! The particulars come from the rows of `surveillance_triggers.csv`; sub-paragraphs finer than those the rows cite are
//! given from memory.

use crate::case::{Known, date, run};
use crate::known::{OPEN, at, done, ground, of, pairs};
use chrono::NaiveDate;
use doseward::model::facts::group::ConditionKind::{RegulatedArea, RespiratorRequired};
use doseward::model::facts::rule_set::RuleSet::{UsConstruction, UsGeneralIndustry};
use doseward::model::facts::worker::MedicalGroundKind;
use doseward::model::measured::Measured;
use doseward::surveillance::case::{Act, Behind, Earlier, Employed, Presence};
use doseward::surveillance::day_count::Day;
use doseward::surveillance::duties::DutyKind;

#[test]
fn the_next_is_counted_from_the_last_that_was_offered_and_numbered_by_those_that_ended() {
    // 29 CFR 1910.1026(k)(2)(i), (ii): within 30 days of assignment, then annually.
    let mut known = at("chromium_vi", 2.5, "2026-01-18", OPEN);
    assert_eq!(of(&known, "ST001"), pairs(&[("first", "2026-02-17")]));
    done(&mut known, "ST001", "first", Act::Offered, "2026-02-10");
    let next = ("examination-1", "2027-02-10");
    assert_eq!(of(&known, "ST001"), pairs(&[next, ("first", "2026-02-17")]));
    // Declining ends the occasion, not the programme.
    known.examinations[0].act = Act::Declined;
    assert_eq!(of(&known, "ST001")[0], pairs(&[next])[0]);
    known.today = date("2027-03-01");
    known.days = at("chromium_vi", 2.5, "2026-01-18", 1000).days;
    done(&mut known, "ST001", "examination-1", Act::Completed, "2027-02-20");
    assert_eq!(of(&known, "ST001")[0], pairs(&[("examination-2", "2028-02-20")])[0]);
    let owed = known.owed();
    let periodic = owed.iter().find(|one| one.duty.key.occasion == "examination-2").unwrap();
    assert_eq!(periodic.duty.key.kind, DutyKind::PeriodicExamination);
    assert!(periodic.duty.grounds.basis.contains(&90));
}

#[test]
fn nobody_is_owed_the_next_who_is_no_longer_covered_when_it_falls_due_or_has_left() {
    let mut known = at("chromium_vi", 2.5, "2026-01-18", 60);
    done(&mut known, "ST001", "first", Act::Completed, "2026-02-10");
    // 18 January and 59 days are 18 March: the last window with thirty days begins on 17 February 2026.
    assert_eq!(of(&known, "ST001").len(), 2);
    known.examinations[0].on = date("2026-02-16");
    assert_eq!(of(&known, "ST001").len(), 2);
    known.examinations[0].on = date("2026-02-17");
    assert_eq!(of(&known, "ST001"), pairs(&[("first", "2026-02-17")]));
    known.examinations[0].on = date("2026-02-10");
    let behind = Behind::default();
    let employed = |to: &str| vec![Employed { from: date("2026-01-01"), to: Some(date(to)), behind }];
    known.employments = employed("2027-02-10");
    assert!(!of(&known, "ST001").iter().any(|(occasion, _)| occasion == "examination-1"));
    known.employments = employed("2027-02-11");
    assert!(of(&known, "ST001").iter().any(|(occasion, _)| occasion == "examination-1"));
}

#[test]
fn whoever_comes_back_after_a_gap_or_is_hired_again_is_owed_the_next_on_his_return() {
    // 29 CFR 1910.1026(k)(2)(ii): annually, as long as the worker is covered; the day of return is this registry's rule.
    let mut known = at("chromium_vi", 2.5, "2024-01-08", 40);
    known.days.extend(at("chromium_vi", 2.5, "2026-04-06", OPEN).days);
    done(&mut known, "ST001", "first", Act::Completed, "2024-02-05");
    assert_eq!(of(&known, "ST001")[0], pairs(&[("examination-1", "2026-04-06")])[0]);
    // Away for good: nothing.
    let mut away = known.clone();
    away.days.truncate(40);
    assert!(!of(&away, "ST001").iter().any(|(occasion, _)| occasion == "examination-1"));
    // Hired again on 4 May: from then on, though the days began earlier.
    let behind = Behind::default();
    known.employments = [("2023-01-02", Some("2024-12-31")), ("2026-05-04", None)]
        .map(|(from, to)| Employed { from: date(from), to: to.map(date), behind })
        .to_vec();
    assert_eq!(of(&known, "ST001")[0], pairs(&[("examination-1", "2026-05-04")])[0]);
}

#[test]
fn a_recent_examination_serves_as_the_first_for_as_long_as_the_row_says() {
    // 29 CFR 1910.1026(k)(2)(i): none where one was done within the last twelve months. Here after an emergency.
    let first = |on: &str, act| {
        let mut known = at("chromium_vi", 2.5, "2026-01-18", OPEN);
        done(&mut known, "ST003", "release-a", act, on);
        of(&known, "ST001").iter().any(|(occasion, _)| occasion == "first")
    };
    assert!(first("2025-01-18", Act::Completed), "twelve months before is no longer within twelve months");
    assert!(!first("2025-01-19", Act::Completed));
    assert!(first("2025-01-19", Act::Offered), "an offer is no examination");
    assert!(!first("2026-02-17", Act::Completed), "on the day it was due");
    assert!(first("2026-02-18", Act::Completed), "too late to stand for one that was due before");
}

#[test]
fn cadmium_has_one_interval_after_the_first_and_another_later_and_yearly_tests() {
    // 29 CFR 1910.1027(l)(4)(i), (ii): within one year of the first, then every two years; tests every year.
    let mut known = at("cadmium", 2.5, "2026-01-05", OPEN);
    done(&mut known, "ST021", "first", Act::Completed, "2026-02-01");
    let next = |known: &Known| {
        let mut found = of(known, "ST021");
        found.retain(|(occasion, _)| occasion != "first");
        found
    };
    assert_eq!(next(&known), pairs(&[("biological_tests-1", "2027-02-01"), ("examination-1", "2027-02-01")]));
    known.days = at("cadmium", 2.5, "2026-01-05", 1400).days;
    known.today = date("2027-06-01");
    done(&mut known, "ST021", "examination-1", Act::Completed, "2027-02-01");
    done(&mut known, "ST021", "biological_tests-1", Act::Completed, "2027-01-20");
    assert_eq!(next(&known), pairs(&[("biological_tests-2", "2028-01-20"), ("examination-2", "2029-02-01")]));
}

#[test]
fn lead_in_construction_is_tested_every_two_months_for_six_months() {
    // 29 CFR 1926.62(j)(2)(i)(A): every two months for the first six months, then every six months.
    let mut known = at("lead", 30.0, "2026-01-05", OPEN);
    known.rule_set = UsConstruction;
    let next = |known: &Known| {
        let found = of(known, "ST015");
        found.into_iter().find(|(occasion, _)| occasion.starts_with("biological")).unwrap()
    };
    done(&mut known, "ST015", "first", Act::Completed, "2026-01-10");
    assert_eq!(next(&known), pairs(&[("biological_tests-1", "2026-03-10")])[0]);
    done(&mut known, "ST015", "biological_tests-1", Act::Completed, "2026-05-10");
    assert_eq!(next(&known), pairs(&[("biological_tests-2", "2026-07-10")])[0]);
    // Beyond 10 July 2026 six months hold.
    known.examinations[1].on = date("2026-05-11");
    assert_eq!(next(&known), pairs(&[("biological_tests-2", "2026-11-11")])[0]);
    // 29 CFR 1926.62(j)(2)(i)(B): two months while the blood lead is 40 or more. It stands beside the other, which shows
    // nothing of it.
    let before = of(&known, "ST015");
    ground(&mut known, MedicalGroundKind::BloodLead, "2026-05-11", None);
    done(&mut known, "ST016", "biological_tests-1", Act::Completed, "2026-05-30");
    assert_eq!(of(&known, "ST015"), before);
    assert_eq!(of(&known, "ST016"), pairs(&[("biological_tests-2", "2026-07-30")]));
    ground(&mut known, MedicalGroundKind::Ended, "2026-05-31", None);
    assert_eq!((of(&known, "ST015"), of(&known, "ST016")), (before, Vec::new()));
}

#[test]
fn an_x_ray_interval_that_hangs_on_age_is_a_note_and_no_guess() {
    // 29 CFR 1910.1001(l)(3)(ii) Table 1: every five years in the first ten years at any age, by age after that.
    let mut known = at("asbestos", 0.1, "2026-01-05", OPEN);
    done(&mut known, "ST035", "first", Act::Completed, "2026-01-04");
    let x_ray = |known: &Known| {
        of(known, "ST035")
            .into_iter()
            .find(|(occasion, _)| occasion.starts_with("chest"))
            .map(|(_, due_on)| due_on)
    };
    assert_eq!(x_ray(&known).as_deref(), Some("2031-01-04"));
    let since = |from: &str| Earlier {
        from: date(from),
        to: date("2024-01-01"),
        days_per_year: None,
        mean: None,
        behind: Behind::default(),
    };
    known.earlier = vec![since("2021-01-04")];
    assert_eq!(x_ray(&known).as_deref(), Some("2031-01-04"), "the tenth year ends on that day");
    known.earlier = vec![since("2021-01-03")];
    assert_eq!(x_ray(&known), None);
    assert!(known.finding("ST035").note.iter().any(|note| note.contains("by age, which is not kept here")));
}

#[test]
fn hearing_is_tested_every_year() {
    // 29 CFR 1910.95(g)(5)(i): within six months; (g)(6): at least annually after that.
    let mut known = at("noise", 85.0, "2025-08-31", OPEN);
    // Six months after 31 August are the last day of February.
    assert_eq!(of(&known, "ST075"), pairs(&[("first", "2026-02-28")]));
    done(&mut known, "ST075", "first", Act::Completed, "2026-02-20");
    let owed = known.owed();
    let next = owed.iter().find(|one| one.duty.key.occasion == "audiogram-1").unwrap();
    assert_eq!((next.duty.key.kind, next.duty.grounds.due_on), (DutyKind::Audiogram, date("2027-02-20")));
    assert_eq!(owed[0].duty.key.kind, DutyKind::Audiogram);
}

#[test]
fn ethylene_oxide_looks_back_at_the_past_year() {
    // 29 CFR 1910.1047(i)(2)(i)(B): exposed on at least 30 days in the past year.
    let next = |from: &str, count| {
        let mut known = at("ethylene_oxide", 0.5, from, count);
        done(&mut known, "ST059", "first", Act::Completed, "2026-02-01");
        of(&known, "ST059").iter().any(|(occasion, _)| occasion == "examination-1")
    };
    // From 1 February 2026 on thirty of them lie within the year before 1 February 2027, from the day before 29.
    assert!(next("2026-01-05", 27 + 30));
    assert!(!next("2026-01-05", 27 + 29));
}

#[test]
fn a_shorter_interval_of_another_clause_of_the_section_comes_first() {
    // 29 CFR 1910.1043(h)(3)(i): every year above the action level, every two years at or below it.
    let next = |value| {
        let mut known = at("cotton_yarn", value, "2026-01-05", OPEN);
        done(&mut known, "ST072", "first", Act::Completed, "2026-02-01");
        let told = known.told().into_iter().filter(|(_, occasion, _)| occasion == "examination-1");
        told.map(|(row, _, due_on)| (row, due_on)).collect::<Vec<_>>()
    };
    assert_eq!(next(100.1), [("ST073".to_owned(), "2027-02-01".to_owned())]);
    assert_eq!(next(100.0), [("ST072".to_owned(), "2028-02-01".to_owned())]);
}

#[test]
fn leaving_asks_for_a_last_one_unless_there_was_one_lately() {
    // 29 CFR 1910.1026(k)(2)(vi): at the end of employment, unless the last was less than six months before.
    let leaving = |examined: Option<&str>, to: &str| {
        let mut known = at("chromium_vi", 2.5, "2025-09-01", 300);
        let behind = Behind { position: 5, site: None };
        known.employments = vec![Employed { from: date("2020-01-06"), to: Some(date(to)), behind }];
        if let Some(on) = examined {
            done(&mut known, "ST001", "first", Act::Completed, on);
        }
        let found = of(&known, "ST001").into_iter().find(|(occasion, _)| occasion.starts_with("leaving"));
        found.map(|(occasion, due_on)| format!("{occasion} {due_on}"))
    };
    let owed = Some("leaving-2020-01-06 2026-05-31".to_owned());
    // `to` is the first day no longer employed; the last day was 31 May.
    assert_eq!(leaving(None, "2026-06-01"), owed);
    // Six months after 30 November 2025 are 30 May 2026, after 1 December 1 June.
    assert_eq!(leaving(Some("2025-11-30"), "2026-06-01"), owed);
    assert_eq!(leaving(Some("2025-12-01"), "2026-06-01"), None);
    // Six months to the day are not less than six months.
    assert_eq!(leaving(Some("2025-11-30"), "2026-05-31"), Some("leaving-2020-01-06 2026-05-30".to_owned()));
    assert_eq!(leaving(Some("2025-11-30"), "2026-05-30"), None);
    // Whoever left long after the last exposure is no longer covered.
    assert_eq!(leaving(None, "2029-06-01"), None);
    // 29 CFR 1910.1027(l)(8)(i): of cadmium whoever was covered at any prior time of the employment, and nobody else.
    let cadmium = |days, hired: &str| {
        let mut known = at("cadmium", 2.5, "2025-01-06", days);
        let behind = Behind { position: 5, site: None };
        known.employments = vec![Employed { from: date(hired), to: Some(date("2029-06-01")), behind }];
        of(&known, "ST021").into_iter().any(|(occasion, _)| occasion.starts_with("leaving"))
    };
    assert!(cadmium(300, "2020-01-06"));
    assert!(!cadmium(300, "2027-01-04"));
    // 29 CFR 1910.1001(l)(4)(ii): within 30 calendar days before or after.
    let mut asbestos = at("asbestos", 0.1, "2026-01-05", 100);
    asbestos.employments =
        vec![Employed { from: date("2020-01-06"), to: Some(date("2026-06-01")), behind: Behind::default() }];
    assert!(of(&asbestos, "ST035").contains(&("leaving-2020-01-06".into(), "2026-06-30".into())));
}

#[test]
fn every_release_is_an_occasion_of_its_own_with_what_follows_it() {
    let release = |key: &str, on: &str| Presence { key: key.into(), on: date(on), behind: Behind::default() };
    // 29 CFR 1910.1051(k)(3)(ii), (k)(4)(ii): within 48 hours, then blood counts monthly for three months.
    let mut known = Known::new("butadiene_1_3", UsGeneralIndustry);
    known.releases = vec![release("a", "2025-11-30"), release("b", "2026-01-31")];
    assert_eq!(
        of(&known, "ST058"),
        pairs(&[
            ("follow-up-release-a-1", "2025-12-30"),
            ("follow-up-release-a-2", "2026-01-30"),
            ("follow-up-release-a-3", "2026-02-28"),
            ("follow-up-release-b-1", "2026-02-28"),
            ("follow-up-release-b-2", "2026-03-31"),
            ("follow-up-release-b-3", "2026-04-30"),
            ("release-a", "2025-12-02"),
            ("release-b", "2026-02-02"),
        ])
    );
    // The tests after a release are no examination from which the next is counted.
    known.days = at("butadiene_1_3", 0.5, "2026-01-05", OPEN).days;
    done(&mut known, "ST053", "first", Act::Completed, "2026-01-10");
    done(&mut known, "ST058", "release-b", Act::Completed, "2026-02-01");
    done(&mut known, "ST058", "follow-up-release-b-1", Act::Completed, "2026-02-28");
    assert!(of(&known, "ST053").contains(&("examination-1".into(), "2027-01-10".into())));
    // 29 CFR 1910.1027(l)(7)(i), 1926.1127(l)(7)(i): whoever may have been exposed, covered or not, as soon as possible.
    for (rule_set, row, covering) in
        [(UsGeneralIndustry, "ST082", "ST021"), (UsConstruction, "ST083", "ST025")]
    {
        let mut cadmium = Known { rule_set, ..at("cadmium", 2.5, "2026-01-05", OPEN) };
        cadmium.releases = vec![release("a", "2026-03-03")];
        assert_eq!(of(&cadmium, row), pairs(&[("release-a", "2026-03-03")]));
        assert_eq!(of(&cadmium, covering), pairs(&[("first", "2026-02-04")]));
        cadmium.days.clear();
        assert_eq!(of(&cadmium, row), pairs(&[("release-a", "2026-03-03")]));
        assert_eq!(of(&cadmium, covering), []);
    }
}

#[test]
fn a_recommendation_is_followed_within_thirty_days_while_it_stands() {
    // 29 CFR 1910.1026(k)(2)(iii): within 30 days of a written recommendation.
    let mut known = at("chromium_vi", 2.5, "2026-01-18", OPEN);
    ground(&mut known, MedicalGroundKind::Recommendation, "2026-01-30", None);
    let owed = known.owed();
    let on_ground = owed.iter().find(|one| one.duty.key.occasion == "recommendation-2026-01-30").unwrap();
    assert_eq!(on_ground.duty.grounds.due_on, date("2026-03-01"));
    assert_eq!(on_ground.duty.grounds.flags, ["medical_ground"]);
    ground(&mut known, MedicalGroundKind::Ended, "2026-02-20", None);
    assert!(!known.told().iter().any(|(_, occasion, _)| occasion.starts_with("recommendation")));
}

#[test]
fn a_history_goes_on_without_exposure_and_begins_when_it_is_learned() {
    // 29 CFR 1910.1018(n)(1)(i)(B), (n)(3): ten years, then annually.
    let mut known = Known::new("arsenic_inorganic", UsGeneralIndustry);
    known.earlier = vec![Earlier {
        from: date("1990-01-01"),
        to: date("2000-01-01"),
        days_per_year: Some(200.0),
        mean: Some(Measured::Value(9.0)),
        behind: Behind { position: 4, site: None },
    }];
    let owed = known.owed();
    assert_eq!(owed.len(), 1);
    let grounds = &owed[0].duty.grounds;
    assert_eq!(owed[0].duty.key.occasion, "examination-1");
    assert_eq!((grounds.due_on, grounds.due_from_learning), (known.today, true));
    assert_eq!(
        (&grounds.basis, &grounds.flags[..]),
        (&[4].into(), &["no_examination_on_record".to_owned()][..])
    );
    done(&mut known, "ST020", "examination-1", Act::Completed, "2024-02-29");
    // A year after the leap day.
    assert_eq!(of(&known, "ST020"), pairs(&[("examination-2", "2025-02-28")]));
}

#[test]
fn coke_oven_work_of_five_years_outlives_the_area() {
    // 29 CFR 1910.1029(j)(3)(iii): after five years in the area it continues after a transfer.
    let next = |years: i32| {
        let dates = (0..years).flat_map(|year| {
            let from = NaiveDate::from_ymd_opt(2010 + year, 3, 1).unwrap();
            from.iter_days().take(40)
        });
        let mut known = Known::new("coke_oven_emissions", UsGeneralIndustry).with_condition(
            RegulatedArea,
            None,
            dates.collect(),
        );
        done(&mut known, "ST074", "first", Act::Completed, "2025-07-01");
        of(&known, "ST074").iter().any(|(occasion, _)| occasion == "examination-1")
    };
    assert!(next(5) && !next(4));
}

#[test]
fn what_covers_unless_shown_otherwise_raises_its_duty_and_says_so() {
    let mut known = at("cadmium", 2.5, "2026-01-05", 1);
    known.days.extend(
        run("2026-02-01", 29).iter().map(|on| Day { twa: Some(Measured::Below(9.0)), ..Day::new(on) }),
    );
    let owed = known.owed();
    let first = &owed[0].duty;
    // 29 CFR 1910.1027(l)(2)(i): within 30 days of assignment.
    assert_eq!((first.key.occasion.as_str(), first.grounds.due_on), ("first", date("2026-02-04")));
    assert_eq!(first.grounds.flags, ["covered_unless_shown_otherwise"]);
    known.days.truncate(29);
    assert_eq!(known.owed(), []);
}

#[test]
fn thirty_days_straddling_the_turn_of_a_year_and_a_leap_day_are_one_window() {
    let straddling = |second: &str, count| {
        let mut known = at("chromium_vi", 2.5, "2023-12-20", 12);
        known.days.extend(at("chromium_vi", 2.5, second, count).days);
        known.finding("ST001")
    };
    let found = straddling("2024-02-20", 18);
    assert!(found.met, "12 in December, 18 with 29 February");
    assert_eq!(found.first.as_ref().unwrap().first_met_on, date("2024-03-08"));
    assert_eq!(found.counted.calendar_years().into_iter().collect::<Vec<_>>(), [(2023, 12), (2024, 18)]);
    assert!(!straddling("2024-02-20", 17).met);
    // From 29 February 2024 twelve months end with 27 February 2025.
    let from_leap_day = |last: &str| {
        let mut known = at("chromium_vi", 2.5, "2024-02-29", 29);
        known.days.extend(at("chromium_vi", 2.5, last, 1).days);
        known.met("ST001")
    };
    assert!(from_leap_day("2025-02-27") && !from_leap_day("2025-02-28"));
}

#[test]
fn respirator_days_ask_for_lung_function_every_three_years() {
    // 29 CFR 1910.1028(i)(3)(iii): every three years where a respirator is required on 30 days a year.
    let mut known = Known::new("benzene", UsGeneralIndustry).with_condition(
        RespiratorRequired,
        Some("ST042"),
        run("2026-01-05", OPEN),
    );
    assert_eq!(of(&known, "ST042").len(), 1);
    done(&mut known, "ST042", "first", Act::Completed, "2026-02-01");
    assert!(of(&known, "ST042").contains(&("lung_function-1".into(), "2029-02-01".into())));
    let owed = known.owed();
    let next = owed.iter().find(|one| one.duty.key.occasion == "lung_function-1").unwrap();
    assert_eq!(next.duty.grounds.flags, ["lung_function"]);
}
