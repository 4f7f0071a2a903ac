//! A proposed limit, read against its agent.

use crate::conclusions::limits::{AgentEvidence, STATUTORY_AUTHORITY};
use crate::hygiene::short_term::{CEILING_MINUTES, EXCURSION_MINUTES, STEL_MINUTES};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::rule_set::RuleSet;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::Faults;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::record;
use chrono::NaiveDate;

/// Minutes of a short-term limit are fewer than those of a shift's average.
const LONGEST_WINDOW: i64 = 479;

record! {
    /// A proposed limit, or action level.
    pub struct LimitProposal {
        /// Of which agent.
        agent_code: Code,
        /// Whose limit; the law's if left out.
        authority: Option<Code>,
        /// `twa, action_level, stel, excursion` or `ceiling`; of noise one of the first two.
        kind: LimitKind,
        /// The proposed number.
        value: Quantity,
        /// Minutes over which a short-term limit is averaged; those of the present one, else 15, of an excursion limit 30.
        averaging_minutes: Option<i64>,
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
    /// Minutes over which a short-term limit is averaged.
    pub window: Option<i64>,
    /// The bodies of law that it is for.
    pub rule_sets: Vec<RuleSet>,
    /// The only one, where the proposal names one.
    pub only: Option<RuleSet>,
}

impl Proposed {
    /// Reads a proposal about an agent, whose limits of today fill in what it leaves out.
    ///
    /// # Errors
    /// Every fault by its pointer.
    pub fn of(proposal: &LimitProposal, agent: &AgentEvidence, today: NaiveDate) -> Result<Self, Faults> {
        let mut faults = Faults::default();
        let unit = agent.unit().unwrap_or(proposal.value.unit);
        unanswerable(proposal.kind, agent, unit, &mut faults);
        let given = &proposal.value;
        if !given.measured.is_value() || given.measured.lower() <= 0.0 {
            faults.note("/value", "must be a number above zero");
        }
        let value = agent.convert(given.measured, given.unit, unit).filter(|value| value.is_value());
        if value.is_none() {
            faults.note("/value/unit", format!("must convert into {unit}, the unit of the agent's limits"));
        }
        match proposal.averaging_minutes {
            Some(_) if !proposal.kind.is_short_term() => {
                faults
                    .note("/averaging_minutes", "is for a limit over minutes; this one is over eight hours");
            }
            Some(minutes) if !(1..=LONGEST_WINDOW).contains(&minutes) => {
                faults.note("/averaging_minutes", format!("must be from 1 to {LONGEST_WINDOW}"));
            }
            _ => {}
        }
        let rule_sets = proposal.rule_set.map_or_else(|| RuleSet::ALL.to_vec(), |only| vec![only]);
        let authority = proposal.authority.clone().or_else(|| Code::new(STATUTORY_AUTHORITY));
        match (value, authority) {
            (Some(value), Some(authority)) if faults.is_empty() => {
                let kind = proposal.kind;
                let window = proposal.averaging_minutes.or_else(|| {
                    kind.is_short_term().then(|| {
                        let of_now = || present_window(agent, &authority, kind, &rule_sets, today);
                        of_now().unwrap_or_else(|| usual_window(kind))
                    })
                });
                let value = significant(value.lower());
                Ok(Self { authority, kind, value, unit, window, rule_sets, only: proposal.rule_set })
            }
            _ => Err(faults),
        }
    }

    /// The minutes of a short-term limit.
    pub fn minutes(&self) -> Option<f64> {
        self.window.and_then(|minutes| i32::try_from(minutes).ok()).map(f64::from)
    }

    /// Whether it is the law's.
    pub fn is_statutory(&self) -> bool {
        self.authority.as_str() == STATUTORY_AUTHORITY
    }
}

/// Says why results cannot be read against a limit at all, where they cannot.
fn unanswerable(kind: LimitKind, agent: &AgentEvidence, unit: Unit, faults: &mut Faults) {
    if agent.is_noise() && unit != Unit::DbA {
        faults.note(
            "/agent_code",
            "is read as a peak of sound: no dose or level of a shift says how high one was",
        );
    } else if kind == LimitKind::Peak {
        let why = "is a peak, allowed for some minutes of a shift by a rule of its own: no result says how long one \
                   lasted, so none can be read against it";
        faults.note("/kind", why);
    } else if agent.is_noise() && kind.is_short_term() {
        let why =
            "is read against averages over minutes: a result of noise is the dose or level of its whole run";
        faults.note("/kind", why);
    }
}

fn present_window(
    agent: &AgentEvidence,
    authority: &Code,
    kind: LimitKind,
    rule_sets: &[RuleSet],
    today: NaiveDate,
) -> Option<i64> {
    let held = rule_sets.iter().flat_map(|rule_set| agent.in_force(*rule_set, today));
    held.filter(|limit| limit.authority == *authority && limit.kind == kind)
        .filter_map(|limit| limit.averaging_minutes)
        .min()
}

/// The minutes that a kind of limit is averaged over where nobody says otherwise.
fn usual_window(kind: LimitKind) -> i64 {
    let minutes = match kind {
        LimitKind::Excursion => EXCURSION_MINUTES,
        LimitKind::Stel => STEL_MINUTES,
        _ => CEILING_MINUTES,
    };
    #[expect(clippy::cast_possible_truncation, reason = "whole minutes of the constants above")]
    let minutes = minutes as i64;
    minutes
}
