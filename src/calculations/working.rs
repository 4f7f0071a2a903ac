//! The steps of a calculation, kept only where they are asked for.

use crate::model::working::{Formula, Step};
use serde_json::Value;

/// Steps as they come about.
#[derive(Debug, Default)]
pub struct Working {
    asked: bool,
    steps: Vec<Step>,
}

impl Working {
    /// With the steps, or without.
    pub fn new(asked: bool) -> Self {
        Self { asked, steps: Vec::new() }
    }

    /// Adds a step; `values` makes its inputs and its result. What has no result is no step.
    pub fn step(&mut self, step: &str, formula: Formula, values: impl FnOnce() -> (Value, Value)) {
        if self.asked {
            let (inputs, result) = values();
            self.keep(Step::new(step, formula, inputs, result));
        }
    }

    /// Adds steps made elsewhere.
    pub fn take(&mut self, steps: impl FnOnce() -> Vec<Step>) {
        if self.asked {
            for step in steps() {
                self.keep(step);
            }
        }
    }

    fn keep(&mut self, step: Step) {
        let nothing = step.result.is_null() || step.result.as_object().is_some_and(serde_json::Map::is_empty);
        if !nothing {
            self.steps.push(step);
        }
    }

    /// The steps, where they were asked for.
    pub fn into_steps(self) -> Option<Vec<Step>> {
        self.asked.then_some(self.steps)
    }
}
