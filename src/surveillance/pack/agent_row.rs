//! Agents and limits as the pack's table writes them.

use crate::model::facts::agent::{AgentState, Verification};
use crate::record;

record! {
    /// One agent in one scope with one set of limits, as the pack writes it.
    pub struct AgentRow {
        /// Number of the row: AG….
        row_id: String,
        /// Code of the agent.
        agent_code: String,
        /// Its name.
        agent: String,
        /// CAS registry numbers, joined by `;`.
        cas_rn: Option<String>,
        /// Where those come from.
        cas_basis: Option<String>,
        /// Molar mass in g/mol.
        molar_mass_g_mol: Option<String>,
        /// Where that comes from.
        molar_mass_basis: Option<String>,
        /// Its form in the air.
        state: AgentState,
        /// As what it is measured.
        measured_as: Option<String>,
        /// Size fraction.
        fraction: Option<String>,
        /// Scope in the words of the pack.
        scope: String,
        /// Eight-hour limit.
        twa_pel: Option<String>,
        /// Short-term limit.
        stel: Option<String>,
        /// Its averaging time in minutes.
        stel_minutes: Option<i64>,
        /// Ceiling or excursion limit.
        ceiling_or_excursion: Option<String>,
        /// Which of these.
        ceiling_kind: Option<String>,
        /// Its averaging time, in words where it has none.
        ceiling_minutes: Option<String>,
        /// Peak allowed above the ceiling.
        peak_above_ceiling: Option<String>,
        /// For how long.
        peak_rule: Option<String>,
        /// Action level.
        action_level: Option<String>,
        /// Unit of all of these, as the pack writes it.
        unit: String,
        /// The limit as printed in a second unit.
        second_unit_value: Option<String>,
        /// That unit.
        second_unit: Option<String>,
        /// Section.
        cfr_section: String,
        /// Paragraphs or table.
        cfr_paragraph: Option<String>,
        /// Cautions of the pack.
        notes: Option<String>,
        /// How far the row was checked against the text.
        verification: Verification,
        /// Which edition of the text was read.
        edition: Option<String>,
    }
}
