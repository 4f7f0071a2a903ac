//! An agent's limits, and the clauses that name their numbers, as if a proposed limit held.

use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY};
use crate::model::facts::agent::{Limit, LimitKind};
use crate::model::facts::rule_set::RuleSet;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::Faults;
use crate::model::text::{Code, Line};
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::record;
use crate::surveillance::level::Levels;
use crate::surveillance::pack::monitoring_rule::MonitoringRuleType;
use crate::surveillance::pack::{Pack, table};
use chrono::NaiveDate;
use uuid::Uuid;

record! {
    /// A proposed limit, or action level.
    pub struct LimitProposal {
        /// Of which agent.
        agent_code: Code,
        /// Whose limit; the law's if left out.
        authority: Option<Code>,
        /// `twa` or `action_level`.
        kind: LimitKind,
        /// The proposed number.
        value: Quantity,
        /// Under this body of law alone; under all if left out.
        rule_set: Option<RuleSet>,
    }
}

/// A proposal that was read, in the unit of the agent's limits.
#[derive(Debug, Clone, PartialEq)]
pub struct Proposed {
    /// Whose limit.
    pub authority: Code,
    /// Which.
    pub kind: LimitKind,
    /// The number.
    pub value: f64,
    /// The unit of the number.
    pub unit: Unit,
    /// The bodies of law that it is for.
    pub rule_sets: Vec<RuleSet>,
    /// The only one, where the proposal names one.
    pub only: Option<RuleSet>,
}

impl Proposed {
    /// Reads a proposal about an agent.
    ///
    /// # Errors
    /// Every fault by its pointer.
    pub fn of(proposal: &LimitProposal, agent: &AgentEvidence) -> Result<Self, Faults> {
        let mut faults = Faults::default();
        if !matches!(proposal.kind, LimitKind::Twa | LimitKind::ActionLevel) {
            faults.note("/kind", "must be twa or action_level");
        }
        if agent.is_noise() {
            faults.note("/agent_code", "is noise, whose limits have several criteria: not previewed");
        }
        let given = &proposal.value;
        if !given.measured.is_value() || given.measured.lower() <= 0.0 {
            faults.note("/value", "must be a number above zero");
        }
        let unit = agent.unit().unwrap_or(given.unit);
        let value = agent.convert(given.measured, given.unit, unit).filter(|value| value.is_value());
        if value.is_none() {
            faults.note("/value/unit", format!("must convert into {unit}, the unit of the agent's limits"));
        }
        let authority = proposal.authority.clone().or_else(|| Code::new(STATUTORY_AUTHORITY));
        match (value, authority) {
            (Some(value), Some(authority)) if faults.is_empty() => Ok(Self {
                authority,
                kind: proposal.kind,
                value: significant(value.lower()),
                unit,
                rule_sets: proposal.rule_set.map_or_else(|| RuleSet::ALL.to_vec(), |only| vec![only]),
                only: proposal.rule_set,
            }),
            _ => Err(faults),
        }
    }

    /// Whether it is the law's.
    pub fn is_statutory(&self) -> bool {
        self.authority.as_str() == STATUTORY_AUTHORITY
    }
}

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
        averaging_minutes: None,
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

/// The clauses as if they named the proposed number wherever they name the present one as an 8-hour average.
///
/// A change of anyone's limit but the law's leaves them as they are.
pub fn supposed_pack(pack: &Pack, agent: &AgentEvidence, proposed: &Proposed, today: NaiveDate) -> Pack {
    let mut supposed = pack.clone();
    if !proposed.is_statutory() {
        return supposed;
    }
    let code = agent.code().as_str();
    for &rule_set in &proposed.rule_sets {
        let now = agent.level(STATUTORY_AUTHORITY, proposed.kind, rule_set, today, proposed.unit);
        let Some(now) = now else { continue };
        let other = |written: Unit, value: f64| {
            let named = written.convert(value, proposed.unit)?;
            Levels::is(Some(now), named).then(|| proposed.unit.convert(proposed.value, written))?
        };
        let mut added = Vec::new();
        for rule in supposed.surveillance.iter_mut().filter(|rule| rule.agent_code == code) {
            let Some(unit) = rule.unit.as_deref().and_then(table::unit) else { continue };
            let Some(thresholds) = rule.threshold_value.clone().filter(|_| rule.scope.contains(&rule_set))
            else {
                continue;
            };
            let metric = rule.metric.clone().unwrap_or_default();
            let averages: Vec<&str> = metric.split(" or ").collect();
            let short = |at: usize| {
                averages.get(at).is_some_and(|one| one.starts_with("STEL") || one.starts_with("EL"))
            };
            let changed = |(at, value): (usize, &f64)| {
                if short(at) { *value } else { other(unit, *value).unwrap_or(*value) }
            };
            let thresholds_then: Vec<f64> = thresholds.iter().enumerate().map(changed).collect();
            if thresholds_then != thresholds {
                let mut then = rule.clone();
                then.threshold_value = Some(thresholds_then);
                then.scope = vec![rule_set];
                rule.scope.retain(|scope| *scope != rule_set);
                added.push(then);
            }
        }
        supposed.surveillance.append(&mut added);
        supposed.surveillance.retain(|rule| !rule.scope.is_empty() || rule.agent_code != code);
        let mut added = Vec::new();
        for rule in &mut supposed.monitoring {
            let step_down = rule.rule_type == MonitoringRuleType::StepDown && rule.agent_code == code;
            let unit = rule.unit.as_deref().and_then(table::unit);
            let (Some(unit), Some(upper), true) =
                (unit, rule.upper.clone(), step_down && rule.scope.contains(&rule_set))
            else {
                continue;
            };
            let number: String = upper.chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
            if let Some(value) = number.parse().ok().and_then(|value| other(unit, value)) {
                let mut then = rule.clone();
                then.upper = Some(format!("{value}{}", &upper[number.len()..]));
                then.scope = vec![rule_set];
                rule.scope.retain(|scope| *scope != rule_set);
                added.push(then);
            }
        }
        supposed.monitoring.append(&mut added);
    }
    supposed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{agent, date};
    use crate::surveillance::step_down::step_downs;

    fn proposed(value: f64, only: Option<RuleSet>) -> Proposed {
        Proposed {
            authority: Code::new(STATUTORY_AUTHORITY).unwrap(),
            kind: LimitKind::ActionLevel,
            value,
            unit: Unit::UgPerM3,
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
}
