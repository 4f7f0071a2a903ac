//! Statistics of groups of results beside NumPy and SciPy: how much faster, and how far apart.
//!
//! `cargo bench --bench group_statistics` prints the ratios and whether the goals are met; it ends with 1 if not. Each round
//! gives either side one small unit of the same groups, in turn, and counts CPU time; the median of the rounds counts.

#[path = "../../tests/coverage/draws.rs"]
mod draws;
mod yardstick;

use doseward::hygiene::censored::LogResult;
use doseward::hygiene::lognormal::LogSample;
use doseward::hygiene::posterior::{Posterior, PosteriorRatio, Prior, PriorBox};
use draws::Draws;
use serde_json::{Value, json};
use std::hint::black_box;
use std::process::ExitCode;
use yardstick::Yardstick;

/// An odd number of rounds has a median.
const ROUNDS: usize = 9;
/// Groups in a unit of tolerance and exceedance limits, and of posteriors.
const LIMITS_UNIT: usize = 60;
const GRID_UNIT: usize = 40;
/// Groups whose bands are compared with a fine quadrature.
const FINE: usize = 24;

/// What has to be reached.
const LIMITS_FASTER: f64 = 8.0;
const LIMITS_APART: f64 = 1e-9;
const GRID_FASTER: f64 = 5.0;
const GRID_APART: f64 = 1e-4;

/// Logarithms of a group of 6 to 30 results, and a level that its upper tail reaches.
struct Group {
    logs: Vec<LogResult>,
    ln_level: f64,
}

impl Group {
    /// With so many reporting limits; none: everything is detected.
    fn drawn(draws: &mut Draws, limits: usize) -> Self {
        let n = 6 + whole(draws.uniform() * 25.0);
        let (mu, sigma) = (draws.normal() * 0.8 - 1.5, 0.4 + draws.uniform());
        let ends: Vec<f64> = (0..limits).map(|_| mu + sigma * (1.6 * draws.uniform() - 1.1)).collect();
        let logs = (0..n)
            .map(|at| {
                let value = mu + sigma * draws.normal();
                match ends.get(at % limits.max(1)) {
                    Some(end) if value < *end => LogResult::Within { lower: f64::NEG_INFINITY, upper: *end },
                    _ => LogResult::Exact(value),
                }
            })
            .collect();
        Self { logs, ln_level: mu + sigma * (0.5 + 2.5 * draws.uniform()) }
    }

    fn detected(&self) -> Vec<f64> {
        let value = |result: &LogResult| match result {
            LogResult::Exact(value) => Some(*value),
            LogResult::Within { .. } => None,
        };
        self.logs.iter().filter_map(value).collect()
    }

    fn below(&self) -> Vec<f64> {
        let end = |result: &LogResult| match result {
            LogResult::Exact(_) => None,
            LogResult::Within { upper, .. } => Some(*upper),
        };
        self.logs.iter().filter_map(end).collect()
    }

    fn request(&self) -> Value {
        let detected = self.detected();
        json!({
            "logs": detected, "ln_limit": self.ln_level,
            "detected": detected, "below": self.below(), "limit": self.ln_level.exp(),
        })
    }
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a small number")]
fn whole(value: f64) -> usize {
    value as usize
}

/// CPU time of this process.
fn cpu_seconds() -> f64 {
    let now = rustix::time::clock_gettime(rustix::time::ClockId::ProcessCPUTime);
    let since = std::time::Duration::new(now.tv_sec.unsigned_abs(), u32::try_from(now.tv_nsec).unwrap_or(0));
    since.as_secs_f64()
}

fn timed<T>(work: impl FnOnce() -> T) -> (f64, T) {
    let start = cpu_seconds();
    let done = black_box(work());
    (cpu_seconds() - start, done)
}

fn limits_of(group: &Group) -> Vec<f64> {
    let sample = LogSample::of_logs(&group.detected()).expect("detected values differ");
    let upper = sample.percentile_limit(0.95, 0.95).expect("a double holds it");
    vec![upper, sample.exceedance_limit(group.ln_level.exp(), 0.95)]
}

fn bands_of(group: &Group) -> Vec<f64> {
    let level = group.ln_level.exp();
    let posterior = Posterior::of(&group.logs, Prior::Box(PriorBox::of_limit(level)));
    posterior.expect("something is known").rating(level).to_vec()
}

/// One comparison: seconds a group of both sides in every round, and both sides' values.
struct Compared {
    ours: Vec<f64>,
    theirs: Vec<f64>,
    values: Vec<(Vec<f64>, Vec<f64>)>,
}

impl Compared {
    fn rounds(
        other: &mut Yardstick,
        task: &str,
        unit: usize,
        mut draw: impl FnMut(usize) -> Group,
        one: fn(&Group) -> Vec<f64>,
    ) -> Self {
        let mut compared = Self { ours: Vec::new(), theirs: Vec::new(), values: Vec::new() };
        #[expect(clippy::cast_precision_loss, reason = "some dozens")]
        let count = unit as f64;
        // The round before the first warms both sides up.
        for round in 0..=ROUNDS {
            let groups: Vec<Group> = (0..unit).map(&mut draw).collect();
            let requests: Vec<Value> = groups.iter().map(Group::request).collect();
            let (ours, found) = timed(|| groups.iter().map(one).collect::<Vec<_>>());
            let answer = other.ask(task, &requests);
            if round > 0 {
                compared.ours.push(ours / count);
                compared.theirs.push(answer.seconds / count);
                compared.values.extend(found.into_iter().zip(answer.values));
            }
        }
        compared
    }

    /// The median of the ratios of the rounds.
    fn faster(&self) -> f64 {
        median(self.theirs.iter().zip(&self.ours).map(|(theirs, ours)| theirs / ours).collect())
    }

    fn print(&self, what: &str) {
        let (ours, theirs) = (median(self.ours.clone()), median(self.theirs.clone()));
        println!(
            "{what}: {:.1} us a group, the yardstick {:.1} us: {:.1} times as fast (median of {ROUNDS} rounds)",
            1e6 * ours,
            1e6 * theirs,
            self.faster()
        );
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// The largest difference of all pairs; what is no number counts as far apart.
fn apart<'v>(
    pairs: impl IntoIterator<Item = (&'v Vec<f64>, &'v Vec<f64>)>,
    difference: fn(f64, f64) -> f64,
) -> f64 {
    let each = pairs.into_iter().flat_map(|(one, two)| {
        assert_eq!(one.len(), two.len(), "both sides give the same figures");
        one.iter().zip(two).map(|(one, two)| difference(*one, *two))
    });
    each.fold(0.0, |most, one| if one.is_nan() { f64::INFINITY } else { most.max(one) })
}

fn goal(what: &str, met: bool) -> bool {
    println!("  {what}: {}", if met { "met" } else { "NOT MET" });
    met
}

fn limits(other: &mut Yardstick) -> bool {
    let mut draws = Draws::seeded(1);
    let compared = Compared::rounds(other, "limits", LIMITS_UNIT, |_| Group::drawn(&mut draws, 0), limits_of);
    compared.print("upper 95/95 tolerance limit and upper 95 % exceedance limit beside SciPy");
    let pairs = compared.values.iter().map(|(ours, theirs)| (ours, theirs));
    let most = apart(pairs, |one, two| (one - two).abs() / two.abs());
    println!("  at most {most:.1e} of the value apart");
    let fast = goal("at least 8 times as fast", compared.faster() >= LIMITS_FASTER);
    goal("at most 1e-9 apart", most <= LIMITS_APART) && fast
}

fn grid(other: &mut Yardstick) -> bool {
    let mut draws = Draws::seeded(2);
    let compared =
        Compared::rounds(other, "grid", GRID_UNIT, |at| Group::drawn(&mut draws, 1 + at % 2), bands_of);
    compared.print("rating bands with non-detects at one or two limits beside a NumPy grid of 200 x 200");
    let distance = |one: f64, two: f64| (one - two).abs();
    let from_grid = apart(compared.values.iter().map(|(ours, theirs)| (ours, theirs)), distance);
    let mut draws = Draws::seeded(3);
    let groups: Vec<Group> = (0..FINE).map(|at| Group::drawn(&mut draws, 1 + at % 2)).collect();
    let requests: Vec<Value> = groups.iter().map(Group::request).collect();
    let fine = other.ask("fine", &requests).values;
    let found: Vec<Vec<f64>> = groups.iter().map(bands_of).collect();
    let from_fine = apart(found.iter().zip(&fine), distance);
    println!(
        "  bands at most {from_fine:.1e} from a fine NumPy quadrature ({FINE} groups), {from_grid:.1e} from the grid"
    );
    let fast = goal("at least 5 times as fast", compared.faster() >= GRID_FASTER);
    goal("at most 1e-4 from the fine quadrature", from_fine <= GRID_APART) && fast
}

/// Large groups, without a yardstick: what a caller has to wait for.
fn large() {
    let many: Vec<LogResult> = (1..=10_000)
        .map(|k| LogResult::Within { lower: f64::NEG_INFINITY, upper: (1e-3 * f64::from(k)).ln() })
        .collect();
    let prior = Prior::Box(PriorBox::of_limit(5.0));
    let (seconds, _) = timed(|| Posterior::of(&many, prior).map(|posterior| posterior.rating(5.0)));
    println!("rating bands of 10,000 different non-detects: {:.1} ms", 1e3 * seconds);
    let mut draws = Draws::seeded(4);
    let mut side = |mu: f64| -> Vec<LogResult> {
        let mut one = || {
            let (value, end) = (mu + draws.normal(), mu - 0.5 + 0.5 * draws.normal());
            if value < end { LogResult::within(f64::NEG_INFINITY, end) } else { LogResult::Exact(value) }
        };
        (0..300).map(|_| one()).collect()
    };
    let (without, with) = (side(-1.0), side(-1.3));
    let (seconds, _) = timed(|| {
        let ratio = PosteriorRatio::of(&without, &with, prior)?;
        Some([0.025, 0.5, 0.975].map(|probability| ratio.quantile(probability)))
    });
    println!(
        "posterior of a control's effect, 300 results a side, a third of them bounds: {:.1} ms",
        1e3 * seconds
    );
}

fn main() -> ExitCode {
    if !std::env::args().any(|argument| argument == "--bench") {
        println!("nothing is measured without optimisation: cargo bench --bench group_statistics");
        return ExitCode::SUCCESS;
    }
    let mut other = Yardstick::start();
    let met = [limits(&mut other), grid(&mut other)];
    large();
    if met == [true; 2] { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
