//! Rules about respirators, controls and records.

use crate::model::facts::agent::Verification;
use crate::model::facts::rule_set::RuleSet;
use crate::record;

record! {
    /// One assigned protection factor, or a note about them.
    pub struct RespiratorRule {
        /// Number of the row: RP….
        row_id: String,
        /// Class of respirator, or `note`.
        respirator_class: String,
        /// How air reaches the wearer.
        mode: String,
        /// Kind of facepiece.
        facepiece: Option<String>,
        /// The assigned protection factor.
        apf: Option<i64>,
        /// On what it depends.
        condition: Option<String>,
        /// Section and paragraph.
        paragraph: String,
        /// A caution of the pack.
        note: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Which edition of the text was read.
        edition: Option<String>,
    }
}

record! {
    /// One rule about controls.
    pub struct ControlRule {
        /// Number of the row: CT….
        row_id: String,
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
        /// What it is about.
        topic: String,
        /// What it says.
        rule: String,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Which edition of the text was read.
        edition: Option<String>,
    }
}

impl ControlRule {
    /// The clause as it is cited.
    pub fn clause(&self) -> String {
        let of_law = || super::citation(&self.cfr_section, self.paragraph.as_deref());
        self.citation.clone().unwrap_or_else(of_law)
    }
}

record! {
    /// One rule about keeping, showing or handing over records.
    pub struct RecordRule {
        /// Number of the row: RC….
        record_id: String,
        /// The agent, or `*` for all, or a subject that is no agent.
        agent_code: String,
        /// Under which bodies of law it holds.
        scope: Vec<RuleSet>,
        /// Section of title 29 of the Code of Federal Regulations.
        cfr_section: String,
        /// Paragraphs of the section.
        paragraph: Option<String>,
        /// Which record.
        record_type: String,
        /// How many years it is kept.
        retention_years: Option<i64>,
        /// From when those years run.
        retention_basis: Option<String>,
        /// The rule in words.
        retention_rule: Option<String>,
        /// What the record holds.
        required_fields: Option<String>,
        /// What is said of personal numbers.
        personal_identifier_note: Option<String>,
        /// Who may see it, and when.
        access_rule: Option<String>,
        /// Who takes it over.
        transfer_rule: Option<String>,
        /// A caution of the pack.
        note: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Which edition of the text was read.
        edition: Option<String>,
    }
}

impl RecordRule {
    /// The clause as it is cited.
    pub fn clause(&self) -> String {
        super::citation(&self.cfr_section, self.paragraph.as_deref())
    }

    /// Within how many working days a request is to be answered, where the row says so.
    pub fn working_days_to_answer(&self) -> Option<u32> {
        let (days, _) = self.access_rule.as_deref()?.split_once(" working days")?;
        days.parse().ok()
    }
}
