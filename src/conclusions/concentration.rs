//! From one result to a concentration in air: estimated values, field blanks, volume, unit.

use crate::conclusions::asked::Asked;
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::field_blanks::{FieldBlanks, field_blanks};
use crate::conclusions::flag::{Flag, raise, raise_if};
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::method::analysed_late;
use crate::conclusions::noise_result::noise_result;
use crate::conclusions::sampled_air::SampledAir;
use crate::hygiene::concentration::{
    BLANK_CORRECTION, BlankCorrection, CONCENTRATION, blank_corrected, concentration,
};
use crate::model::facts::laboratory::{BlankCorrected, LabResult};
use crate::model::facts::sampling::SampleOutcome;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::working::{Formula, Step};
use serde_json::json;

/// From this difference on, in per cent, a reported concentration is flagged against mass over volume (our own choice).
pub const REPORTED_DIFFERENCE_PERCENT: f64 = 5.0;

/// A value that the laboratory estimated.
pub const ESTIMATED_RANGE: Formula = Formula {
    formula: "an estimated value stands as the range from the detection limit to the reporting limit",
    source: "this registry's rule",
};

/// A concentration that the laboratory computed.
pub const TAKEN_AS_REPORTED: Formula =
    Formula { formula: "concentration = as reported", source: "this registry's rule" };

/// What one result says of the air.
#[derive(Debug, Clone, PartialEq)]
pub struct InAir {
    /// The mass after the field blanks, where something was subtracted, or after an estimated value became a range.
    pub mass_corrected: Option<Quantity>,
    /// The unit of the concentrations: that of the agent's limit where it converts.
    pub unit: Unit,
    /// The concentration.
    pub concentration: Option<Measured>,
    /// The concentration by the lower flow, where the flow changed too much.
    pub at_lower_flow: Option<Measured>,
    /// The dose of noise, per cent.
    pub dose: Option<Measured>,
    /// What is to be known of it; flags of the sampled air not among them.
    pub flags: Vec<Flag>,
}

/// What a result says of the air of its sample; `agent` is absent where nothing is known of the agent's limits.
pub fn in_air(
    evidence: &SampleEvidence,
    air: &SampledAir,
    result: &LabResult,
    agent: Option<&AgentEvidence>,
    asked: Asked,
    mut working: Option<&mut Vec<Step>>,
) -> InAir {
    if agent.is_some_and(AgentEvidence::is_noise) {
        return noise_result(evidence, air, result, working);
    }
    let mut flags = Vec::new();
    raise_if(&mut flags, result.estimated, Flag::Estimated);
    let late = result.analysed_on.is_some_and(|on| analysed_late(&evidence.sample.fact, on));
    raise_if(&mut flags, late, Flag::AnalysedAfterHoldingTime);
    let blank = evidence.sample.fact.is_blank();
    let mass = result.mass.as_ref().and_then(|mass| {
        let range = estimated_range(mass, result);
        if let (Some(steps), true) = (working.as_deref_mut(), result.estimated) {
            let inputs = json!({"detection_limit": written(result.detection_limit.as_ref()),
                "reporting_limit": written(result.reporting_limit.as_ref())});
            let became = Quantity::computed(range, mass.unit).to_json();
            steps.push(Step::new(named(result, "mass"), ESTIMATED_RANGE, inputs, became));
        }
        let micrograms = Quantity { measured: range, unit: mass.unit, reported: None }.in_unit(Unit::Ug)?;
        let net = if blank {
            micrograms
        } else {
            net_mass(evidence, micrograms, result, asked, &mut flags, working.as_deref_mut())
        };
        Some((net, mass.unit, net != micrograms || result.estimated))
    });
    let mass_corrected = mass.and_then(|(net, unit, changed)| {
        let back = Quantity { measured: net, unit: Unit::Ug, reported: None }.in_unit(unit)?;
        changed.then(|| Quantity::computed(back, unit))
    });
    let own_unit = agent.and_then(AgentEvidence::unit);
    let convert = |measured: Measured, from: Unit| match (agent, own_unit) {
        (Some(agent), Some(to)) => agent.convert(measured, from, to).map(|converted| (converted, to)),
        _ => Some((measured, from)),
    };
    let usable = !blank && evidence.sample.fact.came_out() == SampleOutcome::Valid;
    let by = |volume: Option<f64>| {
        let (net, ..) = mass?;
        // µg/L is mg/m3.
        Some((concentration(net, volume?)?.rounded(), Unit::MgPerM3))
    };
    let ours = by(air.volume);
    let reported =
        result.concentration.as_ref().map(|reported| (estimated_range(reported, result), reported.unit));
    let mut answer = InAir {
        mass_corrected,
        unit: own_unit.or(reported.map(|(_, unit)| unit)).unwrap_or(Unit::MgPerM3),
        concentration: None,
        at_lower_flow: None,
        dose: None,
        flags,
    };
    if !usable {
        return answer;
    }
    let Some((found, unit)) = reported.or(ours) else {
        raise_if(&mut answer.flags, mass.is_some(), Flag::NoVolume);
        return answer;
    };
    let (converted, unit) = convert(found, unit).unwrap_or_else(|| {
        raise(&mut answer.flags, Flag::UnitNotOfLimit);
        (found, unit)
    });
    answer.unit = unit;
    answer.concentration = Some(converted.rounded());
    raise_if(&mut answer.flags, matches!(converted, Measured::Above(_)), Flag::Overloaded);
    if reported.is_none() {
        answer.at_lower_flow = by(air.volume_at_lower_flow)
            .and_then(|(found, from)| convert(found, from))
            .map(|(converted, _)| converted.rounded());
    } else if let Some((ours, _)) = ours.and_then(|(found, from)| convert(found, from)) {
        raise_if(&mut answer.flags, differ(converted, ours), Flag::ReportedConcentrationDiffers);
    }
    if let Some(steps) = working {
        let became = Quantity::computed(converted, unit).to_json();
        steps.push(match (&result.concentration, mass, air.volume) {
            (None, Some((net, ..)), Some(volume)) => {
                let inputs = json!({"mass": Quantity::computed(net, Unit::Ug).to_json(),
                    "volume": {"value": volume, "unit": Unit::L.code()}});
                Step::new(named(result, "concentration"), CONCENTRATION, inputs, became)
            }
            (reported, ..) => {
                let inputs = json!({"reported": written(reported.as_ref())});
                let formula = if result.estimated { ESTIMATED_RANGE } else { TAKEN_AS_REPORTED };
                Step::new(named(result, "concentration"), formula, inputs, became)
            }
        });
    }
    answer
}

fn named(result: &LabResult, what: &str) -> String {
    format!("{what} of {}", result.agent_code)
}

fn written(quantity: Option<&Quantity>) -> serde_json::Value {
    quantity.map_or(serde_json::Value::Null, Shape::to_json)
}

/// What is known of a reported quantity, in its unit: an estimated one lies between detection and reporting limit.
fn estimated_range(reported: &Quantity, result: &LabResult) -> Measured {
    let limit = |limit: &Option<Quantity>| limit.as_ref().and_then(|limit| limit.number_in(reported.unit));
    match limit(&result.reporting_limit) {
        Some(upper) if result.estimated && reported.measured.is_value() => {
            let lower = limit(&result.detection_limit).filter(|lower| *lower < upper).unwrap_or(0.0);
            Measured::from_bounds(lower, Some(upper))
        }
        _ => reported.measured,
    }
}

/// The mass in micrograms after the field blanks, which are taken off only a detected mass that still holds them.
fn net_mass(
    evidence: &SampleEvidence,
    mass: Measured,
    result: &LabResult,
    asked: Asked,
    flags: &mut Vec<Flag>,
    working: Option<&mut Vec<Step>>,
) -> Measured {
    let corrected_by_laboratory = result.blank_corrected == BlankCorrected::Yes;
    raise_if(flags, result.blank_corrected == BlankCorrected::Unknown, Flag::BlankCorrectionUnknown);
    let blanks = match field_blanks(evidence, &result.agent_code, asked) {
        FieldBlanks::None => {
            raise_if(flags, !corrected_by_laboratory, Flag::NoFieldBlank);
            return mass;
        }
        FieldBlanks::Lost => {
            raise_if(flags, !corrected_by_laboratory, Flag::BlanksLost);
            return mass;
        }
        FieldBlanks::Awaited => {
            raise_if(flags, !corrected_by_laboratory, Flag::BlanksAwaited);
            return mass;
        }
        FieldBlanks::Masses(masses) => masses,
    };
    let reporting_limit = result.reporting_limit.as_ref().and_then(|limit| limit.number_in(Unit::Ug));
    let Some(correction) = blank_corrected(mass, &blanks, reporting_limit) else { return mass };
    raise_if(flags, correction.blank_high, Flag::BlankHigh);
    if result.blank_corrected != BlankCorrected::No || !correction.applied() {
        return mass;
    }
    // Blanks below their limit count zero: there is nothing to subtract, and the word would mislead.
    raise_if(flags, correction.mean_blank > 0.0, Flag::BlankSubtracted);
    if let Some(steps) = working {
        steps.push(subtraction(&correction, &blanks, reporting_limit, result));
    }
    correction.corrected.rounded()
}

fn subtraction(
    correction: &BlankCorrection,
    blanks: &[Measured],
    reporting_limit: Option<f64>,
    result: &LabResult,
) -> Step {
    let micrograms = |measured: Measured| Quantity::computed(measured, Unit::Ug).to_json();
    let blanks: Vec<_> = blanks.iter().map(|&blank| micrograms(blank)).collect();
    let inputs = json!({
        "mass": micrograms(correction.raw),
        "field_blank_masses": blanks,
        "mean_blank": micrograms(Measured::Value(correction.mean_blank)),
        "reporting_limit": reporting_limit.map(|limit| micrograms(Measured::Value(limit))),
    });
    Step::new(named(result, "corrected mass"), BLANK_CORRECTION, inputs, micrograms(correction.corrected))
}

/// Whether a reported value and ours, both plain numbers in one unit, differ by more than is accepted.
fn differ(reported: Measured, ours: Measured) -> bool {
    match (reported, ours) {
        (Measured::Value(reported), Measured::Value(ours)) => {
            let accepted = REPORTED_DIFFERENCE_PERCENT / 100.0 * ours.abs();
            significant((reported - ours).abs()) > significant(accepted)
        }
        _ => false,
    }
}
