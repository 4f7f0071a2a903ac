//! What goes with a thing: everything that would be left hanging without it.

use crate::model::facts::{duty, laboratory, letter, sampling, worker};
use crate::store::backend::Tx;
use crate::store::disposal::{became, hanging_on};
use crate::store::error::StoreError;
use crate::store::originals::parents_of;
use crate::store::tables::{Stored, Table};
use uuid::Uuid;

/// Facts of one kind.
#[derive(Debug, Clone)]
pub struct OfKind {
    /// Their table.
    pub table: &'static Table,
    /// Themselves.
    pub ids: Vec<Uuid>,
}

struct Gathered<'t> {
    tx: &'t mut Tx,
    found: Vec<OfKind>,
}

impl Gathered<'_> {
    async fn hanging<F: Stored>(
        &mut self,
        column: &'static str,
        on: &[Uuid],
    ) -> Result<Vec<Uuid>, StoreError> {
        let ids = hanging_on(self.tx, F::TABLE, column, on).await?;
        self.found.push(OfKind { table: F::TABLE, ids: ids.clone() });
        Ok(ids)
    }
}

/// A sampling event with its samples, their results, the rows that waited for a sample before they became one of these, and
/// the letters. Of a laboratory's report the head stays: it names
/// nobody.
///
/// # Errors
/// Only when storage fails.
pub async fn of_event(tx: &mut Tx, event: Uuid) -> Result<Vec<OfKind>, StoreError> {
    let itself = OfKind { table: sampling::SamplingEvent::TABLE, ids: vec![event] };
    let mut all = Gathered { tx, found: vec![itself] };
    let samples = all.hanging::<sampling::Sample>("parent_id", &[event]).await?;
    let results = all.hanging::<laboratory::LabResult>("sample_id", &samples).await?;
    let reports = parents_of(all.tx, laboratory::LabResult::TABLE, &results).await?;
    let waited = became(all.tx, laboratory::HeldRow::TABLE, &reports, "result_id", &results).await?;
    all.found.push(OfKind { table: laboratory::HeldRow::TABLE, ids: waited });
    all.hanging::<letter::Letter>("parent_id", &[event]).await?;
    Ok(all.found)
}

/// A worker with everything that hangs on him.
///
/// # Errors
/// Only when storage fails.
pub async fn of_worker(tx: &mut Tx, id: Uuid) -> Result<Vec<OfKind>, StoreError> {
    let itself = OfKind { table: worker::Worker::TABLE, ids: vec![id] };
    let mut all = Gathered { tx, found: vec![itself] };
    let him = [id];
    all.hanging::<worker::Employment>("parent_id", &him).await?;
    all.hanging::<worker::EarlierExposure>("parent_id", &him).await?;
    let assignments = all.hanging::<worker::Assignment>("parent_id", &him).await?;
    all.hanging::<worker::RespiratorConfirmation>("parent_id", &assignments).await?;
    all.hanging::<worker::WorkedDay>("parent_id", &him).await?;
    all.hanging::<worker::Absence>("parent_id", &him).await?;
    all.hanging::<worker::Alias>("parent_id", &him).await?;
    all.hanging::<worker::Alias>("of_worker_id", &him).await?;
    all.hanging::<worker::MedicalGround>("parent_id", &him).await?;
    all.hanging::<worker::RecordRequest>("parent_id", &him).await?;
    let duties = all.hanging::<duty::Duty>("worker_id", &him).await?;
    all.hanging::<duty::DutyAction>("parent_id", &duties).await?;
    all.hanging::<letter::Letter>("worker_id", &him).await?;
    Ok(all.found)
}
