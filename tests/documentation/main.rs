//! The page on how each number is made says what the code does: formulas, sources and every example in it.
//!
//! `DOSEWARD_WRITE_DOCS=1 cargo test --test documentation` writes the lists of formulas into the page anew; the words around
//! them and the examples are written by hand. The list of the rules that are not evaluated it writes whole.
#![expect(clippy::unwrap_used, reason = "a test that cannot go on stops")]

mod asked;
mod beside;
mod examples;
mod formulas;
mod not_evaluated;
mod page;
mod same_bytes;
