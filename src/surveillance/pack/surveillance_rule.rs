//! Clauses that start medical surveillance.

use crate::model::facts::agent::Verification;
use crate::model::facts::rule_set::RuleSet;
use crate::{record, words};

words! {
    /// What kind of thing meets a clause.
    pub enum TriggerType {
        /// Days at or above a level.
        ExposureDays = "exposure_days",
        /// Signs or symptoms.
        Symptoms = "symptoms",
        /// An uncontrolled release.
        Emergency = "emergency",
        /// A result of a biological test.
        Biological = "biological",
        /// A biological result that removes from work.
        BiologicalRemoval = "biological_removal",
        /// Any one day at a level.
        ExposureAnyDay = "exposure_any_day",
        /// A listed task.
        Task = "task",
        /// Exposure in earlier years.
        History = "history",
        /// Days at a level, presumed unless shown otherwise.
        ExposureDaysRebuttable = "exposure_days_rebuttable",
        /// Days at a level or a listed task, presumed unless shown otherwise.
        ExposureOrTaskRebuttable = "exposure_or_task_rebuttable",
        /// A physician's recommendation.
        MedicalRecommendation = "medical_recommendation",
        /// Days on which a respirator is required.
        RespiratorDays = "respirator_days",
        /// Any exposure at a level.
        ExposureAny = "exposure_any",
        /// Days at a level or in a class of work, together.
        ExposureOrTaskDays = "exposure_or_task_days",
        /// A respirator is required at all.
        RespiratorAny = "respirator_any",
        /// Exposure at a level together with a medical ground.
        ExposureAnyPlusMedical = "exposure_any_plus_medical",
        /// Days of skin contact.
        DermalDays = "dermal_days",
        /// A release, or signs or symptoms.
        EmergencyOrSymptoms = "emergency_or_symptoms",
        /// Work in a regulated area.
        Area = "area",
        /// Days in a regulated area.
        AreaDays = "area_days",
    }
}

words! {
    /// How an exposure is compared with a level.
    pub enum Comparator {
        /// At or above it.
        AtOrAbove = ">=",
        /// Above it.
        Above = ">",
    }
}

record! {
    /// One clause that starts medical surveillance.
    pub struct SurveillanceRule {
        /// Number of the row: ST….
        trigger_id: String,
        /// The agent, or `*` for all, or a subject that is no agent.
        agent_code: String,
        /// Under which bodies of law it holds.
        scope: Vec<RuleSet>,
        /// Section of title 29 of the Code of Federal Regulations.
        cfr_section: String,
        /// Paragraphs of the section.
        paragraph: Option<String>,
        /// How it is cited, where that is no section of the Code.
        citation: Option<String>,
        /// What kind of thing meets the clause.
        trigger_type: TriggerType,
        /// Which level or fact is looked at; alternatives are joined by `or`.
        metric: Option<String>,
        /// The level, one for each alternative of the metric.
        threshold_value: Option<Vec<f64>>,
        /// Unit of the level, as the pack writes it.
        unit: Option<String>,
        /// How the exposure is compared with the level.
        exposure_comparator: Option<Comparator>,
        /// How many days it takes.
        days_value: Option<i64>,
        /// How the count of days is compared with that number.
        days_comparator: Option<String>,
        /// How the text words the window.
        window_text_class: Option<String>,
        /// The window in months.
        window_months: Option<i64>,
        /// The tense of the text: looking forward or back.
        exposure_tense: Option<String>,
        /// Whether exposure is judged as if no respirator were worn.
        without_regard_to_respirator: Option<String>,
        /// Where the text says so.
        respirator_basis: Option<String>,
        /// A trigger that is no concentration in air.
        non_airborne_trigger: Option<String>,
        /// What must be offered first.
        initial_exam: Option<String>,
        /// Within what time: days, or a number of months.
        initial_due_days: Option<String>,
        /// From when that time runs.
        initial_due_anchor: Option<String>,
        /// Months for which an earlier examination serves.
        recent_exam_credit_months: Option<i64>,
        /// Months between periodic examinations.
        periodic_months: Option<i64>,
        /// What changes that interval.
        periodic_modifiers: Option<String>,
        /// Examinations on other grounds.
        additional_exams: Option<String>,
        /// Examination on leaving.
        termination_exam: Option<String>,
        /// A caution of the pack.
        expert_note: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Which edition of the text was read.
        edition: Option<String>,
    }
}

impl SurveillanceRule {
    /// The clause as it is cited.
    pub fn clause(&self) -> String {
        let of_law = || super::citation(&self.cfr_section, self.paragraph.as_deref());
        self.citation.clone().unwrap_or_else(of_law)
    }
}
impl TriggerType {
    /// Whether clauses of the type look at a physician's grounds.
    pub fn looks_at_grounds(self) -> bool {
        matches!(
            self,
            Self::Symptoms
                | Self::EmergencyOrSymptoms
                | Self::Biological
                | Self::BiologicalRemoval
                | Self::MedicalRecommendation
                | Self::ExposureAnyPlusMedical
        )
    }
}
