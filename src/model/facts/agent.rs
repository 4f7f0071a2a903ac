//! Agents and their exposure limits.

use crate::model::facts::rule_set::RuleSet;
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::text::{Code, Line};
use crate::model::unit::Dimension;
use crate::{record, words};
use chrono::NaiveDate;
use serde_json::{Value, json};
use std::fmt;

/// A CAS registry number whose check digit is right, such as 18540-29-9.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct CasNumber(String);

impl CasNumber {
    /// Takes a number of the form `NNNNNNN-NN-N` without leading zeros.
    ///
    /// # Formula
    /// Check digit = Σ n·dₙ mod 10, where d₁ is the digit before the check digit, d₂ the one before that, and so on.
    pub fn new(text: &str) -> Option<Self> {
        let mut parts = text.split('-');
        let (body, pair, check) = (parts.next()?, parts.next()?, parts.next()?);
        let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
        let formed = parts.next().is_none()
            && [body, pair, check].into_iter().all(digits)
            && (2..=7).contains(&body.len())
            && pair.len() == 2
            && check.len() == 1
            && !body.starts_with('0');
        let sum: u32 = body
            .bytes()
            .chain(pair.bytes())
            .rev()
            .zip(1_u32..)
            .map(|(digit, place)| place * u32::from(digit.wrapping_sub(b'0')))
            .sum();
        (formed && check == (sum % 10).to_string()).then(|| Self(text.to_owned()))
    }

    /// The number as text.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for CasNumber {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl Shape for CasNumber {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let read = value.as_str().and_then(Self::new);
        if read.is_none() {
            faults.note(at, "must be a CAS registry number with its right check digit, such as 18540-29-9");
        }
        read
    }

    fn write(&self) -> Option<Value> {
        Some(Value::String(self.0.clone()))
    }

    fn schema() -> Value {
        json!({"type": "string", "pattern": "^[1-9][0-9]{1,6}-[0-9]{2}-[0-9]$", "examples": ["18540-29-9"]})
    }
}

words! {
    /// In which form an agent is in the air.
    pub enum AgentState {
        /// Dust, fume, mist or fibres.
        Particulate = "particulate",
        /// Gas or vapour.
        GasVapour = "gas_vapour",
        /// Both at once.
        ParticulateOrVapour = "particulate_or_vapour",
        /// No substance: noise.
        Physical = "physical",
    }
}

words! {
    /// What kind of limit it is.
    pub enum LimitKind {
        /// An average over a shift of eight hours.
        Twa = "twa",
        /// A short-term average.
        Stel = "stel",
        /// A level not to be exceeded at any time, or over the shortest time that can be measured.
        Ceiling = "ceiling",
        /// A short average named an excursion limit.
        Excursion = "excursion",
        /// The level from which monitoring and surveillance begin.
        ActionLevel = "action_level",
        /// A peak allowed above a ceiling for a stated time, or an advisory peak.
        Peak = "peak",
    }
}

impl LimitKind {
    /// Whether it is read against averages over minutes, and not against those of a shift.
    pub fn is_short_term(self) -> bool {
        matches!(self, Self::Stel | Self::Excursion | Self::Ceiling)
    }
}

words! {
    /// How far an entry was checked against its source.
    pub enum Verification {
        /// Read in the source.
        Verified = "verified",
        /// Read in part.
        Mixed = "mixed",
        /// Not read.
        Memory = "memory",
    }
}

impl Verification {
    /// The same for people.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Verified => "checked against the text",
            Self::Mixed => "checked in part against the text",
            Self::Memory => "from memory, not checked against the text",
        }
    }
}

record! {
    /// An agent: a substance or a physical influence that people are exposed to.
    pub struct Agent {
        /// Short code by which results and limits name it.
        code: Code,
        /// Its name.
        name: Line,
        /// Its CAS registry number.
        cas_rn: Option<CasNumber>,
        /// Further CAS registry numbers, where it is a family.
        further_cas_rns: Option<Vec<CasNumber>>,
        /// Molar mass, for conversion between mass and volume parts.
        molar_mass: Option<Quantity>,
        /// In which form it is in the air.
        state: AgentState,
        /// As what it is measured, such as "as Cr(VI)".
        measured_as: Option<Line>,
        /// Which size fraction is sampled.
        fraction: Option<Line>,
    }
}

impl Agent {
    /// Notes what no field can show alone.
    pub fn check(&self, at: &str, faults: &mut Faults) {
        if let Some(mass) = &self.molar_mass {
            mass.must_be(&[Dimension::MolarMass], "molar mass", &format!("{at}/molar_mass"), faults);
            if !mass.measured.is_value() || mass.measured.lower() <= 0.0 {
                faults.note(format!("{at}/molar_mass"), "must be a number above zero");
            }
        }
    }
}

record! {
    /// A limit of an agent: at every site, or where it is recorded under a site at that site alone.
    pub struct Limit {
        /// Of which agent; given where it is recorded under a site, and only there.
        agent_code: Option<Code>,
        /// Who set it, such as OSHA.
        authority: Code,
        /// Under which bodies of law it holds; all if absent.
        rule_sets: Option<Vec<RuleSet>>,
        /// What kind of limit it is.
        kind: LimitKind,
        /// The limit.
        value: Quantity,
        /// Over how many minutes it is averaged; absent: instantaneous.
        averaging_minutes: Option<i64>,
        /// How long, or how, it may be reached.
        peak_rule: Option<Line>,
        /// To which work or form it applies, where not to all.
        applies_to: Option<Line>,
        /// First day in force.
        from: Option<NaiveDate>,
        /// First day no longer in force.
        to: Option<NaiveDate>,
        /// Where it is written.
        source: Line,
        /// Which edition of the source.
        edition: Option<Line>,
        /// How far it was checked against the source.
        verification: Option<Verification>,
    }
}

impl Limit {
    /// Notes what no field can show alone.
    pub fn check(&self, at: &str, faults: &mut Faults) {
        if !self.value.unit.is_exposure() {
            let detail = format!("must be a unit of exposure, not {}", self.value.unit);
            faults.note(format!("{at}/value/unit"), detail);
        }
        if !self.value.measured.is_value() || self.value.measured.lower() <= 0.0 {
            faults.note(format!("{at}/value"), "must be a number above zero");
        }
        if self.averaging_minutes.is_some_and(|minutes| minutes <= 0) {
            faults.note(format!("{at}/averaging_minutes"), "must be above zero");
        }
        if let (Some(from), Some(to)) = (self.from, self.to)
            && to <= from
        {
            faults.note(format!("{at}/to"), "must be after from");
        }
    }

    /// Whether it holds under a body of law on a date.
    pub fn holds(&self, rule_set: RuleSet, on: NaiveDate) -> bool {
        self.rule_sets.as_ref().is_none_or(|sets| sets.contains(&rule_set))
            && self.from.is_none_or(|from| from <= on)
            && self.to.is_none_or(|to| on < to)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    // CAS: "Check Digit Verification of CAS Registry Numbers": 107-07-3 is its worked example.
    #[test]
    fn a_cas_number_carries_its_check_digit() {
        for right in ["107-07-3", "18540-29-9", "7439-92-1", "50-00-0", "14808-60-7"] {
            assert_eq!(CasNumber::new(right).unwrap().as_str(), right);
        }
        // 65966-93-2 is the number Table Z-1 misprints for coal tar pitch (29 CFR 1910.1000).
        for wrong in
            ["107-07-4", "65966-93-2", "0050-00-0", "50-0-0", "5-00-0", "50-00-0-0", "50-00-", "é0-00-0", ""]
        {
            assert_eq!(CasNumber::new(wrong), None, "{wrong}");
        }
    }

    #[test]
    fn a_limit_must_be_an_exposure_above_zero() {
        let sent = json!({
            "authority": "OSHA", "kind": "twa", "value": {"value": 0, "unit": "ug"},
            "averaging_minutes": 0, "source": "x", "from": "2026-02-01", "to": "2026-02-01",
        });
        let mut faults = Faults::default();
        Limit::parse(&sent).unwrap().check("", &mut faults);
        let pointers: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
        assert_eq!(pointers, ["/value/unit", "/value", "/averaging_minutes", "/to"]);
    }

    #[test]
    fn a_limit_holds_from_its_first_day_and_not_on_to() {
        let sent = json!({
            "authority": "OSHA", "rule_sets": ["us_construction"], "kind": "twa",
            "value": {"value": 5, "unit": "ug/m3"}, "source": "x", "from": "2026-01-01", "to": "2026-02-01",
        });
        let limit = Limit::parse(&sent).unwrap();
        let on = |month, day| NaiveDate::from_ymd_opt(2026, month, day).unwrap();
        assert!(limit.holds(RuleSet::UsConstruction, on(1, 1)));
        assert!(!limit.holds(RuleSet::UsConstruction, on(2, 1)));
        assert!(!limit.holds(RuleSet::UsMaritime, on(1, 1)));
    }
}
