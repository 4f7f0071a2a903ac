//! Similar exposure groups and what is recorded of them.

use crate::model::text::{Code, Line, Text};
use crate::{record, words};
use chrono::NaiveDate;

record! {
    /// A similar exposure group: workers whose exposure is taken to be alike.
    pub struct Group {
        /// Short code, unique at the site.
        code: Code,
        /// Its title.
        title: Line,
        /// What its members do.
        description: Option<Text>,
        /// Job classification.
        job_classification: Option<Line>,
        /// Where they work.
        work_area: Option<Line>,
        /// When they work, in words.
        shift_pattern: Option<Line>,
    }
}

words! {
    /// A condition of a group that a clause asks about and air samples do not show.
    pub enum ConditionKind {
        /// The law requires a respirator.
        RespiratorRequired = "respirator_required",
        /// Work in a regulated area.
        RegulatedArea = "regulated_area",
        /// Skin contact.
        SkinContact = "skin_contact",
        /// A task that the standard lists.
        ListedTask = "listed_task",
    }
}

record! {
    /// A dated condition of a group.
    pub struct Condition {
        /// The agent it is about.
        agent_code: Code,
        /// Which condition.
        kind: ConditionKind,
        /// The clause it belongs to.
        trigger_id: Option<Code>,
        /// On how many days a week.
        days_per_week: Option<f64>,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// Where this is known from.
        source: Text,
    }
}

words! {
    /// What changed in a group's work.
    pub enum ChangeKind {
        /// The process.
        Process = "process",
        /// The material.
        Material = "material",
        /// The equipment.
        Equipment = "equipment",
        /// The way of working.
        WorkPractice = "work_practice",
        /// The people.
        Personnel = "personnel",
        /// The hours.
        Schedule = "schedule",
    }
}

record! {
    /// A change in a group's work: it begins a new era.
    pub struct GroupChange {
        /// The first day of the changed work.
        from: NaiveDate,
        /// What changed.
        kind: ChangeKind,
        /// How.
        description: Text,
        /// Whether it may raise exposure.
        may_raise: bool,
    }
}

record! {
    /// An agent expected in the group: what a gap is about.
    pub struct ExpectedAgent {
        /// The agent.
        agent_code: Code,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// Where this is known from.
        source: Text,
    }
}

record! {
    /// A cut between two eras that a hygienist takes out.
    pub struct JoinedEra {
        /// For this agent only; left out: for all.
        agent_code: Option<Code>,
        /// The cut that is taken out.
        at: NaiveDate,
        /// Why the eras belong together.
        reason: Text,
    }
}

words! {
    /// What a judgement rests on.
    pub enum JudgementKind {
        /// The hygienist's professional judgement.
        Professional = "professional",
        /// Objective data.
        Objective = "objective",
        /// Historical data.
        Historical = "historical",
    }
}

record! {
    /// A range of a mean.
    pub struct MeanRange {
        /// The least.
        lower: crate::model::quantity::Quantity,
        /// The most.
        upper: crate::model::quantity::Quantity,
    }
}

record! {
    /// A hygienist's reasoned rating of an unmeasured group or era.
    pub struct Judgement {
        /// The group.
        group_id: crate::model::identifiers::GroupId,
        /// The agent.
        agent_code: Code,
        /// The first day it holds for.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// What it rests on.
        kind: JudgementKind,
        /// The band of the 95th percentile, 1 (below 1 % of the limit) to 5 (above it).
        rating: i64,
        /// The arithmetic mean, where one can be judged.
        arithmetic_mean: Option<MeanRange>,
        /// Why.
        rationale: Text,
        /// What it draws on.
        sources: Option<Text>,
        /// When it is to be looked at again.
        review_on: Option<NaiveDate>,
    }
}
