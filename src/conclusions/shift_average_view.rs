//! A shift average as people and programs see it, with its working.

use crate::conclusions::asked::Asked;
use crate::conclusions::comparison::Comparison;
use crate::conclusions::flag::Flag;
use crate::conclusions::noise_working::{DUPLICATE_DOSES, day_dose_steps};
use crate::conclusions::shift_average::ShiftTwa;
use crate::hygiene::shift::{EIGHT_HOUR_TWA, UNSAMPLED_TIME, Unsampled};
use crate::model::facts::sampling::NoiseCriterion;
use crate::model::identifiers::{GroupId, SampleId, WorkerId};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::working::{Formula, Step};
use crate::record;
use chrono::NaiveDate;
use serde_json::{Value, json};

/// The mean of a sample and its duplicates.
pub const DUPLICATES: Formula = Formula {
    formula: "concentration = mean of the sample and its duplicates, each with the same weight",
    source: "this registry's rule",
};

record! {
    /// A short-term value of a shift.
    pub struct PeakView {
        /// The sample.
        sample_id: SampleId,
        /// Its mean.
        value: Quantity,
        /// Its mean by the lower flow, where the flow changed by more than 5 %.
        value_at_lower_flow: Option<Quantity>,
        /// Minutes sampled.
        minutes: f64,
    }
}

record! {
    /// One worker's shift for one agent (of noise, by one criterion); where a shift was split over groups, the part in one of them.
    pub struct ShiftAverageView {
        /// The worker.
        worker_id: WorkerId,
        /// The group.
        group_id: Option<GroupId>,
        /// The site's local date on which the shift starts.
        shift_date: NaiveDate,
        /// The agent.
        agent_code: Code,
        /// By which criterion, for noise: a shift has one item for each that was read.
        criterion: Option<NoiseCriterion>,
        /// The dose of noise in per cent of what the criterion allows in a day; parts of a shift add as doses.
        dose: Option<Quantity>,
        /// The 8-hour time-weighted average; of noise the level of its dose.
        eight_hour_twa: Option<Quantity>,
        /// The same by the lower flow, where a flow changed by more than 5 %.
        value_at_lower_flow: Option<Quantity>,
        /// Minutes sampled.
        sampled_minutes: f64,
        /// Minutes of the shift in this group.
        shift_minutes: f64,
        /// The samples behind it, in the order in which they were taken.
        samples: Vec<SampleId>,
        /// Short-term values.
        peaks: Option<Vec<PeakView>>,
        /// Against the limits in force on the shift date.
        comparisons: Vec<Comparison>,
        /// What is to be known of it.
        flags: Vec<Flag>,
        /// How the average came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// A shift average for people and programs.
pub fn shift_average_view(shift: &ShiftTwa, asked: Asked) -> ShiftAverageView {
    let quantity = |measured: Measured| Quantity::computed(measured, shift.unit);
    let peaks: Vec<PeakView> = shift
        .peaks
        .iter()
        .map(|peak| PeakView {
            sample_id: peak.sample_id,
            value: quantity(peak.mean),
            value_at_lower_flow: peak.at_lower_flow.map(quantity),
            minutes: peak.minutes,
        })
        .collect();
    ShiftAverageView {
        worker_id: shift.worker,
        group_id: shift.group,
        shift_date: shift.shift_date,
        agent_code: shift.agent_code.clone(),
        criterion: shift.criterion,
        dose: shift.dose.map(|dose| Quantity::computed(dose, Unit::Percent)),
        eight_hour_twa: shift.twa.map(quantity),
        value_at_lower_flow: shift.twa_at_lower_flow.map(quantity),
        sampled_minutes: shift.sampled_minutes,
        shift_minutes: shift.shift_minutes,
        samples: shift.samples.iter().map(|sample| sample.sample_id).collect(),
        peaks: (!peaks.is_empty()).then_some(peaks),
        comparisons: shift.comparisons.clone(),
        flags: shift.flags.clone(),
        working: asked.working.then(|| working(shift)),
    }
}

fn working(shift: &ShiftTwa) -> Vec<Step> {
    let quantity = |measured: Measured| Quantity::computed(measured, shift.unit).to_json();
    let of_sample = |id: SampleId| {
        let known = shift.samples.iter().find(|sample| sample.sample_id == id);
        known.map_or(Value::Null, |sample| quantity(sample.concentration))
    };
    let mut steps: Vec<Step> = shift
        .stretches
        .iter()
        .filter(|stretch| stretch.sample_ids.len() > 1)
        .map(|stretch| {
            let formula = if stretch.eight_hour_dose.is_some() { DUPLICATE_DOSES } else { DUPLICATES };
            let values: Vec<Value> = stretch.sample_ids.iter().map(|&id| of_sample(id)).collect();
            let inputs = json!({"concentrations": values});
            Step::new("mean of duplicates", formula, inputs, quantity(stretch.concentration))
        })
        .collect();
    let Some(twa) = shift.twa else { return steps };
    let unsampled = (shift.shift_minutes - shift.sampled_minutes).max(0.0);
    if unsampled > 0.0 {
        let stated = match shift.unsampled {
            None => Value::Null,
            Some(Unsampled::Zero) => json!("zero"),
            Some(Unsampled::AsSampled) => json!("as_sampled"),
            Some(Unsampled::At(concentration)) => quantity(concentration),
        };
        let inputs = json!({"shift_minutes": shift.shift_minutes, "sampled_minutes": shift.sampled_minutes,
            "unsampled_minutes": unsampled, "stated": stated});
        let taken = match (shift.part_sampled, shift.unsampled) {
            (true, _) => json!("from zero to as_sampled"),
            (false, Some(Unsampled::Zero)) => json!("zero"),
            (false, Some(Unsampled::At(concentration))) => quantity(concentration),
            (false, Some(Unsampled::AsSampled) | None) => json!("as_sampled"),
        };
        steps.push(Step::new("unsampled time", UNSAMPLED_TIME, inputs, taken));
    }
    if let Some(criterion) = shift.criterion {
        steps.extend(day_dose_steps(shift, criterion, unsampled));
        return steps;
    }
    let segments: Vec<Value> = shift
        .stretches
        .iter()
        .map(|stretch| json!({"concentration": quantity(stretch.concentration), "minutes": stretch.minutes}))
        .collect();
    let inputs = json!({"segments": segments, "unsampled_minutes": unsampled});
    steps.push(Step::new("8-hour average", EIGHT_HOUR_TWA, inputs, quantity(twa)));
    steps
}
