//! Every row by its cases.

use crate::made::{agent, measured, member, round};
use doseward::model::facts::rule_set::RuleSet;
use doseward::surveillance::calendar::WorkingDays;
use doseward::surveillance::monitoring::not_evaluated::not_evaluated;
use doseward::surveillance::monitoring::standard::Standard;
use doseward::surveillance::monitoring::track::{Rounds, State, Track, follow};
use doseward::surveillance::pack::Pack;
use doseward::surveillance::pack::monitoring_rule::MonitoringRuleType;
use std::collections::{BTreeMap, BTreeSet};

struct Case {
    rule_id: String,
    name: String,
    agent_code: String,
    rule_set: RuleSet,
    rounds: String,
    expected: String,
}

fn cases() -> Vec<Case> {
    let mut reader = csv::Reader::from_reader(include_str!("cases.csv").as_bytes());
    reader
        .records()
        .map(|record| {
            let record = record.unwrap();
            let cell = |at: usize| record[at].to_owned();
            Case {
                rule_id: cell(0),
                name: cell(1),
                agent_code: cell(2),
                rule_set: RuleSet::from_word(&record[3]).unwrap(),
                rounds: cell(4),
                expected: cell(5),
            }
        })
        .collect()
}

fn shown(track: &Track) -> Option<String> {
    let open = track.open().min_by_key(|occasion| occasion.due_on);
    let flags = [
        (open.is_some_and(|occasion| occasion.cannot_tell), " reporting_limit_too_high"),
        (open.is_some_and(|occasion| occasion.not_accepted), " not_accepted"),
        (track.short_term_missing, " short_term_not_measured"),
    ];
    let flags: String = flags.into_iter().filter(|(raised, _)| *raised).map(|(_, flag)| flag).collect();
    let due = || open.map(|occasion| format!("{} {}{flags}", occasion.rule_id, occasion.due_on)).unwrap();
    match track.state {
        State::Unknown => track.short_term_missing.then(|| format!("nothing{flags}")),
        State::Unconfirmed => Some(format!("unconfirmed {}", due())),
        State::Repeating { .. } => Some(due()),
        State::Stopped => {
            assert_eq!(track.open().count(), 0);
            let rule = track.moves.last().and_then(|change| change.rule_id.as_deref());
            Some(rule.map_or("stopped".to_owned(), |rule| format!("stopped {rule}")))
        }
    }
}

fn run(case: &Case) -> String {
    let agent = agent(&case.agent_code, case.rule_set);
    let standard = Standard::of(Pack::built_in(), &case.agent_code, case.rule_set, agent.levels, agent.unit);
    let (mut eight_hour, mut short_term) = (Vec::new(), Vec::new());
    for text in case.rounds.split("; ") {
        let [date, limb, value] = text.split(' ').collect::<Vec<_>>()[..] else { panic!("{text}") };
        let (value, accepted) = measured(value);
        let made = round(date.parse().unwrap(), agent.levels_of(limb), vec![member(value, accepted)]);
        if limb == "short" { short_term.push(made) } else { eight_hour.push(made) }
    }
    let rounds = Rounds { eight_hour: &eight_hour, short_term: &short_term };
    let tracks = follow(&standard, rounds, &[], &WorkingDays::default());
    let shown: Vec<String> = tracks.iter().filter_map(shown).collect();
    if shown.is_empty() { "nothing".into() } else { shown.join("; ") }
}

#[test]
fn every_case_gives_what_its_clause_asks() {
    let mut faults = Vec::new();
    for case in cases() {
        let found = run(&case);
        if found != case.expected {
            faults.push(format!(
                "{} {} ({}): {} -> {found}, expected {}",
                case.rule_id, case.name, case.agent_code, case.rounds, case.expected
            ));
        }
    }
    assert!(faults.is_empty(), "{} cases differ:\n{}", faults.len(), faults.join("\n"));
}

#[test]
fn every_frequency_and_step_down_that_is_evaluated_has_its_three_cases() {
    let pack = Pack::built_in();
    let left_out: BTreeSet<String> =
        not_evaluated(pack).unwrap().into_iter().map(|row| row.rule_id).collect();
    let mut of_rule: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for case in cases() {
        of_rule.entry(case.rule_id).or_default().insert(case.name);
    }
    let mut missing = Vec::new();
    for rule in &pack.monitoring {
        let meant = matches!(rule.rule_type, MonitoringRuleType::Frequency | MonitoringRuleType::StepDown);
        if !meant || left_out.contains(&rule.rule_id) {
            continue;
        }
        for case in ["positive", "exactly_at", "just_below"] {
            if !of_rule.get(&rule.rule_id).is_some_and(|cases| cases.contains(case)) {
                missing.push(format!("{} {case}", rule.rule_id));
            }
        }
    }
    assert!(missing.is_empty(), "{missing:?}");
}
