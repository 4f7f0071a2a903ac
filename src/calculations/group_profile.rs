//! What the results of one group say.

use crate::calculations::given::{above_zero, all_measured, common_unit, sound};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::conclusions::figures::PriorView;
use crate::conclusions::profile_figures::ProfileFigures;
use crate::conclusions::profile_working::profile_steps;
use crate::hygiene::posterior::PriorBox;
use crate::hygiene::profile::{Against, estimated_exceedance, group_profile};
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Joined};
use crate::model::text::Line;
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The most results of one request.
pub const RESULTS_MOST: usize = 20_000;

record! {
    /// What is taken for possible before any result is known.
    pub struct PriorInput {
        /// The least geometric mean.
        gm_lower: f64,
        /// The greatest.
        gm_upper: f64,
        /// The least geometric standard deviation, above 1.
        gsd_lower: f64,
        /// The greatest.
        gsd_upper: f64,
        /// The unit of the geometric means; that of the results if left out.
        unit: Option<Unit>,
    }
}

impl PriorInput {
    /// The box in the unit of the results.
    pub(crate) fn read(&self, unit: Unit, faults: &mut Faults) -> Option<PriorBox> {
        let given = self.unit.unwrap_or(unit);
        let (Some(gm_lower), Some(gm_upper)) =
            (given.convert(self.gm_lower, unit), given.convert(self.gm_upper, unit))
        else {
            faults.note("/prior/unit", format!("must convert into {unit}, which {given} does not"));
            return None;
        };
        let prior = PriorBox {
            gm_lower: significant(gm_lower),
            gm_upper: significant(gm_upper),
            gsd_lower: self.gsd_lower,
            gsd_upper: self.gsd_upper,
        };
        if !prior.is_sound() {
            let what = "must have gm_lower above 0 and below gm_upper, gsd_lower above 1 and below gsd_upper";
            faults.note("/prior", what);
            return None;
        }
        Some(prior)
    }
}

record! {
    /// Results of one group.
    pub struct GroupProfileInput {
        /// The results, in one dimension; each a value, a bound or a range.
        results: Vec<Quantity>,
        /// Who each result is of, in their order.
        workers: Option<Vec<Line>>,
        /// The limit.
        limit: Option<Quantity>,
        /// The action level.
        action_level: Option<Quantity>,
        /// The prior of the posterior, in place of the default one.
        prior: Option<PriorInput>,
    }
}

record! {
    /// What stands beside the figures.
    pub struct GroupProfileBeside {
        /// The estimated share of days at or above the action level.
        action_level_exceedance: Option<f64>,
        /// What needs care, or why something is absent.
        flags: Vec<String>,
        /// How the figures came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// What the results of one group say.
#[derive(Debug)]
pub struct GroupProfile;

impl Calculation for GroupProfile {
    const NAME: &'static str = "group-profile";
    const TITLE: &'static str = "GroupProfile";
    const SUMMARY: &'static str = "Log-normal statistics of a group's results, with non-detects";
    const MORE: &'static str = "Figures are in the unit of the first result.";
    type Input = GroupProfileInput;
    type Answer = Joined<ProfileFigures, GroupProfileBeside>;

    fn example() -> Value {
        json!({"results": [{"value": 0.8, "unit": "ug/m3"}, {"value": 1.9, "unit": "ug/m3"},
                {"comparator": "<", "value": 0.5, "unit": "ug/m3"}, {"value": 1.1, "unit": "ug/m3"}],
            "limit": {"value": 5, "unit": "ug/m3"}, "action_level": {"value": 2.5, "unit": "ug/m3"}})
    }

    fn answer(input: GroupProfileInput, working: &mut Working) -> Result<Self::Answer, Faults> {
        let mut faults = Faults::default();
        if input.results.len() > RESULTS_MOST {
            faults.note("/results", format!("must hold at most {RESULTS_MOST} results"));
            return Err(faults);
        }
        let first = input.results.iter().map(|one| (one, "/results/0".to_owned()));
        let unit = common_unit(first, false, &mut faults);
        let unit = unit.or_else(|| input.limit.as_ref().map(|limit| limit.unit)).unwrap_or(Unit::MgPerM3);
        let results = all_measured(&input.results, unit, "/results", &mut faults);
        let mut level = |given: &Option<Quantity>, at: &str| {
            given.as_ref().and_then(|level| above_zero(level, unit, at, &mut faults))
        };
        let (limit, action_level) =
            (level(&input.limit, "/limit"), level(&input.action_level, "/action_level"));
        let prior = input.prior.as_ref().and_then(|prior| prior.read(unit, &mut faults));
        let workers = input.workers.as_ref().map(|workers| {
            if workers.len() != input.results.len() {
                faults.note("/workers", "must name as many workers as there are results");
            }
            numbered(workers)
        });
        let answer = faults.is_empty().then(|| {
            let against = Against { limit, prior, workers: workers.as_deref() };
            let profile = group_profile(&results, &against);
            working.take(|| profile_steps(&profile, &results, unit, limit));
            Joined(
                ProfileFigures::of(&profile, unit),
                GroupProfileBeside {
                    action_level_exceedance: action_level
                        .and_then(|level| estimated_exceedance(&results, level)),
                    flags: words(&profile.flags),
                    working: None,
                },
            )
        });
        sound(answer, faults)
    }
}

/// Workers as numbers that tell them apart.
fn numbered(workers: &[Line]) -> Vec<usize> {
    let mut known: BTreeMap<&Line, usize> = BTreeMap::new();
    workers
        .iter()
        .map(|worker| {
            let next = known.len();
            *known.entry(worker).or_insert(next)
        })
        .collect()
}

/// The prior of an answer, as it may be given back in a request.
impl From<&PriorView> for PriorInput {
    fn from(view: &PriorView) -> Self {
        Self {
            gm_lower: view.gm_lower,
            gm_upper: view.gm_upper,
            gsd_lower: view.gsd_lower,
            gsd_upper: view.gsd_upper,
            unit: Some(view.unit),
        }
    }
}
