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

    /// Adds a step; `values` makes its inputs and its result.
    pub fn step(&mut self, step: &str, formula: Formula, values: impl FnOnce() -> (Value, Value)) {
        if self.asked {
            let (inputs, result) = values();
            self.steps.push(Step::new(step, formula, inputs, result));
        }
    }

    /// Adds steps made elsewhere.
    pub fn take(&mut self, steps: impl FnOnce() -> Vec<Step>) {
        if self.asked {
            self.steps.extend(steps());
        }
    }

    /// The steps, where they were asked for.
    pub fn into_steps(self) -> Option<Vec<Step>> {
        self.asked.then_some(self.steps)
    }
}
