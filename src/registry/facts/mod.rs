//! The checks of each kind of fact against everything it refers to.

pub mod account;
pub mod agent;
pub mod alias;
pub mod clause;
pub mod clause_levels;
pub mod control;
pub mod group;
pub mod hand_over;
pub mod held_rows;
pub mod laboratory;
pub mod laboratory_csv;
pub(crate) mod laboratory_row;
pub mod letters;
pub mod medical;
pub mod readings;
pub mod record_request;
pub mod refer;
pub mod results;
pub mod runs;
pub(crate) mod sample_checks;
pub mod sampling;
pub mod site;
pub mod worker;
