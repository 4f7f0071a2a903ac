//! How often the one-sided limits of groups with non-detects hold: a simulation, run by hand.
//!
//! `cargo test --release --test coverage -- --ignored --nocapture` prints the tables of
//! `docs/coverage-of-limits-with-bounds.md`.

#[cfg(test)]
mod draws;
#[cfg(test)]
mod signed_root;
#[cfg(test)]
mod study;
