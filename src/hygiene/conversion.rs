//! Converting what was measured between units, for a gas also between mass and parts by volume.

use super::air::{AirState, MASS_TO_PPM, PPM_TO_MASS, mg_per_m3_to_ppm, ppm_to_mg_per_m3};
use crate::model::measured::Measured;
use crate::model::unit::{Dimension, Unit};
use crate::model::working::Formula;

/// Units of one dimension.
pub const SAME_DIMENSION: Formula = Formula {
    formula: "value x size of its unit / size of the other unit",
    source: "UCUM, The Unified Code for Units of Measure, version 2.1, prefixes and base units",
};

/// What a conversion between mass and parts by volume multiplies a value of `from` with; `None` for other pairs, or where
/// the molar mass (g/mol), the pressure or the absolute temperature is not above zero.
///
/// # Formula
/// From mass to parts by volume `molar_volume / molar_mass`, back its inverse; times the sizes of the units. 29 CFR
/// 1910.1000 Table Z-1, footnotes (from memory).
///
/// ```
/// use doseward::hygiene::air::ROOM_AIR;
/// use doseward::hygiene::conversion::gas_factor;
/// use doseward::model::unit::Unit;
/// // 1 ppm of a gas of 48.9 g/mol is 2 mg/m3.
/// assert_eq!(gas_factor(Unit::Ppm, Unit::MgPerM3, 48.9, ROOM_AIR), Some(2.0));
/// ```
pub fn gas_factor(from: Unit, to: Unit, molar_mass: f64, air: AirState) -> Option<f64> {
    match (from.dimension(), to.dimension()) {
        (Dimension::MassConcentration, Dimension::VolumeFraction) => {
            Unit::Ppm.convert(mg_per_m3_to_ppm(from.convert(1.0, Unit::MgPerM3)?, molar_mass, air)?, to)
        }
        (Dimension::VolumeFraction, Dimension::MassConcentration) => {
            Unit::MgPerM3.convert(ppm_to_mg_per_m3(from.convert(1.0, Unit::Ppm)?, molar_mass, air)?, to)
        }
        _ => None,
    }
}

/// What is known, in another unit; between mass and parts by volume by `molar_mass` (g/mol) in this air. `None` where the
/// units do not convert.
///
/// # Formula
/// Within a dimension `value x size of from / size of to`; for a gas the value times [`gas_factor`]. UCUM, version 2.1.
///
/// ```
/// use doseward::hygiene::air::ROOM_AIR;
/// use doseward::hygiene::conversion::convert;
/// use doseward::model::{measured::Measured, unit::Unit};
/// // 1 ppm of a gas of 24.45 g/mol is 1 mg/m3.
/// let found = convert(Measured::Below(1.0), Unit::Ppm, Unit::UgPerM3, Some(24.45), ROOM_AIR);
/// assert_eq!(found, Some(Measured::Below(1000.0)));
/// ```
pub fn convert(
    measured: Measured,
    from: Unit,
    to: Unit,
    molar_mass: Option<f64>,
    air: AirState,
) -> Option<Measured> {
    if from.dimension() == to.dimension() {
        return measured.try_map(|value| from.convert(value, to)).map(Measured::rounded);
    }
    let factor = gas_factor(from, to, molar_mass?, air)?;
    Some(measured.scaled(factor).rounded())
}

/// The formula of a conversion.
pub fn formula(from: Unit, to: Unit) -> Formula {
    match (from.dimension(), to.dimension()) {
        (Dimension::MassConcentration, Dimension::VolumeFraction) => MASS_TO_PPM,
        (Dimension::VolumeFraction, Dimension::MassConcentration) => PPM_TO_MASS,
        _ => SAME_DIMENSION,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::hygiene::air::ROOM_AIR;
    use proptest::prelude::*;

    #[test]
    fn what_has_no_molar_mass_or_another_dimension_does_not_convert() {
        let one = Measured::Value(1.0);
        assert_eq!(convert(one, Unit::Ppm, Unit::MgPerM3, None, ROOM_AIR), None);
        assert_eq!(convert(one, Unit::Ppm, Unit::MgPerM3, Some(0.0), ROOM_AIR), None);
        assert_eq!(convert(one, Unit::FibresPerMl, Unit::MgPerM3, Some(30.0), ROOM_AIR), None);
        assert_eq!(convert(one, Unit::Celsius, Unit::Kelvin, None, ROOM_AIR), Some(Measured::Value(274.15)));
    }

    proptest! {
        #[test]
        fn there_and_back_is_the_same(value in 1e-9..1e9f64, molar_mass in 2.0..400.0f64) {
            for (from, to) in [(Unit::Ppb, Unit::UgPerM3), (Unit::MgPerM3, Unit::Ppm), (Unit::PerCubicFoot, Unit::PerL)] {
                let there = convert(Measured::Value(value), from, to, Some(molar_mass), ROOM_AIR).unwrap();
                let back = convert(there, to, from, Some(molar_mass), ROOM_AIR).unwrap();
                prop_assert!((back.lower() - value).abs() < 1e-11 * value);
            }
        }
    }
}
