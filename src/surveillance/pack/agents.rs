//! The agents of the pack with their limits, made from the rows of its table.

use super::agent_row::AgentRow;
use super::editions::in_words;
use super::table;
use crate::model::facts::agent::{Agent, AgentState, CasNumber, Limit, LimitKind};
use crate::model::facts::rule_set::RuleSet;
use crate::model::quantity::Quantity;
use crate::model::text::{Code, Line};
use crate::model::unit::Unit;

/// Who sets the limits of the pack.
const AUTHORITY: &str = "OSHA";

/// Minutes of an eight-hour shift: over these a limit "TWA" and an action level are averaged.
const SHIFT_MINUTES: i64 = 480;

/// Sums on one filter that are reported as such and have no limit of their own: code, name, as what they are measured.
/// This registry's own entries.
/// The CAS RN is that of the metal, by which laboratories report a total (29 CFR 1910.1000 Table Z-1 lists it likewise).
const TOTALS: [(&str, &str, Option<&str>, &str); 3] = [
    ("chromium_total", "Chromium, total", Some("7440-47-3"), "as Cr, all valencies on the filter together"),
    (
        "nickel_total",
        "Nickel, total",
        Some("7440-02-0"),
        "as Ni, soluble and insoluble on the filter together",
    ),
    ("welding_fume_total", "Welding fume, total", None, "gravimetric, all particles on the filter"),
];

/// An agent with its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct PackAgent {
    /// The agent.
    pub agent: Agent,
    /// Its limits, in the order of the table.
    pub limits: Vec<Limit>,
}

/// The agents of these rows, one for each code in order of first appearance, and after them the totals.
///
/// # Errors
/// A sentence that names the row that does not fit.
pub fn agents(rows: &[AgentRow]) -> Result<Vec<PackAgent>, String> {
    let mut agents: Vec<PackAgent> = Vec::new();
    for row in rows {
        let fault = |what: &str| format!("row {}: {what}", row.row_id);
        let limits = limits(row).ok_or_else(|| fault("a limit does not fit"))?;
        if let Some(known) = agents.iter_mut().find(|known| known.agent.code.as_str() == row.agent_code) {
            known.limits.extend(limits);
        } else {
            let agent = agent(row).ok_or_else(|| fault("the agent does not fit"))?;
            agents.push(PackAgent { agent, limits });
        }
    }
    for (code, name, cas_rn, measured_as) in TOTALS {
        let agent = total(code, name, cas_rn, measured_as).ok_or_else(|| format!("{code} does not fit"))?;
        agents.push(PackAgent { agent, limits: Vec::new() });
    }
    Ok(agents)
}

fn total(code: &str, name: &str, cas_rn: Option<&str>, measured_as: &str) -> Option<Agent> {
    Some(Agent {
        code: Code::new(code)?,
        name: Line::new(name)?,
        cas_rn: cas_rn.and_then(CasNumber::new),
        further_cas_rns: None,
        molar_mass: None,
        state: AgentState::Particulate,
        measured_as: Some(Line::new(measured_as)?),
        fraction: Some(Line::new("total airborne")?),
    })
}

fn agent(row: &AgentRow) -> Option<Agent> {
    let numbers = row.cas_rn.iter().flat_map(|numbers| numbers.split(';'));
    let mut numbers = numbers.map(CasNumber::new).collect::<Option<Vec<_>>>()?.into_iter();
    let cas_rn = numbers.next();
    let further: Vec<_> = numbers.collect();
    Some(Agent {
        code: Code::new(&row.agent_code)?,
        name: Line::new(&row.agent)?,
        cas_rn,
        further_cas_rns: (!further.is_empty()).then_some(further),
        molar_mass: match &row.molar_mass_g_mol {
            Some(mass) => Some(Quantity::reported(None, mass, Unit::GPerMol).ok()?),
            None => None,
        },
        state: row.state,
        measured_as: line(row.measured_as.as_deref())?,
        fraction: line(row.fraction.as_deref().filter(|fraction| *fraction != "n/a"))?,
    })
}

/// A text that may be absent; `None` where it does not fit.
#[expect(clippy::option_option, reason = "absent is a right answer here, not a fault")]
fn line(text: Option<&str>) -> Option<Option<Line>> {
    text.map_or(Some(None), |text| Line::new(text).map(Some))
}

/// Where and for which work the limits of a row hold.
fn scope(row: &AgentRow) -> Option<(Vec<RuleSet>, Option<Line>)> {
    match table::rule_sets(&row.scope) {
        Some(sets) => Some((sets, None)),
        // A scope in words is a part of general industry: such rows stand in part 1910.
        None if row.cfr_section.starts_with("1910.") => {
            Some((vec![RuleSet::UsGeneralIndustry], Some(Line::new(&row.scope)?)))
        }
        None => None,
    }
}

fn limits(row: &AgentRow) -> Option<Vec<Limit>> {
    let unit = table::unit(&row.unit)?;
    let (rule_sets, applies_to) = scope(row)?;
    let source = Line::new(&super::citation(&row.cfr_section, row.cfr_paragraph.as_deref()))?;
    let (ceiling_minutes, ceiling_rule) = ceiling_average(row.ceiling_minutes.as_deref());
    let ceiling_kind = match row.ceiling_kind.as_deref() {
        Some("excursion_limit") => LimitKind::Excursion,
        Some("advisory_peak") => LimitKind::Peak,
        Some("ceiling" | "acceptable_ceiling") | None => LimitKind::Ceiling,
        Some(_) => return None,
    };
    let written = [
        (LimitKind::Twa, &row.twa_pel, Some(SHIFT_MINUTES), None),
        (LimitKind::Stel, &row.stel, row.stel_minutes, None),
        (ceiling_kind, &row.ceiling_or_excursion, ceiling_minutes, ceiling_rule),
        (LimitKind::Peak, &row.peak_above_ceiling, None, row.peak_rule.as_deref()),
        (LimitKind::ActionLevel, &row.action_level, Some(SHIFT_MINUTES), None),
    ];
    let mut limits = Vec::new();
    for (kind, value, averaging_minutes, peak_rule) in written {
        let Some(value) = value else { continue };
        limits.push(Limit {
            agent_code: None,
            authority: Code::new(AUTHORITY)?,
            rule_sets: Some(rule_sets.clone()),
            kind,
            value: Quantity::reported(None, value, unit).ok()?,
            averaging_minutes,
            peak_rule: line(peak_rule)?,
            applies_to: applies_to.clone(),
            from: None,
            to: None,
            source: source.clone(),
            edition: line(row.edition.as_deref().map(in_words).as_deref())?,
            verification: Some(row.verification),
        });
    }
    Some(limits)
}

/// The averaging time of a ceiling and, where the text is more than a number, the text.
fn ceiling_average(text: Option<&str>) -> (Option<i64>, Option<&str>) {
    let Some(text) = text else { return (None, None) };
    if let Ok(minutes) = text.parse() {
        return (Some(minutes), None);
    }
    // "any period up to 15" averages over 15 minutes at most; "instantaneous; …" over none.
    (text.strip_prefix("any period up to ").and_then(|minutes| minutes.parse().ok()), Some(text))
}
