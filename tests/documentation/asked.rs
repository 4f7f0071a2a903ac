//! Every calculation by its name, answering as the API does.

use doseward::calculations::Calculation;
use doseward::calculations::working::Working;
use doseward::calculations::{
    air_clearing::AirClearing, air_volume::AirVolume, concentration::Concentration,
    control_effect::ControlEffect, cumulative_exposure::CumulativeExposure, extended_shift::ExtendedShift,
    group_profile::GroupProfile, mixture::Mixture, noise_dose::NoiseDose, removal_efficiency::Removal,
    sample_plan::SamplePlan, severity::Severity, shift_average::ShiftAverage, surveillance::Surveillance,
    unit_conversion::UnitConversion,
};
use doseward::model::shape::Shape as _;
use serde_json::{Value, json};

/// A calculation that can be asked.
pub(crate) struct Asked {
    /// Its name in the address.
    pub name: &'static str,
    /// The example of the API document.
    pub example: fn() -> Value,
    /// Its answer with the working.
    pub answer: fn(&Value) -> Value,
}

const fn of<C: Calculation>() -> Asked {
    Asked { name: C::NAME, example: C::example, answer: answer::<C> }
}

fn answer<C: Calculation>(input: &Value) -> Value {
    let input = C::Input::parse(input).unwrap_or_else(|faults| panic!("{}: {faults:?}", C::NAME));
    let mut working = Working::new(true);
    let answer = C::answer(input, &mut working).unwrap_or_else(|faults| panic!("{}: {faults:?}", C::NAME));
    let mut answer = answer.to_json();
    answer["working"] = working.into_steps().map_or(json!([]), |steps| steps.to_json());
    answer
}

/// All of them.
pub(crate) const ALL: [Asked; 15] = [
    of::<AirVolume>(),
    of::<Concentration>(),
    of::<UnitConversion>(),
    of::<ShiftAverage>(),
    of::<Severity>(),
    of::<Mixture>(),
    of::<ExtendedShift>(),
    of::<GroupProfile>(),
    of::<ControlEffect>(),
    of::<Removal>(),
    of::<AirClearing>(),
    of::<NoiseDose>(),
    of::<CumulativeExposure>(),
    of::<SamplePlan>(),
    of::<Surveillance>(),
];
