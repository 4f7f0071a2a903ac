//! The duties that follow from a group's monitoring: initial monitoring, options, notices.

use crate::group::{CONSTRUCTION, GENERAL, Group, date};
use doseward::model::facts::duty::DutyKind;
use doseward::model::facts::rule_set::RuleSet;
use doseward::model::facts::site::MonitoringChoice;
use doseward::model::identifiers::EventId;
use doseward::surveillance::calendar::WorkingDays;
use doseward::surveillance::monitoring::notice::Received;
use doseward::surveillance::pack::Pack;
use doseward::surveillance::pack::monitoring_rule::MonitoringRuleType;
use std::collections::BTreeSet;
use uuid::Uuid;

const AGAIN: DutyKind = DutyKind::MonitorAgain;

#[test]
fn initial_monitoring_is_owed_by_the_date_of_the_text_or_when_it_was_learned() {
    let expected = |code, from: &str| {
        let from = date(from);
        Group::new(code, GENERAL, &[]).with(|facts| facts.expected.as_mut().unwrap().from = Some(from))
    };
    // 29 CFR 1910.1028(e)(2)(ii): within 30 days; 30 January 2024 and 30 days is the leap day.
    assert_eq!(expected("benzene", "2024-01-30").shown(AGAIN), ["MT120 2024-02-29"]);
    // 1910.1051(d)(2)(i): within 60 days.
    assert_eq!(expected("butadiene_1_3", "2026-01-05").shown(AGAIN), ["MT143 2026-03-06"]);
    // 1926.1101(f)(2)(i): immediately before or at the start of the operation.
    let asbestos = Group::new("asbestos", CONSTRUCTION, &[])
        .with(|facts| facts.expected.as_mut().unwrap().from = Some(date("2026-01-05")));
    assert_eq!(asbestos.shown(AGAIN), ["MT202 2026-01-05"]);
    // 1910.1026(d)(1)-(3), 1910.1025(d)(2)-(4): no date.
    assert_eq!(expected("chromium_vi", "2026-01-05").shown(AGAIN), ["MT001 2026-06-01 learned"]);
    assert_eq!(expected("lead", "2026-01-05").shown(AGAIN), ["MT196 2026-06-01 learned"]);
    // 1910.95(d)(1): when information indicates that exposure may equal or exceed 85 dBA over 8 hours; no date.
    assert_eq!(expected("noise", "2026-01-05").shown(AGAIN), ["MT193 2026-06-01 learned"]);
    // 1910.1000 asks for no monitoring.
    assert_eq!(expected("copper_fume", "2026-01-05").shown(AGAIN), [""; 0]);
    // Not expected yet: the day on which it will be is known.
    let ahead = expected("lead", "2026-07-01").owed();
    assert_eq!((ahead.duties.len(), ahead.changes_on), (0, Some(date("2026-07-01"))));
    let nobody = Group::new("lead", GENERAL, &[]).with(|facts| facts.expected = None);
    assert_eq!(nobody.shown(AGAIN), [""; 0]);
}

#[test]
fn every_standard_with_intervals_asks_for_a_first_round() {
    let pack = Pack::built_in();
    for known in &pack.agents {
        let code: &'static str = String::leak(known.agent.code.to_string());
        for rule_set in RuleSet::ALL {
            let mut rules = pack.monitoring_of(code, *rule_set);
            let of_interval = rules.any(|rule| rule.rule_type == MonitoringRuleType::Frequency);
            if of_interval
                && known.limits.iter().any(|l| l.rule_sets.as_ref().is_none_or(|s| s.contains(rule_set)))
            {
                let group = Group::new(code, *rule_set, &[]);
                assert_eq!(group.shown(AGAIN).len(), 1, "{code} {rule_set}");
            }
        }
    }
}

#[test]
fn the_first_round_that_tells_meets_it_and_one_that_does_not_leaves_it_open() {
    let shown = |value| Group::new("lead", GENERAL, &[("2026-02-02", "8h", value)]).shown(AGAIN);
    assert_eq!(shown("10"), ["MT196 2026-06-01 learned met 2026-02-02"]);
    assert_eq!(shown("10?"), ["MT196 2026-06-01 learned not_accepted_or_flagged"]);
    assert_eq!(shown("<40"), ["MT196 2026-06-01 learned reporting_limit_too_high"]);
    // At the action level it starts the interval, accepted or not: 1910.1025(d)(6)(ii).
    assert_eq!(shown("30?"), ["MT196 2026-06-01 learned met 2026-02-02", "MT027 2026-08-02"]);
    // Where the text fixes no interval (1926.1127(d)(3)(i)) the first round is the initial one all the same.
    let construction = Group::new("cadmium", CONSTRUCTION, &[("2026-02-02", "8h", "4")]);
    assert_eq!(construction.shown(AGAIN), ["MT200 2026-06-01 learned met 2026-02-02"]);
}

#[test]
fn the_option_of_the_site_decides_where_the_standard_leaves_it() {
    let group = |agent: &'static str, options: &[(&str, MonitoringChoice)], characterised| {
        let options: Vec<_> = options.iter().map(|(from, option)| (date(from), *option)).collect();
        let rounds = [("2026-02-02", "8h", "60")];
        Group::new(agent, GENERAL, &rounds).with(|facts| {
            facts.options = options;
            facts.characterised = characterised;
        })
    };
    let performance = ("2026-01-01", MonitoringChoice::Performance);
    let met = "MT085 2026-06-01 learned met 2026-02-02";
    // 29 CFR 1910.1053(d)(2), (3).
    assert_eq!(
        group("silica_respirable", &[], false).shown(AGAIN),
        [met, "MT088 2026-05-02 option_not_stated"]
    );
    let scheduled = ("2026-03-01", MonitoringChoice::Scheduled);
    assert_eq!(
        group("silica_respirable", &[performance, scheduled], false).shown(AGAIN),
        [met, "MT088 2026-05-02"]
    );
    assert_eq!(group("silica_respirable", &[performance], false).shown(AGAIN), [met]);
    assert_eq!(group("silica_respirable", &[performance], true).shown(AGAIN), [""; 0]);
    // 1910.1025 leaves no choice.
    assert_eq!(group("lead", &[performance], false).shown(AGAIN).len(), 2);
    let later = group("silica_respirable", &[("2026-09-01", MonitoringChoice::Performance)], false);
    assert_eq!(later.owed().changes_on, Some(date("2026-09-01")));
}

#[test]
fn every_notice_is_due_in_the_working_days_of_its_row() {
    let pack = Pack::built_in();
    let mut seen = 0;
    for rule in pack.monitoring.iter().filter(|rule| rule.rule_type == MonitoringRuleType::Notification) {
        let code: &'static str = match rule.agent_code.as_str() {
            "cotton" => "cotton_yarn",
            code => String::leak(code.to_owned()),
        };
        for rule_set in &rule.scope {
            let limits = &pack.agent(code).unwrap().limits;
            if !limits.iter().any(|l| l.rule_sets.as_ref().is_none_or(|sets| sets.contains(rule_set))) {
                continue;
            }
            let group = Group::new(code, *rule_set, &[]).with(|facts| {
                let event = EventId(Uuid::from_u128(7));
                facts.received = vec![
                    Received { event, on: date("2026-05-20"), basis: [5].into() },
                    Received { event, on: date("2026-05-18"), basis: [4].into() },
                ];
            });
            // From Monday 18 May 2026 over Memorial Day, the 25th: 5 working days to the 26th, 15 to 9 June. The numbers
            // are those of the paragraphs; only 1910.95(e) has none.
            let due = match rule.notify_within_days {
                Some(5) => "2026-05-26",
                Some(15) => "2026-06-09",
                _ => {
                    assert_eq!(rule.rule_id, "MT194");
                    continue;
                }
            };
            let duties = group.owed().duties;
            let told: Vec<_> = duties.iter().filter(|d| d.key.kind == DutyKind::NotifyResults).collect();
            assert_eq!(told.len(), 1, "{}", rule.rule_id);
            assert_eq!(told[0].grounds.due_on, date(due), "{}", rule.rule_id);
            assert_eq!(told[0].key.trigger_id, rule.rule_id);
            assert_eq!(told[0].grounds.basis, BTreeSet::from([4, 5]));
            seen += 1;
        }
    }
    assert!(seen > 30, "{seen}");
}

#[test]
fn a_notice_counts_the_holidays_of_the_site_and_of_the_turn_of_the_year() {
    let event = EventId(Uuid::from_u128(7));
    let mut group = Group::new("lead", GENERAL, &[]).with(|facts| {
        facts.received = vec![Received { event, on: date("2026-12-18"), basis: BTreeSet::new() }];
    });
    // From Friday 18 December 2026: 21 to 24, 28 to 31 December, 4 to 8, 11 and 12 January.
    assert_eq!(group.shown(DutyKind::NotifyResults), ["MT032 2027-01-12"]);
    group.site = WorkingDays::new([date("2026-12-24"), date("2026-12-31")]);
    assert_eq!(group.shown(DutyKind::NotifyResults), ["MT032 2027-01-14"]);
}

#[test]
fn a_notice_says_what_is_done_where_its_row_asks() {
    let says = |agent, rule_set, limb, value| {
        let group = Group::new(agent, rule_set, &[("2026-02-02", limb, value)]);
        let event = group.eight_hour.iter().chain(&group.short_term).next().unwrap().event;
        let group = group.with(|facts| {
            facts.received = vec![Received { event, on: date("2026-02-09"), basis: BTreeSet::new() }];
        });
        group.shown(DutyKind::NotifyResults)[0].ends_with("state_corrective_action")
    };
    // 29 CFR 1910.1025(d)(8)(ii): above the limit; 1926.62(d)(8)(ii): at or above it.
    assert!(!says("lead", GENERAL, "8h", "50") && says("lead", GENERAL, "8h", "50.1"));
    assert!(says("lead", CONSTRUCTION, "8h", "50") && !says("lead", CONSTRUCTION, "8h", "49.9"));
    // 1910.1047(d)(7)(ii): the excursion limit too. 1910.1017(n): always. 1926.1101(f)(5): never.
    assert!(
        says("ethylene_oxide", GENERAL, "short", "5.1") && !says("ethylene_oxide", GENERAL, "short", "5")
    );
    assert!(says("vinyl_chloride", GENERAL, "8h", "0.1"));
    assert!(!says("asbestos", CONSTRUCTION, "8h", "9"));
}

#[test]
fn no_two_duties_of_a_group_share_their_key() {
    // Methylene chloride above both limits in one event: 29 CFR 1910.1052(d)(3) Table 1.
    let rounds = [("2026-01-12", "8h", "30"), ("2026-01-12", "short", "200")];
    let duties = Group::new("methylene_chloride", GENERAL, &rounds).owed().duties;
    let keys: BTreeSet<_> = duties.iter().map(|duty| &duty.key).collect();
    assert_eq!((keys.len(), duties.len()), (3, 3));
    assert!(duties.iter().all(|duty| duty.key.occasion.len() <= 80), "a code holds 80 characters");
}
