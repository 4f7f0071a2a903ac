//! Who should hear next of a duty that is late. The steps are this registry's own choice: no text asks for them.

use crate::model::facts::account::Role;
use crate::model::facts::duty::{DutyKind, DutyStatus};
use crate::record;
use chrono::NaiveDate;
use std::cmp::Reverse;

/// After so many days a late duty goes to the second in line: a week, as long as a rota takes to come round.
pub const SECOND_AFTER_DAYS: i64 = 7;
/// After so many days to the last in line: a month, as often as all sites are looked at together.
pub const LAST_AFTER_DAYS: i64 = 30;

record! {
    /// How late a duty is, and who should hear of it next.
    pub struct Escalation {
        /// Days since it was due.
        days_overdue: i64,
        /// Which step, from 1.
        step: i64,
        /// Who should hear of it: that role at the duty's sites.
        to: Role,
    }
}

/// Who is in line for a kind of duty: first whoever does it, last whoever answers for all sites.
const fn in_line(kind: DutyKind) -> &'static [Role] {
    match kind {
        DutyKind::OfferExamination | DutyKind::PeriodicExamination | DutyKind::Audiogram => {
            &[Role::Physician, Role::Corporate]
        }
        DutyKind::NotifyResults | DutyKind::AnswerRecordRequest => {
            &[Role::Coordinator, Role::Hygienist, Role::Corporate]
        }
        DutyKind::MonitorAgain | DutyKind::WrittenPlan | DutyKind::CheckVentilation => {
            &[Role::Hygienist, Role::Corporate]
        }
    }
}

/// Who does what a kind of duty asks for: the first in line.
pub const fn doer(kind: DutyKind) -> Role {
    in_line(kind)[0]
}

/// The step at which a late duty is; `None` where it is not late.
pub fn escalation(
    kind: DutyKind,
    status: DutyStatus,
    due_on: NaiveDate,
    today: NaiveDate,
) -> Option<Escalation> {
    let days_overdue = (today - due_on).num_days();
    if status != DutyStatus::Overdue || days_overdue <= 0 {
        return None;
    }
    let line = in_line(kind);
    let last = line.len() - 1;
    let place = if days_overdue <= SECOND_AFTER_DAYS {
        0
    } else if days_overdue <= LAST_AFTER_DAYS {
        last.min(1)
    } else {
        last
    };
    let step = i64::try_from(place + 1).unwrap_or(i64::MAX);
    Some(Escalation { days_overdue, step, to: line[place] })
}

/// The order in which late duties want attention: those that went furthest first, then the longest overdue, then what is
/// due next; what is done or withdrawn last.
pub fn urgency(
    status: DutyStatus,
    due_on: NaiveDate,
    escalation: Option<&Escalation>,
) -> (Reverse<i64>, u8, NaiveDate) {
    let open = match status {
        DutyStatus::Overdue => 0,
        DutyStatus::Open => 1,
        DutyStatus::Met | DutyStatus::Declined | DutyStatus::Waived | DutyStatus::Withdrawn => 2,
    };
    (Reverse(escalation.map_or(0, |one| one.step)), open, due_on)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    // This registry's own steps.
    #[test]
    fn a_late_duty_goes_up_its_line_by_the_days() {
        let at = |kind, due: &str| {
            let found = escalation(kind, DutyStatus::Overdue, date(due), date("2026-03-31"));
            found.map(|one| (one.days_overdue, one.step, one.to))
        };
        assert_eq!(at(DutyKind::NotifyResults, "2026-03-30"), Some((1, 1, Role::Coordinator)));
        assert_eq!(at(DutyKind::NotifyResults, "2026-03-24"), Some((7, 1, Role::Coordinator)));
        assert_eq!(at(DutyKind::NotifyResults, "2026-03-23"), Some((8, 2, Role::Hygienist)));
        assert_eq!(at(DutyKind::NotifyResults, "2026-03-01"), Some((30, 2, Role::Hygienist)));
        assert_eq!(at(DutyKind::NotifyResults, "2026-02-28"), Some((31, 3, Role::Corporate)));
        assert_eq!(at(DutyKind::OfferExamination, "2026-03-30"), Some((1, 1, Role::Physician)));
        assert_eq!(at(DutyKind::OfferExamination, "2026-01-01"), Some((89, 2, Role::Corporate)));
        assert_eq!(at(DutyKind::MonitorAgain, "2026-03-20"), Some((11, 2, Role::Corporate)));
        assert_eq!(at(DutyKind::MonitorAgain, "2026-03-31"), None);
    }

    #[test]
    fn what_is_not_overdue_is_not_escalated() {
        let open =
            escalation(DutyKind::NotifyResults, DutyStatus::Waived, date("2026-01-01"), date("2026-03-31"));
        assert_eq!(open, None);
    }
}
