//! The rules of the house: floors, names, sizes, examples, and two schemas that agree.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod doctests;
mod floors;
mod migrations;
mod names;
mod source;
