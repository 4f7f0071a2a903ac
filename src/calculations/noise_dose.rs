//! Noise as a dose.

use crate::calculations::bare_range::BareRange;
use crate::calculations::given::{measured, number_above_zero, sound};
use crate::calculations::shift_average::{DAY_MINUTES, LONGER_THAN_A_DAY};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::noise::{DOSE, EIGHT_HOUR_LEVEL, LevelSegment, noise_dose};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::unit::{Dimension, Unit};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

/// The dose is a range, given beside.
pub const DOSE_IS_A_RANGE: &str = "dose_is_a_range";
/// No level counts, so that there is no level for the dose.
pub const NO_DOSE: &str = "no_dose";

/// Every flag of a noise dose with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (
        DOSE_IS_A_RANGE,
        "A level is a bound or a range: the dose is no number but lies between the ends given.",
    ),
    (NO_DOSE, "No level reaches the threshold: the dose is 0, and no 8-hour level stands for it."),
];

/// No sound is louder than this, in dBA.
const LEVEL_MOST: f64 = 194.0;

record! {
    /// A steady level over some time.
    pub struct LevelSegmentInput {
        /// The level, A-weighted.
        level: Quantity,
        /// Its minutes.
        minutes: f64,
    }
}

record! {
    /// Levels over a shift, and the criterion by which they count.
    pub struct NoiseDoseInput {
        /// The levels.
        segments: Vec<LevelSegmentInput>,
        /// The criterion.
        criterion: NoiseCriterion,
    }
}

record! {
    /// The dose and the level that stands for it.
    pub struct NoiseDoseAnswer {
        /// Per cent of what the criterion allows in a day; absent where it is a range.
        dose_percent: Option<f64>,
        /// The ends of the dose, where it is a range.
        dose_percent_range: Option<BareRange>,
        /// The steady 8-hour level that makes this dose; absent for a dose of 0.
        eight_hour_twa: Option<Quantity>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// Noise as a dose.
#[derive(Debug)]
pub struct NoiseDose;

impl Calculation for NoiseDose {
    const NAME: &'static str = "noise-dose";
    const TITLE: &'static str = "NoiseDose";
    const SUMMARY: &'static str = "Noise dose and 8-hour level by one of three criteria";
    const MORE: &'static str = "Hearing protectors are ignored.";
    type Input = NoiseDoseInput;
    type Answer = NoiseDoseAnswer;

    fn example() -> Value {
        json!({"segments": [{"level": {"value": 92, "unit": "dB[A]"}, "minutes": 240},
            {"level": {"value": 84, "unit": "dB[A]"}, "minutes": 210}], "criterion": "osha_action_level"})
    }

    fn answer(input: NoiseDoseInput, working: &mut Working) -> Result<NoiseDoseAnswer, Faults> {
        let mut faults = Faults::default();
        if input.segments.is_empty() {
            faults.note("/segments", "must hold at least one segment");
        }
        let read: Vec<Option<LevelSegment>> = input
            .segments
            .iter()
            .enumerate()
            .map(|(n, segment)| {
                let at = format!("/segments/{n}/level");
                segment.level.must_be(&[Dimension::SoundLevel], "sound level", &at, &mut faults);
                let level = measured(&segment.level, Unit::DbA, &at, &mut faults);
                let possible = |level: Measured| {
                    level.lower() >= 0.0 && level.upper().unwrap_or(level.lower()) <= LEVEL_MOST
                };
                if level.is_some_and(|level| !possible(level)) {
                    faults.note(format!("{at}/value"), format!("must be 0 to {LEVEL_MOST}"));
                }
                let minutes =
                    number_above_zero(segment.minutes, &format!("/segments/{n}/minutes"), &mut faults);
                Some(LevelSegment { level: level?, minutes: minutes? })
            })
            .collect();
        let segments: Option<Vec<LevelSegment>> = read.into_iter().collect();
        let answer = segments.filter(|_| faults.is_empty()).map(|segments| {
            let found = noise_dose(&segments, input.criterion);
            let dose = found.dose_percent.rounded();
            let plain = match dose {
                Measured::Value(value) => Some(value),
                _ => None,
            };
            let range = plain.is_none().then(|| BareRange::of(dose));
            let twa = found.eight_hour_twa.map(|twa| Quantity::computed(twa, Unit::DbA));
            let shown = || range.as_ref().map_or_else(|| json!(plain), Shape::to_json);
            working.step("dose in per cent", DOSE, || {
                let list: Vec<Value> = input.segments.iter().map(Shape::to_json).collect();
                (json!({"segments": list, "criterion": input.criterion.as_str()}), shown())
            });
            if let Some(twa) = &twa {
                working.step("8-hour level", EIGHT_HOUR_LEVEL, || {
                    (json!({"dose_percent": shown()}), twa.to_json())
                });
            }
            let mut flags = Vec::new();
            if plain.is_none() {
                flags.push(DOSE_IS_A_RANGE);
            }
            if twa.is_none() {
                flags.push(NO_DOSE);
            }
            if segments.iter().map(|segment| segment.minutes).sum::<f64>() > DAY_MINUTES {
                flags.push(LONGER_THAN_A_DAY);
            }
            NoiseDoseAnswer {
                dose_percent: plain,
                dose_percent_range: range,
                eight_hour_twa: twa,
                flags: words(&flags),
                working: None,
            }
        });
        sound(answer, faults)
    }
}
