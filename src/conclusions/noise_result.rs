//! From a result of noise to the average level of its run and its dose.

use crate::conclusions::concentration::InAir;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::flag::{Flag, raise_if};
use crate::conclusions::sampled_air::SampledAir;
use crate::hygiene::noise::{
    AVERAGE_OF_DOSE, DOSE_OF_AVERAGE, average_of_dose, dose_of_average, level_of_silence,
};
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::sampling::{NoiseCriterion, SampleOutcome};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::working::Step;
use serde_json::json;

/// What a result of noise says: a level in `dB[A]` is the average of the sample's run by its criterion, a value in % the
/// dose of that run. Each gives the other; without a criterion, or for another quantity, nothing is converted.
pub fn noise_result(
    evidence: &SampleEvidence,
    air: &SampledAir,
    result: &LabResult,
    working: Option<&mut Vec<Step>>,
) -> InAir {
    let mut answer = InAir {
        mass_corrected: None,
        unit: Unit::DbA,
        concentration: None,
        at_lower_flow: None,
        dose: None,
        flags: Vec::new(),
    };
    let usable = !evidence.sample.fact.is_blank() && evidence.sample.fact.came_out() == SampleOutcome::Valid;
    let Some(read) = result.concentration.as_ref().filter(|_| usable) else { return answer };
    let found = result.criterion.and_then(|criterion| level_and_dose(read, air.minutes, criterion));
    if let (Some(found), Some(steps), Some(criterion)) = (found, working, result.criterion) {
        steps.push(step(result, read, found, air.minutes, criterion));
    }
    answer.dose = found.map(|(_, dose)| dose);
    answer.concentration = match (found, read.unit) {
        (Some((level, _)), _) => Some(level),
        (None, Unit::Percent) => None,
        (None, unit) => {
            answer.unit = unit;
            Some(read.measured)
        }
    };
    raise_if(&mut answer.flags, found.is_none(), Flag::NoNoiseDose);
    answer
}

/// The average level (dBA) and the dose (per cent) of a run.
fn level_and_dose(read: &Quantity, minutes: f64, criterion: NoiseCriterion) -> Option<(Measured, Measured)> {
    if minutes <= 0.0 {
        return None;
    }
    match read.unit {
        Unit::DbA => {
            let dose = dose_of_average(read.measured, minutes, criterion);
            Some((read.measured.rounded(), dose.rounded()))
        }
        Unit::Percent => {
            let level = average_of_dose(read.measured, minutes, criterion);
            Some((level.unwrap_or(level_of_silence(criterion)).rounded(), read.measured.rounded()))
        }
        _ => None,
    }
}

fn step(
    result: &LabResult,
    read: &Quantity,
    (level, dose): (Measured, Measured),
    minutes: f64,
    criterion: NoiseCriterion,
) -> Step {
    let inputs = json!({"read": read.to_json(), "minutes": minutes, "criterion": criterion.as_str()});
    let (name, formula, became) = if read.unit == Unit::Percent {
        ("average level", AVERAGE_OF_DOSE, Quantity::computed(level, Unit::DbA))
    } else {
        ("dose", DOSE_OF_AVERAGE, Quantity::computed(dose, Unit::Percent))
    };
    Step::new(
        format!("{name} of {}, {}", result.agent_code, criterion.as_str()),
        formula,
        inputs,
        became.to_json(),
    )
}
