//! Air through the sampler, and gases by mass or by volume.

use crate::model::rounding::significant;
use crate::model::working::Formula;

/// How far the flow may drift before the result is flagged, in per cent of the flow before (our own choice).
pub const FLOW_CHANGE_ACCEPTED_PERCENT: f64 = 5.0;

/// The mean of the two flow checks.
pub const MEAN_FLOW: Formula = Formula {
    formula: "mean_flow = (flow_before + flow_after) / 2",
    source: "OSHA Technical Manual, Section II Chapter 1, pump calibration (from memory)",
};

/// The mean flow, in the unit of the flows.
///
/// # Formula
/// `(before + after) / 2`, all in one unit of flow. OSHA Technical Manual, Section II Chapter 1 (from memory).
///
/// ```
/// use doseward::hygiene::air::mean_flow;
/// assert_eq!(mean_flow(2.0, 1.5), 1.75);
/// ```
pub fn mean_flow(before: f64, after: f64) -> f64 {
    f64::midpoint(before, after)
}

/// The change of the flow over the run.
pub const FLOW_CHANGE: Formula = Formula {
    formula: "flow_change_percent = 100 (flow_after - flow_before) / flow_before",
    source: "common practice",
};

/// The change of the flow in per cent of the flow before; `None` unless that is above zero.
///
/// # Formula
/// `100 (after - before) / before` per cent, the flows in any one unit. Common practice.
///
/// ```
/// use doseward::hygiene::air::flow_change_percent;
/// assert_eq!(flow_change_percent(2.0, 1.5), Some(-25.0));
/// assert_eq!(flow_change_percent(0.0, 1.5), None);
/// ```
pub fn flow_change_percent(before: f64, after: f64) -> Option<f64> {
    (before > 0.0).then(|| 100.0 * (after - before) / before)
}

/// Whether a flow change in per cent is accepted without a flag (5 % is).
///
/// # Formula
/// `|change| <= 5` per cent. This registry's rule.
///
/// ```
/// use doseward::hygiene::air::flow_change_accepted;
/// assert!(flow_change_accepted(-5.0) && !flow_change_accepted(5.1));
/// ```
pub fn flow_change_accepted(percent: f64) -> bool {
    significant(percent.abs()) <= FLOW_CHANGE_ACCEPTED_PERCENT
}

/// Air drawn through the sampler.
pub const VOLUME: Formula = Formula {
    formula: "volume = mean_flow x minutes",
    source: "OSHA Technical Manual, Section II Chapter 1, full-period sampling",
};

/// The volume in litres from a flow in L/min.
///
/// # Formula
/// `flow x minutes` L: flow in L/min, time in min. OSHA Technical Manual, Section II Chapter 1.
///
/// ```
/// use doseward::hygiene::air::volume_litres;
/// assert_eq!(volume_litres(2.0, 480.0), 960.0);
/// ```
pub fn volume_litres(flow: f64, minutes: f64) -> f64 {
    flow * minutes
}

/// State of the air at a rotameter: degrees Celsius and millimetres of mercury.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirState {
    /// Temperature, °C.
    pub temperature: f64,
    /// Pressure, mmHg.
    pub pressure: f64,
}

/// Zero degrees Celsius in kelvin.
const KELVIN: f64 = 273.15;

/// The square-root law of variable-area flow meters.
pub const ROTAMETER: Formula = Formula {
    formula: "flow = reading x sqrt(P_calibrated / P_used x T_used / T_calibrated), absolute P and T",
    source: "operating manual of an ambient air sampler, undated, section 7.3, equation 4 (square-root law)",
};

/// The actual flow behind a rotameter reading taken in other air than that of its calibration, in its unit.
///
/// `None` where a pressure or an absolute temperature is not above zero.
///
/// # Formula
/// `reading x sqrt(P_calibrated / P_used x T_used / T_calibrated)` in the unit of the reading: P in mmHg, T in K.
/// Operating manual of an ambient air sampler, undated, section 7.3, equation 4.
///
/// ```
/// use doseward::hygiene::air::{AirState, ROOM_AIR, rotameter_flow};
/// // A quarter of the pressure: the root of 4.
/// let high = AirState { temperature: 25.0, pressure: 190.0 };
/// assert_eq!(rotameter_flow(1.5, ROOM_AIR, high), Some(3.0));
/// ```
pub fn rotameter_flow(reading: f64, calibrated_at: AirState, used_at: AirState) -> Option<f64> {
    let (cold, warm) = (calibrated_at.temperature + KELVIN, used_at.temperature + KELVIN);
    let possible = cold > 0.0 && warm > 0.0 && calibrated_at.pressure > 0.0 && used_at.pressure > 0.0;
    possible.then(|| reading * (calibrated_at.pressure / used_at.pressure * (warm / cold)).sqrt())
}

/// Room air by convention: 25 °C and 760 mmHg.
pub const ROOM_AIR: AirState = AirState { temperature: 25.0, pressure: 760.0 };

/// The volume of a mole of gas.
pub const MOLAR_VOLUME: Formula = Formula {
    formula: "molar_volume = 24.45 L/mol x (760 / P) x (273.15 + t) / 298.15",
    source: "29 CFR 1910.1000 Table Z-1, footnotes (25 degrees C and 760 torr, from memory); elsewhere as in \
             Washington Administrative Code 296-62-07340, calculation notes, with 273.15 and 298.15",
};

/// Litres of gas in a mole; `None` where the pressure or the absolute temperature is not above zero.
///
/// # Formula
/// `24.45 x (760 / P) x (273.15 + t) / 298.15` L/mol: P in mmHg, t in °C. 29 CFR 1910.1000 Table Z-1, footnotes (from
/// memory).
///
/// ```
/// use doseward::hygiene::air::{AirState, molar_volume};
/// // Half the pressure: twice the volume.
/// assert_eq!(molar_volume(AirState { temperature: 25.0, pressure: 380.0 }), Some(48.9));
/// ```
pub fn molar_volume(air: AirState) -> Option<f64> {
    let absolute = KELVIN + air.temperature;
    (air.pressure > 0.0 && absolute > 0.0).then(|| 24.45 * (760.0 / air.pressure) * absolute / 298.15)
}

/// From parts per million to mg/m3.
pub const PPM_TO_MASS: Formula = Formula {
    formula: "mg/m3 = ppm x molar_mass / molar_volume",
    source: "29 CFR 1910.1000 Table Z-1, footnotes (25 degrees C and 760 torr, from memory)",
};

/// The mass concentration in mg/m3 of a gas at `ppm`; `molar_mass` in g/mol, above zero.
///
/// # Formula
/// `ppm x molar_mass / molar_volume` mg/m3: g/mol over L/mol. 29 CFR 1910.1000 Table Z-1, footnotes (from memory).
///
/// ```
/// use doseward::hygiene::air::{ROOM_AIR, ppm_to_mg_per_m3};
/// // 2 x 48.9 / 24.45
/// assert_eq!(ppm_to_mg_per_m3(2.0, 48.9, ROOM_AIR), Some(4.0));
/// ```
pub fn ppm_to_mg_per_m3(ppm: f64, molar_mass: f64, air: AirState) -> Option<f64> {
    (molar_mass > 0.0).then_some(())?;
    Some(ppm * molar_mass / molar_volume(air)?)
}

/// From mg/m3 to parts per million.
pub const MASS_TO_PPM: Formula = Formula {
    formula: "ppm = mg/m3 x molar_volume / molar_mass",
    source: "29 CFR 1910.1000 Table Z-1, footnotes (25 degrees C and 760 torr, from memory)",
};

/// The parts per million of a gas at `mg_per_m3`; `molar_mass` in g/mol, above zero.
///
/// # Formula
/// `mg/m3 x molar_volume / molar_mass` ppm: L/mol over g/mol. 29 CFR 1910.1000 Table Z-1, footnotes (from memory).
///
/// ```
/// use doseward::hygiene::air::{ROOM_AIR, mg_per_m3_to_ppm};
/// // 4 x 24.45 / 48.9
/// assert_eq!(mg_per_m3_to_ppm(4.0, 48.9, ROOM_AIR), Some(2.0));
/// ```
pub fn mg_per_m3_to_ppm(mg_per_m3: f64, molar_mass: f64, air: AirState) -> Option<f64> {
    (molar_mass > 0.0).then_some(())?;
    Some(mg_per_m3 * molar_volume(air)? / molar_mass)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_flow_of_zero_before_gives_no_change() {
        assert_eq!(flow_change_percent(0.0, 2.0), None);
        assert_eq!(rotameter_flow(2.0, ROOM_AIR, AirState { temperature: -300.0, pressure: 760.0 }), None);
    }

    proptest! {
        #[test]
        fn a_rotameter_used_where_it_was_calibrated_reads_true(
            reading in 0.1..20.0f64, temperature in -20.0..45.0f64, pressure in 500.0..800.0f64,
        ) {
            let air = AirState { temperature, pressure };
            prop_assert!((rotameter_flow(reading, air, air).unwrap() - reading).abs() < 1e-12 * reading);
        }

        #[test]
        fn ppm_to_mass_and_back_is_the_same(ppm in 1e-3..1e4f64, molar_mass in 2.0..500.0f64) {
            let mass = ppm_to_mg_per_m3(ppm, molar_mass, ROOM_AIR).unwrap();
            let back = mg_per_m3_to_ppm(mass, molar_mass, ROOM_AIR).unwrap();
            prop_assert!((back - ppm).abs() < 1e-12 * ppm);
        }
    }
}
