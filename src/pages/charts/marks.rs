//! The marks of figures: shifts, non-detects, estimates, discs, pennants.

use crate::model::facts::duty::DutyStatus;
use crate::model::facts::standing_move::StandingValue;
use crate::model::measured::Measured;
use crate::pages::charts::scale::Scale;
use crate::pages::charts::svg::{Area, Svg};

/// How long the tail of a non-detect is.
const TAIL: f64 = 12.0;
/// Half the length of its bar, and of the ends of a range.
const BAR: f64 = 5.0;
/// So near each other two marks would cover one another.
const TOO_NEAR: f64 = 10.0;
/// The radius of a standing's disc.
pub const DISC: f64 = 6.0;

/// What a mark of a measured value is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dot {
    /// Filled: the worker's own, or with the control.
    Filled,
    /// Open: another's, or without the control.
    Open,
    /// An open square: shown beside, and in no estimate.
    Beside,
}

/// Along which axis the values stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// Values run to the right.
    Right,
    /// Values run upwards.
    Up,
}

impl Along {
    /// The point at a place along the axis and a place across it.
    pub fn point(self, along: f64, across: f64) -> (f64, f64) {
        match self {
            Self::Right => (along, across),
            Self::Up => (across, along),
        }
    }
}

/// Keeps marks from covering each other: equal values stand beside each other, across the axis of values.
#[derive(Debug, Clone, Default)]
pub struct Spread {
    taken: Vec<(f64, f64)>,
}

impl Spread {
    /// The place across the axis, as near to the wanted one as is free within `most`; the place along it stays.
    pub fn across(&mut self, along: f64, wanted: f64, most: f64) -> f64 {
        let free = |across: f64, taken: &[(f64, f64)]| {
            taken.iter().all(|(one, other)| {
                (one - along).abs() >= TOO_NEAR || (other - across).abs() >= TOO_NEAR * 0.999
            })
        };
        let mut away = 0.0;
        while away <= most {
            for across in [wanted + away, wanted - away] {
                if free(across, &self.taken) {
                    self.taken.push((along, across));
                    return across;
                }
            }
            away += TOO_NEAR / 3.0;
        }
        self.taken.push((along, wanted));
        wanted
    }
}

/// How far above a row each of its marks stands so that none covers another, for places along the row; and the farthest.
pub fn stacked(along: &[f64]) -> (Vec<f64>, f64) {
    let mut order: Vec<usize> = (0..along.len()).collect();
    order.sort_by(|one, other| along[*one].total_cmp(&along[*other]).then(one.cmp(other)));
    let mut up = vec![0.0; along.len()];
    // Where the last mark of each level stands.
    let mut levels: Vec<f64> = Vec::new();
    let mut height = 0.0;
    for one in order {
        let level = levels.iter().position(|last| along[one] - last >= TOO_NEAR).unwrap_or(levels.len());
        if level == levels.len() {
            levels.push(along[one]);
        }
        levels[level] = along[one];
        up[one] = TOO_NEAR * crate::pages::charts::said::many(level);
        height = f64::max(height, up[one]);
    }
    (up, height)
}

impl Svg {
    /// What was measured: a point where it is a number, a bar with a tail where it is a bound, a line where it is a range.
    pub fn value(&mut self, measured: Measured, dot: Dot, axis: &Scale, across: f64, along: Along) {
        let (low, high) = axis.ends();
        // Towards smaller values.
        let less = if high > low { -1.0 } else { 1.0 };
        let bar = |svg: &mut Self, at: f64| {
            svg.line("nd", along.point(at, across - BAR), along.point(at, across + BAR));
        };
        match measured {
            Measured::Value(value) => self.dot(dot, along.point(axis.at(value), across)),
            Measured::Below(limit) | Measured::Between { lower: 0.0, upper: limit } => {
                let at = axis.at(limit);
                let end = inside(at + less * TAIL, axis);
                bar(self, at);
                self.line("nd", along.point(at, across), along.point(end, across));
            }
            Measured::Above(least) => {
                let at = axis.at(least);
                let end = inside(at - less * TAIL, axis);
                bar(self, at);
                self.line("nd", along.point(at, across), along.point(end, across));
            }
            Measured::Between { lower, upper } => {
                let (from, to) = (axis.at(lower), axis.at(upper));
                bar(self, from);
                bar(self, to);
                self.line("nd", along.point(from, across), along.point(to, across));
            }
        }
    }

    /// A point.
    pub fn dot(&mut self, dot: Dot, (x, y): (f64, f64)) {
        let small = self.plate().is_slim();
        match dot {
            Dot::Filled => self.circle("own", (x, y), if small { 4.2 } else { 4.6 }),
            Dot::Open => self.circle("grp", (x, y), if small { 3.2 } else { 3.8 }),
            Dot::Beside => self.rect("grp", Area { x: x - 3.5, y: y - 3.5, width: 7.0, height: 7.0 }),
        }
    }

    /// Dots beneath a mark: not accepted yet.
    pub fn not_accepted(&mut self, (x, y): (f64, f64)) {
        self.line("prv", (x - 7.0, y + 8.0), (x + 7.0, y + 8.0));
    }

    /// An estimate with its interval on a row: a tick with a whisker that has end bars.
    pub fn interval(&mut self, axis: &Scale, y: f64, estimate: f64, (lower, upper): (f64, f64)) {
        self.line("whisk", (axis.at(lower), y), (axis.at(upper), y));
        for end in [lower, upper] {
            self.line("whisk", (axis.at(end), y - 4.5), (axis.at(end), y + 4.5));
        }
        self.line("est", (axis.at(estimate), y - 7.0), (axis.at(estimate), y + 7.0));
    }

    /// A standing as a disc that fills; what is not known is a hatched square.
    pub fn disc(&mut self, (x, y): (f64, f64), standing: StandingValue) {
        match standing {
            StandingValue::Unknown => {
                let area = Area { x: x - DISC, y: y - DISC, width: 2.0 * DISC, height: 2.0 * DISC };
                self.rect("box", area);
                self.hatch(area);
                self.rect("thin", area);
            }
            StandingValue::AtOrBelowLimit | StandingValue::BelowLimit | StandingValue::BelowActionLevel => {
                self.circle("ph", (x, y), DISC);
            }
            StandingValue::AtOrAboveActionLevel => {
                self.circle("ph", (x, y), DISC);
                let lower: Vec<(f64, f64)> = (0..=12)
                    .map(|step| {
                        let angle = std::f64::consts::PI * f64::from(step) / 12.0;
                        (x + DISC * angle.cos(), y + DISC * angle.sin())
                    })
                    .collect();
                self.path("phf", &lower, true);
            }
            StandingValue::AtOrAboveLimit | StandingValue::AboveLimit => {
                self.circle("phf", (x, y), DISC + 0.8);
            }
        }
    }

    /// A pennant on a staff whose foot stands at the point.
    pub fn pennant(&mut self, (x, y): (f64, f64), status: DutyStatus) {
        let top = y - 22.0;
        self.line("ax", (x, y), (x, top));
        let cloth = |at: f64| [(x, at), (x + 14.0, at + 5.0), (x, at + 10.0)];
        match status {
            DutyStatus::Open => self.path("acto", &cloth(top), true),
            DutyStatus::Overdue => self.path("act", &cloth(top), true),
            DutyStatus::Met => self.path("ph", &cloth(y - 11.0), true),
            DutyStatus::Declined => {
                self.path("ph", &cloth(top), true);
                self.line("ax", (x - 4.0, top + 14.0), (x + 15.0, top - 2.0));
            }
            DutyStatus::Waived => self.line("ax", (x, top + 5.0), (x + 12.0, top + 5.0)),
            DutyStatus::Withdrawn => self.line("away", (x, top + 5.0), (x + 12.0, top + 5.0)),
        }
    }

    /// An era begins: a thin line with a notch on top.
    pub fn era(&mut self, x: f64, top: f64, bottom: f64) {
        self.line("era", (x, top), (x, bottom));
        self.path("notch", &[(x - 5.0, top - 2.0), (x + 5.0, top - 2.0), (x, top + 5.0)], true);
    }

    /// A time of which nothing is known: hatched between thin lines.
    pub fn gap(&mut self, area: Area) {
        self.hatch(area);
        self.line("thin", (area.x, area.y), (area.x, area.bottom()));
        self.line("thin", (area.right(), area.y), (area.right(), area.bottom()));
    }
}

fn inside(at: f64, axis: &Scale) -> f64 {
    let (low, high) = axis.ends();
    at.clamp(low.min(high), low.max(high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn no_mark_covers_another_where_there_is_room(values in prop::collection::vec(0.0..60.0f64, 1..14)) {
            let mut spread = Spread::default();
            let places: Vec<(f64, f64)> =
                values.iter().map(|value| (*value, spread.across(*value, 100.0, 200.0))).collect();
            for (at, one) in places.iter().enumerate() {
                for other in &places[..at] {
                    let apart = (one.0 - other.0).abs() >= 9.9 || (one.1 - other.1).abs() >= 9.9;
                    prop_assert!(apart, "{one:?} covers {other:?}");
                }
            }
            let (up, height) = stacked(&values);
            for (at, one) in values.iter().enumerate() {
                prop_assert!(up[at] <= height);
                for (before, other) in values[..at].iter().enumerate() {
                    prop_assert!((one - other).abs() >= 9.9 || (up[at] - up[before]).abs() >= 9.9);
                }
            }
        }
    }
}
