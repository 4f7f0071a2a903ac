//! Moves of a group's standing, as the registry writes them down when they happen.

use crate::model::identifiers::{EventId, GroupId, StandingMoveId};
use crate::model::text::Code;
use crate::{record, words};
use chrono::NaiveDate;

words! {
    /// Over which time the averages are taken that a standing is about.
    pub enum Averaging {
        /// Eight hours.
        EightHour = "eight_hour",
        /// A short-term limit.
        Stel = "stel",
        /// An excursion limit.
        Excursion = "excursion",
        /// A ceiling.
        Ceiling = "ceiling",
    }
}

words! {
    /// Where a group stands, by whatever averages.
    pub enum StandingValue {
        /// No round has told yet.
        Unknown = "unknown",
        /// At or below a limit that is exceeded only above it (where there is no action level).
        AtOrBelowLimit = "at_or_below_limit",
        /// Below a short-term limit that the standard reads at or above it.
        BelowLimit = "below_limit",
        /// Below the action level.
        BelowActionLevel = "below_action_level",
        /// At or above the action level.
        AtOrAboveActionLevel = "at_or_above_action_level",
        /// At or above a short-term limit that the standard reads so.
        AtOrAboveLimit = "at_or_above_limit",
        /// Above the limit.
        AboveLimit = "above_limit",
    }
}

words! {
    /// Why a standing moved.
    pub enum MoveCause {
        /// A round moved it.
        Round = "round",
        /// Later facts took earlier moves back, and no other round moved it instead.
        TakenBack = "taken_back",
    }
}

record! {
    /// The round that set a standing.
    pub struct StandingRound {
        /// The sampling event.
        event_id: EventId,
        /// Its latest shift date.
        date: NaiveDate,
    }
}

record! {
    /// A move of a group's standing.
    pub struct StandingMove {
        /// The group.
        group_id: GroupId,
        /// The agent.
        agent_code: Code,
        /// Under whose limit.
        authority: Code,
        /// By which averages.
        averaging: Averaging,
        /// Over how many minutes a short-term limit is averaged, where that is stated.
        averaging_minutes: Option<i64>,
        /// Where the group stood before, as it was last written.
        value_before: StandingValue,
        /// Where it stands from now on.
        value: StandingValue,
        /// From when, which may lie back in time; absent: from the beginning, or nothing stands.
        since: Option<NaiveDate>,
        /// The day on which the registry learned of it.
        learned_on: NaiveDate,
        /// Why it moved.
        cause: MoveCause,
        /// Earlier moves that later facts took back.
        takes_back: Vec<StandingMoveId>,
        /// The round that set the standing; absent where none does any more.
        round: Option<StandingRound>,
        /// Journal positions of the samples and results of the round that caused it; of a taking back those of the rounds
        /// that no longer count, as they now are.
        basis: Vec<i64>,
        /// The clause of a step down, or the source of another authority's level that was reached.
        clause: Option<String>,
    }
}
