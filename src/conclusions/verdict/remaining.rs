//! Whether what remains with a control is sufficient, from whole shifts on which it ran, or projected from the task.

use crate::conclusions::limits::rule_set_on;
use crate::conclusions::verdict::case::Case;
use crate::conclusions::verdict::shift_value::ShiftValue;
use crate::conclusions::verdict::thresholds::PROJECTION;
use crate::conclusions::verdict::view::{PROJECTED, USUAL_MINUTES_NOT_STATED};
use crate::hygiene::shift::EIGHT_HOURS_MINUTES;
use crate::hygiene::sufficiency::{Levels, SUFFICIENCY, Sufficiency, sufficiency};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape;
use crate::model::working::Step;
use chrono::NaiveDate;
use serde_json::{Value, json};

/// The answer, what is to be known of it, and how it came about.
#[derive(Debug, Clone, Default)]
pub(super) struct Remaining {
    pub(super) answer: Option<Sufficiency>,
    pub(super) flags: Vec<&'static str>,
    pub(super) step: Option<Step>,
}

impl Case<'_, '_> {
    /// The law's levels on a date, in the unit of all values; those in force today without a date.
    pub(super) fn levels_on(&self, date: Option<NaiveDate>) -> Levels {
        let on = date.unwrap_or(NaiveDate::MAX);
        let rule_set = rule_set_on(self.evidence.group, on);
        let agent = self.evidence.agent;
        Levels {
            limit: agent.statutory_twa(rule_set, on, self.unit),
            action_level: agent.action_level(rule_set, on, self.unit),
        }
    }

    /// What remains in the breathing zone: 8-hour averages of shifts on which the control ran all the sampled time; without
    /// such, the concentration with the control over the usual minutes of the task.
    pub(super) fn remaining(&self, with: &[ShiftValue]) -> Remaining {
        let control = self.control_id();
        let whole: Vec<(NaiveDate, Measured)> = self
            .evidence
            .whole_shifts
            .iter()
            .filter(|shift| shift.ran.contains(&control))
            .map(|shift| (shift.shift_date, shift.twa))
            .collect();
        if !whole.is_empty() {
            return self.judged(&whole, &[]);
        }
        let Some(minutes) = self.evidence.task.fact.usual_minutes_per_shift else {
            return Remaining { flags: vec![USUAL_MINUTES_NOT_STATED], ..Remaining::default() };
        };
        // What people breathe: the background is part of it.
        let share = minutes / EIGHT_HOURS_MINUTES;
        let projected: Vec<(NaiveDate, Measured)> =
            with.iter().map(|one| (one.date, one.gross.scaled(share).rounded())).collect();
        if projected.is_empty() {
            return Remaining::default();
        }
        self.judged(&projected, &[PROJECTED])
    }

    fn judged(&self, averages: &[(NaiveDate, Measured)], flags: &[&'static str]) -> Remaining {
        let levels = self.levels_on(averages.iter().map(|(date, _)| *date).max());
        let results: Vec<Measured> = averages.iter().map(|(_, twa)| *twa).collect();
        let Some((answer, of_prior)) = sufficiency(&results, levels, None) else {
            return Remaining { flags: flags.to_vec(), ..Remaining::default() };
        };
        let quantity = |measured: Measured| Quantity::computed(measured, self.unit).to_json();
        let level = |level: Option<f64>| level.map(|level| quantity(Measured::Value(level)));
        let listed: Vec<Value> = averages
            .iter()
            .map(|(date, twa)| json!({"date": date.to_json(), "eight_hour_twa": quantity(*twa)}))
            .collect();
        let inputs = json!({"averages": listed, "limit": level(levels.limit),
            "action_level": level(levels.action_level),
            "projection": flags.contains(&PROJECTED).then_some(PROJECTION.formula)});
        Remaining {
            answer: Some(answer),
            flags: flags.iter().copied().chain(of_prior).collect(),
            step: Some(Step::new("sufficiency", SUFFICIENCY, inputs, json!(answer.as_str()))),
        }
    }
}
