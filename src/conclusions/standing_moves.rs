//! The moves of a group's standing as they ought to be written: what follows from the rounds, and how that differs from
//! what was written before.
//!
//! What is written is never changed. Facts that take a move back (a void result, a round entered late that comes before it)
//! are answered with a new move that names those it takes back.

use crate::conclusions::profile::GroupConclusion;
use crate::model::facts::standing_move::{Averaging, MoveCause, StandingMove, StandingRound, StandingValue};
use crate::model::identifiers::{EventId, GroupId, StandingMoveId};
use crate::model::text::Code;
use crate::model::version::Version;
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// A move that follows from the rounds.
#[derive(Debug, Clone, PartialEq)]
pub struct OughtMove {
    /// Where the group stands from then on.
    pub value: StandingValue,
    /// Since when.
    pub since: Option<NaiveDate>,
    /// The round.
    pub round: StandingRound,
    /// The clause of a step down, or the source of another authority's level that was reached.
    pub clause: Option<String>,
}

impl OughtMove {
    /// Whether a written move says the same. What a round rests on may change without moving anything.
    ///
    /// Of a rise the source of the level was once not written.
    fn is(&self, written: &StandingMove) -> bool {
        self.value == written.value
            && self.since == written.since
            && Some(&self.round) == written.round.as_ref()
            && (self.clause == written.clause
                || written.clause.is_none() && self.value > written.value_before)
    }
}

/// Whose limit, and by which averages.
pub type Limb = (Code, Averaging);

/// The moves by one limb, in the order of the rounds.
#[derive(Debug, Clone, PartialEq)]
pub struct OughtLimb {
    /// Whose limit, and by which averages.
    pub limb: Limb,
    /// Over how many minutes, where that is stated.
    pub averaging_minutes: Option<i64>,
    /// The moves.
    pub moves: Vec<OughtMove>,
}

/// Every move of a group's standing for an agent, by every limb.
#[derive(Debug, Clone, PartialEq)]
pub struct OughtMoves {
    /// The group.
    pub group: GroupId,
    /// The agent.
    pub agent_code: Code,
    /// The limbs, in the order in which they are shown.
    pub limbs: Vec<OughtLimb>,
    /// Journal positions behind each event.
    pub basis: BTreeMap<EventId, Vec<i64>>,
    /// The day on which the registry learned of it.
    pub learned_on: NaiveDate,
}

/// The limbs of a group's conclusion.
pub fn limbs(conclusion: &GroupConclusion) -> Vec<OughtLimb> {
    let moved = |value, since, (event_id, date): (EventId, NaiveDate), clause: &Option<String>| OughtMove {
        value,
        since,
        round: StandingRound { event_id, date },
        clause: clause.clone(),
    };
    let eight_hour = conclusion.standings.iter().map(|standing| OughtLimb {
        limb: (standing.authority.clone(), Averaging::EightHour),
        averaging_minutes: None,
        moves: standing
            .moves
            .iter()
            .enumerate()
            .map(|(place, one)| {
                moved(one.level.into(), one.since, one.round, &standing.clause_of(place).cloned())
            })
            .collect(),
    });
    let short_term = conclusion.short_term.iter().map(|standing| OughtLimb {
        limb: (standing.authority.clone(), standing.averaging),
        averaging_minutes: standing.averaging_minutes,
        moves: standing
            .moves
            .iter()
            .map(|one| moved(one.level.into(), one.since, one.round, &one.clause))
            .collect(),
    });
    eight_hour.chain(short_term).collect()
}

/// What was written of a limb: the moves that nothing took back, and where the group stood at last.
#[derive(Debug, Default)]
struct Written<'w> {
    standing: Vec<(StandingMoveId, &'w StandingMove)>,
    last: Option<&'w StandingMove>,
}

fn by_limb(written: &[Version<StandingMove>]) -> BTreeMap<Limb, Written<'_>> {
    let mut limbs: BTreeMap<Limb, Written<'_>> = BTreeMap::new();
    for version in written {
        let fact = &version.fact;
        let limb = limbs.entry((fact.authority.clone(), fact.averaging)).or_default();
        limb.standing.retain(|(id, _)| !fact.takes_back.contains(id));
        if fact.cause == MoveCause::Round {
            limb.standing.push((StandingMoveId(version.id), fact));
        }
        limb.last = Some(fact);
    }
    limbs
}

/// The moves that are to be written so that what stands written is what ought to; `written` in the order in which it was.
pub fn difference(ought: &OughtMoves, written: &[Version<StandingMove>]) -> Vec<StandingMove> {
    let mut known = by_limb(written);
    let mut moves = Vec::new();
    for limb in &ought.limbs {
        let before = known.remove(&limb.limb).unwrap_or_default();
        moves.extend(of_limb(ought, limb, &before));
    }
    // An authority that has no such limit any more: nothing stands by it.
    for (limb, before) in known {
        let nothing = OughtLimb { limb, averaging_minutes: None, moves: Vec::new() };
        moves.extend(of_limb(ought, &nothing, &before));
    }
    moves
}

fn of_limb(ought: &OughtMoves, limb: &OughtLimb, before: &Written<'_>) -> Vec<StandingMove> {
    let same =
        limb.moves.iter().zip(&before.standing).take_while(|(one, (_, written))| one.is(written)).count();
    let (back, new) = (&before.standing[same..], &limb.moves[same..]);
    let behind = |event: EventId| ought.basis.get(&event).cloned().unwrap_or_default();
    let mut value_before = before.last.map_or(StandingValue::Unknown, |last| last.value);
    let mut takes_back: Vec<StandingMoveId> = back.iter().map(|(id, _)| *id).collect();
    let blank = StandingMove {
        group_id: ought.group,
        agent_code: ought.agent_code.clone(),
        authority: limb.limb.0.clone(),
        averaging: limb.limb.1,
        averaging_minutes: limb.averaging_minutes,
        value_before,
        value: StandingValue::Unknown,
        since: None,
        learned_on: ought.learned_on,
        cause: MoveCause::TakenBack,
        takes_back: takes_back.clone(),
        round: None,
        basis: Vec::new(),
        clause: None,
    };
    if new.is_empty() {
        if back.is_empty() {
            return Vec::new();
        }
        let mut basis: Vec<i64> = back
            .iter()
            .filter_map(|(_, gone)| gone.round.as_ref())
            .flat_map(|round| behind(round.event_id))
            .collect();
        basis.sort_unstable();
        basis.dedup();
        let remains = same.checked_sub(1).map(|last| &limb.moves[last]);
        return vec![StandingMove {
            value: remains.map_or(StandingValue::Unknown, |last| last.value),
            since: remains.and_then(|last| last.since),
            round: remains.map(|last| last.round.clone()),
            clause: remains.and_then(|last| last.clause.clone()),
            basis,
            ..blank
        }];
    }
    let written = |one: &OughtMove| StandingMove {
        value_before: std::mem::replace(&mut value_before, one.value),
        value: one.value,
        since: one.since,
        cause: MoveCause::Round,
        takes_back: std::mem::take(&mut takes_back),
        round: Some(one.round.clone()),
        basis: behind(one.round.event_id),
        clause: one.clause.clone(),
        ..blank.clone()
    };
    new.iter().map(written).collect()
}
