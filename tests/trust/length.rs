//! How long the tests run, and from which seed: short in plain `cargo test`, long with `DOSEWARD_TRUST=long`;
//! `DOSEWARD_TRUST_SEED` sets the seed.

/// Settings of the tests that the service must not see: it refuses settings that it does not know.
pub(crate) const OURS: [&str; 2] = ["DOSEWARD_TRUST", "DOSEWARD_TRUST_SEED"];

/// The short number, or the long one.
pub(crate) fn of(short: usize, long: usize) -> usize {
    if std::env::var("DOSEWARD_TRUST").is_ok_and(|length| length == "long") { long } else { short }
}

/// The seed of a test, which is printed: the one that was set, or the test's own.
pub(crate) fn seed(test: &str, own: u64) -> u64 {
    let seed = std::env::var("DOSEWARD_TRUST_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(own);
    println!("{test}: DOSEWARD_TRUST_SEED={seed}");
    seed
}
