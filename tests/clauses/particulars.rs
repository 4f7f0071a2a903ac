//! Particulars that every limb of a section has, and not its first one only.

use crate::case::{Known, date, run};
use crate::known::{OPEN, at, done, ground, of, pairs};
use doseward::model::facts::group::ConditionKind::ListedTask;
use doseward::model::facts::rule_set::RuleSet::{UsConstruction, UsGeneralIndustry};
use doseward::model::facts::worker::MedicalGroundKind::{
    OtherBiological, Recommendation, Removal, SignsOrSymptoms,
};
use doseward::model::measured::Measured;
use doseward::surveillance::case::{Act, Behind, Earlier, Employed, Presence};
use doseward::surveillance::day_count::Day;

/// Days with an 8-hour average and a short-term one.
fn days(agent: &'static str, twa: f64, short: f64, count: usize) -> Known {
    let day = |on| Day {
        twa: Some(Measured::Value(twa)),
        short_term: Some(Measured::Value(short)),
        ..Day::new(on)
    };
    let days = run("2026-01-05", count).iter().map(day).collect();
    Known { days, ..Known::new(agent, UsGeneralIndustry) }
}

fn leaves(mut known: Known, to: &str) -> Known {
    let behind = Behind { position: 5, site: None };
    known.employments = vec![Employed { from: date("2020-01-06"), to: Some(date(to)), behind }];
    known
}

fn released(mut known: Known, on: &str) -> Known {
    known.releases = vec![Presence { key: "a".into(), on: date(on), behind: Behind::default() }];
    known
}

fn leaving(known: &Known, row: &str) -> Vec<String> {
    let all = of(known, row).into_iter();
    all.filter(|(occasion, _)| occasion.starts_with("leaving")).map(|(_, due_on)| due_on).collect()
}

#[test]
fn cadmium_in_construction_has_the_tests_of_general_industry_after_a_high_result() {
    let mut known = Known::new("cadmium", UsConstruction);
    ground(&mut known, OtherBiological, "2026-03-05", None);
    // 29 CFR 1926.1127(l)(3)(ii)(C): a full examination within 90 days, tests every six months, yearly examinations.
    assert_eq!(
        of(&known, "ST080"),
        pairs(&[
            ("biological_tests-1", "2026-09-05"),
            ("examination-1", "2027-03-05"),
            ("other-biological-2026-03-05", "2026-06-03"),
        ])
    );
    // (l)(3)(iv)(B), (C); (l)(11)(i)(D): every quarter, every six months.
    let mut removed = Known::new("cadmium", UsConstruction);
    ground(&mut removed, Removal, "2026-03-05", None);
    assert_eq!(
        of(&removed, "ST081"),
        pairs(&[("biological_tests-1", "2026-06-05"), ("examination-1", "2026-09-05")])
    );
    // 1910.1027(l)(3)(ii)(C): the ninety days stand there too.
    known.rule_set = UsGeneralIndustry;
    assert!(of(&known, "ST023").contains(&("other-biological-2026-03-05".into(), "2026-06-03".into())));
}

#[test]
fn cadmium_of_before_the_standard_is_tested_once_a_year_and_on_leaving() {
    // 29 CFR 1926.1127(l)(1)(i)(B): more than 12 months in the listed tasks, whatever the level; (l)(3)(i)(B).
    let history = |to: &str, mean| {
        let mut known = Known::new("cadmium", UsConstruction);
        let mean: Option<f64> = mean;
        known.earlier = vec![Earlier {
            from: date("1990-01-01"),
            to: date(to),
            days_per_year: None,
            mean: mean.map(Measured::Value),
            behind: Behind::default(),
        }];
        known
    };
    assert!(!history("1991-01-01", None).met("ST079"));
    for mean in [None, Some(0.1), Some(9.0)] {
        let known = history("1991-01-02", mean);
        assert_eq!(of(&known, "ST079"), pairs(&[("biological_tests-1", &known.today.to_string())]));
        // (l)(8)(i).
        assert_eq!(leaving(&leaves(known, "2026-06-01"), "ST079"), ["2026-05-31"]);
    }
}

#[test]
fn whoever_was_in_an_emergency_is_examined_on_leaving() {
    // 29 CFR 1910.1027(l)(8)(i), 1926.1127(l)(8)(i): to whom surveillance was owed under (l)(7).
    for (rule_set, row) in [(UsGeneralIndustry, "ST082"), (UsConstruction, "ST083")] {
        let known = leaves(released(Known::new("cadmium", rule_set), "2026-03-03"), "2026-06-01");
        assert_eq!(leaving(&known, row), ["2026-05-31"]);
        let before = leaves(released(Known::new("cadmium", rule_set), "2026-03-03"), "2026-03-03");
        assert_eq!(leaving(&before, row), [""; 0]);
    }
    // 1910.1047(i)(2)(i)(C), (E): whoever (i)(1)(i) covers, an emergency among it.
    let mut oxide =
        leaves(released(Known::new("ethylene_oxide", UsGeneralIndustry), "2026-03-03"), "2026-06-01");
    assert_eq!(leaving(&oxide, "ST060"), ["2026-05-31"]);
    ground(&mut oxide, SignsOrSymptoms, "2026-03-09", None);
    assert!(of(&oxide, "ST060").contains(&("signs-or-symptoms-2026-03-09".into(), "2026-03-09".into())));
}

#[test]
fn butadiene_by_short_term_days_or_history_has_the_whole_programme() {
    // 29 CFR 1910.1051(k)(1)(i): at or above 5 ppm over 15 minutes on ten days; (k)(3)(i): every year, every three years.
    let mut known = days("butadiene_1_3", 0.1, 5.0, OPEN);
    done(&mut known, "ST054", "first", Act::Completed, "2026-01-10");
    ground(&mut known, Recommendation, "2026-03-05", None);
    let owed = of(&known, "ST054");
    for expected in [
        ("examination-1", "2027-01-10"),
        ("physical_examination-1", "2029-01-10"),
        ("recommendation-2026-03-05", "2026-03-05"),
    ] {
        assert!(owed.contains(&pairs(&[expected])[0]), "{expected:?}: {owed:?}");
    }
    // (k)(3)(i)(F): none within twelve months.
    assert_eq!(leaving(&leaves(known.clone(), "2026-06-01"), "ST054"), [""; 0]);
    assert_eq!(leaving(&leaves(days("butadiene_1_3", 0.1, 5.0, 100), "2026-06-01"), "ST054"), ["2026-05-31"]);
    // (k)(1)(ii)(C): above 10 ppm on 30 days in any past year.
    let mut history = Known::new("butadiene_1_3", UsGeneralIndustry);
    history.earlier = vec![Earlier {
        from: date("1990-01-01"),
        to: date("1991-01-01"),
        days_per_year: Some(30.0),
        mean: Some(Measured::Value(10.1)),
        behind: Behind::default(),
    }];
    let parts: Vec<_> = of(&history, "ST057").into_iter().map(|(occasion, _)| occasion).collect();
    assert_eq!(parts, ["examination-1", "physical_examination-1"]);
}

#[test]
fn methylene_chloride_above_a_limit_is_examined_on_leaving_and_when_it_is_recommended() {
    // 29 CFR 1910.1052(j)(1)(i): above 25 ppm, or 125 ppm over 15 minutes, on ten days; (j)(4)(iii), (iv).
    for (known, row) in [
        (days("methylene_chloride", 25.1, 1.0, 20), "ST049"),
        (days("methylene_chloride", 1.0, 125.1, 20), "ST050"),
    ] {
        let mut known = leaves(known, "2026-06-01");
        assert_eq!(leaving(&known, row), ["2026-05-31"]);
        ground(&mut known, Recommendation, "2026-03-05", None);
        assert!(of(&known, row).contains(&("recommendation-2026-03-05".into(), "2026-03-05".into())));
        // None where less than six months have gone by: six months after 30 November are 30 May.
        done(&mut known, row, "first", Act::Completed, "2025-11-30");
        assert_eq!(leaving(&known, row), ["2026-05-31"]);
        known.examinations[0].on = date("2025-12-01");
        assert_eq!(leaving(&known, row), [""; 0]);
    }
    // (j)(1)(ii), (j)(4)(ii): whoever is at risk and asks, every year.
    let mut at_risk = days("methylene_chloride", 25.1, 1.0, 1);
    ground(&mut at_risk, Recommendation, "2026-01-05", Some("ST051"));
    done(&mut at_risk, "ST051", "first", Act::Completed, "2026-01-20");
    assert!(at_risk.finding("ST051").met);
    assert_eq!(at_risk.finding("ST051").rule.periodic_months, Some(12));
}

#[test]
fn grounds_count_for_every_limb_of_a_section() {
    let with = |mut known: Known, kind, on: &str| {
        ground(&mut known, kind, on, None);
        known
    };
    // 29 CFR 1910.1028(i)(3)(ii): signs and symptoms, of whoever builds tyres too.
    let tyres =
        Known::new("benzene", UsGeneralIndustry).with_condition(ListedTask, None, run("2026-01-05", OPEN));
    let found = of(&with(tyres, SignsOrSymptoms, "2026-03-05"), "ST040");
    assert!(found.contains(&("signs-or-symptoms-2026-03-05".into(), "2026-03-05".into())));
    // 1910.1026(k)(2)(iii): within 30 days, after an emergency too.
    let emergency = released(Known::new("chromium_vi", UsGeneralIndustry), "2026-01-10");
    let found = of(&with(emergency, Recommendation, "2026-01-30"), "ST003");
    assert!(found.contains(&("recommendation-2026-01-30".into(), "2026-03-01".into())));
    // 1910.1024(k)(7)(i): a diagnostic centre within 30 days of the referral.
    let beryllium = with(at("beryllium", 0.1, "2026-01-05", OPEN), Recommendation, "2026-01-30");
    assert!(of(&beryllium, "ST026").contains(&("recommendation-2026-01-30".into(), "2026-03-01".into())));
    // 1910.1048(l)(8)(vii): a follow-up within six months after the removal.
    let formaldehyde = with(Known::new("formaldehyde", UsGeneralIndustry), Removal, "2026-02-28");
    assert_eq!(of(&formaldehyde, "ST084"), pairs(&[("removal-2026-02-28", "2026-08-28")]));
    // 1910.1018(n)(4): signs or symptoms, of whoever is covered by ten years of old.
    let mut arsenic = Known::new("arsenic_inorganic", UsGeneralIndustry);
    arsenic.earlier = vec![Earlier {
        from: date("1990-01-01"),
        to: date("2000-01-01"),
        days_per_year: Some(200.0),
        mean: Some(Measured::Value(9.0)),
        behind: Behind::default(),
    }];
    let found = of(&with(arsenic, SignsOrSymptoms, "2026-03-05"), "ST020");
    assert!(found.contains(&("signs-or-symptoms-2026-03-05".into(), "2026-03-05".into())));
}

#[test]
fn an_examination_of_six_months_before_serves_for_skin_contact_with_mda_too() {
    use doseward::model::facts::group::ConditionKind::SkinContact;
    // 29 CFR 1910.1050(m)(2)(ii), 1926.60(n)(2)(ii): for everybody whom (m)(1)(i), (n)(1)(i) cover.
    for (rule_set, row, other) in [(UsGeneralIndustry, "ST065", "ST064"), (UsConstruction, "ST068", "ST067")]
    {
        let first = |on: &str| {
            let mut known = Known::new("methylenedianiline", rule_set).with_condition(
                SkinContact,
                None,
                run("2026-01-05", OPEN),
            );
            done(&mut known, other, "first", Act::Completed, on);
            of(&known, row).iter().any(|(occasion, _)| occasion == "first")
        };
        assert!(first("2025-07-05") && !first("2025-07-06"), "{row}");
    }
}

#[test]
fn whoever_is_covered_by_a_ground_alone_is_examined_on_leaving_and_nobody_else_is_told() {
    // 29 CFR 1910.1026(k)(1)(i)(B), (k)(2)(vi): signs or symptoms; at termination, unless examined within six months.
    let mut known = leaves(Known::new("chromium_vi", UsGeneralIndustry), "2026-06-01");
    ground(&mut known, SignsOrSymptoms, "2025-03-05", None);
    let owed = known.owed();
    let leaving: Vec<_> = owed.iter().filter(|one| one.duty.key.occasion.starts_with("leaving")).collect();
    assert_eq!(leaving.len(), 1, "{leaving:?}");
    assert!(leaving[0].duty.grounds.medical, "it rests on the ground");
    assert_eq!(leaving[0].duty.grounds.due_on, date("2026-05-31"));
    // With exposure beside it there is one, and it rests on that.
    let mut both = leaves(days("chromium_vi", 2.5, 2.5, 147), "2026-06-01");
    ground(&mut both, SignsOrSymptoms, "2025-03-05", None);
    let owed = both.owed();
    let leaving: Vec<_> = owed.iter().filter(|one| one.duty.key.occasion.starts_with("leaving")).collect();
    assert_eq!(leaving.len(), 1, "{leaving:?}");
    assert!(!leaving[0].duty.grounds.medical);
}
