//! The cells of the study, and its tables.

use crate::draws::Draws;
use crate::signed_root::signed_root;
use doseward::hygiene::censored::{self, LogResult};
use doseward::hygiene::distributions::normal_quantile;
use doseward::hygiene::limits_with_bounds::LimitsWithBounds;
use std::fmt::Write as _;

/// Draws of each cell.
const DRAWS: u32 = 10_000;
/// Sizes of groups, geometric standard deviations, and what share lies below the reporting limits, which take turns; none
/// below shows what the limits are without bounds.
const SIZES: [usize; 4] = [6, 10, 20, 40];
const GSDS: [f64; 3] = [1.5, 2.5, 4.0];
const BELOW: [&[f64]; 5] = [&[0.2], &[0.5], &[0.7], &[0.2, 0.5, 0.7], &[0.0]];
/// The true share of days above the level of the exceedance limits.
const EXCEEDANCE: f64 = 0.1;

/// The limits under study with their confidence.
const LIMITS: [(&str, f64); 6] = [
    ("P95 upper 70", 0.70),
    ("P95 upper 95", 0.95),
    ("mean upper 95", 0.95),
    ("mean lower 95", 0.95),
    ("exceedance upper 95", 0.95),
    ("exceedance lower 95", 0.95),
];

/// How often each limit held.
#[derive(Default)]
struct Cell {
    kept: u32,
    dropped: u32,
    detected: usize,
    /// By the posterior, and by the signed root.
    held: [[u32; 6]; 2],
}

impl Cell {
    /// The geometric mean is 1: every limit scales with the unit.
    fn draw(&mut self, draws: &mut Draws, n: usize, sigma: f64, shares: &[f64]) {
        let ends: Vec<f64> = shares.iter().map(|share| sigma * normal_quantile(*share)).collect();
        let results: Vec<LogResult> = (0..n)
            .map(|at| {
                let (value, end) = (sigma * draws.normal(), ends[at % ends.len()]);
                if value < end { LogResult::within(f64::NEG_INFINITY, end) } else { LogResult::Exact(value) }
            })
            .collect();
        let (Some(limits), Some(fitted)) = (LimitsWithBounds::of(&results), censored::fit(&results)) else {
            self.dropped += 1;
            return;
        };
        self.kept += 1;
        self.detected += results.iter().filter(|result| matches!(result, LogResult::Exact(_))).count();
        let (z95, level) = (normal_quantile(0.95), sigma * normal_quantile(1.0 - EXCEEDANCE));
        let (percentile, mean) = ((z95 * sigma).exp(), (0.5 * sigma * sigma).exp());
        // A limit beyond a double is given as none: nothing lies beyond it.
        let above = |limit: Option<f64>, truth: f64| limit.is_none_or(|limit| limit >= truth);
        let below = |limit: Option<f64>, truth: f64| limit.is_none_or(|limit| limit <= truth);
        let by_posterior = [
            above(limits.percentile_limit(0.95, 0.70), percentile),
            above(limits.percentile_limit(0.95, 0.95), percentile),
            above(limits.mean_upper_limit(0.95), mean),
            below(limits.mean_lower_limit(0.95), mean),
            limits.exceedance_limit(level.exp(), 0.95) >= EXCEEDANCE,
            limits.exceedance_limit(level.exp(), 0.05) <= EXCEEDANCE,
        ];
        let of_percentile = signed_root(&results, &fitted, |s| z95 * (sigma - s));
        let of_mean = signed_root(&results, &fitted, |s| 0.5 * (sigma * sigma - s * s));
        let of_exceedance = signed_root(&results, &fitted, |s| level - s * normal_quantile(1.0 - EXCEEDANCE));
        let by_root = [
            of_percentile >= -normal_quantile(0.70),
            of_percentile >= -z95,
            of_mean >= -z95,
            of_mean <= z95,
            of_exceedance >= -z95,
            of_exceedance <= z95,
        ];
        for (held, by) in self.held.iter_mut().zip([by_posterior, by_root]) {
            for (held, holds) in held.iter_mut().zip(by) {
                *held += u32::from(holds);
            }
        }
    }

    fn of(n: usize, gsd: f64, shares: &[f64], seed: u64) -> Self {
        let (mut cell, mut draws) = (Self::default(), Draws::seeded(seed));
        for _ in 0..DRAWS {
            cell.draw(&mut draws, n, gsd.ln(), shares);
        }
        cell
    }

    /// What stands in a row: coverage in per cent with its standard error.
    fn row(&self, method: usize) -> String {
        let kept = f64::from(self.kept);
        let one = |(held, (_, confidence)): (&u32, &(&str, f64))| {
            let share = f64::from(*held) / kept;
            // That of the nominal share: one that always held has an error, too.
            let error = (confidence * (1.0 - confidence) / kept).sqrt();
            format!("{:.1} ± {:.1}", 100.0 * share, 100.0 * error)
        };
        self.held[method].iter().zip(&LIMITS).map(one).collect::<Vec<_>>().join(" | ")
    }
}

#[test]
#[ignore = "some minutes, and only in release"]
fn coverage_of_limits_with_bounds() {
    let mut tables = [String::new(), String::new()];
    let mut seed = 1;
    for shares in BELOW {
        for n in SIZES {
            for gsd in GSDS {
                let cell = Cell::of(n, gsd, shares, seed);
                seed += 1;
                let below =
                    shares.iter().map(|share| format!("{:.0}", 100.0 * share)).collect::<Vec<_>>().join("/");
                #[expect(clippy::cast_precision_loss, reason = "counts far below 2^52")]
                let detected = cell.detected as f64 / f64::from(cell.kept);
                let dropped = 100.0 * f64::from(cell.dropped) / f64::from(DRAWS);
                for (method, table) in tables.iter_mut().enumerate() {
                    let row = cell.row(method);
                    writeln!(table, "| {below} | {n} | {gsd} | {detected:.1} | {dropped:.1} | {row} |")
                        .unwrap();
                }
                eprintln!("{below} % below, n = {n}, GSD = {gsd}: {}", cell.row(0));
            }
        }
    }
    let names = LIMITS.map(|(name, _)| name).join(" | ");
    for (method, table) in
        ["Posterior (the registry's limits)", "Signed root of the likelihood ratio"].iter().zip(tables)
    {
        println!("\n### {method}\n\n| % below | n | GSD | detected | dropped % | {names} |");
        println!("|---|---|---|---|---|---|---|---|---|---|---|\n{table}");
    }
}
