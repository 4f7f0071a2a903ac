//! Day by day: what is a gap, what is missing from the dose.

use crate::conclusions::history::basis::GapKind;
use crate::conclusions::history::evidence::HistoryEvidence;
use crate::conclusions::history::piece::{Bounds, Piece};
use crate::conclusions::history::view::Gap;
use chrono::NaiveDate;

/// What the days of a history lack.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Timeline {
    /// Times of which nothing is known, in order.
    pub gaps: Vec<Gap>,
    /// Days before the lag whose exposure is missing from the dose, wholly or in one of the groups worked in.
    pub days_missing: u32,
}

#[derive(Debug, Clone, Copy, Default)]
struct DayState {
    mean: bool,
    without_mean: bool,
    gap: Option<GapKind>,
}

/// Goes through the days from the first to the last.
///
/// A date is a gap only when no assignment of it has a mean; a posterior that is still awaited is no gap, and its days
/// are missing from the dose.
pub fn timeline(evidence: &HistoryEvidence<'_>, pieces: &[Piece], bounds: Bounds) -> Timeline {
    let mut timeline = Timeline::default();
    // Pieces are sorted by their first day; those that are over are dropped.
    let mut waiting = pieces.iter().peekable();
    let mut active: Vec<&Piece> = Vec::new();
    for date in bounds.start.iter_days().take_while(|date| *date < bounds.end) {
        active.retain(|piece| date < piece.to);
        while let Some(piece) = waiting.next_if(|piece| piece.from <= date) {
            active.push(piece);
        }
        let mut state = DayState::default();
        for piece in &active {
            state.mean |= piece.grounds.gap.is_none();
            state.without_mean |= piece.grounds.mean.is_none();
            // Of two kinds the first of the table is named.
            state.gap = [state.gap, piece.grounds.gap].into_iter().flatten().min();
        }
        let gap =
            if state.mean { None } else { Some(state.gap.unwrap_or_else(|| unassigned(evidence, date))) };
        let missing = state.without_mean || gap.is_some_and(|kind| kind != GapKind::NotEmployedHere);
        timeline.days_missing += u32::from(missing && date < bounds.lag_from);
        if let Some(kind) = gap {
            timeline.note(date, kind);
        }
    }
    timeline
}

/// Why a date without any assignment is a gap.
fn unassigned(evidence: &HistoryEvidence<'_>, date: NaiveDate) -> GapKind {
    let employed = evidence.employments.iter().any(|employment| {
        employment.stands() && employment.fact.from <= date && employment.fact.to.is_none_or(|to| date < to)
    });
    if employed { GapKind::NoAssignment } else { GapKind::NotEmployedHere }
}

impl Timeline {
    fn note(&mut self, date: NaiveDate, kind: GapKind) {
        let next = date.succ_opt().unwrap_or(date);
        match self.gaps.last_mut() {
            Some(last) if last.kind == kind && last.to == date => last.to = next,
            _ => self.gaps.push(Gap { from: date, to: next, kind }),
        }
    }
}
