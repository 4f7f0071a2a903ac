//! Rules about monitoring and notification.

use crate::model::facts::agent::Verification;
use crate::model::facts::rule_set::RuleSet;
use crate::{record, words};

words! {
    /// What kind of monitoring rule it is.
    pub enum MonitoringRuleType {
        /// A choice the employer has.
        Option = "option",
        /// When initial monitoring may stop.
        StopInitial = "stop_initial",
        /// How often monitoring is repeated.
        Frequency = "frequency",
        /// When it may become rarer or stop.
        StepDown = "step_down",
        /// When further monitoring is owed.
        Additional = "additional",
        /// How people are told.
        Notification = "notification",
        /// How exact a method must be.
        Accuracy = "accuracy",
        /// How samples are taken.
        SampleRule = "sample_rule",
        /// When ventilation is checked.
        VentilationCheck = "ventilation_check",
        /// Which earlier data serve.
        PriorData = "prior_data",
        /// What is presumed without data.
        Presumption = "presumption",
        /// What a laboratory must do.
        LabRule = "lab_rule",
        /// What initial monitoring is owed.
        Initial = "initial",
        /// What is exempt.
        Exemption = "exemption",
        /// The section has no such rule.
        None = "none",
    }
}

record! {
    /// One rule about measuring the air and telling people the results.
    pub struct MonitoringRule {
        /// Number of the row: MT….
        rule_id: String,
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
        /// What kind of rule it is.
        rule_type: MonitoringRuleType,
        /// Which average it looks at.
        metric: Option<String>,
        /// Least value to which it applies; alternatives as in the metric.
        lower: Option<String>,
        /// How the least value is compared.
        lower_comparator: Option<String>,
        /// Greatest value to which it applies; alternatives as in the metric.
        upper: Option<String>,
        /// How the greatest value is compared.
        upper_comparator: Option<String>,
        /// Unit of both, as the pack writes it.
        unit: Option<String>,
        /// Months until monitoring is repeated.
        repeat_within_months: Option<i64>,
        /// How that interval runs.
        repeat_anchor: Option<String>,
        /// What is to be done, or may be left.
        action: Option<String>,
        /// How many results in a row a step down takes.
        consecutive_results_needed: Option<i64>,
        /// How many days they must lie apart.
        min_days_apart: Option<i64>,
        /// Which days those are.
        day_kind: Option<String>,
        /// Days within which people are told.
        notify_within_days: Option<i64>,
        /// Which days those are.
        notify_day_kind: Option<String>,
        /// From when they run.
        notify_clock_start: Option<String>,
        /// How people are told.
        notify_how: Option<String>,
        /// From which results on the notice says more.
        over_limit_notice_comparator: Option<String>,
        /// What it then says.
        over_limit_notice_contents: Option<String>,
        /// A caution of the pack.
        note: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Which edition of the text was read.
        edition: Option<String>,
    }
}

impl MonitoringRule {
    /// The clause as it is cited.
    pub fn clause(&self) -> String {
        let of_law = || super::citation(&self.cfr_section, self.paragraph.as_deref());
        self.citation.clone().unwrap_or_else(of_law)
    }
}
