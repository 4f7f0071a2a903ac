//! The words for an interval of the ratio, and the ratio as a reduction.

use crate::model::rounding::significant;
use crate::model::working::Formula;
use crate::words;

/// From a ratio to a reduction.
pub const REDUCTION: Formula = Formula {
    formula: "reduction_percent = 100 (1 - ratio), its limits those of the ratio swapped",
    source: "common practice (arithmetic)",
};

/// The reduction in per cent that a ratio of with to without is.
///
/// # Formula
/// `100 (1 - ratio)` per cent. Arithmetic.
///
/// ```
/// use doseward::hygiene::control_effect::reduction_percent;
/// assert_eq!(reduction_percent(0.25), 75.0);
/// ```
pub fn reduction_percent(ratio: f64) -> f64 {
    100.0 * (1.0 - ratio)
}

/// The verdict.
pub const VERDICT: Formula = Formula {
    formula: "lowered: interval of the ratio wholly below 1; raised: wholly above; no_difference_shown: holds 1 and \
              lies wholly above 1 - target; else undecided. target met: wholly below 1 - target; not_met: wholly above",
    source: "this registry's rule",
};

words! {
    /// What the interval of the ratio says of the control.
    pub enum Verdict {
        /// Exposure was lower with the control.
        Lowered = "lowered",
        /// Exposure was higher with the control.
        Raised = "raised",
        /// The interval holds 1 and rules the target out.
        NoDifferenceShown = "no_difference_shown",
        /// The interval holds 1 and the target.
        Undecided = "undecided",
    }
}

words! {
    /// What the interval of the ratio says of the target reduction.
    pub enum TargetAnswer {
        /// The reduction is at least the target.
        Met = "met",
        /// It is less.
        NotMet = "not_met",
        /// The interval holds the target.
        Unsettled = "unsettled",
    }
}

/// The words for a two-sided 95 % interval of with/without; `target` is the ratio that meets the target.
///
/// # Formula
/// By where the interval of the ratio (no unit) lies to 1 and to the target. This registry's rule.
///
/// ```
/// use doseward::hygiene::control_effect::{TargetAnswer, Verdict, judge};
/// // A target of 50 %: a ratio of 0.5.
/// assert_eq!(judge(Some(0.1), Some(0.4), 0.5), (Verdict::Lowered, TargetAnswer::Met));
/// assert_eq!(judge(Some(0.6), Some(1.2), 0.5), (Verdict::NoDifferenceShown, TargetAnswer::NotMet));
/// ```
pub fn judge(lower_95: Option<f64>, upper_95: Option<f64>, target: f64) -> (Verdict, TargetAnswer) {
    let lower = significant(lower_95.unwrap_or(0.0));
    let upper = significant(upper_95.unwrap_or(f64::INFINITY));
    let target = significant(target);
    let answer = if upper < target {
        TargetAnswer::Met
    } else if lower > target {
        TargetAnswer::NotMet
    } else {
        TargetAnswer::Unsettled
    };
    let verdict = if upper < 1.0 {
        Verdict::Lowered
    } else if lower > 1.0 {
        Verdict::Raised
    } else if answer == TargetAnswer::NotMet {
        Verdict::NoDifferenceShown
    } else {
        Verdict::Undecided
    };
    (verdict, answer)
}
