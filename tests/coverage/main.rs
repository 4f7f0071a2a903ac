//! How often limits and intervals hold where there are non-detects: simulations, run by hand.
//!
//! `cargo test --release --test coverage -- --ignored --nocapture` prints the tables of
//! `docs/coverage-of-limits-with-bounds.md`, and the shares that `docs/how-each-number-is-made.md` gives of controls without
//! effect.

#[cfg(test)]
mod draws;
#[cfg(test)]
mod no_effect;
#[cfg(test)]
mod signed_root;
#[cfg(test)]
mod study;
