//! Limits and action levels as lines: of each day, with whose they are.

use crate::conclusions::limits::STATUTORY_AUTHORITY;
use crate::conclusions::profile_view::ProfileView;
use crate::model::facts::agent::LimitKind;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::pages::charts::era_results::{EraShift, is_level, unit_of};
use crate::pages::charts::said;
use crate::pages::charts::svg::TEXT_HEIGHT;
use chrono::NaiveDate;

/// Labels beside an axis stand so far from each other.
const LABELS_APART: f64 = TEXT_HEIGHT + 3.0;

/// A level that 8-hour averages are compared with.
#[derive(Debug, Clone, PartialEq)]
pub struct LevelLine {
    /// A limit or an action level.
    pub kind: LimitKind,
    /// Who set it.
    pub authority: Code,
    /// The level.
    pub value: f64,
    /// Its unit.
    pub unit: Unit,
    /// The first shift date that was judged by it.
    pub from: Option<NaiveDate>,
    /// The last one.
    pub last: Option<NaiveDate>,
}

impl LevelLine {
    /// The class of its line: solid for the law's limit, long dashes for its action level, thin for those of others.
    pub fn class(&self) -> &'static str {
        match (self.authority.as_str() == STATUTORY_AUTHORITY, self.kind) {
            (true, LimitKind::ActionLevel) => "al",
            (true, _) => "lim",
            (false, LimitKind::ActionLevel) => "bedge",
            (false, _) => "thin",
        }
    }

    /// What it is, with its value, unit and source: `limit 50 µg/m³, OSHA`.
    pub fn named(&self) -> String {
        format!(
            "{} {} {}, {}",
            said::limit_kind(self.kind),
            said::tick(self.value),
            self.unit.symbol(),
            self.authority
        )
    }

    /// What it is, with its value, where there is little room.
    pub fn named_short(&self) -> String {
        format!("{} {}", said::limit_kind(self.kind), said::tick(self.value))
    }

    /// Whether it is the law's.
    pub fn is_lawful(&self) -> bool {
        self.authority.as_str() == STATUTORY_AUTHORITY
    }
}

/// The levels of a profile: the limit that its figures are read against, and the law's action level of its last shift.
///
/// Levels of noise are read by a criterion of their own each, so that only the one of the profile's is a line there.
pub fn of_profile(profile: &ProfileView, shifts: &[EraShift<'_>]) -> Vec<LevelLine> {
    let mut found = Vec::new();
    if let Some(limit) = &profile.0.limit {
        found.push(LevelLine {
            kind: limit.kind.unwrap_or(LimitKind::Twa),
            authority: limit.authority.clone(),
            value: limit.value,
            unit: limit.unit,
            from: None,
            last: None,
        });
    }
    let Some(unit) = unit_of(profile).filter(|unit| !is_level(*unit)) else { return found };
    let in_profile = shifts.iter().rev().filter(|shift| shift.in_profile);
    let level = in_profile
        .flat_map(|shift| &shift.view.comparisons)
        .find(|one| one.kind == LimitKind::ActionLevel && one.authority.as_str() == STATUTORY_AUTHORITY);
    if let Some(level) = level
        && let Some(value) = level.unit.convert(level.value, unit)
    {
        found.push(LevelLine {
            kind: LimitKind::ActionLevel,
            authority: level.authority.clone(),
            value,
            unit,
            from: None,
            last: None,
        });
    }
    found
}

/// The levels that shifts were judged by, each for the days on which it was the one: in order of authority (the law first),
/// kind and time.
pub fn of_days(shifts: &[EraShift<'_>], unit: Unit) -> Vec<LevelLine> {
    let mut found: Vec<LevelLine> = Vec::new();
    let mut ordered: Vec<&EraShift<'_>> = shifts.iter().collect();
    ordered.sort_by_key(|shift| shift.view.shift_date);
    for shift in ordered {
        for one in &shift.view.comparisons {
            let value = one.unit.convert(one.value, unit);
            let (LimitKind::Twa | LimitKind::ActionLevel, Some(value)) = (one.kind, value) else { continue };
            let date = Some(shift.view.shift_date);
            let same = |line: &&mut LevelLine| line.kind == one.kind && line.authority == one.authority;
            match found.iter_mut().rev().find(same) {
                Some(line) if line.value.total_cmp(&value).is_eq() => line.last = line.last.max(date),
                _ => found.push(LevelLine {
                    kind: one.kind,
                    authority: one.authority.clone(),
                    value,
                    unit,
                    from: date,
                    last: date,
                }),
            }
        }
    }
    found.sort_by_key(|line| {
        (!line.is_lawful(), line.authority.clone(), line.kind != LimitKind::Twa, line.from)
    });
    found
}

/// On which side a label between `left` and `right` covers fewer of these points: where it starts there. `y` is its baseline.
pub fn freer_side(points: &[(f64, f64)], (left, right): (f64, f64), y: f64, width: f64) -> f64 {
    let covered = |from: f64| {
        let inside = |(x, at): &&(f64, f64)| {
            *x > from - 6.0 && *x < from + width + 6.0 && *at > y - TEXT_HEIGHT - 4.0 && *at < y + 8.0
        };
        points.iter().filter(inside).count()
    };
    let (one, other) = (left + 5.0, right - width - 5.0);
    let middle = f64::midpoint(one, other);
    [one, other, middle].into_iter().min_by_key(|from| covered(*from)).unwrap_or(one)
}

/// Moves labels apart that would stand on one another, keeping their order: the places of their baselines.
pub fn apart(wanted: &[f64], top: f64, bottom: f64) -> Vec<f64> {
    let mut order: Vec<usize> = (0..wanted.len()).collect();
    order.sort_by(|one, other| wanted[*one].total_cmp(&wanted[*other]).then(one.cmp(other)));
    let mut placed = wanted.to_vec();
    let mut free = top;
    for one in &order {
        placed[*one] = placed[*one].max(free);
        free = placed[*one] + LABELS_APART;
    }
    let mut free = bottom;
    for one in order.iter().rev() {
        placed[*one] = placed[*one].min(free);
        free = placed[*one] - LABELS_APART;
    }
    placed
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn labels_keep_their_order_and_stand_apart(wanted in prop::collection::vec(0.0..300.0f64, 0..12)) {
            let placed = apart(&wanted, 0.0, 300.0);
            for one in 0..wanted.len() {
                for other in 0..wanted.len() {
                    if wanted[one] < wanted[other] {
                        prop_assert!(placed[other] - placed[one] >= LABELS_APART - 1e-9);
                    }
                }
            }
        }
    }
}
