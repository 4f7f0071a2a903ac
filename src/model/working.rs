//! How a number came about: the steps an inspector can redo with a pocket calculator.

use crate::record;
use serde_json::Value;

/// A formula with the published source it comes from; stands beside the function that computes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Formula {
    /// The formula in plain symbols.
    pub formula: &'static str,
    /// Document, edition and section; or "common practice"; or "this registry's rule".
    pub source: &'static str,
}

record! {
    /// One step of a working.
    pub struct Step {
        /// What the step computes.
        step: String,
        /// The formula in plain symbols.
        formula: String,
        /// What went in, with units in the names or as quantities.
        inputs: Value,
        /// What came out.
        result: Value,
        /// The published source of the formula, or the rule of this registry.
        source: String,
    }
}

impl Step {
    /// A step from its formula.
    pub fn new(step: impl Into<String>, formula: Formula, inputs: Value, result: Value) -> Self {
        Self {
            step: step.into(),
            formula: formula.formula.into(),
            inputs,
            result,
            source: formula.source.into(),
        }
    }
}
