//! Which prior a posterior takes, and whether the results press on it.

use super::Posterior;
use super::prior::{Prior, PriorBox};
use crate::hygiene::censored::LogResult;
use crate::model::measured::Measured;
use crate::model::working::Formula;

/// When the results press on the prior.
pub const PRESSED: Formula = Formula {
    formula: "outside_prior: the estimate of GM lies above the box, or more than 5 % of the posterior lies within 2 % of the \
              box's width in ln GM or ln GSD from its upper face; verdicts and doses then take GM up to 100 times the \
              largest result",
    source: "this registry's rule",
};

/// The share of the posterior near an upper face above which the results press on it.
pub const PRESSING_SHARE: f64 = 0.05;

/// The results lie outside the prior, or press on its upper faces.
pub const OUTSIDE_PRIOR: &str = "outside_prior";
/// The prior was widened.
pub const PRIOR_WIDENED: &str = "prior_widened";
/// No posterior can be given.
pub const NO_POSTERIOR: &str = "no_posterior";

/// Every flag of a posterior with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (
        OUTSIDE_PRIOR,
        "The estimate lies above what the prior holds for possible, or the posterior presses on an upper face of it (in GM or \
         GSD); no rating is given by the default prior.",
    ),
    (
        PRIOR_WIDENED,
        "The results pressed on the prior, so geometric means up to 100 times the largest result were allowed.",
    ),
    (NO_POSTERIOR, "The results tell nothing, so that there is no posterior distribution."),
];

/// The greatest value of some results as far as it is known.
///
/// ```
/// use doseward::hygiene::posterior::largest_known;
/// use doseward::model::measured::Measured;
/// assert_eq!(largest_known(&[Measured::Value(2.0), Measured::Below(3.0)]), Some(3.0));
/// ```
pub fn largest_known(results: &[Measured]) -> Option<f64> {
    results.iter().map(|result| result.upper().unwrap_or_else(|| result.lower())).reduce(f64::max)
}

impl PriorBox {
    /// The default box against a limit, or without one against the largest value; `None` without either.
    pub fn by_default(limit: Option<f64>, largest: Option<f64>) -> Option<Self> {
        let prior = match (limit, largest) {
            (Some(limit), _) => Self::of_limit(limit),
            (None, largest) => Self::of_largest(largest?),
        };
        prior.is_sound().then_some(prior)
    }
}

/// Whether the results press on a prior: by the estimate of the geometric mean, where there is one, and by the posterior.
///
/// ```
/// use doseward::hygiene::{censored::LogResult, posterior::{Posterior, Prior, PriorBox, pressed}};
/// // Results of 200 pile up at the upper face of 25; a geometric mean of 26 lies above it.
/// let prior = PriorBox::of_limit(5.0);
/// let of = |value: f64, estimate| {
///     let logs = [value.ln(); 3].map(LogResult::Exact);
///     pressed(&Posterior::of(&logs, Prior::Box(prior)).unwrap(), prior, estimate)
/// };
/// assert!(of(200.0, None) && of(1.0, Some(26.0)) && !of(1.0, None));
/// ```
pub fn pressed(posterior: &Posterior, prior: PriorBox, geometric_mean: Option<f64>) -> bool {
    geometric_mean.is_some_and(|estimate| estimate > prior.gm_upper)
        || posterior.at_upper_gm(prior) > PRESSING_SHARE
        || posterior.at_upper_gsd(prior) > PRESSING_SHARE
}

/// A posterior with the prior it takes.
#[derive(Debug, Clone)]
pub struct Settled {
    /// The posterior.
    pub posterior: Posterior,
    /// Its prior.
    pub prior: PriorBox,
    /// [`OUTSIDE_PRIOR`] and [`PRIOR_WIDENED`] where they hold.
    pub flags: Vec<&'static str>,
}

/// The posterior of a dose or verdict: under the default prior, widened where the results press on it.
///
/// `geometric_mean` is the estimate of the group, where it has one; `largest` the largest value known. A prior that was
/// `given` is taken as given.
///
/// ```
/// use doseward::hygiene::{censored::LogResult, posterior::{PRIOR_WIDENED, settled}};
/// // One result of 200 against a limit of 5 presses on the box that ends at 25: up to 100 x 200.
/// let found = settled(&[LogResult::Exact(200f64.ln())], None, Some(5.0), 200.0, None).unwrap();
/// assert_eq!(found.prior.gm_upper, 20_000.0);
/// assert!(found.flags.contains(&PRIOR_WIDENED));
/// ```
pub fn settled(
    logs: &[LogResult],
    given: Option<PriorBox>,
    limit: Option<f64>,
    largest: f64,
    geometric_mean: Option<f64>,
) -> Option<Settled> {
    let prior = given.or_else(|| PriorBox::by_default(limit, Some(largest)))?;
    let posterior = Posterior::of(logs, Prior::Box(prior))?;
    if !pressed(&posterior, prior, geometric_mean) {
        return Some(Settled { posterior, prior, flags: Vec::new() });
    }
    let widened = prior.widened(largest);
    if given.is_some() || widened == prior {
        return Some(Settled { posterior, prior, flags: vec![OUTSIDE_PRIOR] });
    }
    let posterior = Posterior::of(logs, Prior::Box(widened))?;
    Some(Settled { posterior, prior: widened, flags: vec![OUTSIDE_PRIOR, PRIOR_WIDENED] })
}
