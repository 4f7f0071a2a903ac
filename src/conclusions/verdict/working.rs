//! How a verdict came about, step by step.

use crate::conclusions::effect_working::effect_steps;
use crate::conclusions::verdict::confounder::{Confounder, Values, arc_minutes_an_hour};
use crate::conclusions::verdict::shift_value::ShiftValue;
use crate::conclusions::verdict::sides::Sides;
use crate::conclusions::verdict::task_sample::TaskSample;
use crate::conclusions::verdict::thresholds::{
    CONFOUNDERS, NET_OF_BACKGROUND, ONE_LEVEL_A_SHIFT, ONE_VALUE_A_SHIFT, PAIRED, SIDES,
};
use crate::hygiene::control_effect::{ControlEffect, Question};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::ControlId;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::working::Step;
use chrono::NaiveDate;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// A comparison with everything that was found on the way.
#[derive(Debug, Clone, PartialEq)]
pub struct Compared<'s> {
    /// The control.
    pub control: ControlId,
    /// By which criterion, for noise.
    pub criterion: Option<NoiseCriterion>,
    /// The unit of all values.
    pub unit: Unit,
    /// The samples.
    pub sides: Sides<'s>,
    /// One value a shift.
    pub values: Values,
    /// How they were compared.
    pub question: Question,
    /// The figures.
    pub effect: ControlEffect,
    /// What else differed.
    pub confounders: Vec<Confounder>,
}

impl Compared<'_> {
    /// The dates of the samples.
    pub fn dates(&self) -> BTreeSet<NaiveDate> {
        self.sides.all().map(|sample| sample.date).collect()
    }

    pub(super) fn quantity(&self, measured: Measured) -> Value {
        Quantity::computed(measured, self.unit).to_json()
    }

    /// The steps from the samples to the verdict.
    pub fn steps(&self) -> Vec<Step> {
        let Self { sides, values, effect, .. } = self;
        let ids = |side: &[&TaskSample]| side.iter().map(|sample| sample.id.to_json()).collect::<Vec<_>>();
        let others: Vec<Value> = sides.others.iter().map(Shape::to_json).collect();
        let mut steps = vec![Step::new(
            "samples compared",
            SIDES,
            json!({"control_id": self.control.to_json(), "other_control_ids_running": others}),
            json!({"without": ids(&sides.without), "with": ids(&sides.with)}),
        )];
        self.push_values("without", &values.without, &sides.without, &mut steps);
        self.push_values("with", &values.with, &sides.with, &mut steps);
        let numbers =
            |side: &[ShiftValue]| side.iter().map(|one| self.quantity(one.value)).collect::<Vec<_>>();
        let inputs = json!({"without": numbers(&values.without), "with": numbers(&values.with)});
        steps.push(Step::new("pairing", PAIRED, inputs, json!(self.question.paired)));
        let found: Vec<Value> = self.confounders.iter().map(Shape::to_json).collect();
        steps.push(Step::new("confounders", CONFOUNDERS, self.conditions(), json!(found)));
        if self.criterion.is_none() {
            let plain = |side: &[ShiftValue]| side.iter().map(|one| one.value).collect::<Vec<_>>();
            let (without, with) = (plain(&values.without), plain(&values.with));
            steps.extend(effect_steps(effect, (&without, &with), self.unit, &self.question));
        }
        steps
    }

    fn push_values(&self, state: &str, side: &[ShiftValue], samples: &[&TaskSample], steps: &mut Vec<Step>) {
        let formula = if self.criterion.is_some() { ONE_LEVEL_A_SHIFT } else { ONE_VALUE_A_SHIFT };
        for one in side {
            let inputs: Vec<Value> = samples
                .iter()
                .filter(|sample| sample.place == one.place && sample.date == one.date)
                .map(|sample| {
                    json!({"sample_id": sample.id.to_json(), "concentration": self.quantity(sample.value),
                        "minutes": sample.minutes})
                })
                .collect();
            let step = format!("value {state}, {}", one.date);
            let gross = self.quantity(one.gross);
            steps.push(Step::new(step.clone(), formula, json!(inputs), gross.clone()));
            if let Some(background) = one.background {
                let inputs = json!({"value": gross, "background": self.quantity(background)});
                steps.push(Step::new(step, NET_OF_BACKGROUND, inputs, self.quantity(one.value)));
            }
        }
    }

    /// The conditions that are compared for confounding.
    fn conditions(&self) -> Value {
        let state = |samples: &[&TaskSample], side: &[ShiftValue]| {
            let set = |of: fn(&TaskSample) -> Option<String>| -> BTreeSet<String> {
                samples.iter().filter_map(|sample| of(sample)).collect()
            };
            json!({
                "arc_minutes_per_hour": arc_minutes_an_hour(samples),
                "minutes": side.iter().map(|one| one.minutes).collect::<Vec<_>>(),
                "dates": set(|sample| Some(sample.date.to_string())),
                "materials": set(|sample| sample.materials.clone()),
                "locations": set(|sample| sample.location.clone()),
                "covers": set(|sample| Some(sample.covers.as_str().to_owned())),
            })
        };
        json!({"without": state(&self.sides.without, &self.values.without),
            "with": state(&self.sides.with, &self.values.with)})
    }
}
