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
    /// A step from its formula; what was not given, or cannot be computed, is left out of inputs and result.
    pub fn new(step: impl Into<String>, formula: Formula, inputs: Value, result: Value) -> Self {
        Self {
            step: step.into(),
            formula: formula.formula.into(),
            inputs: without_nulls(inputs),
            result: without_nulls(result),
            source: formula.source.into(),
        }
    }
}

/// A value without the members that are null.
fn without_nulls(value: Value) -> Value {
    match value {
        Value::Object(members) => members
            .into_iter()
            .filter(|(_, member)| !member.is_null())
            .map(|(name, member)| (name, without_nulls(member)))
            .collect(),
        Value::Array(items) => items.into_iter().map(without_nulls).collect(),
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    #[test]
    fn what_is_not_there_is_left_out_of_a_step() {
        let formula = Formula { formula: "a + b", source: "Arithmetic" };
        let step = Step::new("sum", formula, json!({"a": 1, "b": {"c": null}}), json!([{"d": null, "e": 2}]));
        assert_eq!((step.inputs, step.result), (json!({"a": 1, "b": {}}), json!([{"e": 2}])));
    }
}
