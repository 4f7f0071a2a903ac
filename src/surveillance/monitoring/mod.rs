//! What the standards ask of a group's monitoring: how often, until when, what a change asks for, and who is told.
//!
//! [`standard`] reads the rows of the pack for one agent and body of law, [`track`] follows the rounds through them, and the
//! other files each make one kind of duty of what it shows; [`owed`] puts them together. [`not_evaluated`] lists the rows
//! that the engine does not read, each with its reason.

pub mod additional;
pub mod control_duties;
pub mod initial;
pub mod interval;
pub mod not_evaluated;
pub mod notice;
pub mod occasion;
pub mod owed;
pub mod periodic;
pub mod presumption;
mod runs;
pub mod standard;
pub mod track;
