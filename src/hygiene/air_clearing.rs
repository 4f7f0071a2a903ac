//! How fast a room clears, from a decay of readings.

use super::lognormal::moments;
use crate::model::working::Formula;
use std::f64::consts::LN_2;

/// Air changes from a decay.
pub const AIR_CHANGES: Formula = Formula {
    formula: "air_changes_per_hour = -60 x slope of ln(value - background) on minutes, least squares",
    source: "ASTM E741-11, concentration decay (from memory)",
};

/// Time for an efficiency.
pub const CLEARING_TIME: Formula = Formula {
    formula: "minutes = 60 ln(1 / (1 - efficiency)) / air_changes_per_hour x mixing_factor",
    source: "CDC, Guidelines for Environmental Infection Control in Health-Care Facilities, 2003, Table B.1",
};

/// Readings at or below the background were left out.
pub const READINGS_DROPPED: &str = "readings_at_background_dropped";
/// Fewer than two usable readings at different times.
pub const TOO_FEW_READINGS: &str = "too_few_readings";
/// The readings do not fall.
pub const NO_DECAY: &str = "no_decay";

/// Every flag of an air clearing with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (READINGS_DROPPED, "Readings at or below the background were left out."),
    (TOO_FEW_READINGS, "Fewer than two usable readings at different times."),
    (NO_DECAY, "The readings do not fall, so there is no clearing time."),
];

/// A reading at a time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reading {
    /// Minutes since any start.
    pub minutes: f64,
    /// The value, in any one unit.
    pub value: f64,
}

/// How fast the room clears.
#[derive(Debug, Clone, PartialEq)]
pub struct AirClearing {
    /// Air changes per hour (negative where the readings rise); absent with too few readings.
    pub air_changes_per_hour: Option<f64>,
    /// Minutes to half.
    pub half_life_minutes: Option<f64>,
    /// Minutes to 1 % of the start.
    pub minutes_to_99_percent: Option<f64>,
    /// The share of the variance of the logarithms that the line explains.
    pub r_squared: Option<f64>,
    /// Why something is absent, or needs care.
    pub flags: Vec<&'static str>,
}

/// Fits a decay to readings above the background (zero when nothing is known), in their order.
///
/// # Formula
/// `-60 x slope of ln(value - background) on minutes` per hour, by least squares; values in any one unit, time in min.
/// ASTM E741-11 (from memory).
///
/// ```
/// use doseward::hygiene::air_clearing::{Reading, air_clearing};
/// // Half in 10 minutes: 60 x 0.6931 / 10 = 4.159 changes an hour.
/// let readings = [(0.0, 1000.0), (10.0, 500.0)].map(|(minutes, value)| Reading { minutes, value });
/// assert!((air_clearing(&readings, 0.0).air_changes_per_hour.unwrap() - 4.159).abs() < 1e-3);
/// ```
pub fn air_clearing(readings: &[Reading], background: f64) -> AirClearing {
    let mut answer = AirClearing {
        air_changes_per_hour: None,
        half_life_minutes: None,
        minutes_to_99_percent: None,
        r_squared: None,
        flags: Vec::new(),
    };
    let usable: Vec<_> = readings.iter().filter(|reading| reading.value > background).collect();
    if usable.len() < readings.len() {
        answer.flags.push(READINGS_DROPPED);
    }
    let minutes: Vec<f64> = usable.iter().map(|reading| reading.minutes).collect();
    let logs: Vec<f64> = usable.iter().map(|reading| (reading.value - background).ln()).collect();
    let Some(((_, mean_minutes, spread), (_, mean_log, spread_of_logs))) =
        moments(&minutes).zip(moments(&logs)).filter(|((_, _, spread), _)| *spread > 0.0)
    else {
        answer.flags.push(TOO_FEW_READINGS);
        return answer;
    };
    let products: f64 = minutes.iter().zip(&logs).map(|(t, y)| (t - mean_minutes) * (y - mean_log)).sum();
    let squares: f64 = minutes.iter().map(|t| (t - mean_minutes).powi(2)).sum();
    let slope = products / squares;
    answer.air_changes_per_hour = Some(-60.0 * slope + 0.0);
    answer.r_squared = (spread_of_logs > 0.0).then(|| (slope * spread / spread_of_logs).powi(2));
    answer.half_life_minutes = half_life_minutes(-60.0 * slope);
    answer.minutes_to_99_percent = minutes_to_clear(0.99, -60.0 * slope, 1.0);
    if answer.half_life_minutes.is_none() {
        answer.flags.push(NO_DECAY);
    }
    answer
}

/// Minutes to half at these air changes; `None` unless they are above zero.
///
/// # Formula
/// `60 ln 2 / air_changes_per_hour` min. Arithmetic.
///
/// ```
/// use doseward::hygiene::air_clearing::half_life_minutes;
/// // 41.59 / 6
/// assert!((half_life_minutes(6.0).unwrap() - 6.931).abs() < 1e-3);
/// ```
pub fn half_life_minutes(air_changes_per_hour: f64) -> Option<f64> {
    (air_changes_per_hour > 0.0).then(|| 60.0 * LN_2 / air_changes_per_hour).filter(|time| time.is_finite())
}

/// Minutes until `efficiency` (a share below 1) is removed; a mixing factor of 1 is perfect mixing.
///
/// # Formula
/// `60 ln(1 / (1 - efficiency)) / air_changes_per_hour x mixing_factor` min. CDC, Guidelines for Environmental Infection
/// Control in Health-Care Facilities, 2003, Table B.1.
///
/// ```
/// use doseward::hygiene::air_clearing::minutes_to_clear;
/// // 60 x 4.605 / 6 = 46
/// assert!((minutes_to_clear(0.99, 6.0, 1.0).unwrap() - 46.05).abs() < 0.01);
/// ```
pub fn minutes_to_clear(efficiency: f64, air_changes_per_hour: f64, mixing_factor: f64) -> Option<f64> {
    (air_changes_per_hour > 0.0 && (0.0..1.0).contains(&efficiency))
        .then(|| -60.0 * (-efficiency).ln_1p() / air_changes_per_hour * mixing_factor)
        .filter(|time| time.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn readings_that_do_not_fall_have_no_clearing_time() {
        let flat = [Reading { minutes: 0.0, value: 5.0 }, Reading { minutes: 9.0, value: 5.0 }];
        let answer = air_clearing(&flat, 0.0);
        assert_eq!((answer.half_life_minutes, answer.flags), (None, vec![NO_DECAY]));
        assert_eq!(air_clearing(&flat, 5.0).flags, [READINGS_DROPPED, TOO_FEW_READINGS]);
        assert_eq!(air_clearing(&flat[..1], 0.0).flags, [TOO_FEW_READINGS]);
    }

    proptest! {
        #[test]
        fn a_pure_decay_is_found_again_whatever_its_unit(
            changes in 0.5..30.0f64, start in 1.0..1e6f64, background in 0.0..10.0f64,
        ) {
            let readings: Vec<_> = (0..6).map(|minute| {
                let minutes = f64::from(minute);
                Reading { minutes, value: start * (-changes * minutes / 60.0).exp() + background }
            }).collect();
            let found = air_clearing(&readings, background).air_changes_per_hour.unwrap();
            prop_assert!((found - changes).abs() < 1e-6 * changes);
        }
    }
}
