//! The law's rules as pure functions over facts: no clock, no database, no agent known by name.
//!
//! What a statute asks stands in the rows of the [`pack`]; the code here only knows how such rows are read: which dates
//! were worked ([`work_days`], [`schedule`], [`calendar`]), what a group's rounds mean ([`round`], [`step_down`],
//! [`standing`]), how days are counted ([`day_count`], [`condition_days`], [`history_clause`]), which clauses are met
//! ([`clause`], [`triggers`]; for everything known of a worker, the [`case`] with who was at a release ([`presence`]), the
//! [`finding`]s of an [`evaluation`]) and which duties ought to stand ([`programme`], [`duties`]); how likely a clause is to
//! be met in the year to come ([`chance`]), and what is not evaluated ([`not_evaluated`]); and what the standards ask of a group's
//! monitoring ([`monitoring`], [`short_term`]).

pub mod calendar;
pub mod case;
pub mod chance;
pub mod clause;
pub mod condition_days;
pub mod day_count;
pub mod duties;
pub mod evaluation;
pub mod finding;
pub mod history_clause;
pub mod level;
pub mod monitoring;
pub mod not_evaluated;
pub mod pack;
pub mod presence;
pub mod programme;
pub mod retention;
pub mod round;
pub mod schedule;
pub mod short_term;
pub mod standing;
pub mod step_down;
pub mod triggers;
pub mod work_days;
