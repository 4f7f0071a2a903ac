//! What a hygienist declares about agents and limits, and rows of the built-in pack.

use crate::model::identifiers::LimitId;
use crate::model::text::{Code, Line, Text};
use crate::record;
use serde_json::Value;

record! {
    /// Which limit rows a total is compared with.
    pub struct ComparedWith {
        /// The limits.
        limit_ids: Vec<LimitId>,
        /// Why.
        reason: Text,
    }
}

record! {
    /// Agents declared to act alike.
    pub struct MixtureSet {
        /// Its name.
        name: Line,
        /// The agents.
        agent_codes: Vec<Code>,
        /// Why they act alike.
        reason: Text,
    }
}

record! {
    /// A row of the built-in pack: a clause, a protection factor, a rule.
    pub struct PackRow {
        /// The row's id in its file (`ST001`, `MT010` …).
        row_id: Code,
        /// The file it comes from.
        file: Code,
        /// The row itself, column by column.
        columns: Value,
    }
}
