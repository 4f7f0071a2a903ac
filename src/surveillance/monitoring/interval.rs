//! Where a rule asks an average to lie.

use crate::model::unit::Unit;
use crate::surveillance::level::Levels;
use crate::surveillance::round::{Bound, Reading, Round};

/// An end of an interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct End {
    /// Its value.
    pub value: f64,
    /// Whether the value itself lies inside.
    pub inside: bool,
}

/// From where to where an average lies for a rule to hold.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Interval {
    /// The lower end; `None`: from zero on.
    pub lower: Option<End>,
    /// The upper end; `None`: without end.
    pub upper: Option<End>,
}

/// Whether a round lies in an interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Inside {
    /// It does not.
    No,
    /// It cannot tell, or has nothing to say.
    CannotTell,
    /// It does.
    Yes,
}

impl Interval {
    /// Reads bounds such as `>=2.5 <=5` in `written`, given in `unit`; words stand for the levels (already in `unit`).
    ///
    /// `None` where a bound is no bound, a level is not known, or the units do not convert.
    pub fn read(text: &str, written: Unit, unit: Unit, levels: Levels) -> Option<Self> {
        let mut interval = Self::default();
        if text == "any" {
            return Some(interval);
        }
        for bound in text.split_whitespace() {
            let number = bound.trim_start_matches(['<', '>', '=']);
            let value = match number {
                "limit" => levels.limit?,
                "action_level" => levels.action_level?,
                number => written.convert(number.parse().ok()?, unit)?,
            };
            match &bound[..bound.len() - number.len()] {
                ">=" => interval.lower = Some(End { value, inside: true }),
                ">" => interval.lower = Some(End { value, inside: false }),
                "<=" => interval.upper = Some(End { value, inside: true }),
                "<" => interval.upper = Some(End { value, inside: false }),
                _ => return None,
            }
        }
        Some(interval)
    }

    /// The bound that is reached from the lower end on.
    pub(in crate::surveillance) fn lower_bound(self) -> Option<Bound> {
        self.lower.map(|end| Bound { value: end.value, only_above: !end.inside, is_limit: false })
    }

    /// The bound that is reached beyond the upper end.
    pub(in crate::surveillance) fn upper_bound(self) -> Option<Bound> {
        self.upper.map(|end| Bound { value: end.value, only_above: end.inside, is_limit: false })
    }

    /// Whether a round's highest value lies inside.
    pub(in crate::surveillance) fn holds(self, round: &Round) -> Inside {
        let lower = self.lower_bound().map_or(Inside::Yes, |bound| match round.reading(bound) {
            Reading::Reaches => Inside::Yes,
            Reading::Below { .. } => Inside::No,
            Reading::CannotTell | Reading::Silent => Inside::CannotTell,
        });
        let upper = self.upper_bound().map_or(Inside::Yes, |bound| match round.reading(bound) {
            Reading::Reaches => Inside::No,
            Reading::Below { .. } => Inside::Yes,
            Reading::CannotTell | Reading::Silent => Inside::CannotTell,
        });
        lower.min(upper)
    }

    /// Whether a round certainly reaches the lower end, or, without one, says anything at all.
    pub(in crate::surveillance) fn reached(self, round: &Round) -> bool {
        match self.lower_bound() {
            Some(bound) => round.reading(bound) == Reading::Reaches,
            None => round.may_lower().is_some(),
        }
    }

    /// Whether a round certainly lies beyond the upper end.
    pub(in crate::surveillance) fn exceeded(self, round: &Round) -> bool {
        self.upper_bound().is_some_and(|bound| round.reading(bound) == Reading::Reaches)
    }

    /// Whether a round cannot tell on which side of one of the ends it lies.
    pub(in crate::surveillance) fn blurred(self, round: &Round) -> bool {
        let bounds = [self.lower_bound(), self.upper_bound()];
        bounds.into_iter().flatten().any(|bound| round.reading(bound) == Reading::CannotTell)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const LEVELS: Levels = Levels { action_level: Some(2.5), limit: Some(5.0) };

    fn read(text: &str) -> Option<Interval> {
        Interval::read(text, Unit::UgPerM3, Unit::UgPerM3, LEVELS)
    }

    #[test]
    fn bounds_are_read_with_their_comparators() {
        let both = read(">=2.5 <5").unwrap();
        assert_eq!(both.lower, Some(End { value: 2.5, inside: true }));
        assert_eq!(both.upper, Some(End { value: 5.0, inside: false }));
        assert_eq!(read(">limit").unwrap().lower, Some(End { value: 5.0, inside: false }));
        assert_eq!(read("any"), Some(Interval::default()));
        // Arithmetic: 2.5 ug/m3 are 0.0025 mg/m3.
        let mg = Interval::read("<=2.5", Unit::UgPerM3, Unit::MgPerM3, Levels::default()).unwrap();
        assert_eq!(mg.upper, Some(End { value: 0.0025, inside: true }));
    }

    #[test]
    fn what_is_no_bound_is_refused() {
        assert_eq!([read("2.5"), read("=>2.5"), read("> x")], [None, None, None]);
        assert_eq!(Interval::read("<=limit", Unit::Ppm, Unit::Ppm, Levels::default()), None);
        assert_eq!(Interval::read("<=1", Unit::Ppm, Unit::UgPerM3, LEVELS), None);
    }
}
