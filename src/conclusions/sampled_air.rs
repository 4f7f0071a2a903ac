//! The air that went through a sampler: mean flow, flow change, volume, minutes.

use crate::conclusions::flag::{Flag, raise_if};
use crate::conclusions::method::volume_outside;
use crate::hygiene::air::{
    FLOW_CHANGE, FLOW_CHANGE_ACCEPTED_PERCENT, MEAN_FLOW, VOLUME, flow_change_percent, mean_flow,
    volume_litres,
};
use crate::model::facts::sampling::{Sample, SampleOutcome, SamplerKind};
use crate::model::rounding::significant;
use crate::model::unit::Unit;
use crate::model::working::Step;
use chrono::Months;
use serde_json::json;

/// A calibrator's own calibration holds for this long (our own choice; common practice is a year).
pub const CALIBRATION_HOLDS: Months = Months::new(12);

/// The air of one sample.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SampledAir {
    /// Minutes sampled.
    pub minutes: f64,
    /// Change of the flow, per cent of the flow before.
    pub flow_change_percent: Option<f64>,
    /// Litres by the mean flow.
    pub volume: Option<f64>,
    /// Litres by the lower of the two flows, where they differ too much.
    pub volume_at_lower_flow: Option<f64>,
    /// What is to be known of it.
    pub flags: Vec<Flag>,
}

/// The air of a sample; steps are added to `working` where it is asked for.
pub fn sampled_air(sample: &Sample, working: Option<&mut Vec<Step>>) -> SampledAir {
    let mut air = SampledAir { minutes: significant(sample.minutes().max(0.0)), ..SampledAir::default() };
    if sample.came_out() != SampleOutcome::Valid {
        air.flags.push(Flag::OutcomeNotValid);
        return air;
    }
    if sample.is_blank() {
        return air;
    }
    raise_if(&mut air.flags, air.minutes == 0.0, Flag::NoMinutes);
    if sample.sampler() != SamplerKind::Pumped {
        return air;
    }
    raise_if(&mut air.flags, calibrator_overdue(sample), Flag::CalibratorOverdue);
    let flow = |quantity: &Option<crate::model::quantity::Quantity>| {
        quantity.as_ref().and_then(|flow| flow.number_in(Unit::LPerMin)).filter(|flow| *flow > 0.0)
    };
    if let (Some(before), Some(after), true) =
        (flow(&sample.flow_before), flow(&sample.flow_after), air.minutes > 0.0)
    {
        let mean = significant(mean_flow(before, after));
        let change = flow_change_percent(before, after).map(significant);
        let volume = significant(volume_litres(mean, air.minutes));
        let changed = change.is_some_and(|change| change.abs() > FLOW_CHANGE_ACCEPTED_PERCENT);
        air.flow_change_percent = change;
        air.volume = Some(volume);
        air.volume_at_lower_flow =
            changed.then(|| significant(volume_litres(before.min(after), air.minutes)));
        raise_if(&mut air.flags, changed, Flag::FlowChanged);
        raise_if(&mut air.flags, volume_outside(sample, volume), Flag::VolumeOutsideMethod);
        if let Some(steps) = working {
            let flows =
                json!({"flow_before": litres_per_minute(before), "flow_after": litres_per_minute(after)});
            steps.push(Step::new("mean flow", MEAN_FLOW, flows.clone(), litres_per_minute(mean)));
            steps.push(Step::new("flow change in per cent", FLOW_CHANGE, flows, json!(change)));
            let inputs = json!({"mean_flow": litres_per_minute(mean), "minutes": air.minutes});
            steps.push(Step::new("volume", VOLUME, inputs, json!({"value": volume, "unit": Unit::L.code()})));
        }
    } else {
        raise_if(&mut air.flags, true, Flag::NoVolume);
    }
    air
}

fn litres_per_minute(flow: f64) -> serde_json::Value {
    json!({"value": flow, "unit": Unit::LPerMin.code()})
}

fn calibrator_overdue(sample: &Sample) -> bool {
    let holds_to = sample.calibrated_on.and_then(|on| on.checked_add_months(CALIBRATION_HOLDS));
    holds_to.is_none_or(|to| sample.shift_date > to)
}
