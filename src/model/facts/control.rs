//! Tasks, controls, and when a control stood on a task.

use crate::model::identifiers::{ControlId, GroupId};
use crate::model::text::{Code, Line};
use crate::{record, words};
use chrono::NaiveDate;

record! {
    /// A task of a group.
    pub struct Task {
        /// Short code, unique at the site.
        code: Code,
        /// Its title.
        title: Line,
        /// The group that does it.
        group_id: GroupId,
        /// The first day.
        from: Option<NaiveDate>,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// Minutes of a usual shift spent on it.
        usual_minutes_per_shift: Option<f64>,
        /// Shifts of a usual week on which it is done.
        shifts_per_week: Option<f64>,
    }
}

words! {
    /// Where a control stands in the hierarchy of controls.
    pub enum ControlKind {
        /// The hazard is removed.
        Elimination = "elimination",
        /// It is replaced by something less harmful.
        Substitution = "substitution",
        /// Enclosure, extraction, ventilation …
        Engineering = "engineering",
        /// The way work is done.
        Administrative = "administrative",
        /// A respirator: it lowers nobody's exposure, only what passes into the lungs.
        Respirator = "respirator",
        /// Other protective equipment.
        OtherProtectiveEquipment = "other_protective_equipment",
    }
}

impl ControlKind {
    /// Whether it is worn: such a control cuts no era and has no verdict.
    pub fn is_worn(self) -> bool {
        matches!(self, Self::Respirator | Self::OtherProtectiveEquipment)
    }
}

record! {
    /// A control at a site.
    pub struct Control {
        /// Short code, unique at the site.
        code: Code,
        /// Its title.
        title: Line,
        /// Its place in the hierarchy of controls.
        kind: ControlKind,
        /// What form it has (hood, enclosure, wet method …).
        form: Option<Line>,
        /// A respirator's assigned protection factor.
        assigned_protection_factor: Option<f64>,
        /// By how many per cent it is meant to lower exposure (50 if left out).
        target_reduction_percent: Option<f64>,
    }
}

record! {
    /// A control in place on a task.
    pub struct ControlPeriod {
        /// The control.
        control_id: ControlId,
        /// The first day; holds for shifts of this shift date on.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
    }
}
