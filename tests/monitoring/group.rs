//! A group with its rounds, and what it is owed.

use crate::made::{agent, measured, member, round};
use chrono::NaiveDate;
use doseward::model::facts::duty::DutyKind;
use doseward::model::facts::rule_set::RuleSet;
use doseward::model::identifiers::{GroupId, SiteId};
use doseward::surveillance::calendar::WorkingDays;
use doseward::surveillance::duties::OughtDuty;
use doseward::surveillance::monitoring::additional::{Effect, WorkChange};
use doseward::surveillance::monitoring::owed::{Expected, Facts, Owed, Question, owed};
use doseward::surveillance::monitoring::track::Rounds;
use doseward::surveillance::pack::Pack;
use doseward::surveillance::round::Round;
use doseward::surveillance::standing;
use doseward::surveillance::step_down::step_downs;
use uuid::Uuid;

pub(crate) const GENERAL: RuleSet = RuleSet::UsGeneralIndustry;
pub(crate) const CONSTRUCTION: RuleSet = RuleSet::UsConstruction;
/// The day of asking.
pub(crate) const TODAY: &str = "2026-06-01";

pub(crate) fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// A group with rounds `8h` or `short` of one value each, and whatever else is put in.
pub(crate) struct Group {
    agent: &'static str,
    rule_set: RuleSet,
    pub eight_hour: Vec<Round>,
    pub short_term: Vec<Round>,
    facts: Facts<'static>,
    pub site: WorkingDays,
}

impl Group {
    pub(crate) fn new(code: &'static str, rule_set: RuleSet, rounds: &[(&str, &str, &str)]) -> Self {
        let known = agent(code, rule_set);
        let (mut eight_hour, mut short_term) = (Vec::new(), Vec::new());
        for (day, limb, value) in rounds {
            let (value, accepted) = measured(value);
            let made = round(date(day), known.levels_of(limb), vec![member(value, accepted)]);
            if *limb == "short" { short_term.push(made) } else { eight_hour.push(made) }
        }
        let expected = Expected { from: Some(date("2026-01-05")), basis: [3].into() };
        let facts = Facts { expected: Some(expected), ..Facts::default() };
        Self { agent: code, rule_set, eight_hour, short_term, facts, site: WorkingDays::default() }
    }

    pub(crate) fn with(mut self, put: impl FnOnce(&mut Facts<'static>)) -> Self {
        put(&mut self.facts);
        self
    }

    pub(crate) fn owed(&self) -> Owed {
        let agent = agent(self.agent, self.rule_set);
        let question = Question {
            group: GroupId(Uuid::from_u128(1)),
            site: SiteId(Uuid::from_u128(2)),
            agent_code: self.agent,
            rule_set: self.rule_set,
            levels: agent.levels,
            short_term_limit: agent.short_term,
            unit: agent.unit,
            today: date(TODAY),
            working_days: &self.site,
        };
        let ways = step_downs(Pack::built_in(), self.agent, self.rule_set, agent.levels, agent.unit);
        let facts = Facts {
            rounds: Rounds { eight_hour: &self.eight_hour, short_term: &self.short_term },
            standing: standing::moves(&self.eight_hour, &[], &ways, &self.site),
            ..self.facts.clone()
        };
        owed(Pack::built_in(), &question, &facts)
    }

    /// Duties of a kind as `row due` and what is to be known of them; `met` with the day.
    pub(crate) fn shown(&self, kind: DutyKind) -> Vec<String> {
        self.owed().duties.iter().filter(|duty| duty.key.kind == kind).map(shown).collect()
    }
}

pub(crate) fn shown(duty: &OughtDuty) -> String {
    let met = duty.grounds.met_on.map_or(String::new(), |on| format!(" met {on}"));
    let flags = duty.grounds.flags.join(" ");
    let learned = if duty.grounds.due_from_learning { " learned" } else { "" };
    format!("{} {}{learned}{met} {flags}", duty.key.trigger_id, duty.grounds.due_on).trim().to_owned()
}

/// Something that changed, from a day on.
pub(crate) fn change(effect: Effect, from: &str) -> WorkChange {
    WorkChange { occasion: format!("change of {from}"), from: date(from), effect, basis: [9].into() }
}
