//! Air through a pump.

use crate::calculations::given::{above_zero, none_below_zero, number_above_zero, plain, sound};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::air::{
    AirState, FLOW_CHANGE, MEAN_FLOW, ROTAMETER, VOLUME, flow_change_accepted, flow_change_percent,
    mean_flow, rotameter_flow, volume_litres,
};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Shape};
use crate::model::unit::{Dimension, Unit};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};
use std::ops::RangeInclusive;

/// The flow changed by more than is accepted without a word.
pub const FLOW_CHANGED: &str = "flow_changed";
/// The flow before was zero, so that no change can be told.
pub const NO_FLOW_BEFORE: &str = "no_flow_before";

/// Every flag of an air volume with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (FLOW_CHANGED, "The flow changed by more than 5 % over the run."),
    (NO_FLOW_BEFORE, "The flow before was zero, so that no change in per cent can be told."),
];

record! {
    /// Air at a flow meter.
    pub struct AirAt {
        /// Temperature.
        temperature: Quantity,
        /// Absolute pressure.
        pressure: Quantity,
    }
}

impl AirAt {
    /// In degrees Celsius and millimetres of mercury.
    pub(crate) fn read(&self, at: &str, faults: &mut Faults) -> Option<AirState> {
        state(Some(&self.temperature), Some(&self.pressure), at, faults)
    }
}

/// Absolute zero in degrees Celsius.
pub(crate) const ABSOLUTE_ZERO: f64 = -273.15;
/// Gas in a furnace is no hotter, in degrees Celsius (our own choice).
const HOTTEST_CELSIUS: f64 = 3000.0;
/// From a good vacuum to a diving bell in deep water, in mmHg (our own choice): beyond lies a wrong unit.
const PRESSURE_MMHG: RangeInclusive<f64> = 1.0..=100_000.0;
/// From a hydrogen atom to a large polymer, in g/mol (our own choice): beyond lies a wrong unit.
const MOLAR_MASS: RangeInclusive<f64> = 1.0..=1_000_000.0;

/// A molar mass in g/mol.
pub(crate) fn molar_mass(given: &Quantity, faults: &mut Faults) -> Option<f64> {
    let mass = above_zero(given, Unit::GPerMol, "/molar_mass", faults)?;
    if MOLAR_MASS.contains(&mass) {
        return Some(mass);
    }
    let (least, most) = (MOLAR_MASS.start(), MOLAR_MASS.end());
    faults.note("/molar_mass/value", format!("must be {least} to {most} g/mol"));
    None
}

/// A state of the air, by default 25 °C and 760 mmHg.
pub(crate) fn state(
    temperature: Option<&Quantity>,
    pressure: Option<&Quantity>,
    at: &str,
    faults: &mut Faults,
) -> Option<AirState> {
    let temperature = match temperature {
        Some(given) => {
            let at = format!("{at}/temperature");
            let celsius = plain(given, Unit::Celsius, &at, faults);
            if celsius.is_some_and(|celsius| celsius <= ABSOLUTE_ZERO || celsius > HOTTEST_CELSIUS) {
                faults.note(
                    format!("{at}/value"),
                    format!("must be above absolute zero and at most {HOTTEST_CELSIUS} Cel"),
                );
            }
            celsius
        }
        None => Some(25.0),
    };
    let pressure = match pressure {
        Some(given) => {
            let at = format!("{at}/pressure");
            let pressure = above_zero(given, Unit::MmHg, &at, faults);
            if pressure.is_some_and(|pressure| !PRESSURE_MMHG.contains(&pressure)) {
                let (least, most) = (PRESSURE_MMHG.start(), PRESSURE_MMHG.end());
                faults.note(format!("{at}/value"), format!("must be {least} to {most} mm[Hg]"));
            }
            pressure
        }
        None => Some(760.0),
    };
    Some(AirState { temperature: temperature?, pressure: pressure? })
}

record! {
    /// A rotameter calibrated in other air than that in which it was read.
    pub struct Rotameter {
        /// The air of its calibration.
        calibrated_at: AirAt,
        /// The air in which it was read.
        used_at: AirAt,
    }
}

record! {
    /// A further run of the same sample.
    pub struct Run {
        /// The flow before it.
        flow_before: Quantity,
        /// The flow after it.
        flow_after: Quantity,
        /// Its minutes.
        minutes: f64,
    }
}

record! {
    /// Flows before and after a run.
    pub struct AirVolumeInput {
        /// The flow before.
        flow_before: Quantity,
        /// The flow after.
        flow_after: Quantity,
        /// Minutes that the pump ran.
        minutes: f64,
        /// Where the flows are readings of a rotameter in other air than that of its calibration.
        rotameter: Option<Rotameter>,
        /// Further runs of the same sample.
        further_runs: Option<Vec<Run>>,
    }
}

record! {
    /// The air that was drawn.
    pub struct AirVolumeAnswer {
        /// The mean flow, over all runs by their minutes.
        mean_flow: Quantity,
        /// The change of the flow in per cent of the flow before; of several runs the largest change.
        flow_change_percent: Option<f64>,
        /// The volume.
        volume: Quantity,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// Air through a pump.
#[derive(Debug)]
pub struct AirVolume;

struct Flows {
    before: f64,
    after: f64,
    minutes: f64,
}

impl Calculation for AirVolume {
    const NAME: &'static str = "air-volume";
    const TITLE: &'static str = "AirVolume";
    const SUMMARY: &'static str = "Air volume from the flows before and after a run";
    type Input = AirVolumeInput;
    type Answer = AirVolumeAnswer;

    fn example() -> Value {
        json!({"flow_before": {"value": 2.05, "unit": "L/min"}, "flow_after": {"value": 1.99, "unit": "L/min"},
            "minutes": 465})
    }

    fn answer(input: AirVolumeInput, working: &mut Working) -> Result<AirVolumeAnswer, Faults> {
        let mut faults = Faults::default();
        input.flow_before.must_be(&[Dimension::Flow], "flow", "/flow_before", &mut faults);
        let air = input.rotameter.as_ref().map(|rotameter| {
            let calibrated = rotameter.calibrated_at.read("/rotameter/calibrated_at", &mut faults);
            calibrated.zip(rotameter.used_at.read("/rotameter/used_at", &mut faults))
        });
        let first = Run {
            flow_before: input.flow_before.clone(),
            flow_after: input.flow_after.clone(),
            minutes: input.minutes,
        };
        let mut runs = vec![flows(&first, "", &mut faults)];
        for (n, run) in input.further_runs.iter().flatten().enumerate() {
            runs.push(flows(run, &format!("/further_runs/{n}"), &mut faults));
        }
        let computed = runs.into_iter().collect::<Option<Vec<_>>>().filter(|_| faults.is_empty());
        let answer = computed.and_then(|runs| compute(&runs, air.flatten(), input.flow_before.unit, working));
        sound(answer, faults)
    }
}

/// The flows of a run in L/min.
fn flows(run: &Run, at: &str, faults: &mut Faults) -> Option<Flows> {
    let mut flow = |quantity: &Quantity, name: &str| {
        let at = format!("{at}/{name}");
        none_below_zero(quantity, &at, faults);
        plain(quantity, Unit::LPerMin, &at, faults)
    };
    let (before, after) = (flow(&run.flow_before, "flow_before"), flow(&run.flow_after, "flow_after"));
    let minutes = number_above_zero(run.minutes, &format!("{at}/minutes"), faults);
    Some(Flows { before: before?, after: after?, minutes: minutes? })
}

fn compute(
    runs: &[Flows],
    air: Option<(AirState, AirState)>,
    unit: Unit,
    working: &mut Working,
) -> Option<AirVolumeAnswer> {
    let litres = |value: f64, unit: Unit| Quantity::computed(Measured::Value(value), unit).to_json();
    let mut flags = Vec::new();
    let (mut volume, mut minutes, mut largest) = (0.0, 0.0, None::<f64>);
    for run in runs {
        let actual = |reading: f64| match air {
            Some((calibrated, used)) => rotameter_flow(reading, calibrated, used),
            None => Some(reading),
        };
        let (before, after) = (actual(run.before)?, actual(run.after)?);
        if let Some((calibrated, used)) = air {
            working.step("actual flows", ROTAMETER, || {
                let state = |air: AirState| json!({"temperature_celsius": air.temperature, "pressure_mmhg": air.pressure});
                (
                    json!({"readings": [litres(run.before, Unit::LPerMin), litres(run.after, Unit::LPerMin)],
                        "calibrated_at": state(calibrated), "used_at": state(used)}),
                    json!([litres(before, Unit::LPerMin), litres(after, Unit::LPerMin)]),
                )
            });
        }
        let mean = mean_flow(before, after);
        working.step("mean flow", MEAN_FLOW, || {
            let inputs = json!({"flow_before": litres(before, Unit::LPerMin), "flow_after": litres(after, Unit::LPerMin)});
            (inputs, litres(mean, Unit::LPerMin))
        });
        match flow_change_percent(before, after).map(significant) {
            Some(change) => {
                working.step("flow change", FLOW_CHANGE, || {
                    let inputs = json!({"flow_before": litres(before, Unit::LPerMin), "flow_after": litres(after, Unit::LPerMin)});
                    (inputs, json!(change))
                });
                if largest.is_none_or(|largest| change.abs() > largest.abs()) {
                    largest = Some(change);
                }
            }
            None if !flags.contains(&NO_FLOW_BEFORE) => flags.push(NO_FLOW_BEFORE),
            None => {}
        }
        let drawn = volume_litres(mean, run.minutes);
        working.step("volume", VOLUME, || {
            (
                json!({"mean_flow": litres(mean, Unit::LPerMin), "minutes": run.minutes}),
                litres(drawn, Unit::L),
            )
        });
        volume += drawn;
        minutes += run.minutes;
    }
    if largest.is_some_and(|change| !flow_change_accepted(change)) {
        flags.push(FLOW_CHANGED);
    }
    Some(AirVolumeAnswer {
        mean_flow: Quantity::computed(Measured::Value(Unit::LPerMin.convert(volume / minutes, unit)?), unit),
        flow_change_percent: largest,
        volume: Quantity::computed(Measured::Value(volume), Unit::L),
        flags: words(&flags),
        working: None,
    })
}
