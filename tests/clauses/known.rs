//! What is known of a worker, made short: days, examinations, grounds, and what is owed.

use crate::case::{Known, date, run};
use doseward::model::facts::rule_set::RuleSet::UsGeneralIndustry;
use doseward::model::facts::worker::MedicalGroundKind;
use doseward::model::measured::Measured;
use doseward::surveillance::case::{Act, Behind, Examination, MedicalGround};
use doseward::surveillance::day_count::Day;

/// Every day at a value from a day on, for so many days.
pub(crate) fn at(agent: &'static str, value: f64, from: &str, count: usize) -> Known {
    let days =
        run(from, count).iter().map(|on| Day { twa: Some(Measured::Value(value)), ..Day::new(on) }).collect();
    Known { days, ..Known::new(agent, UsGeneralIndustry) }
}

pub(crate) fn done(known: &mut Known, trigger_id: &str, occasion: &str, act: Act, on: &str) {
    known.examinations.push(Examination {
        trigger_id: trigger_id.into(),
        occasion: occasion.into(),
        act,
        on: date(on),
        behind: Behind { position: 90, site: None },
    });
}

pub(crate) fn ground(known: &mut Known, kind: MedicalGroundKind, on: &str, named: Option<&str>) {
    known.grounds.push(MedicalGround {
        kind,
        trigger_id: named.map(Into::into),
        on: date(on),
        agent_code: known.agent.into(),
        behind: Behind { position: 91, site: None },
    });
}

/// Occasion and due date of everything owed for a clause.
pub(crate) fn of(known: &Known, trigger_id: &str) -> Vec<(String, String)> {
    let all = known.told().into_iter().filter(|(row, ..)| row == trigger_id);
    all.map(|(_, occasion, due_on)| (occasion, due_on)).collect()
}

pub(crate) fn pairs(expected: &[(&str, &str)]) -> Vec<(String, String)> {
    expected.iter().map(|(occasion, due_on)| ((*occasion).into(), (*due_on).into())).collect()
}

/// An open assignment from here to the horizon of 1 June 2027.
pub(crate) const OPEN: usize = 500;
