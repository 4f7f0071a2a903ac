//! The steps of noise: from the doses of a day to its level, and from levels to a profile.

use crate::conclusions::profile::EraProfile;
use crate::conclusions::shift_average::ShiftTwa;
use crate::hygiene::level_profile::{
    CENSORED_LEVELS, LEVEL_EXCEEDANCE, LEVEL_PERCENTILE, LevelProfile, MEAN_LEVEL,
};
use crate::hygiene::noise::AVERAGE_OF_DOSE;
use crate::hygiene::profile::ProfileMethod;
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::working::{Formula, Step};
use serde_json::{Value, json};

/// A sample of noise and its duplicates.
pub const DUPLICATE_DOSES: Formula = Formula {
    formula: "level of the mean of the doses of the sample and its duplicates, each with the same weight",
    source: "this registry's rule",
};

/// The dose of a day.
pub const DAY_DOSE: Formula = Formula {
    formula: "dose_percent = sum(100 x minutes / 480 x 2^((average level - criterion level) / exchange rate)) over the \
              parts of the shift, the unsampled time among them",
    source: "29 CFR 1910.95 Appendix A, I(1) (doses of parts add)",
};

/// From the parts of a shift to its dose and 8-hour average level.
pub(super) fn day_dose_steps(shift: &ShiftTwa, criterion: NoiseCriterion, unsampled: f64) -> Vec<Step> {
    let (Some(dose), Some(twa)) = (shift.dose, shift.twa) else { return Vec::new() };
    let level = |measured: Measured| Quantity::computed(measured, shift.unit).to_json();
    let percent = |measured: Measured| Quantity::computed(measured.rounded(), Unit::Percent).to_json();
    let parts: Vec<Value> = shift
        .stretches
        .iter()
        .map(|stretch| {
            let own = stretch.eight_hour_dose.map(|dose| percent(dose.scaled(stretch.minutes / 480.0)));
            json!({"average_level": level(stretch.concentration), "minutes": stretch.minutes, "dose": own})
        })
        .collect();
    let inputs = json!({"criterion": criterion.as_str(), "parts": parts, "unsampled_minutes": unsampled});
    let of_dose = json!({"criterion": criterion.as_str(), "dose": percent(dose), "minutes": 480});
    vec![
        Step::new("dose of the shift", DAY_DOSE, inputs, percent(dose)),
        Step::new("8-hour average", AVERAGE_OF_DOSE, of_dose, level(twa)),
    ]
}

/// From the 8-hour levels of an era to the figures of its profile.
pub(super) fn level_profile_steps(era: &EraProfile, levels: &LevelProfile) -> Vec<Step> {
    let quantity = |level: f64| Quantity::computed(Measured::Value(significant(level)), era.unit).to_json();
    let (Some(mean), Some(deviation)) = (levels.mean_level, levels.standard_deviation) else {
        return Vec::new();
    };
    let read: Vec<Value> =
        era.results.iter().map(|level| Quantity::computed(*level, era.unit).to_json()).collect();
    let criterion = era.criterion.map(NoiseCriterion::as_str);
    let exact = levels.method == ProfileMethod::Exact;
    let limits = |lower: Option<f64>, upper: Option<f64>| json!({"lower_95": lower.map(quantity), "upper_95": upper.map(quantity)});
    let result = json!({"mean_level": quantity(mean.estimate), "limits": limits(mean.lower_95, mean.upper_95),
        "standard_deviation_level": deviation});
    let mut steps = vec![Step::new(
        "mean level",
        if exact { MEAN_LEVEL } else { CENSORED_LEVELS },
        json!({"criterion": criterion, "levels": read}),
        result,
    )];
    let figures = json!({"n": levels.n, "mean_level": quantity(mean.estimate),
        "standard_deviation_level": deviation});
    if let Some(percentile) = levels.percentile_95 {
        let result = json!({"estimate": quantity(percentile.estimate),
            "upper_70": percentile.upper_70.map(quantity), "upper_95": percentile.upper_95.map(quantity)});
        steps.push(Step::new("95th percentile", LEVEL_PERCENTILE, figures.clone(), result));
    }
    if let (Some(share), Some(limit)) = (levels.exceedance_fraction, era.limit) {
        let mut inputs = figures;
        inputs["limit"] = quantity(limit);
        let result = json!({"estimate": share.estimate, "lower_95": share.lower_95, "upper_70": share.upper_70,
            "upper_95": share.upper_95});
        steps.push(Step::new("exceedance fraction", LEVEL_EXCEEDANCE, inputs, result));
    }
    steps
}
