//! Noise.

use crate::case::{Case, check_area, plain};
use doseward::hygiene::noise::{
    LevelSegment, NoiseDose, eight_hour_twa, exceeds_limit, extended_shift_action_level, noise_dose,
    reaches_action_level, reference_duration,
};
use doseward::model::facts::sampling::NoiseCriterion;
use doseward::model::measured::{Answer, Measured};

#[test]
fn worked_examples_of_noise() {
    check_area("I", check);
}

/// The dose of the example's levels, each over its hours.
fn dose(case: &Case, criterion: NoiseCriterion) -> NoiseDose {
    let hours = case.numbers("duration");
    let segments: Vec<_> = case
        .values("level")
        .into_iter()
        .zip(hours)
        .map(|(level, hours)| LevelSegment { level, minutes: 60.0 * hours })
        .collect();
    noise_dose(&segments, criterion)
}

pub(crate) fn check(case: &mut Case) {
    match case.id {
        "I-01" => {
            let hours: Vec<_> = case
                .numbers("level")
                .into_iter()
                .map(|level| reference_duration(level, NoiseCriterion::OshaLimit))
                .collect();
            case.are("reference_duration", &hours);
        }
        "I-02" => {
            let action = dose(case, NoiseCriterion::OshaActionLevel);
            let limit = dose(case, NoiseCriterion::OshaLimit);
            case.is("dose_threshold_80", plain(action.dose_percent));
            case.is("twa_threshold_80", plain(action.eight_hour_twa.unwrap()));
            case.is("dose_threshold_90", plain(limit.dose_percent));
            case.is("twa_threshold_90", plain(limit.eight_hour_twa.unwrap()));
            let reached = reaches_action_level(action.dose_percent) == Answer::AtOrAbove;
            case.holds("action_level_50_percent_reached", reached);
            case.holds("limit_100_percent_exceeded", exceeds_limit(limit.dose_percent) == Answer::AtOrAbove);
        }
        "I-03" => {
            let levels: Vec<_> = case
                .numbers("dose")
                .into_iter()
                .map(|dose| eight_hour_twa(Measured::Value(dose), NoiseCriterion::OshaLimit).unwrap())
                .map(plain)
                .collect();
            case.are("twa", &levels);
        }
        "I-04" => case.is("action_level", extended_shift_action_level(case.number("hours")).unwrap()),
        "I-05" => {
            let minutes: Vec<_> = case
                .numbers("level")
                .into_iter()
                .map(|level| 60.0 * reference_duration(level, NoiseCriterion::Niosh))
                .collect();
            let found = dose(case, NoiseCriterion::Niosh);
            case.are("allowed_minutes", &minutes);
            case.is("dose", plain(found.dose_percent));
            case.is("twa", plain(found.eight_hour_twa.unwrap()));
            case.holds("exceeds", exceeds_limit(found.dose_percent) == Answer::AtOrAbove);
        }
        _ => case.unknown(),
    }
}
