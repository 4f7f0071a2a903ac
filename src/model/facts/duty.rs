//! What the registry writes down when it happens: duties, and what people did about them.

use crate::model::facts::agent::Verification;
use crate::model::identifiers::{GroupId, SiteId, WorkerId};
use crate::model::text::{Code, Line, Text};
use crate::{record, words};
use chrono::NaiveDate;

words! {
    /// What a duty asks for.
    pub enum DutyKind {
        /// Offer a first examination.
        OfferExamination = "offer_examination",
        /// Offer the next one.
        PeriodicExamination = "periodic_examination",
        /// Sample again.
        MonitorAgain = "monitor_again",
        /// Tell workers their results.
        NotifyResults = "notify_results",
        /// Write a plan.
        WrittenPlan = "written_plan",
        /// Answer a request for records.
        AnswerRecordRequest = "answer_record_request",
        /// Test hearing.
        Audiogram = "audiogram",
        /// Check ventilation.
        CheckVentilation = "check_ventilation",
    }
}

words! {
    /// How a duty stands.
    pub enum DutyStatus {
        /// To be done.
        Open = "open",
        /// Done.
        Met = "met",
        /// To be done, and late.
        Overdue = "overdue",
        /// Offered and declined.
        Declined = "declined",
        /// Waived by a person with a ground.
        Waived = "waived",
        /// Withdrawn by later facts.
        Withdrawn = "withdrawn",
    }
}

record! {
    /// Whom or what a duty is about.
    pub struct Subject {
        /// A worker.
        worker_id: Option<WorkerId>,
        /// A group.
        group_id: Option<GroupId>,
        /// A site.
        site_id: Option<SiteId>,
    }
}

record! {
    /// Twelve months or whatever a clause counts over.
    pub struct Window {
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: NaiveDate,
    }
}

record! {
    /// A duty as the registry wrote it.
    pub struct Duty {
        /// What it asks for.
        kind: DutyKind,
        /// Whom it is about.
        subject: Subject,
        /// The agent.
        agent_code: Option<Code>,
        /// Whose clause raised it; absent: the law's that comes with the program.
        authority: Option<Code>,
        /// The row of the pack that raised it, or the code of another authority's clause.
        trigger_id: Option<Code>,
        /// Which occasion of that trigger it is; part of its natural key.
        occasion: Code,
        /// Section and paragraph.
        clause: Option<String>,
        /// Which edition of the text was read when the facts asked for it.
        edition: Option<String>,
        /// How far the row was checked against the text then.
        verification: Option<Verification>,
        /// By when the clause asks.
        due_on: NaiveDate,
        /// When the registry learned of it.
        learned_on: NaiveDate,
        /// When the facts themselves met it: the round that was asked for was made.
        met_on: Option<NaiveDate>,
        /// Days counted in the window.
        days_counted: Option<i64>,
        /// The worst window.
        window: Option<Window>,
        /// Journal positions it rests on.
        basis: Vec<i64>,
        /// Who owes it.
        employer: Option<Line>,
        /// Why later facts withdrew it.
        withdrawn: Option<Text>,
        /// The entry of the same person under which it stands instead, where it was withdrawn for that.
        recorded_under: Option<WorkerId>,
        /// What a reader should know.
        flags: Vec<String>,
        /// Sites whose facts it rests on: who may see what of it.
        site_ids: Vec<SiteId>,
        /// `true` where it rests on a physician's ground: then it stands in the medical chain, and whoever is not told of
        /// grounds sees an examination to offer and its date, and no more.
        rests_on_medical_ground: Option<bool>,
    }
}

words! {
    /// What a person did about a duty.
    pub enum DutyActionKind {
        /// Offered.
        Offered = "offered",
        /// Done.
        Completed = "completed",
        /// Declined by the worker.
        Declined = "declined",
        /// The workers were told.
        Notified = "notified",
        /// Waived with a ground.
        Waived = "waived",
    }
}

record! {
    /// What is sent to record a person's act on a duty.
    pub struct DutyActionDraft {
        /// What was done.
        action: DutyActionKind,
        /// When.
        on: NaiveDate,
        /// The ground of a waiver. Of an examination only the physician reads it.
        note: Option<Text>,
    }
}

record! {
    /// A person's act on a duty.
    pub struct DutyAction {
        /// What was done.
        action: DutyActionKind,
        /// When.
        on: NaiveDate,
        /// The ground of a waiver.
        note: Option<Text>,
        /// `true` where the duty rests on a physician's ground; the act then stands in the medical chain too.
        rests_on_medical_ground: Option<bool>,
    }
}

impl Duty {
    /// Whether it rests on a physician's ground.
    pub fn is_medical(&self) -> bool {
        self.rests_on_medical_ground == Some(true)
    }
}
