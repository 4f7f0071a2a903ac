//! Reading given quantities in one unit, with a fault for each that does not fit.

use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Faults;
use crate::model::unit::{Dimension, Unit};

/// What limits are set for, and counts of particles.
pub(crate) const IN_AIR: &[Dimension] = &[
    Dimension::MassConcentration,
    Dimension::VolumeFraction,
    Dimension::FibreConcentration,
    Dimension::NumberConcentration,
];

/// The words for them in a fault.
pub(crate) const CONCENTRATION: &str = "concentration";

/// What is known of a quantity in `unit`; a fault where it does not convert.
pub(crate) fn measured(quantity: &Quantity, unit: Unit, at: &str, faults: &mut Faults) -> Option<Measured> {
    let found = quantity.in_unit(unit);
    if found.is_none() {
        faults.note(
            format!("{at}/unit"),
            format!("must convert into {unit}, which {} does not", quantity.unit),
        );
    }
    found
}

/// Quantities in `unit`, each with its own fault.
pub(crate) fn all_measured(
    quantities: &[Quantity],
    unit: Unit,
    at: &str,
    faults: &mut Faults,
) -> Vec<Measured> {
    quantities
        .iter()
        .enumerate()
        .filter_map(|(n, quantity)| measured(quantity, unit, &format!("{at}/{n}"), faults))
        .collect()
}

/// The plain number of a quantity in `unit`, above zero.
pub(crate) fn above_zero(quantity: &Quantity, unit: Unit, at: &str, faults: &mut Faults) -> Option<f64> {
    let number = plain(quantity, unit, at, faults)?;
    number_above_zero(number, &format!("{at}/value"), faults)
}

/// The plain number of a quantity in `unit`.
pub(crate) fn plain(quantity: &Quantity, unit: Unit, at: &str, faults: &mut Faults) -> Option<f64> {
    let found = measured(quantity, unit, at, faults)?;
    if let Measured::Value(value) = found {
        return Some(value);
    }
    faults.note(at, "must be a plain number, neither a bound nor a range");
    None
}

/// A bare number above zero.
pub(crate) fn number_above_zero(number: f64, at: &str, faults: &mut Faults) -> Option<f64> {
    if number > 0.0 {
        return Some(number);
    }
    faults.note(at, "must be above zero");
    None
}

/// A bare number between two ends, both allowed.
pub(crate) fn number_between(
    number: f64,
    (low, high): (f64, f64),
    at: &str,
    faults: &mut Faults,
) -> Option<f64> {
    if (low..=high).contains(&number) {
        return Some(number);
    }
    faults.note(at, format!("must be {low} to {high}"));
    None
}

/// The unit of the first quantity, which must be one of a concentration in air (or a level of noise where `noise`).
pub(crate) fn common_unit<'q>(
    quantities: impl IntoIterator<Item = (&'q Quantity, String)>,
    noise: bool,
    faults: &mut Faults,
) -> Option<Unit> {
    let (first, at) = quantities.into_iter().next()?;
    if noise && first.unit.dimension() == Dimension::SoundLevel {
        return Some(first.unit);
    }
    first.must_be(IN_AIR, CONCENTRATION, &at, faults);
    Some(first.unit)
}

/// No value may be below zero.
pub(crate) fn none_below_zero(quantity: &Quantity, at: &str, faults: &mut Faults) {
    if quantity.measured.lower() < 0.0 || quantity.measured.upper().is_some_and(|upper| upper < 0.0) {
        let name = if matches!(quantity.measured, Measured::Between { .. }) { "lower" } else { "value" };
        faults.note(format!("{at}/{name}"), "must not be below zero");
    }
}

/// The answer where there are no faults.
pub(crate) fn sound<T>(answer: Option<T>, faults: Faults) -> Result<T, Faults> {
    match answer {
        Some(answer) if faults.is_empty() => Ok(answer),
        _ if faults.is_empty() => {
            let mut faults = faults;
            faults.note("", "cannot be computed from these numbers");
            Err(faults)
        }
        _ => Err(faults),
    }
}
