//! How fast a room clears, from a decay of readings.

use crate::calculations::given::sound;
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::air_clearing::{AIR_CHANGES, CLEARING_TIME, Reading, air_clearing};
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Shape};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

record! {
    /// A reading at a time.
    pub struct ReadingInput {
        /// Minutes since any start.
        minutes: f64,
        /// The value, in any one unit.
        value: f64,
    }
}

record! {
    /// Readings after a source stopped.
    pub struct AirClearingInput {
        /// The readings.
        readings: Vec<ReadingInput>,
        /// What the room had before, in the unit of the readings; 0 if left out.
        background: Option<f64>,
    }
}

record! {
    /// How fast the room clears.
    pub struct AirClearingAnswer {
        /// Air changes an hour; negative where the readings rise.
        air_changes_per_hour: Option<f64>,
        /// Minutes to half.
        half_life_minutes: Option<f64>,
        /// Minutes to 1 % of the start, with perfect mixing.
        minutes_to_99_percent: Option<f64>,
        /// The share of the variance of the logarithms that the line explains.
        r_squared: Option<f64>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// How fast a room clears.
#[derive(Debug)]
pub struct AirClearing;

impl Calculation for AirClearing {
    const NAME: &'static str = "air-clearing";
    const TITLE: &'static str = "AirClearing";
    const SUMMARY: &'static str = "Air changes and clearing times from a decay of readings";
    type Input = AirClearingInput;
    type Answer = AirClearingAnswer;

    fn example() -> Value {
        json!({"readings": [{"minutes": 0, "value": 52000}, {"minutes": 5, "value": 31000}, {"minutes": 10, "value": 18500}],
            "background": 2000})
    }

    fn answer(input: AirClearingInput, working: &mut Working) -> Result<AirClearingAnswer, Faults> {
        let mut faults = Faults::default();
        if input.readings.is_empty() {
            faults.note("/readings", "must hold at least one reading");
        }
        let background = input.background.unwrap_or(0.0);
        if background < 0.0 {
            faults.note("/background", "must not be below zero");
        }
        let readings: Vec<Reading> =
            input.readings.iter().map(|one| Reading { minutes: one.minutes, value: one.value }).collect();
        let answer = faults.is_empty().then(|| {
            let found = air_clearing(&readings, background);
            let round = |value: Option<f64>| value.map(significant);
            let (changes, half) = (round(found.air_changes_per_hour), round(found.half_life_minutes));
            let cleared = round(found.minutes_to_99_percent);
            if let Some(changes) = changes {
                working.step("air changes", AIR_CHANGES, || {
                    let readings = input.readings.iter().map(Shape::to_json).collect::<Vec<_>>();
                    (json!({"readings": readings, "background": background}), json!(changes))
                });
            }
            if let Some(cleared) = cleared {
                working.step("clearing times", CLEARING_TIME, || {
                    let result = json!({"half_life_minutes": half, "minutes_to_99_percent": cleared});
                    (json!({"air_changes_per_hour": changes, "mixing_factor": 1}), result)
                });
            }
            AirClearingAnswer {
                air_changes_per_hour: changes,
                half_life_minutes: half,
                minutes_to_99_percent: cleared,
                r_squared: round(found.r_squared),
                flags: words(&found.flags),
                working: None,
            }
        });
        sound(answer, faults)
    }
}
