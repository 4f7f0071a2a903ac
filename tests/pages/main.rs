//! The pages as people get them: over HTTP, and in a real browser.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod accounts;
mod browser;
mod demonstration;
mod duties;
#[path = "../api/harness.rs"]
#[expect(dead_code, reason = "the tests of the API use the rest of it")]
mod harness;
mod needs_me;
mod person;
mod reading;
mod rights;
mod signing_in;
mod walk;
mod works;
