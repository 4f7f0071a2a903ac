//! The facts that a conclusion is drawn from, gathered by the use cases.

use crate::model::facts::control::{Control, ControlPeriod, Task};
use crate::model::facts::group::{Group, GroupChange, JoinedEra};
use crate::model::facts::laboratory::LabResult;
use crate::model::facts::sampling::{Sample, SamplingEvent};
use crate::model::facts::site::{RuleSetChange, Site};
use crate::model::version::Version;
use std::sync::Arc;

/// A field blank with its results.
pub type Blank = (Version<Sample>, Vec<Version<LabResult>>);

/// A sample with its event and everything reported for it.
#[derive(Debug, Clone)]
pub struct SampleEvidence {
    /// The sample; its parent is the event.
    pub sample: Version<Sample>,
    /// The event; its parent and site are the site.
    pub event: Arc<Version<SamplingEvent>>,
    /// Every result of the sample, all agents, voided and replaced ones among them.
    pub results: Vec<Version<LabResult>>,
    /// Field blanks of the event with their results.
    pub blanks: Arc<Vec<Blank>>,
}

/// A group and everything that cuts its eras.
#[derive(Debug, Clone)]
pub struct GroupEvidence {
    /// The group's site.
    pub site: Version<Site>,
    /// The group.
    pub group: Version<Group>,
    /// Its tasks.
    pub tasks: Vec<Version<Task>>,
    /// Periods of controls on those tasks; the parent is the task.
    pub periods: Vec<Version<ControlPeriod>>,
    /// The controls of those periods, and those named by the samples.
    pub controls: Vec<Version<Control>>,
    /// Recorded changes of the group.
    pub changes: Vec<Version<GroupChange>>,
    /// Cuts taken out by a hygienist.
    pub joined: Vec<Version<JoinedEra>>,
    /// Dated rule sets of the site.
    pub site_rule_sets: Vec<Version<RuleSetChange>>,
    /// Dated rule sets of the group; they win over the site's.
    pub group_rule_sets: Vec<Version<RuleSetChange>>,
}
