//! Is it one group? Workers whose own mean is not that of their group: a hint to look, never a split.

use crate::hygiene::own_means::{OWN_MEAN, OwnMeans, own_means};
use crate::model::identifiers::WorkerId;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};
use std::collections::BTreeMap;

record! {
    /// A worker whose own mean is not that of the group.
    pub struct WorkerApartView {
        /// The worker.
        worker_id: WorkerId,
        /// Name.
        name: Option<String>,
        /// The worker's shifts in the profile.
        shifts: i64,
        /// The geometric mean of the worker's own results; absent for noise.
        geometric_mean: Option<Quantity>,
        /// Of noise the worker's own mean level.
        mean_level: Option<Quantity>,
        /// The two-sided 95 % interval of that mean.
        interval_95: Quantity,
    }
}

record! {
    /// Which workers' own means are not that of the group: whether it is one group is for a hygienist to judge.
    pub struct WorkersApartView {
        /// How many workers were looked at: those with two or more shifts.
        compared: i64,
        /// How many of them have a mean whose 95 % interval excludes the group's mean; of twenty about one does by chance.
        count: i64,
        /// Those of them whom the reader may see.
        items: Vec<WorkerApartView>,
    }
}

/// The workers of one era beside their group's mean.
#[derive(Debug, Clone, PartialEq)]
pub struct WorkersApart {
    workers: Vec<WorkerId>,
    levels: bool,
    unit: Unit,
    found: OwnMeans,
}

impl WorkersApart {
    /// Looks at the workers of a profile; `levels` are levels of noise, averaged as they are, all else by logarithms. `None`
    /// unless three workers have two shifts each, all of them detected.
    pub fn of(shifts: &[(WorkerId, Measured)], unit: Unit, levels: bool) -> Option<Self> {
        let mut by_worker: BTreeMap<WorkerId, Vec<f64>> = BTreeMap::new();
        for (worker, measured) in shifts {
            let value = match *measured {
                Measured::Value(value) if levels => value,
                Measured::Value(value) if value > 0.0 => value.ln(),
                _ => return None,
            };
            by_worker.entry(*worker).or_default().push(value);
        }
        let (workers, values): (Vec<_>, Vec<_>) = by_worker.into_iter().unzip();
        Some(Self { workers, levels, unit, found: own_means(&values)? })
    }

    /// Whether anybody's mean excludes that of the group.
    pub fn any(&self) -> bool {
        self.found.workers.iter().any(|one| one.apart)
    }

    fn back(&self, value: f64) -> f64 {
        if self.levels { value } else { value.exp() }
    }

    fn quantity(&self, value: f64) -> Quantity {
        Quantity::computed(Measured::Value(self.back(value)), self.unit)
    }

    fn interval(&self, lower: f64, upper: f64) -> Quantity {
        let between = Measured::Between { lower: self.back(lower), upper: self.back(upper) };
        Quantity::computed(between, self.unit)
    }

    /// Those apart, without their names: these are read where the reader is known.
    pub fn view(&self) -> WorkersApartView {
        let items: Vec<WorkerApartView> = self
            .found
            .workers
            .iter()
            .filter(|one| one.apart)
            .filter_map(|one| {
                let mean = self.quantity(one.mean);
                Some(WorkerApartView {
                    worker_id: *self.workers.get(one.worker)?,
                    name: None,
                    shifts: count(one.n),
                    geometric_mean: (!self.levels).then(|| mean.clone()),
                    mean_level: self.levels.then_some(mean),
                    interval_95: self.interval(one.lower, one.upper),
                })
            })
            .collect();
        WorkersApartView { compared: count(self.found.workers.len()), count: count(items.len()), items }
    }

    /// How it came about; it names nobody.
    pub fn step(&self) -> Step {
        let OwnMeans { group_mean, within, degrees_of_freedom, workers } = &self.found;
        let means: Vec<Value> = workers
            .iter()
            .map(|one| json!({"shifts": one.n, "mean": self.quantity(one.mean).to_json()}))
            .collect();
        let intervals: Vec<Value> = workers
            .iter()
            .map(|one| {
                let interval = self.interval(one.lower, one.upper).to_json();
                json!({"interval_95": interval, "apart": one.apart})
            })
            .collect();
        let inputs = json!({"group_mean": self.quantity(*group_mean).to_json(), "within": significant(*within),
            "degrees_of_freedom": degrees_of_freedom, "workers": means});
        Step::new("workers' own means", OWN_MEAN, inputs, json!(intervals))
    }
}

fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    fn shifts(values: &[(u128, Measured)]) -> Vec<(WorkerId, Measured)> {
        values.iter().map(|(worker, value)| (WorkerId(Uuid::from_u128(*worker)), *value)).collect()
    }

    // Arithmetic, in units of ln 2: 0, 2 and 0, 2 and 6, 8 about 3; MSW 2, t(0.975, 3) = 3.1824 (table): 7 -/+ 3.1824.
    #[test]
    fn a_worker_whose_interval_excludes_the_groups_mean_is_told() {
        let value = Measured::Value;
        let three = shifts(&[
            (3, value(64.0)),
            (1, value(1.0)),
            (2, value(1.0)),
            (1, value(4.0)),
            (2, value(4.0)),
            (3, value(256.0)),
        ]);
        let found = WorkersApart::of(&three, Unit::UgPerM3, false).unwrap();
        let view = found.view();
        assert_eq!((view.compared, view.count, found.any()), (3, 1, true));
        let one = &view.items[0];
        assert_eq!((one.worker_id, one.shifts), (WorkerId(Uuid::from_u128(3)), 2));
        assert_eq!(one.geometric_mean, Some(Quantity::computed(value(128.0), Unit::UgPerM3)));
        let Measured::Between { lower, upper } = one.interval_95.measured else { panic!() };
        assert!((lower - 14.10).abs() < 0.01 && (upper - 1162.0).abs() < 1.0, "{lower} {upper}");
        assert!(one.mean_level.is_none());
        // As levels in dB they are averaged as they are: 160 about 55, MSW = (4.5 + 4.5 + 18432) / 3.
        let levels = WorkersApart::of(&three, Unit::DbA, true).unwrap();
        assert!(!levels.any() && levels.view().items.is_empty());
    }

    #[test]
    fn a_bound_or_too_few_shifts_say_nothing() {
        let value = Measured::Value;
        let mut three = shifts(&[
            (1, value(1.0)),
            (1, value(2.0)),
            (2, value(1.0)),
            (2, value(2.0)),
            (3, value(1.0)),
            (3, value(2.0)),
        ]);
        assert!(WorkersApart::of(&three, Unit::UgPerM3, false).is_some());
        assert_eq!(WorkersApart::of(&three[..5], Unit::UgPerM3, false), None);
        three.push((WorkerId(Uuid::from_u128(1)), Measured::Below(0.5)));
        assert_eq!(WorkersApart::of(&three, Unit::UgPerM3, false), None);
    }
}
