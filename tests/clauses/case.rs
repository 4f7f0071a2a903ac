//! A worker of these tests.

use chrono::NaiveDate;
use doseward::model::facts::group::ConditionKind;
use doseward::model::facts::rule_set::RuleSet;
use doseward::model::identifiers::WorkerId;
use doseward::model::unit::Unit;
use doseward::surveillance::calendar::WorkingDays;
use doseward::surveillance::case::{
    Behind, Case, ConditionDates, Earlier, Employed, Examination, MedicalGround, Presence,
};
use doseward::surveillance::day_count::{Dates, Day};
use doseward::surveillance::evaluation::{finding, findings};
use doseward::surveillance::finding::Finding;
use doseward::surveillance::level::Levels;
use doseward::surveillance::pack::Pack;
use doseward::surveillance::programme::{Owed, owed};
use doseward::surveillance::triggers::{Question, statutory_levels};
use std::sync::LazyLock;
use uuid::Uuid;

static FREE_OF_HOLIDAYS: LazyLock<WorkingDays> = LazyLock::new(WorkingDays::default);

pub(crate) fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

/// So many dates in a row.
pub(crate) fn run(from: &str, count: usize) -> Dates {
    date(from).iter_days().take(count).collect()
}

/// Everything known of a worker.
#[derive(Debug, Clone)]
pub(crate) struct Known {
    pub(crate) agent: &'static str,
    pub(crate) rule_set: RuleSet,
    pub(crate) today: NaiveDate,
    pub(crate) days: Vec<Day>,
    pub(crate) conditions: Vec<ConditionDates>,
    pub(crate) earlier: Vec<Earlier>,
    pub(crate) releases: Vec<Presence>,
    pub(crate) grounds: Vec<MedicalGround>,
    pub(crate) examinations: Vec<Examination>,
    pub(crate) employments: Vec<Employed>,
}

impl Known {
    pub(crate) fn new(agent: &'static str, rule_set: RuleSet) -> Self {
        Self {
            agent,
            rule_set,
            today: date("2026-06-01"),
            days: Vec::new(),
            conditions: Vec::new(),
            earlier: Vec::new(),
            releases: Vec::new(),
            grounds: Vec::new(),
            examinations: Vec::new(),
            employments: Vec::new(),
        }
    }

    pub(crate) fn levels(&self) -> (Levels, Unit) {
        let (levels, unit) =
            statutory_levels(Pack::built_in().agent(self.agent).unwrap(), self.rule_set, None);
        (levels, unit.unwrap_or(Unit::MgPerM3))
    }

    pub(crate) fn case(&self) -> Case<'_> {
        let (levels, unit) = self.levels();
        Case {
            question: Question {
                agent_code: self.agent,
                rule_set: self.rule_set,
                levels,
                unit,
                learned_on: Some(self.today),
                working_days: &FREE_OF_HOLIDAYS,
            },
            today: self.today,
            days: &self.days,
            conditions: &self.conditions,
            earlier: &self.earlier,
            releases: &self.releases,
            grounds: &self.grounds,
            examinations: &self.examinations,
            employments: &self.employments,
        }
    }

    /// What becomes of one clause.
    pub(crate) fn finding(&self, trigger_id: &str) -> Finding<'static> {
        let case = self.case();
        let found = finding(
            Pack::built_in(),
            Pack::built_in().surveillance.iter().find(|rule| rule.trigger_id == trigger_id).unwrap(),
            &case,
        );
        found.unwrap_or_else(|| panic!("{trigger_id} is not evaluated"))
    }

    pub(crate) fn met(&self, trigger_id: &str) -> bool {
        self.finding(trigger_id).met
    }

    /// Everything that is owed.
    pub(crate) fn owed(&self) -> Vec<Owed> {
        let case = self.case();
        let found: Vec<Finding<'_>> = findings(Pack::built_in(), &case);
        owed(Pack::built_in(), WorkerId(Uuid::from_u128(7)), &case, &found)
    }

    /// Clause, occasion and due date of everything owed.
    pub(crate) fn told(&self) -> Vec<(String, String, String)> {
        let mut told: Vec<_> = self
            .owed()
            .into_iter()
            .map(|one| (one.duty.key.trigger_id, one.duty.key.occasion, one.duty.grounds.due_on.to_string()))
            .collect();
        told.sort();
        told
    }

    pub(crate) fn with_condition(
        mut self,
        kind: ConditionKind,
        trigger_id: Option<&str>,
        dates: Dates,
    ) -> Self {
        let behind = Behind::default();
        self.conditions.push(ConditionDates { kind, trigger_id: trigger_id.map(Into::into), dates, behind });
        self
    }
}
