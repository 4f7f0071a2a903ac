//! The answer to a proposed limit.

use crate::conclusions::limit_change::too_coarse::SamplingNeeded;
use crate::hygiene::sufficiency::Sufficiency;
use crate::model::facts::agent::LimitKind;
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::sampling::Position;
use crate::model::facts::standing_move::StandingValue;
use crate::model::identifiers::{ControlId, GroupId, SiteId, TaskId, WorkerId};
use crate::model::quantity::Quantity;
use crate::model::text::Code;
use crate::record;

/// A sentence that stands with every answer.
pub const WORDS: &str = "Existing results read as if the proposed level had held on every date; nothing is stored. It says \
                         what would appear to change: the law in force and a licensed professional decide.";
/// A limit that is not the law's moves no clause of the law.
pub const MAKES_NO_CLAUSE: &str = "authority_makes_no_clause";
/// No limit of the authority and kind is in force today.
pub const NO_LIMIT_NOW: &str = "no_limit_now";

/// Controls are judged by what remains over a shift.
pub const CONTROLS_NOT_READ: &str = "controls_not_read";
/// A sample that is longer than the minutes of the limit.
pub const SAMPLE_LONGER_THAN_WINDOW: &str = "sample_longer_than_window";
/// A result below a reporting limit that lies above the level.
pub const REPORTING_LIMIT_TOO_HIGH: &str = "reporting_limit_too_high";
/// Noise that was read by another criterion than the level is met by.
pub const OTHER_CRITERION: &str = "noise_by_other_criterion";

/// Every flag of a preview with its meaning, but for one that results have too.
pub const FLAGS: &[(&str, &str)] = &[
    (
        CONTROLS_NOT_READ,
        "What remains with a control is told against 8-hour levels of substances: nothing is said of controls here.",
    ),
    (
        SAMPLE_LONGER_THAN_WINDOW,
        "Samples ran longer than the limit is averaged over: they show that it was reached, and never that it was not.",
    ),
    (
        OTHER_CRITERION,
        "Noise was not read by the criterion that this level is met by: the action level with the threshold of 80 dBA, \
         the limit with that of 90.",
    ),
    (MAKES_NO_CLAUSE, "The proposed limit is not the law's: it triggers nobody by a clause of the law."),
    (NO_LIMIT_NOW, "The authority has no limit of this kind in force today."),
];

record! {
    /// A group whose results cannot tell how it lies to the proposed level.
    pub struct CannotTellGroup {
        /// Its site.
        site_id: SiteId,
        /// The group.
        group_id: GroupId,
        /// 8-hour averages of the present era that cannot tell; for a limit over minutes, shifts with such samples.
        cannot_tell: i64,
        /// All of them that count.
        of: i64,
        /// Whether a range comes of time that was not sampled, so that the whole shift has to be.
        part_sampled: bool,
        /// How long to sample; absent where no volume or reporting limit is known.
        sampling_needed: Option<SamplingNeeded>,
        /// Why they cannot.
        flags: Vec<String>,
    }
}

record! {
    /// Groups that stand alike now and would stand alike.
    pub struct StandingsAlike {
        /// Where they stand.
        now: StandingValue,
        /// Where they would stand.
        proposed: StandingValue,
        /// How many.
        count: i64,
        /// The groups, in order of site and group.
        groups: Vec<GroupOnSite>,
    }
}

record! {
    /// A group and its site.
    pub struct GroupOnSite {
        /// Its site.
        site_id: SiteId,
        /// The group.
        group_id: GroupId,
    }
}

record! {
    /// A worker who meets a clause under the proposal, and does not now.
    pub struct NewlyTriggered {
        /// The worker.
        worker_id: WorkerId,
        /// The name.
        name: String,
        /// Row of the pack.
        trigger_id: String,
        /// The clause whose number the proposal changes.
        clause: String,
        /// Under which body of law.
        rule_set: RuleSet,
        /// Days in the worst window that the worker was measured on; absent where days are at sites out of sight.
        measured_days: Option<i64>,
        /// Days up to today that stand on the group alone.
        represented_days: Option<i64>,
        /// Days planned ahead.
        planned_days: Option<i64>,
        /// `days_across_sites` where the numbers are kept back.
        flags: Vec<String>,
        /// In words.
        words: String,
    }
}

record! {
    /// What remains with a control, against the levels now and with the proposal.
    pub struct ControlNoLongerSufficient {
        /// The site.
        site_id: SiteId,
        /// The task.
        task_id: TaskId,
        /// The control.
        control_id: ControlId,
        /// Where the air was taken.
        position: Position,
        /// Now.
        now: Sufficiency,
        /// With the proposal.
        proposed: Sufficiency,
    }
}

record! {
    /// What a proposed limit or action level would change at the sites in sight.
    pub struct LimitChangeView {
        /// The agent.
        agent_code: Code,
        /// Whose limit.
        authority: Code,
        /// Which.
        kind: LimitKind,
        /// The proposed number.
        proposed: Quantity,
        /// Minutes that a short-term limit is averaged over.
        averaging_minutes: Option<i64>,
        /// Under this body of law alone.
        rule_set: Option<RuleSet>,
        /// Groups whose data are too coarse to tell: read these first.
        cannot_tell: Vec<CannotTellGroup>,
        /// All groups by standing now and with the proposal.
        standings: Vec<StandingsAlike>,
        /// Workers newly triggered who are in sight.
        newly_triggered: Vec<NewlyTriggered>,
        /// Workers newly triggered in these groups whom the reader does not see.
        newly_triggered_not_in_sight: i64,
        /// Controls that would no longer be sufficient.
        controls: Vec<ControlNoLongerSufficient>,
        /// What is to be known of it.
        flags: Vec<String>,
        /// In words.
        words: String,
    }
}
