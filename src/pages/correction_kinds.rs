//! The kinds of facts that pages correct: their fields, what they are called and where they are shown.

use crate::model::facts::control::{Control, Task};
use crate::model::facts::group::Group;
use crate::model::facts::laboratory::{LabReport, LabResult};
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::facts::worker::{Assignment, Worker};
use crate::model::version::Version;
use crate::pages::correction_fields::{self as fields, Field};
use crate::pages::names::Names;
use crate::registry::recording::Recorded;
use uuid::Uuid;

/// A kind of fact that pages correct.
pub trait Correctable: Recorded {
    /// Its fields that are corrected on a page.
    const FIELDS: &'static [Field];
    /// The key of the title of its form; what [`named`](Self::named) says is put in.
    const TITLE: &'static str;

    /// What it is called.
    fn named(version: &Version<Self>, names: &Names) -> String;
    /// The page on which it is shown.
    fn shown_on(version: &Version<Self>) -> String;
    /// The worker whom its form names.
    fn worker(_: &Version<Self>) -> Option<Uuid> {
        None
    }
}

impl Correctable for Sample {
    const FIELDS: &'static [Field] = fields::SAMPLE;
    const TITLE: &'static str = "correct-sample";

    fn named(version: &Version<Self>, _: &Names) -> String {
        version.fact.number.to_string()
    }
    fn shown_on(version: &Version<Self>) -> String {
        format!("/samples/{}", version.id)
    }
    fn worker(version: &Version<Self>) -> Option<Uuid> {
        version.fact.worker_id.map(|worker| worker.0)
    }
}

impl Correctable for SamplingEvent {
    const FIELDS: &'static [Field] = fields::SAMPLING_EVENT;
    const TITLE: &'static str = "correct-event";

    fn named(version: &Version<Self>, _: &Names) -> String {
        version.fact.reference.to_string()
    }
    fn shown_on(version: &Version<Self>) -> String {
        format!("/sampling-events/{}", version.id)
    }
}

impl Correctable for LabResult {
    const FIELDS: &'static [Field] = fields::RESULT;
    const TITLE: &'static str = "correct-result";

    fn named(version: &Version<Self>, names: &Names) -> String {
        names.agent(version.fact.agent_code.as_str())
    }
    fn shown_on(version: &Version<Self>) -> String {
        format!("/samples/{}", version.fact.sample_id)
    }
}

impl Correctable for LabReport {
    const FIELDS: &'static [Field] = fields::LAB_REPORT;
    const TITLE: &'static str = "correct-report";

    fn named(version: &Version<Self>, _: &Names) -> String {
        version.fact.report_number.to_string()
    }
    fn shown_on(version: &Version<Self>) -> String {
        format!("/lab-reports/{}", version.id)
    }
}

impl Correctable for Worker {
    const FIELDS: &'static [Field] = fields::WORKER;
    const TITLE: &'static str = "correct-worker";

    fn named(version: &Version<Self>, _: &Names) -> String {
        format!("{} {}", version.fact.given_name, version.fact.family_name)
    }
    fn shown_on(version: &Version<Self>) -> String {
        format!("/workers/{}", version.id)
    }
    fn worker(version: &Version<Self>) -> Option<Uuid> {
        Some(version.id)
    }
}

impl Correctable for Assignment {
    const FIELDS: &'static [Field] = fields::ASSIGNMENT;
    const TITLE: &'static str = "correct-assignment";

    fn named(version: &Version<Self>, names: &Names) -> String {
        let worker = version.parent.and_then(|worker| names.worker_parts(worker));
        worker.map(|(name, _)| name.to_owned()).unwrap_or_default()
    }
    fn shown_on(version: &Version<Self>) -> String {
        format!("/workers/{}", version.parent.unwrap_or_default())
    }
    fn worker(version: &Version<Self>) -> Option<Uuid> {
        version.parent
    }
}

impl Correctable for Task {
    const FIELDS: &'static [Field] = fields::TASK;
    const TITLE: &'static str = "correct-task";

    fn named(version: &Version<Self>, _: &Names) -> String {
        version.fact.title.to_string()
    }
    fn shown_on(version: &Version<Self>) -> String {
        format!("/tasks/{}", version.id)
    }
}

impl Correctable for Group {
    const FIELDS: &'static [Field] = fields::GROUP;
    const TITLE: &'static str = "correct-group";

    fn named(version: &Version<Self>, _: &Names) -> String {
        version.fact.title.to_string()
    }
    fn shown_on(version: &Version<Self>) -> String {
        format!("/groups/{}", version.id)
    }
}

impl Correctable for Control {
    const FIELDS: &'static [Field] = fields::CONTROL;
    const TITLE: &'static str = "correct-control";

    fn named(version: &Version<Self>, _: &Names) -> String {
        version.fact.title.to_string()
    }
    fn shown_on(version: &Version<Self>) -> String {
        version.site.map(|site| format!("/sites/{site}")).unwrap_or_default()
    }
}
