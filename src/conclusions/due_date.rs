//! What a calendar shows of a duty.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

/// Something that is due on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DueDate {
    /// Its identifier, the same in every edition of the calendar.
    pub id: Uuid,
    /// Counts up with every change.
    pub sequence: i64,
    /// When it was last changed.
    pub changed_at: DateTime<Utc>,
    /// The day.
    pub due_on: NaiveDate,
    /// What is due; names no worker.
    pub title: String,
    /// Whether it is no longer to be done.
    pub cancelled: bool,
}
