//! One time that a group is to be sampled, and when the next one is due.

use crate::model::identifiers::EventId;
use crate::surveillance::calendar::add_months;
use chrono::NaiveDate;

/// A round, as others refer to it.
pub type RoundRef = (EventId, NaiveDate);

/// One time that a group is to be sampled again: from the round that asks for it to the round that answers it.
#[derive(Debug, Clone, PartialEq)]
pub struct Occasion {
    /// Row of the pack.
    pub rule_id: String,
    /// The clause as it is cited.
    pub clause: String,
    /// The round it follows.
    pub follows: RoundRef,
    /// When it is due.
    pub due_on: NaiveDate,
    /// The round that answered it; `None`: it is open.
    pub met_by: Option<RoundRef>,
    /// Whether a round since then cannot tell.
    pub cannot_tell: bool,
    /// Whether a round since then has a result that is flagged or not accepted yet.
    pub not_accepted: bool,
}

/// The dates of one interval, from the round that began it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Schedule {
    /// Months between two dates.
    pub months: u32,
    /// Whether a late sample moves the next date.
    from_newest: bool,
    start: NaiveDate,
    /// The date after the start that is still to be met, counted from 1.
    pending: u32,
}

impl Schedule {
    /// The interval that a round begins.
    pub fn new(start: NaiveDate, months: u32, from_newest: bool) -> Self {
        Self { months, from_newest, start, pending: 1 }
    }

    fn date(&self, number: u32) -> NaiveDate {
        add_months(self.start, self.months * number)
    }

    /// The first date that is due.
    pub fn first(&self) -> NaiveDate {
        self.date(1)
    }

    /// A round was made: when the next one is due.
    ///
    /// "Within N months of the most recent" runs from the round. "At least every N months" keeps its dates: a late round
    /// meets the date that it missed and moves nothing, and one far ahead of its date must not leave a gap longer than N
    /// months behind it.
    pub fn next_after(&mut self, round: NaiveDate) -> NaiveDate {
        let from_round = add_months(round, self.months);
        if self.from_newest {
            return from_round;
        }
        if round > self.date(self.pending) {
            while self.date(self.pending) <= round {
                self.pending += 1;
            }
        } else if round > self.date(self.pending - 1) {
            self.pending += 1;
        }
        self.date(self.pending).min(from_round)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn run(from_newest: bool, start: &str, rounds: &[&str]) -> Vec<String> {
        let mut schedule = Schedule::new(date(start), 6, from_newest);
        let mut due = vec![schedule.first().to_string()];
        due.extend(rounds.iter().map(|round| schedule.next_after(date(round)).to_string()));
        due
    }

    // Two kinds of wording: "at least every" (29 CFR 1910.1026(d)(2)(iii)) and "within six months of the most recent"
    // (1910.1053(d)(3)(iii)); dates by counting calendar months.

    #[test]
    fn a_late_round_moves_only_what_runs_from_the_newest() {
        let rounds = ["2026-09-10", "2027-01-05"];
        assert_eq!(run(false, "2026-01-05", &rounds), ["2026-07-05", "2027-01-05", "2027-07-05"]);
        assert_eq!(run(true, "2026-01-05", &rounds), ["2026-07-05", "2027-03-10", "2027-07-05"]);
    }

    #[test]
    fn an_early_round_leaves_no_gap_longer_than_the_interval() {
        assert_eq!(run(false, "2026-01-05", &["2026-03-10"]), ["2026-07-05", "2026-09-10"]);
        // Two within one interval meet one date.
        assert_eq!(run(false, "2026-01-05", &["2026-03-10", "2026-03-20"])[2], "2026-09-20");
        // Just before the date, at it, and a day after it.
        assert_eq!(run(false, "2026-01-05", &["2026-07-04"])[1], "2027-01-04");
        assert_eq!(run(false, "2026-01-05", &["2026-07-05"])[1], "2027-01-05");
        assert_eq!(run(false, "2026-01-05", &["2026-07-06"])[1], "2027-01-05");
    }

    #[test]
    fn dates_that_were_missed_altogether_are_not_asked_for_again() {
        assert_eq!(run(false, "2026-01-05", &["2027-03-01"])[1], "2027-07-05");
    }

    #[test]
    fn month_ends_and_leap_days_are_counted_from_the_start() {
        // 31 August and six months: the last of February; the next one is 31 August again.
        assert_eq!(
            run(false, "2027-08-31", &["2028-02-29", "2028-08-31"]),
            ["2028-02-29", "2028-08-29", "2029-02-28"]
        );
        assert_eq!(run(true, "2028-02-29", &["2028-08-29"]), ["2028-08-29", "2029-02-28"]);
    }
}
