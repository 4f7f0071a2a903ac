//! The built-in pack of rules: the tables under `rules/us-osha`, read into typed rows.

pub mod agent_row;
pub mod agents;
pub mod editions;
pub mod further_rules;
pub mod monitoring_reading;
pub mod monitoring_rule;
pub mod of_authority;
pub mod surveillance_detail;
pub mod surveillance_rule;
pub mod table;

use crate::model::facts::rule_set::RuleSet;
use crate::model::shape::Shape;
use crate::record;
use agents::PackAgent;
use further_rules::{ControlRule, RecordRule, RespiratorRule};
use monitoring_reading::MonitoringReading;
use monitoring_rule::MonitoringRule;
use std::sync::LazyLock;
use surveillance_detail::{DetailKind, SurveillanceDetail};
use surveillance_rule::SurveillanceRule;

record! {
    /// Which agents a rule's code stands for, where the rules of one section serve several agents.
    pub struct Cover {
        /// The code in the rules.
        rule_agent_code: String,
        /// A code in the table of agents.
        agent_code: String,
        /// Where the section says so.
        source: String,
    }
}

/// Agents, limits and rules of one body of sources.
#[derive(Debug, Clone, PartialEq)]
pub struct Pack {
    /// Agents with their limits.
    pub agents: Vec<PackAgent>,
    /// Clauses that start medical surveillance.
    pub surveillance: Vec<SurveillanceRule>,
    /// Particulars of those clauses.
    pub details: Vec<SurveillanceDetail>,
    /// Rules about monitoring and notification.
    pub monitoring: Vec<MonitoringRule>,
    /// What the engine reads in them, and in the rules about controls.
    pub monitoring_readings: Vec<MonitoringReading>,
    /// Assigned protection factors.
    pub respirators: Vec<RespiratorRule>,
    /// Rules about controls.
    pub controls: Vec<ControlRule>,
    /// Rules about records.
    pub records: Vec<RecordRule>,
    covers: Vec<Cover>,
}

/// The section and paragraphs as they are cited.
fn citation(section: &str, paragraph: Option<&str>) -> String {
    match paragraph {
        Some(paragraph) if paragraph.starts_with('(') => format!("29 CFR {section}{paragraph}"),
        Some(paragraph) => format!("29 CFR {section} {paragraph}"),
        None => format!("29 CFR {section}"),
    }
}

impl Pack {
    /// The pack that comes with the program.
    pub fn built_in() -> &'static Self {
        static PACK: LazyLock<Pack> =
            LazyLock::new(|| Pack::read().expect("the tables were compiled in, and a test reads every row"));
        &PACK
    }

    fn read() -> Result<Self, String> {
        Ok(Self {
            agents: agents::agents(&table::rows(include_str!("../../../rules/us-osha/agents.csv"))?)?,
            surveillance: table::rows(include_str!("../../../rules/us-osha/surveillance_triggers.csv"))?,
            details: table::rows(include_str!("../../../rules/us-osha/surveillance_details.csv"))?,
            monitoring: table::rows(include_str!("../../../rules/us-osha/monitoring_triggers.csv"))?,
            monitoring_readings: table::rows(include_str!("../../../rules/us-osha/monitoring_readings.csv"))?,
            respirators: table::rows(include_str!("../../../rules/us-osha/respirators.csv"))?,
            controls: table::rows(include_str!("../../../rules/us-osha/controls.csv"))?,
            records: table::rows(include_str!("../../../rules/us-osha/records.csv"))?,
            covers: table::rows(include_str!("../../../rules/us-osha/covers.csv"))?,
        })
    }

    /// The clauses of a pack whose rows were kept as JSON, file by file; agents and limits are facts of their own.
    ///
    /// # Errors
    /// What does not read as a row.
    pub fn of_rows(rows: impl Fn(&str) -> Vec<serde_json::Value>) -> Result<Self, String> {
        fn read<T: Shape>(file: &str, rows: &[serde_json::Value]) -> Result<Vec<T>, String> {
            rows.iter().map(|row| T::parse(row).map_err(|faults| format!("{file}: {faults:?}"))).collect()
        }
        Ok(Self {
            agents: Vec::new(),
            surveillance: read("surveillance_triggers", &rows("surveillance_triggers"))?,
            details: read("surveillance_details", &rows("surveillance_details"))?,
            monitoring: read("monitoring_triggers", &rows("monitoring_triggers"))?,
            monitoring_readings: read("monitoring_readings", &rows("monitoring_readings"))?,
            respirators: read("respirators", &rows("respirators"))?,
            controls: read("controls", &rows("controls"))?,
            records: read("records", &rows("records"))?,
            covers: read("covers", &rows("covers"))?,
        })
    }

    /// Which agents a rule's code stands for, as kept rows.
    pub fn covers(&self) -> &[Cover] {
        &self.covers
    }

    /// The agent of a code.
    pub fn agent(&self, code: &str) -> Option<&PackAgent> {
        self.agents.iter().find(|known| known.agent.code.as_str() == code)
    }

    /// Whether a rule written for `rule_code` is about the agent `code`.
    pub fn is_about(&self, rule_code: &str, code: &str) -> bool {
        rule_code == code
            || self.covers.iter().any(|cover| cover.rule_agent_code == rule_code && cover.agent_code == code)
    }

    /// The surveillance clauses of an agent under a body of law, in the order of the table.
    pub fn surveillance_of<'p>(
        &'p self,
        code: &'p str,
        rule_set: RuleSet,
    ) -> impl Iterator<Item = &'p SurveillanceRule> {
        self.surveillance
            .iter()
            .filter(move |rule| rule.scope.contains(&rule_set) && self.is_about(&rule.agent_code, code))
    }

    /// By when a request for a worker's records is to be answered under a body of law, whatever the agent.
    pub fn access_deadline(&self, rule_set: RuleSet) -> Option<&RecordRule> {
        let of_all = |rule: &&RecordRule| rule.agent_code == "*" && rule.scope.contains(&rule_set);
        self.records.iter().filter(of_all).find(|rule| rule.record_type == "access_deadline")
    }

    /// The particulars of a clause, in the order of the table.
    pub fn details_of<'p>(&'p self, trigger_id: &'p str) -> impl Iterator<Item = &'p SurveillanceDetail> {
        self.details.iter().filter(move |detail| detail.trigger_id == trigger_id)
    }

    /// The first particular of a kind that a clause has.
    pub fn detail<'p>(&'p self, trigger_id: &'p str, kind: DetailKind) -> Option<&'p SurveillanceDetail> {
        self.details_of(trigger_id).find(|detail| detail.kind == kind)
    }

    /// The monitoring rules of an agent under a body of law, in the order of the table.
    pub fn monitoring_of<'p>(
        &'p self,
        code: &'p str,
        rule_set: RuleSet,
    ) -> impl Iterator<Item = &'p MonitoringRule> {
        self.monitoring
            .iter()
            .filter(move |rule| rule.scope.contains(&rule_set) && self.is_about(&rule.agent_code, code))
    }

    /// The rules about controls of an agent under a body of law, in the order of the table.
    pub fn controls_of<'p>(
        &'p self,
        code: &'p str,
        rule_set: RuleSet,
    ) -> impl Iterator<Item = &'p ControlRule> {
        self.controls
            .iter()
            .filter(move |rule| rule.scope.contains(&rule_set) && self.is_about(&rule.agent_code, code))
    }

    /// What the engine reads in a rule about monitoring or controls.
    pub fn readings_of<'p>(&'p self, rule_id: &'p str) -> impl Iterator<Item = &'p MonitoringReading> {
        self.monitoring_readings.iter().filter(move |reading| reading.rule_id == rule_id)
    }
}

#[cfg(test)]
mod tests {
    use super::agent_row::AgentRow;
    use super::*;
    use crate::model::facts::agent::{LimitKind, Verification};
    use crate::model::shape::Faults;
    use crate::model::unit::Unit;

    const NEW_TOTALS: usize = 3;

    #[test]
    fn every_row_of_every_table_is_read() {
        let pack = Pack::read().unwrap();
        let rows: Vec<AgentRow> = table::rows(include_str!("../../../rules/us-osha/agents.csv")).unwrap();
        let counts = [
            rows.len(),
            pack.surveillance.len(),
            pack.monitoring.len(),
            pack.respirators.len(),
            pack.controls.len(),
        ];
        assert_eq!(counts, [118, 84, 230, 32, 58]);
        assert_eq!(pack.records.len(), 80);
        assert_eq!(pack.covers.len(), 3);
    }

    #[test]
    fn every_unit_of_a_level_is_known() {
        let air = |unit: &String| !unit.contains("100 g") && !unit.contains("dL") && !unit.contains("g Cr");
        let rules = Pack::built_in();
        for unit in rules.surveillance.iter().filter_map(|rule| rule.unit.as_ref()).filter(|unit| air(unit)) {
            assert!(table::unit(unit).is_some(), "{unit}");
        }
        for unit in rules.monitoring.iter().filter_map(|rule| rule.unit.as_ref()) {
            assert!(table::unit(unit).is_some(), "{unit}");
        }
    }

    #[test]
    fn rows_of_one_code_become_one_agent_with_the_limits_of_each_scope() {
        let pack = Pack::built_in();
        // Eight codes stand in more than one row of the table (ten rows beyond their first one).
        let rows: Vec<AgentRow> = table::rows(include_str!("../../../rules/us-osha/agents.csv")).unwrap();
        let codes: std::collections::BTreeSet<_> = rows.iter().map(|row| &row.agent_code).collect();
        assert_eq!(pack.agents.len(), codes.len() + NEW_TOTALS);
        let mut faults = Faults::default();
        for known in &pack.agents {
            known.agent.check("", &mut faults);
            known.limits.iter().for_each(|limit| limit.check("", &mut faults));
        }
        assert!(faults.is_empty(), "{faults:?}");

        // 29 CFR 1910.1026(b), (c); 1926.1126(b), (c); 1915.1026(b), (c): 5 and 2.5 ug/m3.
        let chromium = &pack.agent("chromium_vi").unwrap().limits;
        assert_eq!(chromium.len(), 6);
        assert_eq!(chromium[0].source.as_str(), "29 CFR 1910.1026(b),(c)");
        assert_eq!(chromium[0].averaging_minutes, Some(480));
        assert_eq!(chromium[1].kind, LimitKind::ActionLevel);
        assert_eq!(chromium[1].value.number_in(Unit::UgPerM3), Some(2.5));
        assert_eq!(chromium[5].verification, Some(Verification::Verified));
        assert_eq!(chromium[5].rule_sets, Some(vec![RuleSet::UsMaritime]));
    }

    #[test]
    fn ceilings_excursions_and_peaks_keep_their_averaging_time_and_rule() {
        let limits = |code: &str| Pack::built_in().agent(code).unwrap().limits.clone();
        // 29 CFR 1910.1001(c)(2): 1.0 f/cc over 30 minutes.
        let asbestos = limits("asbestos");
        assert_eq!((asbestos[1].kind, asbestos[1].averaging_minutes), (LimitKind::Excursion, Some(30)));
        assert_eq!(asbestos[1].value.unit, Unit::FibresPerMl);
        // 29 CFR 1910.1000 Table Z-1: manganese, C 5 mg/m3, and no TWA.
        let manganese = limits("manganese");
        assert_eq!(manganese.len(), 1);
        assert_eq!((manganese[0].kind, manganese[0].averaging_minutes), (LimitKind::Ceiling, None));
        // 29 CFR 1910.1000 Table Z-2: toluene 200 ppm, ceiling 300, peak 500 for 10 minutes a shift.
        let toluene = limits("toluene");
        assert_eq!((toluene[2].kind, toluene[2].value.number_in(Unit::Ppm)), (LimitKind::Peak, Some(500.0)));
        assert_eq!(toluene[2].peak_rule.as_ref().unwrap().as_str(), "10 min per 8-h shift");
        // 29 CFR 1910.1017(c): 5 ppm over any period up to 15 minutes.
        assert_eq!(limits("vinyl_chloride")[1].averaging_minutes, Some(15));
        // 29 CFR 1910.1000 Table Z-2 note a: only the operations exempt from 1910.1028.
        let exempt = limits("benzene_exempt_operations");
        assert_eq!(exempt[0].applies_to.as_ref().unwrap().as_str(), "exempt segments");
        assert_eq!(exempt[0].rule_sets, Some(vec![RuleSet::UsGeneralIndustry]));
    }

    #[test]
    fn a_family_keeps_its_further_cas_numbers_and_totals_have_no_limit() {
        let pack = Pack::built_in();
        let silica = &pack.agent("silica_respirable").unwrap().agent;
        assert_eq!(silica.cas_rn.as_ref().unwrap().as_str(), "14808-60-7");
        assert_eq!(silica.further_cas_rns.as_ref().unwrap().len(), 2);
        for code in ["chromium_total", "nickel_total", "welding_fume_total"] {
            let total = pack.agent(code).unwrap();
            assert!(total.limits.is_empty() && total.agent.measured_as.is_some());
        }
    }

    #[test]
    fn a_request_for_records_is_to_be_answered_in_fifteen_working_days() {
        // 29 CFR 1910.1020(e)(1)(i), edition A, also through 29 CFR 1926.33.
        for rule_set in [RuleSet::UsGeneralIndustry, RuleSet::UsConstruction, RuleSet::UsMaritime] {
            let rule = Pack::built_in().access_deadline(rule_set).unwrap();
            assert_eq!((rule.record_id.as_str(), rule.working_days_to_answer()), ("RC008", Some(15)));
            assert_eq!(rule.clause(), "29 CFR 1910.1020(e)(1)(i)");
        }
    }

    #[test]
    fn one_sections_rules_serve_every_agent_it_covers() {
        let pack = Pack::built_in();
        // 29 CFR 1910.1043 covers yarn, waste houses and weaving, not the dust of Table Z-1.
        assert_eq!(pack.surveillance_of("cotton_yarn", RuleSet::UsGeneralIndustry).count(), 2);
        assert_eq!(pack.surveillance_of("cotton_z1", RuleSet::UsGeneralIndustry).count(), 0);
        let clause = pack.surveillance_of("chromium_vi", RuleSet::UsMaritime).next().unwrap().clause();
        assert_eq!(clause, "29 CFR 1915.1026(i)(1)(i)(A); (i)(2)");
    }
}
