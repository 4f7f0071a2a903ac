//! Which limits of an agent hold where and when, and in which unit its concentrations are given.

use crate::conclusions::evidence::GroupEvidence;
use crate::hygiene::air::ROOM_AIR;
use crate::hygiene::conversion::convert;
use crate::model::facts::agent::{Agent, AgentState, Limit, LimitKind};
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::site::{RuleSetChange, Site};
use crate::model::identifiers::SiteId;
use crate::model::measured::Measured;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::version::Version;
use chrono::NaiveDate;
use std::borrow::Cow;

/// Who sets the limits that are law; a stricter limit of anyone else stands beside them.
pub const STATUTORY_AUTHORITY: &str = "OSHA";

/// An agent with the limits that its results are compared with.
#[derive(Debug, Clone)]
pub struct AgentEvidence {
    /// The agent.
    pub agent: Version<Agent>,
    /// Its limits, and for a total those that a hygienist names for it; those of single sites among them.
    pub limits: Vec<Version<Limit>>,
    /// The site whose own limits hold beside those of every site.
    site: Option<SiteId>,
}

impl AgentEvidence {
    /// An agent with the limits of every site; of those of single sites none holds until one is [named](Self::at).
    pub fn new(agent: Version<Agent>, limits: Vec<Version<Limit>>) -> Self {
        Self { agent, limits, site: None }
    }

    /// The same as it is at a site.
    pub fn at(&self, site: SiteId) -> Cow<'_, Self> {
        if self.limits.iter().all(|limit| limit.site.is_none()) {
            return Cow::Borrowed(self);
        }
        Cow::Owned(Self { site: Some(site), ..self.clone() })
    }

    /// The limits that hold at every site, or at the one named.
    fn here(&self) -> impl Iterator<Item = &Version<Limit>> {
        let here = |limit: &&Version<Limit>| limit.site.is_none() || limit.site == self.site;
        self.limits.iter().filter(|limit| limit.stands()).filter(here)
    }

    /// The agent's code.
    pub fn code(&self) -> &Code {
        &self.agent.fact.code
    }

    /// Whether it is noise, which has its own arithmetic: doses by criterion that add, levels that do not.
    pub fn is_noise(&self) -> bool {
        self.agent.fact.state == AgentState::Physical
    }

    /// The unit in which its concentrations are given, at every site the same: that of its limit, the law's 8-hour limit
    /// first, those of single sites last.
    pub fn unit(&self) -> Option<Unit> {
        let rank = |limit: &&Version<Limit>| {
            let lawful = limit.fact.authority.as_str() != STATUTORY_AUTHORITY;
            (lawful, limit.site.is_some(), limit.fact.kind, limit.position, limit.id)
        };
        self.limits.iter().filter(|limit| limit.stands()).min_by_key(rank).map(|limit| limit.fact.value.unit)
    }

    /// The limits in force, in the order of authority (the law's first), kind and averaging time.
    ///
    /// A limit for part of the work (`applies_to`) counts only where its authority has no general one of that kind.
    pub fn in_force(&self, rule_set: RuleSet, on: NaiveDate) -> Vec<&Limit> {
        let holding: Vec<&Version<Limit>> = self
            .here()
            .filter(|limit| limit.fact.holds(rule_set, on) && limit.fact.kind != LimitKind::Peak)
            .collect();
        let general = |limit: &Limit| {
            holding.iter().any(|other| {
                let other = &other.fact;
                other.applies_to.is_none() && other.authority == limit.authority && other.kind == limit.kind
            })
        };
        let mut chosen: Vec<&Version<Limit>> = holding
            .iter()
            .copied()
            .filter(|limit| limit.fact.applies_to.is_none() || !general(&limit.fact))
            .collect();
        chosen.sort_by_key(|limit| {
            let fact = &limit.fact;
            let lawful = fact.authority.as_str() != STATUTORY_AUTHORITY;
            (lawful, fact.authority.clone(), fact.kind, fact.averaging_minutes, limit.position, limit.id)
        });
        chosen.into_iter().map(|limit| &limit.fact).collect()
    }

    /// The level of a kind that an authority has in force, in a unit; the strictest where there are several.
    pub fn level(
        &self,
        authority: &str,
        kind: LimitKind,
        rule_set: RuleSet,
        on: NaiveDate,
        unit: Unit,
    ) -> Option<f64> {
        self.in_force(rule_set, on)
            .into_iter()
            .filter(|limit| limit.authority.as_str() == authority && limit.kind == kind)
            .filter_map(|limit| self.level_in(limit, unit))
            .reduce(f64::min)
    }

    /// The law's 8-hour limit in a unit.
    pub fn statutory_twa(&self, rule_set: RuleSet, on: NaiveDate, unit: Unit) -> Option<f64> {
        self.level(STATUTORY_AUTHORITY, LimitKind::Twa, rule_set, on, unit)
    }

    /// The law's action level in a unit.
    pub fn action_level(&self, rule_set: RuleSet, on: NaiveDate, unit: Unit) -> Option<f64> {
        self.level(STATUTORY_AUTHORITY, LimitKind::ActionLevel, rule_set, on, unit)
    }

    /// The authorities with an 8-hour limit or action level among the limits, the law's first, then by name.
    pub fn authorities(&self) -> Vec<&Code> {
        let mut authorities: Vec<&Code> = self
            .here()
            .filter(|limit| matches!(limit.fact.kind, LimitKind::Twa | LimitKind::ActionLevel))
            .map(|limit| &limit.fact.authority)
            .collect();
        authorities.sort_by_key(|authority| (authority.as_str() != STATUTORY_AUTHORITY, *authority));
        authorities.dedup();
        authorities
    }

    /// A limit's number in a unit.
    pub fn level_in(&self, limit: &Limit, unit: Unit) -> Option<f64> {
        match self.convert(limit.value.measured, limit.value.unit, unit)? {
            Measured::Value(level) => Some(level),
            _ => None,
        }
    }

    /// What is known, in another unit; between mass and volume parts by the agent's molar mass at 25 °C and 760 mmHg.
    pub fn convert(&self, measured: Measured, from: Unit, to: Unit) -> Option<Measured> {
        convert(measured, from, to, self.molar_mass(), ROOM_AIR)
    }

    /// The agent's molar mass, g/mol.
    pub fn molar_mass(&self) -> Option<f64> {
        self.agent.fact.molar_mass.as_ref().and_then(|mass| mass.number_in(Unit::GPerMol))
    }
}

/// The rule set of a group on a date: the group's own latest one, else the site's latest, else the site's first.
pub fn rule_set_on(group: &GroupEvidence, on: NaiveDate) -> RuleSet {
    latest(&group.group_rule_sets, on)
        .unwrap_or_else(|| site_rule_set_on(&group.site, &group.site_rule_sets, on))
}

/// The rule set of a site on a date.
pub fn site_rule_set_on(site: &Version<Site>, changes: &[Version<RuleSetChange>], on: NaiveDate) -> RuleSet {
    latest(changes, on).unwrap_or(site.fact.rule_set)
}

fn latest(changes: &[Version<RuleSetChange>], on: NaiveDate) -> Option<RuleSet> {
    changes
        .iter()
        .filter(|change| change.stands() && change.fact.from <= on)
        .max_by_key(|change| (change.fact.from, change.position, change.id))
        .map(|change| change.fact.rule_set)
}
