//! Whether the levels that clauses of other authorities name are in force where and while the clauses hold: a clause without
//! its level asks for nothing, and nobody would know.

use crate::conclusions::limits::{AgentEvidence, site_rule_set_on};
use crate::model::facts::agent::{Limit, LimitKind};
use crate::model::facts::clause::{Clause, LevelNamed};
use crate::model::facts::rule_set::RuleSet;
use crate::model::facts::site::{RuleSetChange, Site};
use crate::model::identifiers::SiteId;
use crate::model::version::Version;
use crate::registry::conclude::sight::{WITHOUT_LIMIT, read_against};
use crate::registry::correcting::{Referrer, referrers};
use crate::registry::gather;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::backend::Tx;
use crate::store::tables::Key;
use crate::store::versions::{AsOf, Where};
use crate::surveillance::pack::of_authority::{Unread, pack_of_authority};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// The level is in force under some of the rule sets under which the clause holds, and not under all.
pub const NOT_UNDER_EVERY_RULE_SET: &str = "level_not_under_every_rule_set";
/// The level ends before the clause does.
pub const ENDS_BEFORE_CLAUSE: &str = "level_ends_before_clause";

/// What a reader of a clause is told of its level, word by word.
pub const FLAGS: &[(&str, &str)] = &[
    (
        Unread::LevelNotInForce.as_str(),
        "The level that the clause names is not in force: it asks for nothing until there is one.",
    ),
    (
        Unread::LevelNotConvertible.as_str(),
        "The level of the clause does not convert into the unit of the agent, which has no molar mass for that: it cannot be \
         told whether the clause is met.",
    ),
    (
        NOT_UNDER_EVERY_RULE_SET,
        "The level that the clause names is in force under some of its rule sets only: under the others it asks for nothing.",
    ),
    (
        ENDS_BEFORE_CLAUSE,
        "The level that the clause names ends before the clause does: from then on it asks for nothing.",
    ),
];

/// The rule sets under which a clause of a place holds.
#[derive(Debug)]
pub struct RuleSets {
    of_site: Option<(Version<Site>, Vec<Version<RuleSetChange>>)>,
}

impl RuleSets {
    /// Of a site, or of every site.
    ///
    /// # Errors
    /// Only when storage fails.
    pub async fn of(tx: &mut Tx, as_of: AsOf, site: Option<SiteId>) -> Result<Self, Refusal> {
        let Some(site) = site else { return Ok(Self { of_site: None }) };
        let Some(known) = gather::one::<Site>(tx, as_of, site.0).await? else {
            return Ok(Self { of_site: None });
        };
        let changes = gather::all::<RuleSetChange>(tx, as_of, &[Where::Site(site)]).await?;
        Ok(Self { of_site: Some((known, changes)) })
    }

    /// On any date.
    fn ever(&self) -> BTreeSet<RuleSet> {
        match &self.of_site {
            None => RuleSet::ALL.iter().copied().collect(),
            Some((site, changes)) => {
                changes.iter().map(|change| change.fact.rule_set).chain([site.fact.rule_set]).collect()
            }
        }
    }

    /// On a date: that of the site, and those of its groups.
    fn on(&self, date: NaiveDate) -> BTreeSet<RuleSet> {
        let Some((site, changes)) = &self.of_site else { return self.ever() };
        let (of_site, of_groups): (Vec<_>, Vec<_>) =
            changes.iter().cloned().partition(|change| change.parent == Some(site.id));
        let groups: BTreeSet<_> = of_groups.iter().map(|change| change.parent).collect();
        let of_group = |group| -> Vec<Version<RuleSetChange>> {
            of_groups.iter().filter(|change| change.parent == group).cloned().collect()
        };
        let own = groups.into_iter().map(|group| site_rule_set_on(site, &of_group(group), date));
        own.chain([site_rule_set_on(site, &of_site, date)]).collect()
    }
}

/// A clause with what its levels are looked up in.
#[derive(Debug, Clone, Copy)]
pub struct Levelled<'l> {
    /// The clause.
    pub clause: &'l Clause,
    /// The site that it is a clause of.
    pub site: Option<SiteId>,
    /// Under which rule sets it holds.
    pub rule_sets: &'l RuleSets,
    /// The agent with its limits.
    pub agent: &'l AgentEvidence,
}

impl Levelled<'_> {
    /// What is wrong with a clause that names a level which is never in force while it holds: where, and why.
    pub fn never(self) -> Option<(&'static str, String)> {
        let Clause { authority, from, to, .. } = self.clause;
        let (at, named) = self.clause.levels_named()?;
        let sets = self.rule_sets.ever();
        let once = |limit: &Version<Limit>| {
            let fact = &limit.fact;
            let begins = (*from).max(fact.from);
            let ends = [*to, fact.to].into_iter().flatten().min();
            let meet = begins.zip(ends).is_none_or(|(begins, ends)| begins < ends);
            let under = |sets_of: &Vec<RuleSet>| sets_of.iter().any(|set| sets.contains(set));
            limit.stands()
                && (limit.site.is_none() || limit.site == self.site)
                && fact.authority == *authority
                && named.iter().any(|named| kind_of(*named) == fact.kind)
                && fact.rule_sets.as_ref().is_none_or(under)
                && meet
        };
        if self.agent.limits.iter().any(once) {
            return None;
        }
        let names: Vec<_> = named.iter().map(LevelNamed::to_string).collect();
        let place = if self.site.is_some() { "at this site" } else { "at every site" };
        let names = names.join(" or ");
        Some((
            at,
            format!("names the {names} of {authority}, which has none for this agent {place} while it holds"),
        ))
    }

    /// Why it cannot be read under a rule set on a date.
    fn unread(self, rule_set: RuleSet, on: NaiveDate) -> Option<Unread> {
        let agent = match self.site {
            Some(site) => self.agent.at(site),
            None => std::borrow::Cow::Borrowed(self.agent),
        };
        let own = self.clause.worker.as_ref().and_then(|asked| asked.value.as_ref()).map(|value| value.unit);
        let unit = agent.unit().or(own).unwrap_or(WITHOUT_LIMIT);
        let against = read_against(&agent, &self.clause.authority, rule_set, on, unit);
        let read = pack_of_authority(&[self.clause], against).ok()?;
        read.unread.first().map(|unread| unread.why)
    }

    /// The day that counts: today, or the first on which the clause holds; `None` once it has ended.
    fn looked_at_on(self, today: NaiveDate) -> Option<NaiveDate> {
        let on = self.clause.from.map_or(today, |from| from.max(today));
        self.clause.to.is_none_or(|to| on < to).then_some(on)
    }

    /// Under which rule sets it cannot be read today, or on its first day, and why.
    pub fn not_read(self, today: NaiveDate) -> Vec<(RuleSet, Unread)> {
        let Some(on) = self.looked_at_on(today) else { return Vec::new() };
        let sets = self.rule_sets.on(on).into_iter();
        sets.filter_map(|set| Some((set, self.unread(set, on)?))).collect()
    }

    /// What a reader is told of it.
    pub fn flags(self, today: NaiveDate) -> BTreeSet<&'static str> {
        let mut flags = BTreeSet::new();
        let Some(on) = self.looked_at_on(today) else { return flags };
        let not_read = self.not_read(today);
        let sets = self.rule_sets.on(on);
        if not_read.len() == sets.len() {
            flags.extend(not_read.iter().map(|(_, why)| why.as_str()));
            return flags;
        }
        if !not_read.is_empty() {
            flags.insert(NOT_UNDER_EVERY_RULE_SET);
        }
        let ends = self.agent.limits.iter().filter(|limit| limit.stands()).filter_map(|limit| limit.fact.to);
        let ahead = ends.filter(|end| on < *end && self.clause.to.is_none_or(|to| *end < to));
        let read_today = |set: &&RuleSet| not_read.iter().all(|(other, _)| other != *set);
        let lost = |end: NaiveDate| {
            let mut read = sets.iter().filter(read_today);
            read.any(|set| self.unread(*set, end) == Some(Unread::LevelNotInForce))
        };
        if ahead.collect::<BTreeSet<_>>().into_iter().any(lost) {
            flags.insert(ENDS_BEFORE_CLAUSE);
        }
        flags
    }
}

fn kind_of(named: LevelNamed) -> LimitKind {
    match named {
        LevelNamed::ActionLevel => LimitKind::ActionLevel,
        LevelNamed::Limit => LimitKind::Twa,
    }
}

/// The clauses about an agent, each with what is wrong in it as things are, that it has no level today among it.
///
/// # Errors
/// Only when storage fails.
pub async fn clauses_about(change: &mut Change, code: &str) -> Result<Vec<Referrer>, Refusal> {
    let as_of = change.as_of();
    let of_code = [Where::Is("agent_code", Key::Text(Some(code.to_owned())))];
    let mut found = referrers::<Clause>(change, &of_code).await?;
    let Some(agent) = gather::agents::agent(&mut change.tx, as_of, code).await? else { return Ok(found) };
    for clause in gather::agents::clauses_of_others(&mut change.tx, as_of, code).await? {
        let rule_sets = RuleSets::of(&mut change.tx, as_of, clause.site).await?;
        let levelled =
            Levelled { clause: &clause.fact, site: clause.site, rule_sets: &rule_sets, agent: &agent };
        let Some(referrer) = found.iter_mut().find(|referrer| referrer.is(clause.id)) else { continue };
        for (rule_set, why) in levelled.not_read(as_of.date) {
            referrer.note(format!("under {rule_set} {}", why.in_words()));
        }
    }
    Ok(found)
}
