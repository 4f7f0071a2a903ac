//! Limits for longer shifts and weeks.

use crate::calculations::given::{CONCENTRATION, IN_AIR, above_zero, sound};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::extended_shift::ShiftModel;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Shape};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

/// The model lowers no legal limit.
pub const NOT_A_LEGAL_LIMIT: &str = "not_a_legal_limit";

/// Every flag of an extended shift with its meaning.
pub const FLAGS: &[(&str, &str)] = &[(
    NOT_A_LEGAL_LIMIT,
    "The adjusted limit is professional practice: only the lead standard changes a legal limit with the length of the shift.",
)];

record! {
    /// A limit and the hours worked.
    pub struct ExtendedShiftInput {
        /// How the limit is lowered.
        model: ShiftModel,
        /// Hours of the shift, for the daily models.
        hours_per_shift: Option<f64>,
        /// Hours of the week, for the weekly models.
        hours_per_week: Option<f64>,
        /// The limit for 8 hours and 40 hours.
        limit: Quantity,
    }
}

record! {
    /// The limit for these hours.
    pub struct ExtendedShiftAnswer {
        /// What the limit is multiplied with, at most 1.
        factor: f64,
        /// The limit for these hours.
        adjusted_limit: Quantity,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// Limits for longer shifts and weeks.
#[derive(Debug)]
pub struct ExtendedShift;

impl Calculation for ExtendedShift {
    const NAME: &'static str = "extended-shift";
    const TITLE: &'static str = "ExtendedShift";
    const SUMMARY: &'static str = "A limit for longer shifts or weeks";
    type Input = ExtendedShiftInput;
    type Answer = ExtendedShiftAnswer;

    fn example() -> Value {
        json!({"model": "brief_scala_daily", "hours_per_shift": 10, "limit": {"value": 5, "unit": "ug/m3"}})
    }

    fn answer(input: ExtendedShiftInput, working: &mut Working) -> Result<ExtendedShiftAnswer, Faults> {
        let mut faults = Faults::default();
        input.limit.must_be(IN_AIR, CONCENTRATION, "/limit", &mut faults);
        let limit = above_zero(&input.limit, input.limit.unit, "/limit", &mut faults);
        let (hours, at, longest) = if input.model.is_weekly() {
            (input.hours_per_week, "/hours_per_week", 168)
        } else {
            (input.hours_per_shift, "/hours_per_shift", 24)
        };
        let factor = hours.and_then(|hours| input.model.factor(hours));
        match (hours, factor) {
            (None, _) => faults.note(at, "is required by this model"),
            (Some(_), None) => faults.note(at, format!("must be above 0 and at most {longest}")),
            _ => {}
        }
        let answer = factor.zip(limit).filter(|_| faults.is_empty()).map(|(factor, limit)| {
            let adjusted = Quantity::computed(Measured::Value(factor * limit), input.limit.unit);
            working.step("factor", input.model.formula(), || {
                (json!({"hours": hours}), json!(significant(factor)))
            });
            working.step("adjusted limit", input.model.formula(), || {
                (json!({"factor": significant(factor), "limit": input.limit.to_json()}), adjusted.to_json())
            });
            let legal = input.model == ShiftModel::LeadDaily;
            ExtendedShiftAnswer {
                factor: significant(factor),
                adjusted_limit: adjusted,
                flags: words(if legal { &[] } else { &[NOT_A_LEGAL_LIMIT] }),
                working: None,
            }
        });
        sound(answer, faults)
    }
}
