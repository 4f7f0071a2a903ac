//! The dose as if respirators had protected as assigned: beside the dose and never in its place, nor in any profile,
//! standing, day or duty.

use crate::conclusions::history::piece::{Bounds, Piece};
use crate::conclusions::history::view::AssumedProtectionView;
use crate::conclusions::history::weight::Worked;
use crate::hygiene::cumulative::{Cumulative, DAYS_PER_YEAR, Interval, MeanWithLimits, cumulative};
use crate::hygiene::respirator::remaining_share;
use crate::model::facts::control::{Control, ControlKind};
use crate::model::facts::worker::{Assignment, RespiratorConfirmation};
use crate::model::identifiers::AssignmentId;
use crate::model::rounding::significant;
use crate::model::unit::Unit;
use crate::model::version::Version;
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// What is said beside such a dose wherever it is shown.
pub const ASSUMED: &str = "assumed protection, not measured";

/// A time of an assignment for which a hygienist has confirmed that its respirator fitted and was part of a programme.
#[derive(Debug, Clone, PartialEq)]
pub struct ConfirmedRespirator {
    /// The assignment.
    pub assignment: AssignmentId,
    /// The first day.
    pub from: NaiveDate,
    /// The first day no longer.
    pub to: NaiveDate,
    /// The share of exposed time it is worn, 0 to 1.
    pub worn_share: f64,
    /// Its assigned protection factor, 1 or more.
    pub protection_factor: f64,
}

/// The confirmed times of a worker's assignments, in order. An assignment without a share worn has none, nor has one whose
/// respirator has no protection factor; a confirmation that says no takes its days out of every other.
pub fn confirmed(
    assignments: &[Version<Assignment>],
    controls: &[Version<Control>],
    confirmations: &[Version<RespiratorConfirmation>],
) -> Vec<ConfirmedRespirator> {
    let mut found = Vec::new();
    for assignment in assignments.iter().filter(|assignment| assignment.stands()) {
        let Some(worn_share) = assignment.fact.respirator_worn_share else { continue };
        let Some(protection_factor) = protection_factor(&assignment.fact, controls) else { continue };
        let of_it: Vec<&RespiratorConfirmation> = confirmations
            .iter()
            .filter(|one| one.stands() && one.parent == Some(assignment.id))
            .map(|one| &one.fact)
            .collect();
        let end = assignment.fact.to.unwrap_or(NaiveDate::MAX);
        let mut cuts: BTreeSet<NaiveDate> =
            of_it.iter().flat_map(|one| [one.from, one.to.unwrap_or(NaiveDate::MAX)]).collect();
        cuts.extend([assignment.fact.from, end]);
        cuts.retain(|at| assignment.fact.from <= *at && *at <= end);
        for (from, to) in cuts.iter().zip(cuts.iter().skip(1)) {
            let holds =
                |one: &&&RespiratorConfirmation| one.from <= *from && one.to.is_none_or(|to| *from < to);
            let mut said = of_it.iter().filter(holds).peekable();
            if said.peek().is_some() && said.all(|one| one.fit && one.programme) {
                let assignment = AssignmentId(assignment.id);
                found.push(ConfirmedRespirator {
                    assignment,
                    from: *from,
                    to: *to,
                    worn_share,
                    protection_factor,
                });
            }
        }
    }
    found
}

fn protection_factor(assignment: &Assignment, controls: &[Version<Control>]) -> Option<f64> {
    let id = assignment.respirator_control_id?;
    let control = controls.iter().find(|control| control.id == id.0 && control.stands())?;
    let factor = control.fact.assigned_protection_factor?;
    (control.fact.kind == ControlKind::Respirator && factor >= 1.0).then_some(factor)
}

/// The dose with every confirmed time at what a respirator of its factor leaves; absent where no time that counts is
/// confirmed. `unit` is that of the means, `dose_unit` that of the dose but for its years.
pub fn with_respirator(
    pieces: &[Piece],
    confirmed: &[ConfirmedRespirator],
    worked: &Worked,
    bounds: Bounds,
    (unit, dose_unit): (Unit, Unit),
    days_missing: u32,
) -> Option<AssumedProtectionView> {
    let mut counted = Vec::new();
    let mut credited = 0.0;
    for piece in pieces.iter().filter(|piece| piece.to <= bounds.lag_from) {
        let Some(mean) = piece.grounds.mean else { continue };
        for (from, to, respirator) in parts(piece, confirmed) {
            let days = worked.days(piece.group, from, to, piece.assignment.is_some());
            let left = respirator.map_or(1.0, |one| remaining_share(one.worn_share, one.protection_factor));
            if respirator.is_some() {
                credited += days.full_time_days(piece.shifts_per_week) / DAYS_PER_YEAR;
            }
            let converted = |value: f64| left * unit.convert(value, dose_unit).unwrap_or(value);
            let mean = MeanWithLimits {
                estimate: converted(mean.estimate),
                lower: mean.lower.map(converted),
                upper: mean.upper.map(converted),
            };
            counted.push(Interval { from, to, mean, share_of_full_time: days.weight(piece.shifts_per_week) });
        }
    }
    let Cumulative { value, lower, upper, .. } = cumulative(&counted, None, 0);
    (credited > 0.0).then(|| AssumedProtectionView {
        value: significant(value),
        unit: format!("{}.a", dose_unit.code()),
        lower: lower.map(significant),
        upper: upper.map(significant),
        at_least: days_missing > 0,
        years_missing: significant(f64::from(days_missing) / DAYS_PER_YEAR),
        years_credited: significant(credited),
        assumption: ASSUMED.into(),
    })
}

/// A piece cut where a confirmed time begins or ends.
fn parts<'c>(
    piece: &Piece,
    confirmed: &'c [ConfirmedRespirator],
) -> Vec<(NaiveDate, NaiveDate, Option<&'c ConfirmedRespirator>)> {
    let of_it: Vec<&ConfirmedRespirator> =
        confirmed.iter().filter(|one| Some(one.assignment) == piece.assignment).collect();
    let mut cuts: BTreeSet<NaiveDate> = of_it.iter().flat_map(|one| [one.from, one.to]).collect();
    cuts.extend([piece.from, piece.to]);
    cuts.retain(|at| piece.from <= *at && *at <= piece.to);
    let spans = cuts.iter().zip(cuts.iter().skip(1));
    let holding = |at: NaiveDate| of_it.iter().copied().find(|one| one.from <= at && at < one.to);
    spans.map(|(from, to)| (*from, *to, holding(*from))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::invented::{id, version};
    use serde_json::{Value, json};

    // The conditions are this registry's own; invented dates.

    fn assigned(share: &Value) -> Version<Assignment> {
        let fact = json!({"group_id": id(2), "from": "2020-01-01", "to": "2022-01-01", "shifts_per_week": 5,
            "hours_per_shift": 8, "respirator_control_id": id(9), "respirator_worn_share": share});
        version(7, None, &fact)
    }

    fn hood(factor: &Value) -> Version<Control> {
        let fact =
            json!({"code": "R", "title": "Hood", "kind": "respirator", "assigned_protection_factor": factor});
        version(9, None, &fact)
    }

    fn said(number: u128, from: &str, to: Option<&str>, fit: bool) -> Version<RespiratorConfirmation> {
        let fact = json!({"from": from, "to": to, "fit": fit, "programme": true});
        Version { parent: Some(id(7)), ..version(number, None, &fact) }
    }

    fn spans(
        assignment: &Version<Assignment>,
        control: &Version<Control>,
        said: &[Version<RespiratorConfirmation>],
    ) -> Vec<(String, String)> {
        let found = confirmed(std::slice::from_ref(assignment), std::slice::from_ref(control), said);
        found.into_iter().map(|one| (one.from.to_string(), one.to.to_string())).collect()
    }

    #[test]
    fn only_a_confirmed_time_of_an_assignment_with_share_and_factor_counts() {
        let (share, factor) = (json!(0.5), json!(50.0));
        let year = [said(11, "2020-07-01", Some("2021-07-01"), true)];
        let expected = [("2020-07-01".to_owned(), "2021-07-01".to_owned())];
        assert_eq!(spans(&assigned(&share), &hood(&factor), &year), expected);
        assert_eq!(spans(&assigned(&Value::Null), &hood(&factor), &year), []);
        assert_eq!(spans(&assigned(&share), &hood(&Value::Null), &year), []);
        assert_eq!(spans(&assigned(&share), &hood(&factor), &[]), []);
        assert_eq!(spans(&assigned(&share), &hood(&factor), &[said(11, "2020-07-01", None, false)]), []);
    }

    #[test]
    fn an_open_confirmation_ends_with_the_assignment_and_a_no_takes_its_days_out() {
        let said = [said(11, "2019-01-01", None, true), said(12, "2021-02-01", Some("2021-03-01"), false)];
        let expected = [("2020-01-01", "2021-02-01"), ("2021-03-01", "2022-01-01")]
            .map(|(from, to)| (from.to_owned(), to.to_owned()));
        assert_eq!(spans(&assigned(&json!(1.0)), &hood(&json!(10.0)), &said), expected);
        let void = Version { voided: Some("wrong".into()), ..said[1].clone() };
        let whole = [("2020-01-01".to_owned(), "2022-01-01".to_owned())];
        let cut: Vec<_> =
            confirmed(&[assigned(&json!(1.0))], &[hood(&json!(10.0))], &[said[0].clone(), void])
                .iter()
                .map(|one| (one.from.to_string(), one.to.to_string()))
                .collect();
        assert_eq!(cut, whole);
    }
}
