//! The pages as people get them: over HTTP, and in a real browser.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod accounts;
mod browser;
mod correcting;
mod demonstration;
mod duties;
mod entering;
#[path = "../api/harness.rs"]
#[expect(dead_code, reason = "the tests of the API use the rest of it")]
mod harness;
mod laboratory;
mod looking;
mod needs_me;
mod person;
mod plant;
mod reading;
mod rights;
mod samples;
mod scripts;
mod signing_in;
mod walk;
mod works;
