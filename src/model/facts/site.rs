//! Sites and what is set for a whole site.

use crate::model::facts::rule_set::RuleSet;
use crate::model::identifiers::{GroupId, WorkerId};
use crate::model::shape::{Faults, Shape};
use crate::model::text::{Code, Line, Text};
use crate::{record, words};
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::{Value, json};

/// An IANA time zone, such as `America/Denver`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TimeZone(pub chrono_tz::Tz);

impl Shape for TimeZone {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let read = value.as_str().and_then(|name| name.parse().ok());
        if read.is_none() {
            faults.note(at, "must be an IANA time zone such as America/Denver");
        }
        read.map(Self)
    }

    fn write(&self) -> Option<Value> {
        Some(Value::String(self.0.name().into()))
    }

    fn schema() -> Value {
        json!({"type": "string", "examples": ["America/Denver"]})
    }
}

record! {
    /// A site of the employer.
    pub struct Site {
        /// Short code, unique in the registry.
        code: Code,
        /// Its name.
        name: Line,
        /// IANA time zone: shift dates are local dates here.
        time_zone: TimeZone,
        /// The rule set in force from the beginning; later changes are dated.
        rule_set: RuleSet,
    }
}

record! {
    /// A rule set that holds from a date on, for a site or for one group in it.
    pub struct RuleSetChange {
        /// The rule set.
        rule_set: RuleSet,
        /// The first day on which it holds.
        from: NaiveDate,
        /// Why.
        reason: Text,
    }
}

words! {
    /// How a site monitors an agent where the standard leaves the choice.
    pub enum MonitoringChoice {
        /// At the standard's fixed frequencies.
        Scheduled = "scheduled",
        /// By any data that characterises exposure; the fixed frequencies do not bind.
        Performance = "performance",
    }
}

record! {
    /// Which monitoring option a site follows for an agent, from a date on.
    pub struct MonitoringOption {
        /// The agent.
        agent_code: Code,
        /// The option.
        option: MonitoringChoice,
        /// The first day on which it holds.
        from: NaiveDate,
    }
}

record! {
    /// A day that is no working day at the site.
    pub struct Holiday {
        /// The day.
        date: NaiveDate,
        /// Its name.
        name: Line,
    }
}

record! {
    /// An uncontrolled release at the plant: a plant fact that starts duties for those present.
    pub struct Release {
        /// When.
        at: DateTime<Utc>,
        /// What was released.
        agent_codes: Vec<Code>,
        /// Groups whose members were present.
        group_ids: Vec<GroupId>,
        /// Workers who were present.
        worker_ids: Vec<WorkerId>,
        /// What happened.
        description: Text,
    }
}
