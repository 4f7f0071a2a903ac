//! The comparison at the same arc time, where every shift states it.

use crate::conclusions::figures::AdjustedView;
use crate::conclusions::verdict::shift_value::ShiftValue;
use crate::conclusions::verdict::working::Compared;
use crate::hygiene::log_linear::{LOG_LINEAR, Observation, adjusted_ratio};
use crate::model::shape::Shape;
use crate::model::working::Step;
use serde_json::json;

/// What the condition is called.
const ARC_MINUTES_PER_HOUR: &str = "arc_minutes_per_hour";

impl Compared<'_> {
    /// The ratio at the same arc minutes an hour; `None` for noise, where a value is a bound or does not state them, or where
    /// they cannot be told apart from the control.
    pub(super) fn adjusted_for_arc_time(&self) -> Option<(AdjustedView, Step)> {
        if self.criterion.is_some() {
            return None;
        }
        let side = |values: &[ShiftValue], with: bool| -> Option<Vec<Observation>> {
            values
                .iter()
                .map(|one| {
                    let plain = one.value.is_value() && one.value.lower() > 0.0;
                    plain.then_some(())?;
                    Some(Observation {
                        ln_result: one.value.lower().ln(),
                        with,
                        covariates: vec![one.arc_minutes_per_hour?],
                    })
                })
                .collect()
        };
        let mut observations = side(&self.values.without, false)?;
        observations.extend(side(&self.values.with, true)?);
        let found = adjusted_ratio(&observations)?;
        let view = AdjustedView::of(&found, std::iter::once(ARC_MINUTES_PER_HOUR.to_owned()));
        let rows: Vec<_> = self
            .values
            .without
            .iter()
            .map(|one| (one, false))
            .chain(self.values.with.iter().map(|one| (one, true)))
            .map(|(one, with)| {
                json!({"value": self.quantity(one.value), "with": with,
                    ARC_MINUTES_PER_HOUR: one.arc_minutes_per_hour})
            })
            .collect();
        let step = Step::new("ratio at the same arc time", LOG_LINEAR, json!(rows), view.to_json());
        Some((view, step))
    }
}
