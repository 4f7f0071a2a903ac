//! Inlet and outlet: what a filter or collector takes out, from simultaneous pairs.

use crate::conclusions::figures::EffectView;
use crate::conclusions::verdict::task_sample::TaskSample;
use crate::conclusions::verdict::thresholds::SIMULTANEOUS_SHARE;
use crate::conclusions::verdict::view::{Excluded, ExclusionReason, RemovalView};
use crate::hygiene::control_effect::Effect;
use crate::hygiene::efficiency::{RemovalEfficiency, removal_efficiency};
use crate::model::facts::sampling::Position;
use crate::model::identifiers::ControlId;
use crate::model::measured::Measured;
use chrono::{DateTime, Utc};

/// Inlet and outlet of one control.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Pairs<'s> {
    /// Inlet and outlet sampled at the same time.
    pub pairs: Vec<(&'s TaskSample, &'s TaskSample)>,
    /// Samples without a partner, or taken while the control did not run.
    pub excluded: Vec<Excluded>,
    /// Whether other controls ran beside this one.
    pub others_ran: bool,
}

/// Pairs the inlets and outlets taken while the control ran: same event and shift date, the same time.
///
/// Among several inlets one of the same named location comes before others (an inlet and an outlet are two places by
/// nature, so they need not share a name), then the one that shares most time, of equals the first; each is used once.
pub fn pairs<'s>(samples: &[&'s TaskSample], control: ControlId) -> Pairs<'s> {
    let mut found = Pairs::default();
    let mut running = Vec::new();
    for &sample in samples {
        if sample.ran.as_ref().is_some_and(|ran| ran.contains(&control)) {
            running.push(sample);
        } else {
            found.exclude(sample, ExclusionReason::ControlNotRunning);
        }
    }
    let at = |position| running.iter().copied().filter(move |sample| sample.position == position);
    let mut inlets: Vec<&TaskSample> = at(Position::Inlet).collect();
    for outlet in at(Position::Outlet) {
        let shared = |inlet: &TaskSample| {
            let same = inlet.event == outlet.event && inlet.date == outlet.date && inlet.ran == outlet.ran;
            let shared = if same { shared_time(inlet.span?, outlet.span?) } else { None };
            shared.map(|seconds| (inlet.place == outlet.place, seconds))
        };
        let best = inlets
            .iter()
            .enumerate()
            .filter_map(|(place, inlet)| Some((place, shared(inlet)?)))
            .reduce(|best, next| if next.1 > best.1 { next } else { best });
        match best {
            Some((place, _)) => {
                let inlet = inlets.remove(place);
                found.others_ran |= outlet.ran.as_ref().is_some_and(|ran| ran.len() > 1);
                found.pairs.push((inlet, outlet));
            }
            None => found.exclude(outlet, ExclusionReason::NoSimultaneousPartner),
        }
    }
    for inlet in inlets {
        found.exclude(inlet, ExclusionReason::NoSimultaneousPartner);
    }
    found
}

impl Pairs<'_> {
    fn exclude(&mut self, sample: &TaskSample, reason: ExclusionReason) {
        self.excluded.push(Excluded { sample_id: sample.id, reason });
    }

    /// The efficiency of the pairs.
    pub fn efficiency(&self) -> RemovalEfficiency {
        let inlet: Vec<Measured> = self.pairs.iter().map(|(inlet, _)| inlet.value).collect();
        let outlet: Vec<Measured> = self.pairs.iter().map(|(_, outlet)| outlet.value).collect();
        removal_efficiency(&inlet, &outlet)
    }
}

/// Seconds shared by two spans; `None` unless they share enough of the longer one.
fn shared_time(
    one: (DateTime<Utc>, DateTime<Utc>),
    two: (DateTime<Utc>, DateTime<Utc>),
) -> Option<chrono::TimeDelta> {
    let shared = one.1.min(two.1) - one.0.max(two.0);
    let longer = (one.1 - one.0).max(two.1 - two.0);
    let enough = shared.as_seconds_f64() >= SIMULTANEOUS_SHARE * longer.as_seconds_f64();
    (shared > chrono::TimeDelta::zero() && enough).then_some(shared)
}

/// The efficiency as it is read.
pub fn removal_view(pairs: usize, found: &RemovalEfficiency) -> RemovalView {
    let effect =
        Effect { estimate: found.efficiency_percent, lower_95: found.lower_95, upper_95: found.upper_95 };
    RemovalView {
        pairs: i64::try_from(pairs).unwrap_or(i64::MAX),
        efficiency_percent: EffectView::of(effect),
        penetration_percent: found.penetration_percent,
        comparator: (found.at_least && found.efficiency_percent.is_some()).then(|| ">=".to_owned()),
    }
}
