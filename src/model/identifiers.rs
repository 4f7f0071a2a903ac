//! Typed identifiers (UUIDv7): a worker's cannot be passed where a site's is wanted.

use crate::model::shape::{Faults, Shape};
use serde_json::Value;
use uuid::Uuid;

macro_rules! identifiers {
    ($($(#[doc = $doc:literal])* $name:ident),* $(,)?) => { $(
        $(#[doc = $doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub Uuid);

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }

        impl From<Uuid> for $name {
            fn from(id: Uuid) -> Self {
                Self(id)
            }
        }

        impl From<$name> for Uuid {
            fn from(id: $name) -> Self {
                id.0
            }
        }

        impl Shape for $name {
            fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
                Uuid::read(value, at, faults).map(Self)
            }

            fn write(&self) -> Option<Value> {
                self.0.write()
            }

            fn schema() -> Value {
                Uuid::schema()
            }
        }
    )* };
}

identifiers! {
    /// An account.
    AccountId,
    /// A site.
    SiteId,
    /// An agent.
    AgentId,
    /// An exposure limit of an agent.
    LimitId,
    /// A similar exposure group.
    GroupId,
    /// A task.
    TaskId,
    /// A control.
    ControlId,
    /// A worker.
    WorkerId,
    /// An assignment of a worker to a group.
    AssignmentId,
    /// A sampling event.
    EventId,
    /// A sample.
    SampleId,
    /// A laboratory report.
    ReportId,
    /// A result: one sample and one agent.
    ResultId,
    /// A duty.
    DutyId,
    /// A letter.
    LetterId,
    /// A move of a group's standing.
    StandingMoveId,
}
