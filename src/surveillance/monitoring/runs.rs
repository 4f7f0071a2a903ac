//! Results in a row that meet a way down, and rounds that fill the quarters of two years.

use crate::surveillance::calendar::{WorkingDays, add_days, add_months};
use crate::surveillance::monitoring::interval::Interval;
use crate::surveillance::monitoring::standard::{Known, WayDown};
use crate::surveillance::round::Reading;
use chrono::NaiveDate;

/// How many results in a row meet a way down, for one average, and the date of the last that was far enough apart.
type Run = (usize, Option<NaiveDate>);

/// The runs of a way down: of the 8-hour and of the short-term average.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Runs([Run; 2]);

impl Runs {
    /// Counts a visit; gives whether it confirms the way down.
    pub(super) fn count(
        &mut self,
        way: &WayDown,
        (date, own): (NaiveDate, Known<'_>),
        working_days: &WorkingDays,
    ) -> bool {
        let limbs = [(way.condition.eight_hour, own.eight_hour), (way.condition.short_term, own.short_term)];
        let mut counted = false;
        for ((interval, round), (results, last)) in limbs.into_iter().zip(&mut self.0) {
            let Some(bound) = interval.and_then(Interval::upper_bound) else { continue };
            match round.map_or(Reading::Silent, |round| round.reading(bound)) {
                Reading::Reaches | Reading::CannotTell => (*results, *last) = (0, None),
                Reading::Below { may_lower: true }
                    if last.is_none_or(|last| way.earliest(last, working_days) <= date) =>
                {
                    (*results, *last) = (*results + 1, Some(date));
                    counted = true;
                }
                Reading::Below { .. } | Reading::Silent => {}
            }
        }
        let asked = limbs.iter().zip(&self.0).filter(|((interval, _), _)| interval.is_some());
        counted && asked.into_iter().all(|(_, (results, _))| *results >= way.results)
    }

    /// Whether only short-term results are wanting.
    pub(super) fn waits_for_short_term(&self, way: &WayDown, known: Known<'_>) -> bool {
        way.condition.short_term.is_some() && known.short_term.is_none() && self.0[0].0 >= way.results
    }

    /// The date of the last 8-hour result that counts.
    pub(super) fn last_eight_hour(&self) -> Option<NaiveDate> {
        self.0[0].1
    }
}

/// Whether there were two rounds, seven or more days apart, in every quarter of two years that end with the newest. The
/// text does not say where a quarter begins: here each runs three months, the first from a round.
pub(super) fn two_a_quarter(made: &[NaiveDate]) -> bool {
    let quarter = |start: NaiveDate, number: u32| {
        let (from, to) = (add_months(start, 3 * number), add_months(start, 3 * number + 3));
        let mut inside = made.iter().filter(|date| from <= **date && **date < to);
        let first = inside.next();
        first.is_some_and(|first| inside.any(|date| add_days(*first, 7) <= *date))
    };
    made.iter().any(|start| (0..8).all(|number| quarter(*start, number)))
}
