//! Monitoring after a change or a release, standard by standard.

use crate::group::{CONSTRUCTION, GENERAL, Group, change, shown};
use doseward::model::facts::rule_set::RuleSet;
use doseward::surveillance::monitoring::additional::Effect;
use doseward::surveillance::pack::Pack;
use doseward::surveillance::pack::monitoring_rule::MonitoringRuleType;

#[test]
fn a_change_that_may_raise_exposure_requires_monitoring_and_one_that_should_lower_it_recommends_it() {
    let after = |agent, effect, rounds: &[(&str, &str, &str)]| {
        let group = Group::new(agent, GENERAL, rounds);
        let duties = group.with(|facts| facts.changes = vec![change(effect, "2026-03-02")]).owed().duties;
        let of_change = duties.into_iter().filter(|duty| duty.key.occasion == "change of 2026-03-02");
        of_change.map(|duty| (shown(&duty), duty.grounds.clause)).collect::<Vec<_>>()
    };
    let first = ("2026-01-12", "8h", "10");
    // 29 CFR 1910.1025(d)(7); no date in the text.
    assert_eq!(
        after("lead", Effect::MayRaise, &[first]),
        [("MT031 2026-06-01 learned".to_owned(), "29 CFR 1910.1025(d)(7)".to_owned())]
    );
    // Not asked by any clause: three months, this registry's choice.
    let lowered = after("lead", Effect::ShouldLower, &[first]);
    assert_eq!(lowered, [("2026-06-02 recommended".to_owned(), String::new())]);
    assert_eq!(after("copper_fume", Effect::MayRaise, &[("2026-01-12", "8h", "0.01")])[0].1, "");
    // A round on the day of the change or later meets it, one the day before does not.
    for (day, met) in
        [("2026-03-01", ""), ("2026-03-02", " met 2026-03-02"), ("2026-03-03", " met 2026-03-03")]
    {
        let found = after("lead", Effect::MayRaise, &[first, (day, "8h", "10")]);
        assert_eq!(found[0].0, format!("MT031 2026-06-01 learned{met}"));
    }
    // Nobody accepted it, or it cannot tell: nothing is met.
    for value in ["10?", "<40"] {
        let found = after("lead", Effect::MayRaise, &[first, ("2026-03-09", "8h", value)]);
        assert_eq!(found[0].0, "MT031 2026-06-01 learned");
    }
    // Before anything was measured the first round is owed, and that is all.
    assert_eq!(after("lead", Effect::MayRaise, &[]), []);
    // 1910.1028(e)(5): after a spill; 1910.1025 does not say so.
    assert_eq!(
        after("benzene", Effect::Release, &[("2026-01-12", "8h", "0.1")])[0].0,
        "MT117 2026-06-01 learned"
    );
    assert_eq!(after("lead", Effect::Release, &[first]), []);
}

/// The standards that ask for monitoring after a change, and those that ask for it after a release, as their paragraphs
/// say; the paragraph stands beside each. 1910.1000 asks for neither.
const AFTER_A_CHANGE: &[(&str, RuleSet, &str)] = &[
    ("chromium_vi", GENERAL, "29 CFR 1910.1026(d)(2)(vi)"),
    ("chromium_vi", CONSTRUCTION, "29 CFR 1926.1126(d)(2)(vi)"),
    ("chromium_vi", RuleSet::UsMaritime, "29 CFR 1915.1026(d)(2)(vi)"),
    ("lead", GENERAL, "29 CFR 1910.1025(d)(7)"),
    ("lead", CONSTRUCTION, "29 CFR 1926.62(d)(7)"),
    ("arsenic_inorganic", GENERAL, "29 CFR 1910.1018(e)(4)"),
    ("cadmium", GENERAL, "29 CFR 1910.1027(d)(4)"),
    ("cadmium", CONSTRUCTION, "29 CFR 1926.1127(d)(4)"),
    ("beryllium", GENERAL, "29 CFR 1910.1024(d)(4)"),
    ("beryllium", CONSTRUCTION, "29 CFR 1926.1124(d)(4)"),
    ("silica_respirable", GENERAL, "29 CFR 1910.1053(d)(4)"),
    ("silica_respirable", CONSTRUCTION, "29 CFR 1926.1153(d)(2)(iv)"),
    ("asbestos", GENERAL, "29 CFR 1910.1001(d)(5)"),
    ("asbestos", CONSTRUCTION, "29 CFR 1926.1101(f)(4)(ii)"),
    ("benzene", GENERAL, "29 CFR 1910.1028(e)(5)"),
    ("formaldehyde", GENERAL, "29 CFR 1910.1048(d)(2)(ii)"),
    ("methylene_chloride", GENERAL, "29 CFR 1910.1052(d)(4)"),
    ("butadiene_1_3", GENERAL, "29 CFR 1910.1051(d)(5)"),
    ("ethylene_oxide", GENERAL, "29 CFR 1910.1047(d)(5)"),
    ("acrylonitrile", GENERAL, "29 CFR 1910.1045(e)(4)"),
    ("vinyl_chloride", GENERAL, "29 CFR 1910.1017(d)(3)"),
    ("methylenedianiline", GENERAL, "29 CFR 1910.1050(e)(5)"),
    ("methylenedianiline", CONSTRUCTION, "29 CFR 1926.60(f)(5)"),
    ("dbcp", GENERAL, "29 CFR 1910.1044(f)(4)"),
    ("cotton_yarn", GENERAL, "29 CFR 1910.1043(d)(3)(iii)"),
    ("coke_oven_emissions", GENERAL, "29 CFR 1910.1029(e)(2)"),
    ("noise", GENERAL, "29 CFR 1910.95(d)(1),(3)"),
];
const AFTER_A_RELEASE: &[(&str, &str)] = &[
    ("benzene", "29 CFR 1910.1028(e)(5)"),
    ("methylene_chloride", "29 CFR 1910.1052(d)(4)"),
    ("butadiene_1_3", "29 CFR 1910.1051(d)(5)"),
    ("dbcp", "29 CFR 1910.1044(i)(6)"),
];

#[test]
fn every_standard_says_whether_monitoring_follows_a_change_or_a_release() {
    let pack = Pack::built_in();
    let clause = |code, rule_set, effect| {
        // A round well below everything, on which a change and nothing else asks for another.
        let group =
            Group::new(code, rule_set, &[("2026-01-12", "8h", "0.000001"), ("2026-01-12", "short", "0")]);
        let duties = group.with(|facts| facts.changes = vec![change(effect, "2026-03-02")]).owed().duties;
        let mut found = duties.into_iter().filter(|duty| duty.key.occasion == "change of 2026-03-02");
        found.find(|duty| !duty.key.trigger_id.is_empty()).map(|duty| duty.grounds.clause)
    };
    for (code, rule_set, paragraph) in AFTER_A_CHANGE {
        assert_eq!(clause(code, *rule_set, Effect::MayRaise).as_deref(), Some(*paragraph), "{code}");
        let released = AFTER_A_RELEASE.iter().find(|(released, _)| released == code).map(|(_, of)| *of);
        assert_eq!(clause(code, *rule_set, Effect::Release).as_deref(), released, "{code} {rule_set}");
        assert_eq!(clause(code, *rule_set, Effect::ShouldLower), None, "{code}");
    }
    // Whatever standard of the pack fixes an interval is in the list.
    for rule in pack.monitoring.iter().filter(|rule| rule.rule_type == MonitoringRuleType::Frequency) {
        let listed = |set: &RuleSet| {
            AFTER_A_CHANGE.iter().any(|(code, of, _)| of == set && pack.is_about(&rule.agent_code, code))
        };
        let principal = rule.scope.iter().find(|set| **set != RuleSet::UsMaritime || rule.scope.len() == 1);
        assert!(principal.is_some_and(listed), "{}", rule.rule_id);
    }
}
