//! The rules about monitoring: every row that the engine evaluates by its cases, and whole histories against a slow reference.
//!
//! `cases.csv` has for each row a round inside, one exactly at its level and one just below it; the clause of the row is the
//! source of what is expected. Dates are counted by hand in calendar months from 5 January 2026, a Monday.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod cases;
mod changes;
mod controls;
mod duties;
mod group;
mod made;
mod reference;
mod short_term;
