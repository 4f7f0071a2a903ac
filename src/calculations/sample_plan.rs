//! How long to sample, or how many workers.

use crate::calculations::given::{above_zero, sound};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::sample_plan::{
    HANDBOOK_DIFFERS, HANDBOOK_WORKERS, MINIMUM_VOLUME, WORKERS_TO_SAMPLE, minimum_volume_litres,
    minutes_for, workers_to_sample,
};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::unit::{Dimension, Unit};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

/// The share of the limit that a sample should be able to tell, where none is stated.
const USUAL_FRACTION: f64 = 0.1;
/// The largest group that is asked about.
const GROUP_MOST: i64 = 1_000_000;

record! {
    /// Either a limit, a reporting limit and a flow, or a group and a confidence.
    pub struct SamplePlanInput {
        /// The limit.
        limit: Option<Quantity>,
        /// The laboratory's reporting limit, as a mass.
        reporting_limit_mass: Option<Quantity>,
        /// The flow.
        flow: Option<Quantity>,
        /// The share of the limit that the sample must be able to tell; 0.1 if left out.
        fraction_of_limit: Option<f64>,
        /// How many workers the group has.
        group_size: Option<i64>,
        /// The confidence that one of the top fraction is sampled, as a fraction.
        confidence: Option<f64>,
        /// The top fraction.
        top_fraction: Option<f64>,
    }
}

record! {
    /// The plan.
    pub struct SamplePlanAnswer {
        /// The least minutes.
        minimum_minutes: Option<f64>,
        /// The least volume.
        minimum_volume: Option<Quantity>,
        /// How many workers to sample, exactly.
        workers_to_sample: Option<i64>,
        /// How many the handbook's approximation gives, where that differs.
        workers_by_handbook: Option<i64>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// How long to sample, or how many workers.
#[derive(Debug)]
pub struct SamplePlan;

impl Calculation for SamplePlan {
    const NAME: &'static str = "sample-plan";
    const TITLE: &'static str = "SamplePlan";
    const SUMMARY: &'static str = "Least minutes and volume for a limit, or workers to sample from a group";
    type Input = SamplePlanInput;
    type Answer = SamplePlanAnswer;

    fn example() -> Value {
        json!({"limit": {"value": 5, "unit": "ug/m3"}, "reporting_limit_mass": {"value": 0.05, "unit": "ug"},
            "flow": {"value": 2, "unit": "L/min"}})
    }

    fn answer(input: SamplePlanInput, working: &mut Working) -> Result<SamplePlanAnswer, Faults> {
        let of_air = input.limit.is_some()
            || input.reporting_limit_mass.is_some()
            || input.flow.is_some()
            || input.fraction_of_limit.is_some();
        let of_group =
            input.group_size.is_some() || input.confidence.is_some() || input.top_fraction.is_some();
        let mut faults = Faults::default();
        let answer = match (of_air, of_group) {
            (true, false) => air(&input, &mut faults, working),
            (false, true) => workers(&input, &mut faults, working),
            _ => {
                let what = "must hold either limit, reporting_limit_mass and flow, or group_size, confidence and top_fraction";
                faults.note("", what);
                None
            }
        };
        sound(answer, faults)
    }
}

/// A fault where a field is missing.
fn needed<T>(field: Option<T>, at: &str, faults: &mut Faults) -> Option<T> {
    if field.is_none() {
        faults.note(at, "is required");
    }
    field
}

fn air(input: &SamplePlanInput, faults: &mut Faults, working: &mut Working) -> Option<SamplePlanAnswer> {
    let limit = needed(input.limit.as_ref(), "/limit", faults).and_then(|limit| {
        limit.must_be(&[Dimension::MassConcentration], "mass concentration", "/limit", faults);
        above_zero(limit, Unit::MgPerM3, "/limit", faults)
    });
    let mass = needed(input.reporting_limit_mass.as_ref(), "/reporting_limit_mass", faults)
        .and_then(|mass| above_zero(mass, Unit::Ug, "/reporting_limit_mass", faults));
    let flow = needed(input.flow.as_ref(), "/flow", faults)
        .and_then(|flow| above_zero(flow, Unit::LPerMin, "/flow", faults));
    let fraction = input.fraction_of_limit.unwrap_or(USUAL_FRACTION);
    if !(fraction > 0.0 && fraction <= 1.0) {
        faults.note("/fraction_of_limit", "must be above 0 and at most 1");
    }
    if !faults.is_empty() {
        return None;
    }
    let volume = minimum_volume_litres(mass?, limit?, fraction)?;
    let minutes = minutes_for(volume, flow?)?;
    let quantity = Quantity::computed(Measured::Value(volume), Unit::L);
    working.step("least air", MINIMUM_VOLUME, || {
        let inputs = json!({"limit": input.limit.as_ref().map(Shape::to_json),
            "reporting_limit_mass": input.reporting_limit_mass.as_ref().map(Shape::to_json),
            "flow": input.flow.as_ref().map(Shape::to_json), "fraction_of_limit": fraction});
        (inputs, json!({"minimum_volume": quantity.to_json(), "minimum_minutes": minutes}))
    });
    Some(SamplePlanAnswer {
        minimum_minutes: Some(minutes),
        minimum_volume: Some(quantity),
        workers_to_sample: None,
        workers_by_handbook: None,
        flags: Vec::new(),
        working: None,
    })
}

fn workers(input: &SamplePlanInput, faults: &mut Faults, working: &mut Working) -> Option<SamplePlanAnswer> {
    let size = needed(input.group_size, "/group_size", faults);
    if size.is_some_and(|size| !(1..=GROUP_MOST).contains(&size)) {
        faults.note("/group_size", format!("must be 1 to {GROUP_MOST}"));
    }
    let confidence = needed(input.confidence, "/confidence", faults);
    if confidence.is_some_and(|share| !(share > 0.0 && share < 1.0)) {
        faults.note("/confidence", "must be above 0 and below 1");
    }
    let top = needed(input.top_fraction, "/top_fraction", faults);
    if top.is_some_and(|share| !(share > 0.0 && share <= 1.0)) {
        faults.note("/top_fraction", "must be above 0 and at most 1");
    }
    if !faults.is_empty() {
        return None;
    }
    let found = workers_to_sample(u32::try_from(size?).ok()?, confidence?, top?)?;
    let differs = found.exact != found.handbook;
    let inputs =
        || json!({"group_size": size, "confidence": confidence, "top_fraction": top, "top": found.top});
    working.step("workers to sample", WORKERS_TO_SAMPLE, || (inputs(), json!(found.exact)));
    if differs {
        working.step("workers by the handbook", HANDBOOK_WORKERS, || (inputs(), json!(found.handbook)));
    }
    Some(SamplePlanAnswer {
        minimum_minutes: None,
        minimum_volume: None,
        workers_to_sample: Some(i64::from(found.exact)),
        workers_by_handbook: differs.then(|| i64::from(found.handbook)),
        flags: words(if differs { &[HANDBOOK_DIFFERS] } else { &[] }),
        working: None,
    })
}
