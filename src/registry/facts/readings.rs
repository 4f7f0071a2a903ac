//! Series of direct readings: one running state at one place.

use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::Group;
use crate::model::facts::sampling::{DirectReadings, Position};
use crate::model::facts::worker::Worker;
use crate::model::shape::Faults;
use crate::registry::facts::refer;
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::recording::Recorded;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;

/// The most readings of a series.
const READINGS_MOST: usize = 50_000;

impl Recorded for DirectReadings {
    const UNDER: Under = Under::Site;
    const RECORD: Action = Action::RecordSamples;
    const READ: Action = Action::ReadSamples;

    async fn check(
        &mut self,
        place: &mut Place,
        scope: &Scope,
        change: &mut Change,
        faults: &mut Faults,
    ) -> Result<(), Refusal> {
        match (self.position, self.worker_id) {
            (Position::BreathingZone, None) => faults.note("/worker_id", "is required in the breathing zone"),
            (Position::BreathingZone, Some(id)) => {
                refer::existing::<Worker>(change, scope, None, id, "/worker_id", faults).await?;
            }
            (_, Some(_)) => faults.note("/worker_id", "belongs to the breathing zone only"),
            (Position::FieldBlank, None) => faults.note("/position", "must be a place with air"),
            (_, None) => {}
        }
        if let Some(id) = self.task_id {
            refer::existing::<Task>(change, scope, place.site, id, "/task_id", faults).await?;
        }
        if let Some(id) = self.group_id {
            refer::existing::<Group>(change, scope, place.site, id, "/group_id", faults).await?;
        }
        for (n, id) in self.control_ids_running.iter().flatten().enumerate() {
            let at = format!("/control_ids_running/{n}");
            refer::existing::<Control>(change, scope, place.site, *id, &at, faults).await?;
        }
        if self.readings.is_empty() || self.readings.len() > READINGS_MOST {
            faults.note("/readings", format!("must hold 1 to {READINGS_MOST} readings"));
        }
        for (n, pair) in self.readings.windows(2).enumerate() {
            if pair[1].at <= pair[0].at {
                faults.note(format!("/readings/{}/at", n + 1), "must be after the reading before");
            }
        }
        for (n, reading) in self.readings.iter().enumerate() {
            if reading.value < 0.0 {
                faults.note(format!("/readings/{n}/value"), "must not be below zero");
            }
        }
        if self.calibrated_on.is_some_and(|day| day > self.shift_date) {
            faults.note("/calibrated_on", "must not be after the shift date");
        }
        Ok(())
    }

    fn reach(&self, _: &Place) -> Vec<Reach> {
        self.task_id.map(Reach::Task).into_iter().collect()
    }
}
