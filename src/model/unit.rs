//! The units the registry accepts, as UCUM codes, with their conversions.
//!
//! `dB[A]` is ours: UCUM knows no A-weighting. What stands in braces carries no meaning in UCUM.

use crate::model::shape::{Faults, Shape};
use serde_json::{Value, json};
use std::fmt;

/// What kind of thing a unit measures; only units of one dimension convert into each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dimension {
    /// Mass per volume of air.
    MassConcentration,
    /// Parts by volume of a gas.
    VolumeFraction,
    /// Fibres per volume of air.
    FibreConcentration,
    /// Particles per volume of air.
    NumberConcentration,
    /// Mass, as on a filter.
    Mass,
    /// Volume of air per minute.
    Flow,
    /// Volume of air.
    Volume,
    /// A-weighted sound level.
    SoundLevel,
    /// Peak (unweighted) sound level.
    PeakSoundLevel,
    /// Mass per amount of substance.
    MolarMass,
    /// A share in per cent.
    Percent,
    /// Temperature.
    Temperature,
    /// Pressure.
    Pressure,
}

macro_rules! units {
    ($($variant:ident = $code:literal, $symbol:literal, $dimension:ident, $numerator:literal / $denominator:literal);* $(;)?) => {
        /// A unit of measurement.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
        pub enum Unit { $(#[doc = $symbol] $variant),* }

        impl Unit {
            /// Every unit.
            pub const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// Its UCUM code.
            pub const fn code(self) -> &'static str {
                match self { $(Self::$variant => $code),* }
            }

            /// How people write it.
            pub const fn symbol(self) -> &'static str {
                match self { $(Self::$variant => $symbol),* }
            }

            /// What it measures.
            pub const fn dimension(self) -> Dimension {
                match self { $(Self::$variant => Dimension::$dimension),* }
            }

            /// Its size in the dimension's base unit as an exact fraction.
            const fn size(self) -> (f64, f64) {
                match self { $(Self::$variant => ($numerator, $denominator)),* }
            }

            /// The unit of a UCUM code (the codes of the contract and the common spellings of the micro sign).
            pub fn from_code(code: &str) -> Option<Self> {
                let plain = code.trim().replace(['µ', 'μ'], "u");
                match plain.as_str() { $($code => Some(Self::$variant),)* "{fibers}/cm3" => Some(Self::FibresPerMl), _ => None }
            }
        }
    };
}

// Base units: mg/m3, ppm, fibres/mL, /m3, ug, L/min, L, dB, g/mol, %, K, kPa.
units! {
    NgPerM3 = "ng/m3", "ng/m³", MassConcentration, 1.0 / 1_000_000.0;
    UgPerM3 = "ug/m3", "µg/m³", MassConcentration, 1.0 / 1000.0;
    MgPerM3 = "mg/m3", "mg/m³", MassConcentration, 1.0 / 1.0;
    GPerM3 = "g/m3", "g/m³", MassConcentration, 1000.0 / 1.0;
    Ppb = "[ppb]", "ppb", VolumeFraction, 1.0 / 1000.0;
    Ppm = "[ppm]", "ppm", VolumeFraction, 1.0 / 1.0;
    FibresPerMl = "{fibers}/mL", "fibres/mL", FibreConcentration, 1.0 / 1.0;
    PerL = "/L", "/L", NumberConcentration, 1000.0 / 1.0;
    PerM3 = "/m3", "/m³", NumberConcentration, 1.0 / 1.0;
    // 1 ft is 0.3048 m exactly, so 1/ft3 is 1/0.028316846592 per m3.
    PerCubicFoot = "/[ft_i]3", "/ft³", NumberConcentration, 1.0 / 0.028_316_846_592;
    Ug = "ug", "µg", Mass, 1.0 / 1.0;
    Mg = "mg", "mg", Mass, 1000.0 / 1.0;
    G = "g", "g", Mass, 1_000_000.0 / 1.0;
    LPerMin = "L/min", "L/min", Flow, 1.0 / 1.0;
    MlPerMin = "mL/min", "mL/min", Flow, 1.0 / 1000.0;
    L = "L", "L", Volume, 1.0 / 1.0;
    M3 = "m3", "m³", Volume, 1000.0 / 1.0;
    DbA = "dB[A]", "dBA", SoundLevel, 1.0 / 1.0;
    Db = "dB", "dB", PeakSoundLevel, 1.0 / 1.0;
    GPerMol = "g/mol", "g/mol", MolarMass, 1.0 / 1.0;
    Percent = "%", "%", Percent, 1.0 / 1.0;
    Celsius = "Cel", "°C", Temperature, 1.0 / 1.0;
    Kelvin = "K", "K", Temperature, 1.0 / 1.0;
    KPa = "kPa", "kPa", Pressure, 1.0 / 1.0;
    // 760 mmHg is 101.325 kPa (standard atmosphere).
    MmHg = "mm[Hg]", "mmHg", Pressure, 101.325 / 760.0;
}

impl Unit {
    /// `value` of this unit in `to`; `None` where the dimensions differ.
    pub fn convert(self, value: f64, to: Self) -> Option<f64> {
        if self == to {
            return Some(value);
        }
        if self.dimension() != to.dimension() {
            return None;
        }
        if self.dimension() == Dimension::Temperature {
            return Some(if to == Self::Kelvin { value + 273.15 } else { value - 273.15 });
        }
        let ((from_up, from_down), (to_up, to_down)) = (self.size(), to.size());
        // One multiplication and one division by whole numbers keep the decimal digits.
        Some(value * (from_up * to_down) / (from_down * to_up))
    }

    /// Whether values of it are concentrations in air (or levels of noise), the things limits are set for.
    pub fn is_exposure(self) -> bool {
        matches!(
            self.dimension(),
            Dimension::MassConcentration
                | Dimension::VolumeFraction
                | Dimension::FibreConcentration
                | Dimension::SoundLevel
                | Dimension::PeakSoundLevel
        )
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.code())
    }
}

impl Shape for Unit {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let read = value.as_str().and_then(Self::from_code);
        if read.is_none() {
            let known: Vec<_> = Self::ALL.iter().map(|unit| unit.code()).collect();
            faults.note(at, format!("must be one of the units {}", known.join(" ")));
        }
        read
    }

    fn write(&self) -> Option<Value> {
        Some(Value::String(self.code().into()))
    }

    fn schema() -> Value {
        let known: Vec<_> = Self::ALL.iter().map(|unit| unit.code()).collect();
        json!({"type": "string", "enum": known, "description": "UCUM code (dB[A] is an A-weighted level)"})
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_convert_within_their_dimension_only() {
        assert_eq!(Unit::MgPerM3.convert(0.0025, Unit::UgPerM3), Some(2.5));
        assert_eq!(Unit::Mg.convert(0.5, Unit::Ug), Some(500.0));
        assert_eq!(Unit::Celsius.convert(25.0, Unit::Kelvin), Some(298.15));
        assert_eq!(Unit::Ug.convert(1.0, Unit::UgPerM3), None);
        assert_eq!(Unit::DbA.convert(1.0, Unit::Db), None);
    }

    #[test]
    fn both_micro_signs_are_read() {
        assert_eq!(Unit::from_code("\u{b5}g/m3"), Some(Unit::UgPerM3));
        assert_eq!(Unit::from_code("\u{3bc}g/m3"), Some(Unit::UgPerM3));
        assert_eq!(Unit::from_code("furlong"), None);
    }
}
