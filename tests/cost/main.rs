//! What one fact costs in a large registry: counted in conclusions, marks and rows, never by the clock.
//!
//! A target of its own, with one test: the rows that a database gave back are counted for the whole process.

#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it should be")]

mod many;
mod one_report;
#[path = "../histories/stage.rs"]
#[expect(dead_code, reason = "histories take more of it")]
mod stage;
