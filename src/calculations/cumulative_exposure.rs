//! Dose over a working life.

use crate::calculations::given::{CONCENTRATION, IN_AIR, sound};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::cumulative::{
    AVERAGE_INTENSITY, CUMULATIVE, Interval, LAG, MeanWithLimits, cumulative, horizon,
};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Members, Shape};
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::record;
use chrono::NaiveDate;
use serde_json::{Value, json};

/// A mean has no limits, so that the dose has none.
pub const NO_LIMITS: &str = "means_without_limits";
/// No time counts.
pub const NOTHING_COUNTS: &str = "no_time_counts";

/// Every flag of a cumulative exposure with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (NO_LIMITS, "A mean is given without limits, so that the dose has none."),
    (NOTHING_COUNTS, "No time of exposure lies before the day up to which it is counted."),
];

/// The longest lag that can be asked for.
const LAG_MOST: i64 = 100;
/// Nobody works more than this many times full time.
const SHARE_MOST: f64 = 3.0;

/// An arithmetic mean: a quantity, or an estimate with its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct MeanInput {
    mean: MeanWithLimits,
    unit: Unit,
}

impl Shape for MeanInput {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        if value.get("estimate").is_none() {
            let quantity = Quantity::read(value, at, faults)?;
            let Measured::Value(estimate) = quantity.measured else {
                faults.note(at, "must be a plain number, or an estimate with lower and upper");
                return None;
            };
            let mean = MeanWithLimits { estimate, lower: None, upper: None };
            return Some(Self { mean, unit: quantity.unit });
        }
        let members = Members::open(value, at, &["estimate", "lower", "upper", "unit"], faults)?;
        let estimate = members.field("estimate", at, faults);
        let lower = members.field::<Option<f64>>("lower", at, faults)?;
        let upper = members.field::<Option<f64>>("upper", at, faults)?;
        let unit = members.field("unit", at, faults);
        Some(Self { mean: MeanWithLimits { estimate: estimate?, lower, upper }, unit: unit? })
    }

    fn write(&self) -> Option<Value> {
        let MeanWithLimits { estimate, lower, upper } = self.mean;
        if lower.is_none() && upper.is_none() {
            return Some(json!({"value": estimate, "unit": self.unit.code()}));
        }
        Some(json!({"estimate": estimate, "lower": lower, "upper": upper, "unit": self.unit.code()}))
    }

    fn schema() -> Value {
        json!({"oneOf": [
            Quantity::schema(),
            {"type": "object", "properties": {
                "estimate": {"type": "number", "description": "The mean."},
                "lower": {"type": ["number", "null"], "description": "Its lower limit."},
                "upper": {"type": ["number", "null"], "description": "Its upper limit."},
                "unit": Unit::schema(),
            }, "required": ["estimate", "unit"], "additionalProperties": false},
        ]})
    }
}

record! {
    /// A stretch of work with one mean.
    pub struct IntervalInput {
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
        /// The arithmetic mean of its shifts: a quantity, or an estimate with lower and upper limit.
        mean: MeanInput,
        /// The share of full time worked (five shifts a week are 1); 1 if left out.
        share_of_full_time: Option<f64>,
    }
}

record! {
    /// A history; intervals at the same time add up as doses.
    pub struct CumulativeExposureInput {
        /// The intervals.
        intervals: Vec<IntervalInput>,
        /// The day up to which it is counted; the latest `to` if left out.
        as_of: Option<NaiveDate>,
        /// Years by the calendar that are taken off before that day.
        lag_years: Option<i64>,
    }
}

record! {
    /// A dose with its unit.
    pub struct DoseView {
        /// The dose.
        value: f64,
        /// With every mean at its lower limit.
        lower: Option<f64>,
        /// With every mean at its upper limit.
        upper: Option<f64>,
        /// The unit of the first mean, times years (`a`).
        unit: String,
    }
}

record! {
    /// The dose and what it says.
    pub struct CumulativeExposureAnswer {
        /// The dose.
        cumulative: DoseView,
        /// The dose over the years exposed.
        average_intensity: Option<Quantity>,
        /// Years with a mean above zero, each calendar day once.
        years_exposed: f64,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// Dose over a working life.
#[derive(Debug)]
pub struct CumulativeExposure;

impl Calculation for CumulativeExposure {
    const NAME: &'static str = "cumulative-exposure";
    const TITLE: &'static str = "CumulativeExposure";
    const SUMMARY: &'static str = "Dose over a working life, with lag";
    const MORE: &'static str = "Means must be arithmetic ones; a geometric mean understates the dose.";
    type Input = CumulativeExposureInput;
    type Answer = CumulativeExposureAnswer;

    fn example() -> Value {
        json!({"intervals": [
                {"from": "2010-01-01", "to": "2015-01-01", "mean": {"value": 0.08, "unit": "mg/m3"}},
                {"from": "2015-01-01", "to": "2020-07-01", "mean": {"estimate": 0.03, "lower": 0.02, "upper": 0.05, "unit": "mg/m3"},
                 "share_of_full_time": 0.6}],
            "as_of": "2021-01-01", "lag_years": 5})
    }

    fn answer(
        input: CumulativeExposureInput,
        working: &mut Working,
    ) -> Result<CumulativeExposureAnswer, Faults> {
        let mut faults = Faults::default();
        if input.intervals.is_empty() {
            faults.note("/intervals", "must hold at least one interval");
        }
        let unit = input.intervals.first().map(|first| first.mean.unit);
        if let Some(first) = input.intervals.first() {
            let quantity = Quantity::computed(Measured::Value(first.mean.mean.estimate), first.mean.unit);
            quantity.must_be(IN_AIR, CONCENTRATION, "/intervals/0/mean", &mut faults);
        }
        let lag = input.lag_years.unwrap_or(0);
        if !(0..=LAG_MOST).contains(&lag) {
            faults.note("/lag_years", format!("must be 0 to {LAG_MOST}"));
        }
        let intervals: Vec<Option<Interval>> = input
            .intervals
            .iter()
            .enumerate()
            .map(|(n, interval)| read(interval, unit?, &format!("/intervals/{n}"), &mut faults))
            .collect();
        let intervals: Option<Vec<Interval>> = intervals.into_iter().collect();
        let answer = intervals.zip(unit).filter(|_| faults.is_empty()).map(|(intervals, unit)| {
            let lag = u32::try_from(lag).unwrap_or_default();
            compute(&input, &intervals, unit, lag, working)
        });
        sound(answer, faults)
    }
}

fn read(interval: &IntervalInput, unit: Unit, at: &str, faults: &mut Faults) -> Option<Interval> {
    if interval.to <= interval.from {
        faults.note(format!("{at}/to"), "must be after from");
    }
    let MeanWithLimits { estimate, lower, upper } = interval.mean.mean;
    let ordered = lower.is_none_or(|lower| lower <= estimate) && upper.is_none_or(|upper| estimate <= upper);
    if !ordered || lower.unwrap_or(estimate) < 0.0 {
        faults.note(format!("{at}/mean"), "must not be below zero, and lie between its limits");
    }
    let share = interval.share_of_full_time.unwrap_or(1.0);
    if !(0.0..=SHARE_MOST).contains(&share) {
        faults.note(format!("{at}/share_of_full_time"), format!("must be 0 to {SHARE_MOST}"));
    }
    let given = interval.mean.unit;
    if given.dimension() != unit.dimension() {
        faults.note(format!("{at}/mean/unit"), format!("must convert into {unit}, which {given} does not"));
        return None;
    }
    let convert = |value: f64| given.convert(value, unit).map(significant);
    let mean = MeanWithLimits {
        estimate: convert(estimate)?,
        lower: lower.and_then(convert),
        upper: upper.and_then(convert),
    };
    Some(Interval { from: interval.from, to: interval.to, mean, share_of_full_time: share })
}

fn compute(
    input: &CumulativeExposureInput,
    intervals: &[Interval],
    unit: Unit,
    lag: u32,
    working: &mut Working,
) -> CumulativeExposureAnswer {
    let dose = cumulative(intervals, input.as_of, lag);
    let reference = input.as_of.or_else(|| intervals.iter().map(|interval| interval.to).max());
    if let Some(reference) = reference.filter(|_| lag > 0) {
        working.step("lag", LAG, || {
            (json!({"as_of": reference.to_json(), "lag_years": lag}), horizon(reference, lag).to_json())
        });
    }
    let view = DoseView {
        value: significant(dose.value),
        lower: dose.lower.filter(|_| dose.years_exposed > 0.0).map(significant),
        upper: dose.upper.filter(|_| dose.years_exposed > 0.0).map(significant),
        unit: format!("{}.a", unit.code()),
    };
    let years = significant(dose.years_exposed);
    let average = dose.average_intensity.map(|mean| Quantity::computed(Measured::Value(mean), unit));
    working.step("cumulative", CUMULATIVE, || {
        let parts: Vec<Value> = input.intervals.iter().map(Shape::to_json).collect();
        (json!({"intervals": parts, "as_of": reference.map(|date| date.to_json())}), view.to_json())
    });
    if let Some(average) = &average {
        working.step("average intensity", AVERAGE_INTENSITY, || {
            (json!({"cumulative": view.to_json(), "years_exposed": years}), average.to_json())
        });
    }
    let mut flags = Vec::new();
    if dose.years_exposed > 0.0 && (dose.lower.is_none() || dose.upper.is_none()) {
        flags.push(NO_LIMITS);
    }
    if dose.years_exposed == 0.0 {
        flags.push(NOTHING_COUNTS);
    }
    CumulativeExposureAnswer {
        cumulative: view,
        average_intensity: average,
        years_exposed: years,
        flags: words(&flags),
        working: None,
    }
}
