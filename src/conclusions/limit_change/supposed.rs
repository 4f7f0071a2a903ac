//! An agent's limits, and the clauses that name their numbers, as if a proposed limit held.

use crate::conclusions::limit_change::proposal::Proposed;
use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY};
use crate::model::facts::agent::Limit;
use crate::model::facts::rule_set::RuleSet;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::text::Line;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::surveillance::level::Levels;
use crate::surveillance::pack::monitoring_rule::{MonitoringRule, MonitoringRuleType};
use crate::surveillance::pack::{Pack, table};
use chrono::NaiveDate;
use uuid::Uuid;

/// The agent as if the proposal had held on every date in place of its authority's limits of that kind.
pub fn supposed_agent(agent: &AgentEvidence, proposed: &Proposed) -> AgentEvidence {
    let mut limits: Vec<Version<Limit>> = Vec::with_capacity(agent.limits.len() + 1);
    for limit in &agent.limits {
        if limit.fact.authority != proposed.authority || limit.fact.kind != proposed.kind {
            limits.push(limit.clone());
            continue;
        }
        let held = limit.fact.rule_sets.clone().unwrap_or_else(|| RuleSet::ALL.to_vec());
        let left: Vec<RuleSet> = held.into_iter().filter(|one| !proposed.rule_sets.contains(one)).collect();
        if !left.is_empty() {
            let mut limit = limit.clone();
            limit.fact.rule_sets = Some(left);
            limits.push(limit);
        }
    }
    let Some(source) = Line::new("proposal") else {
        return AgentEvidence::new(agent.agent.clone(), limits);
    };
    let fact = Limit {
        agent_code: None,
        authority: proposed.authority.clone(),
        rule_sets: proposed.only.map(|only| vec![only]),
        kind: proposed.kind,
        value: Quantity::computed(Measured::Value(proposed.value), proposed.unit),
        averaging_minutes: proposed.window,
        peak_rule: None,
        applies_to: None,
        from: None,
        to: None,
        source,
        edition: None,
        verification: None,
    };
    limits.push(Version {
        id: Uuid::nil(),
        revision: 1,
        position: 0,
        site: None,
        parent: Some(agent.agent.id),
        voided: None,
        fact,
    });
    AgentEvidence::new(agent.agent.clone(), limits)
}

/// The clauses as if they named the proposed number wherever they name the present one for the same averages.
///
/// A change of anyone's limit but the law's leaves them as they are.
pub fn supposed_pack(pack: &Pack, agent: &AgentEvidence, proposed: &Proposed, today: NaiveDate) -> Pack {
    let mut supposed = pack.clone();
    if !proposed.is_statutory() {
        return supposed;
    }
    for &rule_set in &proposed.rule_sets {
        let now = agent.level(STATUTORY_AUTHORITY, proposed.kind, rule_set, today, proposed.unit);
        let Some(now) = now else { continue };
        let renumbering = Renumbering { now, proposed, rule_set, code: agent.code().as_str() };
        renumbering.surveillance(&mut supposed);
        if proposed.kind.is_short_term() {
            renumbering.short_term_monitoring(&mut supposed);
        } else {
            renumbering.steps_down(&mut supposed);
        }
    }
    supposed
}

/// One number of the law in place of another, under one body of law.
struct Renumbering<'p> {
    now: f64,
    proposed: &'p Proposed,
    rule_set: RuleSet,
    code: &'p str,
}

impl Renumbering<'_> {
    /// The proposed number in place of this one, where this one is the present level.
    fn other(&self, written: Unit, value: f64) -> Option<f64> {
        let named = written.convert(value, self.proposed.unit)?;
        Levels::is(Some(self.now), named).then(|| self.proposed.unit.convert(self.proposed.value, written))?
    }

    /// Whether a row is about the agent under this body of law.
    fn concerns(&self, pack: &Pack, rule_code: &str, scope: &[RuleSet]) -> bool {
        pack.is_about(rule_code, self.code) && scope.contains(&self.rule_set)
    }

    /// The thresholds of clauses: of short-term averages, or of all others.
    fn surveillance(&self, pack: &mut Pack) {
        let mut added = Vec::new();
        for at in 0..pack.surveillance.len() {
            let rule = &pack.surveillance[at];
            let Some(unit) = rule.unit.as_deref().and_then(table::unit) else { continue };
            let concerns = self.concerns(pack, &rule.agent_code, &rule.scope);
            let Some(thresholds) = rule.threshold_value.clone().filter(|_| concerns) else { continue };
            let metric = rule.metric.clone().unwrap_or_default();
            let averages: Vec<&str> = metric.split(" or ").collect();
            let short = |at: usize| {
                averages.get(at).is_some_and(|one| one.starts_with("STEL") || one.starts_with("EL"))
            };
            let same_averages = |at| short(at) == self.proposed.kind.is_short_term();
            let changed = |(at, value): (usize, &f64)| {
                self.other(unit, *value).filter(|_| same_averages(at)).unwrap_or(*value)
            };
            let thresholds_then: Vec<f64> = thresholds.iter().enumerate().map(changed).collect();
            if thresholds_then != thresholds {
                let mut then = rule.clone();
                then.threshold_value = Some(thresholds_then);
                then.scope = vec![self.rule_set];
                added.push(then);
                pack.surveillance[at].scope.retain(|scope| *scope != self.rule_set);
            }
        }
        pack.surveillance.append(&mut added);
    }

    /// The bounds of the steps down for 8-hour averages.
    fn steps_down(&self, pack: &mut Pack) {
        let mut added = Vec::new();
        for at in 0..pack.monitoring.len() {
            let rule = &pack.monitoring[at];
            let concerns = self.concerns(pack, &rule.agent_code, &rule.scope);
            let step_down = rule.rule_type == MonitoringRuleType::StepDown && concerns;
            let unit = rule.unit.as_deref().and_then(table::unit);
            let (Some(unit), Some(upper), true) = (unit, rule.upper.clone(), step_down) else { continue };
            let number: String = upper.chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
            if let Some(value) = number.parse().ok().and_then(|value| self.other(unit, value)) {
                let then = MonitoringRule {
                    upper: Some(format!("{value}{}", &upper[number.len()..])),
                    scope: vec![self.rule_set],
                    ..rule.clone()
                };
                added.push(then);
                pack.monitoring[at].scope.retain(|scope| *scope != self.rule_set);
            }
        }
        pack.monitoring.append(&mut added);
    }

    /// Where the rules about monitoring ask short-term averages to lie. Readings hang on their rule and have no body of law
    /// of their own, so that a rule which is read otherwise here gets another name.
    fn short_term_monitoring(&self, pack: &mut Pack) {
        let (mut rules, mut readings) = (Vec::new(), Vec::new());
        for at in 0..pack.monitoring.len() {
            let rule = &pack.monitoring[at];
            let concerns = self.concerns(pack, &rule.agent_code, &rule.scope);
            let written = rule.unit.as_deref().and_then(table::unit).unwrap_or(self.proposed.unit);
            let name = format!("{} as proposed", rule.rule_id);
            let mut then: Vec<_> = pack.readings_of(&rule.rule_id).filter(|_| concerns).cloned().collect();
            let mut changed = false;
            for reading in &mut then {
                reading.rule_id.clone_from(&name);
                if let Some(bounds) = &reading.short_term {
                    let other = self.bounds(bounds, written);
                    changed |= other != *bounds;
                    reading.short_term = Some(other);
                }
            }
            if changed {
                rules.push(MonitoringRule { rule_id: name, scope: vec![self.rule_set], ..rule.clone() });
                readings.append(&mut then);
                pack.monitoring[at].scope.retain(|scope| *scope != self.rule_set);
            }
        }
        pack.monitoring.append(&mut rules);
        pack.monitoring_readings.append(&mut readings);
    }

    /// Bounds such as `>2`, with the proposed number in place of the present one.
    fn bounds(&self, text: &str, written: Unit) -> String {
        let bound = |bound: &str| {
            let number = bound.trim_start_matches(['<', '>', '=']);
            let other = number.parse().ok().and_then(|value| self.other(written, value));
            other.map_or_else(
                || bound.to_owned(),
                |value| format!("{}{value}", &bound[..bound.len() - number.len()]),
            )
        };
        text.split_whitespace().map(bound).collect::<Vec<_>>().join(" ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{agent, date};
    use crate::model::facts::agent::LimitKind;
    use crate::model::text::Code;
    use crate::surveillance::monitoring::standard::Standard;
    use crate::surveillance::short_term::ShortTermLimit;
    use crate::surveillance::step_down::step_downs;

    fn proposed(value: f64, only: Option<RuleSet>) -> Proposed {
        Proposed {
            authority: Code::new(STATUTORY_AUTHORITY).unwrap(),
            kind: LimitKind::ActionLevel,
            value,
            unit: Unit::UgPerM3,
            window: None,
            rule_sets: only.map_or_else(|| RuleSet::ALL.to_vec(), |only| vec![only]),
            only,
        }
    }

    // 29 CFR 1910.1026(b): action level 2.5 ug/m3; (d)(2)(v): two results below it, seven days apart; (k)(1)(i)(A).
    #[test]
    fn the_clauses_name_the_proposed_number_under_the_law_that_is_meant() {
        let agent = agent("chromium_vi");
        let today = date("2026-03-02");
        let only = RuleSet::UsGeneralIndustry;
        let proposed = proposed(0.9, Some(only));
        let then = supposed_agent(&agent, &proposed);
        let level = |agent: &AgentEvidence, rule_set| {
            agent.level(STATUTORY_AUTHORITY, LimitKind::ActionLevel, rule_set, today, Unit::UgPerM3)
        };
        assert_eq!(level(&agent, only), Some(2.5));
        assert_eq!(level(&then, only), Some(0.9));
        assert_eq!(level(&then, RuleSet::UsConstruction), level(&agent, RuleSet::UsConstruction));
        let pack = supposed_pack(Pack::built_in(), &agent, &proposed, today);
        let first = |rule_set| {
            let mut rules = pack.surveillance_of("chromium_vi", rule_set);
            rules.find_map(|rule| rule.threshold_value.clone()).unwrap()
        };
        let here: Vec<_> =
            pack.surveillance_of("chromium_vi", only).filter_map(|r| r.threshold_value.clone()).collect();
        assert!(here.contains(&vec![0.9]) && !here.contains(&vec![2.5]), "{here:?}");
        assert_eq!(first(RuleSet::UsConstruction), vec![2.5]);
        let levels = Levels { action_level: Some(0.9), limit: Some(5.0) };
        let down = step_downs(&pack, "chromium_vi", only, levels, Unit::UgPerM3);
        assert_eq!(down.iter().map(|one| (one.upper, one.results)).collect::<Vec<_>>(), [(0.9, 2)]);
    }

    #[test]
    fn a_company_level_leaves_the_clauses_of_the_law_alone() {
        let company = Proposed { authority: Code::new("LYNHEAD").unwrap(), ..proposed(0.9, None) };
        let pack = supposed_pack(Pack::built_in(), &agent("chromium_vi"), &company, date("2026-03-02"));
        assert_eq!(pack.surveillance, Pack::built_in().surveillance);
    }

    // 29 CFR 1910.1048(c)(2), (d)(3)(iii): 2 ppm over 15 minutes, monitoring at or above it; (l)(1)(i): above it.
    #[test]
    fn a_short_term_limit_changes_what_is_said_of_short_averages_alone() {
        let agent = agent("formaldehyde");
        let today = date("2026-03-02");
        let only = RuleSet::UsConstruction;
        let proposed = Proposed {
            kind: LimitKind::Stel,
            value: 1.0,
            unit: Unit::Ppm,
            window: Some(15),
            ..proposed(1.0, Some(only))
        };
        let pack = supposed_pack(Pack::built_in(), &agent, &proposed, today);
        let levels = Levels { action_level: Some(0.5), limit: Some(0.75) };
        let ends = |pack: &Pack, rule_set| -> Vec<f64> {
            let standard = Standard::of(pack, "formaldehyde", rule_set, levels, Unit::Ppm);
            let lines = standard.lines.iter().filter_map(|line| line.condition.short_term?.lower);
            let ways = standard.ways_down.iter().filter_map(|way| way.condition.short_term?.upper);
            lines.chain(ways).map(|end| end.value).collect()
        };
        let now = ends(Pack::built_in(), only);
        assert!(!now.is_empty());
        assert_eq!(now, vec![2.0; now.len()]);
        assert_eq!(ends(&pack, only), vec![1.0; now.len()]);
        assert_eq!(
            ends(&pack, RuleSet::UsGeneralIndustry),
            ends(Pack::built_in(), RuleSet::UsGeneralIndustry)
        );
        let standard = |pack, value| {
            let standard = Standard::of(pack, "formaldehyde", only, levels, Unit::Ppm);
            ShortTermLimit::of(value, &standard).only_above
        };
        assert_eq!(standard(&pack, 1.0), standard(Pack::built_in(), 2.0));
        let of = |pack: &Pack| -> Vec<Vec<f64>> {
            pack.surveillance_of("formaldehyde", only)
                .filter_map(|rule| rule.threshold_value.clone())
                .collect()
        };
        assert!(of(Pack::built_in()).contains(&vec![2.0]));
        assert!(of(&pack).contains(&vec![1.0]) && !of(&pack).contains(&vec![2.0]), "{:?}", of(&pack));
        assert!(of(&pack).contains(&vec![0.5]), "{:?}", of(&pack));
    }
}
