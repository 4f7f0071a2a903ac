//! The registry's own mathematics on numbers given in a request: nothing is stored, nothing is looked up but rules.
//!
//! Each calculation reads a body, names every fault in it, and answers with figures, flags and, where asked for, the
//! working. The functions are those that the registry's conclusions use.

pub mod air_clearing;
pub mod air_volume;
pub mod bare_range;
pub mod concentration;
pub mod control_effect;
pub mod cumulative_exposure;
pub mod extended_shift;
pub mod given;
pub mod group_profile;
pub mod mixture;
pub mod noise_dose;
pub mod removal_efficiency;
pub mod sample_plan;
pub mod severity;
pub mod shift_average;
pub mod short_term;
pub mod surveillance;
pub mod unit_conversion;
pub mod working;

use crate::calculations::working::Working;
use crate::model::shape::{Faults, Shape};
use serde_json::Value;

/// A calculation on given numbers.
pub trait Calculation {
    /// Its name in the address.
    const NAME: &'static str;
    /// The name of its input and answer in the API document.
    const TITLE: &'static str;
    /// What it computes, in a few words.
    const SUMMARY: &'static str;
    /// What else there is to know.
    const MORE: &'static str = "";
    /// What it takes.
    type Input: Shape + Send;
    /// What it answers.
    type Answer: Shape;

    /// An input that is right, for the API document.
    fn example() -> Value;

    /// Computes the answer; the steps go into `working`.
    ///
    /// # Errors
    /// Every fault of the numbers by its pointer.
    fn answer(input: Self::Input, working: &mut Working) -> Result<Self::Answer, Faults>;
}

/// What is done with one calculation, for [`with_each`].
pub trait WithEach {
    /// Does it with this one.
    fn with<C: Calculation + 'static>(&mut self);
}

/// Does the same with every calculation, in the order of the API document.
pub fn with_each(what: &mut impl WithEach) {
    what.with::<air_volume::AirVolume>();
    what.with::<concentration::Concentration>();
    what.with::<unit_conversion::UnitConversion>();
    what.with::<shift_average::ShiftAverage>();
    what.with::<severity::Severity>();
    what.with::<mixture::Mixture>();
    what.with::<extended_shift::ExtendedShift>();
    what.with::<group_profile::GroupProfile>();
    what.with::<control_effect::ControlEffect>();
    what.with::<removal_efficiency::Removal>();
    what.with::<air_clearing::AirClearing>();
    what.with::<noise_dose::NoiseDose>();
    what.with::<cumulative_exposure::CumulativeExposure>();
    what.with::<sample_plan::SamplePlan>();
    what.with::<surveillance::Surveillance>();
}

/// Flags of calculations with their meaning, by room.
pub const FLAGS: &[&[(&str, &str)]] = &[
    air_volume::FLAGS,
    concentration::FLAGS,
    shift_average::FLAGS,
    short_term::FLAGS,
    crate::hygiene::severity::FLAGS,
    mixture::FLAGS,
    extended_shift::FLAGS,
    crate::hygiene::variance::FLAGS,
    crate::hygiene::posterior::FLAGS,
    control_effect::FLAGS,
    noise_dose::FLAGS,
    cumulative_exposure::FLAGS,
    crate::hygiene::sample_plan::FLAGS,
    surveillance::FLAGS,
];

/// The flags of an answer as it carries them.
fn words(flags: &[&str]) -> Vec<String> {
    flags.iter().map(|flag| (*flag).to_owned()).collect()
}
