//! Written plans, checks of ventilation, and what is presumed of a listed task.

use crate::group::{CONSTRUCTION, GENERAL, Group, TODAY, change, date};
use doseward::model::facts::duty::DutyKind;
use doseward::model::facts::group::ConditionKind;
use doseward::model::facts::rule_set::RuleSet;
use doseward::surveillance::monitoring::additional::Effect;
use doseward::surveillance::monitoring::control_duties::Ventilation;
use doseward::surveillance::monitoring::owed::{DatedCondition, Facts};

const AGAIN: DutyKind = DutyKind::MonitorAgain;

#[test]
fn a_plan_is_owed_above_the_limit_where_a_row_asks_until_the_standing_falls() {
    let plans = |agent, rounds: &[(&str, &str, &str)]| {
        Group::new(agent, GENERAL, rounds).shown(DutyKind::WrittenPlan)
    };
    // 29 CFR 1910.1025(e)(3)(i); no date in the text.
    assert_eq!(plans("lead", &[("2026-01-12", "8h", "60")]), ["CT35 2026-06-01 learned"]);
    assert_eq!(plans("lead", &[("2026-01-12", "8h", "50")]), [""; 0]);
    // 1910.1026 has no such paragraph.
    assert_eq!(plans("chromium_vi", &[("2026-01-12", "8h", "60")]), [""; 0]);
    let down = [("2026-01-12", "8h", "60"), ("2026-02-02", "8h", "40"), ("2026-02-09", "8h", "40")];
    assert_eq!(plans("lead", &down[..2]), ["CT35 2026-06-01 learned"]);
    assert_eq!(plans("lead", &down), [""; 0]);
    let mut again = down.to_vec();
    again.push(("2026-03-02", "8h", "60"));
    assert_eq!(plans("lead", &again), ["CT35 2026-06-01 learned"]);
    // 1910.1047(f)(2)(i): the excursion limit as well.
    assert_eq!(plans("ethylene_oxide", &[("2026-01-12", "short", "5.1")]), ["CT43 2026-06-01 learned"]);
    // 1910.1051(g): a goal programme above the action level, not at it.
    assert_eq!(plans("butadiene_1_3", &[("2026-01-12", "8h", "0.5")]), [""; 0]);
    assert_eq!(plans("butadiene_1_3", &[("2026-01-12", "8h", "0.51")]), ["CT28 2026-06-01 learned"]);
    // 1926.60(h)(5)(i): the limits of 10 ppb, and of 100 ppb over 15 minutes.
    let mda = |limb, value| {
        Group::new("methylenedianiline", CONSTRUCTION, &[("2026-01-12", limb, value)])
            .shown(DutyKind::WrittenPlan)
    };
    assert_eq!([mda("8h", "9.999"), mda("8h", "10")], [[""; 0], [""; 0]]);
    assert_eq!(mda("8h", "10.001"), ["CT49 2026-06-01 learned"]);
    assert_eq!((mda("short", "100").len(), mda("short", "100.1").len()), (0, 1));
}

#[test]
fn a_plan_before_the_job_is_due_on_the_day_the_agent_is_expected() {
    let plans = |agent, value, from: Option<&str>| {
        Group::new(agent, CONSTRUCTION, &[("2026-01-12", "8h", value)])
            .with(|facts| facts.expected.as_mut().unwrap().from = from.map(date))
            .shown(DutyKind::WrittenPlan)
    };
    // 29 CFR 1926.62(e)(2)(i), 1926.1127(f)(5)(i): prior to commencement of the job; above 50 and 5 ug/m3.
    for (agent, at, above, row) in [("lead", "50", "50.1", "CT36"), ("cadmium", "5", "5.01", "CT39")] {
        assert_eq!(plans(agent, at, Some("2026-01-05")), [""; 0]);
        assert_eq!(plans(agent, above, Some("2026-01-05")), [format!("{row} 2026-01-05")]);
        assert_eq!(plans(agent, above, None), [format!("{row} 2026-06-01 learned")]);
    }
}

#[test]
fn a_plan_that_no_level_calls_for_is_owed_while_the_agent_is_expected() {
    let group = |agent, rule_set, rounds: &[(&str, &str, &str)]| Group::new(agent, rule_set, rounds);
    let shown = |group: Group| group.shown(DutyKind::WrittenPlan);
    // 29 CFR 1910.1024(f)(1)(i), 1926.1124(f)(1)(i), 1910.1053(f)(2)(i), 1926.1153(g)(1), 1910.1029(f)(6)(i),
    // 1910.1018(k)(4): no date; 1910.1043(g): at once.
    for (agent, rule_set, expected) in [
        ("beryllium", GENERAL, "CT50 2026-06-01 learned"),
        ("beryllium", CONSTRUCTION, "CT51 2026-06-01 learned"),
        ("silica_respirable", GENERAL, "CT52 2026-06-01 learned"),
        ("silica_respirable", RuleSet::UsMaritime, "CT52 2026-06-01 learned"),
        ("silica_respirable", CONSTRUCTION, "CT53 2026-06-01 learned"),
        ("coke_oven_emissions", GENERAL, "CT55 2026-06-01 learned"),
        ("cotton_yarn", GENERAL, "CT56 2026-01-05"),
        ("arsenic_inorganic", GENERAL, "CT58 2026-06-01 learned"),
    ] {
        assert_eq!(shown(group(agent, rule_set, &[])), [expected]);
        // However low it is: the plan is about the work, not about a level.
        assert_eq!(shown(group(agent, rule_set, &[("2026-01-12", "8h", "0.001")])), [expected]);
        assert_eq!(shown(group(agent, rule_set, &[]).with(|facts| facts.expected = None)), [""; 0]);
        let ahead = |facts: &mut Facts<'_>| facts.expected.as_mut().unwrap().from = Some(date("2026-06-02"));
        assert_eq!(shown(group(agent, rule_set, &[]).with(ahead)), [""; 0]);
    }
    // Beside it the plan of a level: 1910.1018(g)(2)(i), above 10 ug/m3.
    let both = shown(group("arsenic_inorganic", GENERAL, &[("2026-01-12", "8h", "10.1")]));
    assert_eq!(both, ["CT37 2026-06-01 learned", "CT58 2026-06-01 learned"]);
}

#[test]
fn ventilation_is_checked_at_intervals_and_after_changes() {
    let group = |agent, checked: &[&str], changed: &[&str]| {
        Group::new(agent, GENERAL, &[("2026-01-12", "8h", "1")])
            .with(|facts| {
                let checked = checked.iter().map(|day| date(day)).collect();
                facts.ventilation =
                    Some(Ventilation { since: date("2025-11-30"), checked, basis: [8].into() });
                facts.changes = changed.iter().map(|day| change(Effect::MayRaise, day)).collect();
            })
            .shown(DutyKind::CheckVentilation)
    };
    let here = "where_ventilation_is_used";
    // 29 CFR 1910.1025(e)(4)(i): every 3 months (30 November: the last of February), within 5 days of a change.
    assert_eq!(group("lead", &[], &[]), [format!("CT18 2026-02-28 {here}")]);
    assert_eq!(group("lead", &["2026-02-20"], &[]), [format!("CT18 2026-05-20 {here}")]);
    let changed = group("lead", &["2026-02-20"], &["2026-05-21"]);
    assert_eq!(changed, [format!("CT18 2026-05-20 {here}"), format!("CT18 2026-05-26 {here}")]);
    let checked = group("lead", &["2026-05-22"], &["2026-05-21"]);
    assert_eq!(checked[1], format!("CT18 2026-05-26 met 2026-05-22 {here}"));
    // "Any change in production, process or control which might result in a change in exposure": the new hood itself too.
    let hood = |agent| {
        Group::new(agent, GENERAL, &[("2026-01-12", "8h", "1")])
            .with(|facts| {
                facts.ventilation = Some(Ventilation { since: date("2026-05-21"), ..Ventilation::default() });
                facts.changes = vec![change(Effect::ShouldLower, "2026-05-21")];
            })
            .shown(DutyKind::CheckVentilation)
    };
    assert_eq!(hood("lead"), [format!("CT18 2026-08-21 {here}"), format!("CT18 2026-05-26 {here}")]);
    // Cadmium's is about a significant increase.
    assert_eq!(hood("cadmium"), [""; 0]);
    // 1910.1027(f)(3): as needed, and within 5 working days of a change; Thursday 21 May and Memorial Day: the 29th.
    assert_eq!(group("cadmium", &[], &["2026-05-21"]), [format!("CT21 2026-05-29 {here}")]);
    assert_eq!(group("chromium_vi", &[], &["2026-05-21"]), [""; 0]);
    // 1926.1127(f)(4)(ii): within five working days too; 1926.62(e)(3): as necessary, no day.
    let construction = |agent| {
        Group::new(agent, CONSTRUCTION, &[("2026-01-12", "8h", "1")])
            .with(|facts| {
                facts.ventilation = Some(Ventilation { since: date("2025-11-30"), ..Ventilation::default() });
                facts.changes = vec![change(Effect::MayRaise, "2026-05-21")];
            })
            .shown(DutyKind::CheckVentilation)
    };
    assert_eq!(construction("cadmium"), [format!("CT54 2026-05-29 {here}")]);
    assert_eq!(construction("lead"), [""; 0]);
}

#[test]
fn a_listed_task_is_presumed_above_the_limit_until_a_round_tells() {
    let condition = |kind, rule: Option<&str>, to: Option<&str>| DatedCondition {
        kind,
        rule_id: rule.map(str::to_owned),
        from: date("2026-01-05"),
        to: to.map(date),
        basis: [6].into(),
    };
    let group = |rule_set, rounds: &[(&str, &str, &str)], condition: DatedCondition| {
        Group::new("lead", rule_set, rounds).with(|facts| facts.conditions = vec![condition])
    };
    let task = || condition(ConditionKind::ListedTask, None, None);
    // 29 CFR 1926.62(d)(2); the plan of (e)(2)(i), before the job begins.
    let presumed = group(CONSTRUCTION, &[], task());
    assert_eq!(presumed.shown(AGAIN), ["MT197 2026-06-01 learned presumed_above_limit"]);
    assert_eq!(presumed.shown(DutyKind::WrittenPlan), ["CT36 2026-01-05"]);
    assert_eq!(presumed.owed().presumed.unwrap().clause, "29 CFR 1926.62(d)(2)");
    let measured = group(CONSTRUCTION, &[("2026-02-02", "8h", "10")], task());
    assert_eq!((measured.owed().presumed, measured.shown(DutyKind::WrittenPlan).len()), (None, 0));
    // General industry has no such paragraph; another condition, another rule or one that ended presumes nothing.
    assert_eq!(group(GENERAL, &[], task()).owed().presumed, None);
    for other in [
        condition(ConditionKind::RegulatedArea, None, None),
        condition(ConditionKind::ListedTask, Some("ST012"), None),
        condition(ConditionKind::ListedTask, None, Some(TODAY)),
    ] {
        assert_eq!(group(CONSTRUCTION, &[], other).owed().presumed, None);
    }
    assert!(
        group(CONSTRUCTION, &[], condition(ConditionKind::ListedTask, Some("MT036"), None))
            .owed()
            .presumed
            .is_some()
    );
}
