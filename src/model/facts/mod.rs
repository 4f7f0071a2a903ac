//! The facts that people and the registry record, as they are sent and kept.

pub mod account;
pub mod agent;
pub mod clause;
pub mod control;
pub mod duty;
pub mod group;
pub mod hand_over;
pub mod laboratory;
pub mod letter;
pub mod original;
pub mod retention;
pub mod rule_set;
pub mod rules;
pub mod sampling;
pub mod site;
pub mod standing_move;
pub mod worker;
