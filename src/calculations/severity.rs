//! A measured average against its limit, with the sampling and analytical error.

use crate::calculations::given::{above_zero, sound};
use crate::calculations::shift_average::{SegmentInput, read_segments};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::severity::{
    CLASSIFICATION, CONSECUTIVE_LIMITS, Classification, NON_UNIFORM_LIMITS, Procedure, SEVERITY,
    SINGLE_LIMITS, UNIFORM_LIMITS, severity,
};
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

record! {
    /// Segments against a limit.
    pub struct SeverityInput {
        /// The sampled segments.
        segments: Vec<SegmentInput>,
        /// The limit.
        limit: Quantity,
        /// The one-sided 95 % sampling and analytical error, as a fraction.
        sampling_analytical_error: f64,
        /// How the limits are made; osha if left out.
        procedure: Option<Procedure>,
    }
}

record! {
    /// The severity with its one-sided limits, as multiples of the limit.
    pub struct SeverityAnswer {
        /// The average over the sampled time as a multiple of the limit; absent where it is no single number.
        severity: Option<f64>,
        /// Its one-sided lower 95 % limit.
        lower_95: f64,
        /// Its one-sided upper 95 % limit; absent without an upper end.
        upper_95: Option<f64>,
        /// What they say.
        classification: Classification,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// A measured average against its limit.
#[derive(Debug)]
pub struct Severity;

impl Calculation for Severity {
    const NAME: &'static str = "severity";
    const TITLE: &'static str = "Severity";
    const SUMMARY: &'static str = "A measured average against its limit with one-sided 95 % limits";
    const MORE: &'static str =
        "The limits cover the error of the measurement alone, not how much days differ.";
    type Input = SeverityInput;
    type Answer = SeverityAnswer;

    fn example() -> Value {
        json!({"segments": [{"concentration": {"value": 6.26, "unit": "mg/m3"}, "minutes": 240},
                {"concentration": {"value": 5.85, "unit": "mg/m3"}, "minutes": 210}],
            "limit": {"value": 5, "unit": "mg/m3"}, "sampling_analytical_error": 0.23})
    }

    fn answer(input: SeverityInput, working: &mut Working) -> Result<SeverityAnswer, Faults> {
        let mut faults = Faults::default();
        let read = read_segments(&input.segments, &mut faults);
        let limit =
            read.as_ref().and_then(|(unit, _)| above_zero(&input.limit, *unit, "/limit", &mut faults));
        let error = input.sampling_analytical_error;
        if !(0.0..1.0).contains(&error) {
            faults.note("/sampling_analytical_error", "must be a fraction from 0 to below 1");
        }
        let procedure = input.procedure.unwrap_or(Procedure::Osha);
        let found = read
            .filter(|_| faults.is_empty())
            .and_then(|(_, segments)| severity(&segments, limit?, error, procedure));
        let answer = found.map(|found| {
            let inputs = || {
                json!({"segments": input.segments.iter().map(Shape::to_json).collect::<Vec<_>>(),
                    "limit": input.limit.to_json(), "sampling_analytical_error": error})
            };
            working.step("severity", SEVERITY, || (inputs(), json!(found.severity)));
            let formula = match procedure {
                _ if input.segments.len() == 1 => SINGLE_LIMITS,
                Procedure::Osha => CONSECUTIVE_LIMITS,
                Procedure::NioshUniform => UNIFORM_LIMITS,
                Procedure::NioshNonuniform => NON_UNIFORM_LIMITS,
            };
            let limits = || json!({"lower_95": found.lower_95, "upper_95": found.upper_95});
            working.step("one-sided limits", formula, || (inputs(), limits()));
            working
                .step("classification", CLASSIFICATION, || (limits(), json!(found.classification.as_str())));
            SeverityAnswer {
                severity: found.severity,
                lower_95: found.lower_95,
                upper_95: found.upper_95,
                classification: found.classification,
                flags: words(&found.flags),
                working: None,
            }
        });
        sound(answer, faults)
    }
}
