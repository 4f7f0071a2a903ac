//! Agents that act alike, as shares of their limits.

use crate::calculations::bare_range::BareRange;
use crate::calculations::given::{CONCENTRATION, IN_AIR, above_zero, measured, none_below_zero, sound};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::mixture::{Component, EQUIVALENT_EXPOSURE, MIXTURE_ERROR, mixture};
use crate::model::measured::{Answer, Measured};
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Shape};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

/// The sum is a range, given beside.
pub const SUM_IS_A_RANGE: &str = "sum_is_a_range";
/// What is known does not tell whether the sum is above 1.
pub const CANNOT_TELL: &str = "cannot_tell";
/// The error of the sum needs plain values, and one of each component.
pub const NO_MIXTURE_ERROR: &str = "no_mixture_error";

/// Every flag of a mixture with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (
        SUM_IS_A_RANGE,
        "A component is a bound or a range: the sum is no number but lies between the ends given.",
    ),
    (CANNOT_TELL, "What is known does not tell whether the sum is above 1."),
    (
        NO_MIXTURE_ERROR,
        "The error of the sum needs a plain value and an error of every component, and a sum above zero.",
    ),
];

record! {
    /// One agent of a mixture.
    pub struct ComponentInput {
        /// Its concentration.
        concentration: Quantity,
        /// Its limit.
        limit: Quantity,
        /// Its sampling and analytical error, as a fraction.
        sampling_analytical_error: Option<f64>,
    }
}

record! {
    /// Agents that act alike.
    pub struct MixtureInput {
        /// The agents.
        components: Vec<ComponentInput>,
    }
}

record! {
    /// A mixture against its limits.
    pub struct MixtureAnswer {
        /// The sum of the shares; absent where it is a range.
        equivalent_exposure: Option<f64>,
        /// The ends of the sum, where it is a range.
        equivalent_exposure_range: Option<BareRange>,
        /// Whether the sum is above 1; absent where that cannot be told.
        exceeds: Option<bool>,
        /// The sampling and analytical error of the sum.
        mixture_error: Option<f64>,
        /// What the sum must pass to be shown above 1 at 95 % confidence.
        control_limit: Option<f64>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// Agents that act alike.
#[derive(Debug)]
pub struct Mixture;

impl Calculation for Mixture {
    const NAME: &'static str = "mixture";
    const TITLE: &'static str = "Mixture";
    const SUMMARY: &'static str = "Equivalent exposure of agents that act alike";
    const MORE: &'static str =
        "Only agents that are known to act alike may be added; that is a professional's judgement.";
    type Input = MixtureInput;
    type Answer = MixtureAnswer;

    fn example() -> Value {
        json!({"components": [
            {"concentration": {"value": 500, "unit": "[ppm]"}, "limit": {"value": 1000, "unit": "[ppm]"}, "sampling_analytical_error": 0.089},
            {"concentration": {"value": 80, "unit": "[ppm]"}, "limit": {"value": 200, "unit": "[ppm]"}, "sampling_analytical_error": 0.11}]})
    }

    fn answer(input: MixtureInput, working: &mut Working) -> Result<MixtureAnswer, Faults> {
        let mut faults = Faults::default();
        if input.components.is_empty() {
            faults.note("/components", "must hold at least one component");
        }
        let read: Vec<Option<Component>> = input
            .components
            .iter()
            .enumerate()
            .map(|(n, component)| {
                let at = |field: &str| format!("/components/{n}/{field}");
                let unit = component.limit.unit;
                component.limit.must_be(IN_AIR, CONCENTRATION, &at("limit"), &mut faults);
                let limit = above_zero(&component.limit, unit, &at("limit"), &mut faults);
                none_below_zero(&component.concentration, &at("concentration"), &mut faults);
                let concentration =
                    measured(&component.concentration, unit, &at("concentration"), &mut faults);
                let error = component.sampling_analytical_error;
                if error.is_some_and(|error| !(0.0..1.0).contains(&error)) {
                    faults.note(at("sampling_analytical_error"), "must be a fraction from 0 to below 1");
                }
                Some(Component {
                    concentration: concentration?,
                    limit: limit?,
                    sampling_analytical_error: error,
                })
            })
            .collect();
        let components: Option<Vec<Component>> = read.into_iter().collect();
        let found = components.filter(|_| faults.is_empty()).and_then(|components| mixture(&components));
        let answer = found.map(|found| {
            let sum = found.equivalent_exposure.rounded();
            let (exceeds, error) = (found.exceeds, found.mixture_error.map(significant));
            let inputs = || json!(input.components.iter().map(Shape::to_json).collect::<Vec<_>>());
            let range = BareRange::of(sum);
            let plain = match sum {
                Measured::Value(value) => Some(value),
                _ => None,
            };
            working.step("equivalent exposure", EQUIVALENT_EXPOSURE, || {
                (inputs(), plain.map_or_else(|| range.to_json(), |sum| json!(sum)))
            });
            if let Some(error) = error {
                working.step("error of the sum", MIXTURE_ERROR, || {
                    (inputs(), json!({"mixture_error": error, "control_limit": significant(1.0 + error)}))
                });
            }
            let conditions = [
                (plain.is_none(), SUM_IS_A_RANGE),
                (exceeds == Answer::CannotTell, CANNOT_TELL),
                (error.is_none(), NO_MIXTURE_ERROR),
            ];
            let flags: Vec<&str> =
                conditions.into_iter().filter(|(holds, _)| *holds).map(|(_, flag)| flag).collect();
            MixtureAnswer {
                equivalent_exposure: plain,
                equivalent_exposure_range: plain.is_none().then_some(range),
                exceeds: (exceeds != Answer::CannotTell).then_some(exceeds == Answer::AtOrAbove),
                mixture_error: error,
                control_limit: found.control_limit.map(significant),
                flags: words(&flags),
                working: None,
            }
        });
        sound(answer, faults)
    }
}
