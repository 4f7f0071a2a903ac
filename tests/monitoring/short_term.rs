//! The standing of the short-term average.

use crate::made::{agent, measured, member, round};
use doseward::model::facts::rule_set::RuleSet;
use doseward::surveillance::calendar::WorkingDays;
use doseward::surveillance::monitoring::standard::Standard;
use doseward::surveillance::pack::Pack;
use doseward::surveillance::round::Round;
use doseward::surveillance::short_term::{ShortTermLevel, ShortTermLimit, moves, standing_on};
use doseward::surveillance::standing::Era;

fn run(code: &str, rounds: &[(&str, &str)], eras: &[Era]) -> Vec<(ShortTermLevel, String, Option<String>)> {
    let agent = agent(code, RuleSet::UsGeneralIndustry);
    let standard = Standard::of(Pack::built_in(), code, RuleSet::UsGeneralIndustry, agent.levels, agent.unit);
    let rounds: Vec<Round> = rounds
        .iter()
        .map(|(day, value)| {
            let (value, accepted) = measured(value);
            round(day.parse().unwrap(), agent.levels_of("short"), vec![member(value, accepted)])
        })
        .collect();
    let limit = ShortTermLimit::of(agent.short_term.unwrap(), &standard);
    let moved = moves(&rounds, eras, limit, &standard, &WorkingDays::default());
    if let Some(last) = moved.last() {
        assert_eq!(standing_on(&moved, "2099-01-01".parse().unwrap()), last.level);
    }
    let since = |since: Option<chrono::NaiveDate>| since.map_or("always".to_owned(), |day| day.to_string());
    moved.into_iter().map(|change| (change.level, since(change.since), change.clause)).collect()
}

use ShortTermLevel::{AboveLimit, AtOrAboveLimit, AtOrBelowLimit, BelowLimit};

#[test]
fn it_rises_above_the_limit_or_at_it_as_its_standard_compares() {
    let at = |code, value| run(code, &[("2026-01-05", value)], &[])[0].0;
    // 29 CFR 1910.1024(d)(3)(viii): above 2.0 ug/m3. 1910.1048(d)(3)(iii): at or above 2 ppm. 1910.1028(c)(2): 5 ppm.
    assert_eq!((at("beryllium", "2"), at("beryllium", "2.001")), (AtOrBelowLimit, AboveLimit));
    assert_eq!((at("formaldehyde", "1.999"), at("formaldehyde", "2")), (BelowLimit, AtOrAboveLimit));
    assert_eq!((at("benzene", "5"), at("benzene", "5.001")), (AtOrBelowLimit, AboveLimit));
}

#[test]
fn it_falls_only_as_the_rows_say() {
    let fell = |code, values: [&str; 2], second| {
        let rounds = [("2026-01-05", "900"), ("2026-03-02", values[0]), (second, values[1])];
        run(code, &rounds, &[]).get(1).cloned()
    };
    // 1910.1024(d)(3)(viii): two below the limit, seven days apart; exactly at it was enough only for the first round.
    let clause = "29 CFR 1910.1024(d)(3)(viii)".to_owned();
    let down = Some((AtOrBelowLimit, "2026-03-09".to_owned(), Some(clause)));
    assert_eq!(fell("beryllium", ["1.9", "1.9"], "2026-03-09"), down);
    assert_eq!(fell("beryllium", ["1.9", "1.9"], "2026-03-08"), None);
    assert_eq!(fell("beryllium", ["2", "2"], "2026-03-09"), None);
    assert_eq!(fell("beryllium", ["1.9", "1.9?"], "2026-03-09"), None);
    assert_eq!(fell("beryllium", ["1.9", "<2.1"], "2026-03-09"), None);
    // 1910.1052 note to (d)(3), 1910.1047(d)(4)(iv): at or below.
    assert!(fell("methylene_chloride", ["125", "125"], "2026-03-09").is_some());
    assert!(fell("ethylene_oxide", ["5", "5"], "2026-03-09").is_some());
    // 1910.1028(e)(3)(iv) has no step down.
    assert_eq!(fell("benzene", ["1", "1"], "2026-03-09"), None);
}

#[test]
fn it_rises_back_to_the_day_after_the_last_accepted_round_below_in_the_era() {
    let rounds = [("2026-01-05", "1"), ("2026-03-02", "3")];
    let risen = |rounds: &[(&str, &str)], eras: &[Era]| run("beryllium", rounds, eras)[1].1.clone();
    assert_eq!(risen(&rounds, &[]), "2026-01-06");
    let cut = "2026-02-01".parse().unwrap();
    let eras = [Era { from: None, to: Some(cut) }, Era { from: Some(cut), to: None }];
    assert_eq!(risen(&rounds, &eras), "2026-02-01");
    // Nobody accepted it: it holds nothing back.
    assert_eq!(risen(&[("2026-01-05", "1?"), ("2026-03-02", "3")], &[]), "always");
    // What cannot tell sets nothing.
    assert_eq!(run("beryllium", &[("2026-01-05", "<3")], &[]), []);
}
