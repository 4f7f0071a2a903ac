//! The law's rules as pure functions over facts: no clock, no database, no agent known by name.
//!
//! What a statute asks stands in the rows of the [`pack`]; the code here only knows how such rows are read: which dates
//! were worked ([`work_days`], [`schedule`], [`calendar`]), what a group's rounds mean ([`round`], [`step_down`], [`standing`]), how
//! days are counted ([`day_count`]), which clauses are met ([`clause`], [`triggers`]), what the standards ask of a group's monitoring
//! ([`monitoring`], [`short_term`]) and which duties ought to stand ([`duties`]).

pub mod calendar;
pub mod clause;
pub mod day_count;
pub mod duties;
pub mod level;
pub mod monitoring;
pub mod pack;
pub mod round;
pub mod schedule;
pub mod short_term;
pub mod standing;
pub mod step_down;
pub mod triggers;
pub mod work_days;
