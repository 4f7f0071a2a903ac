//! The same requests again: at another time, on another engine, after everything stored was thrown away.
//!
//! `TEST_DATABASE_URL=postgres://…` runs the same tests on PostgreSQL, and compares the two engines.

#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it should be")]
#![allow(
    dead_code,
    clippy::allow_attributes,
    reason = "files of the histories are shared: not every target asks for all of them"
)]

mod backup;
mod corrections;
mod day_by_day;
mod draws;
mod engines;
mod marks;
mod plant;
mod questions;
mod reach;
mod rebuild;
mod script;
mod stage;
