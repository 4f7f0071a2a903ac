//! Inputs at the edge of what numbers can be, to every calculation of a running service: each is answered with finite
//! figures in their order, a flag where one is missing, or a refusal that points at the fault.
//!
//! `TEST_DATABASE_URL=postgres://…` runs the service on PostgreSQL. The inputs are invented; what must hold of every
//! answer is arithmetic (a lower limit is not above its estimate, a probability lies from 0 to 1) or the contract.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod answered;
mod bodies;
mod consistent;
mod every_field;
#[path = "../api/harness.rs"]
#[expect(dead_code, reason = "made for the tests of the API, which change things too")]
mod harness;
mod impossible;
mod lists;
mod places;
mod relations;
mod scale;
