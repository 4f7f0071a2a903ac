//! Which samples are compared: the same other controls running, the same locations.

use crate::conclusions::verdict::task_sample::{Place, TaskSample};
use crate::conclusions::verdict::view::{Excluded, ExclusionReason};
use crate::model::facts::sampling::Position;
use crate::model::identifiers::ControlId;
use std::collections::{BTreeMap, BTreeSet};

/// The two sides of a comparison.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Sides<'s> {
    /// Samples without the control, in the order given.
    pub without: Vec<&'s TaskSample>,
    /// Samples with it.
    pub with: Vec<&'s TaskSample>,
    /// The other controls that ran on both sides.
    pub others: BTreeSet<ControlId>,
    /// Samples that are not compared.
    pub excluded: Vec<Excluded>,
}

impl<'s> Sides<'s> {
    /// Every sample compared.
    pub fn all(&self) -> impl Iterator<Item = &'s TaskSample> {
        self.without.iter().chain(&self.with).copied()
    }

    /// Whether both states hold a sample.
    pub fn both(&self) -> bool {
        !self.without.is_empty() && !self.with.is_empty()
    }
}

/// Sorts samples of one position into the sides of a control.
///
/// Of the sets of other running controls that hold both states the one with most samples is taken; of equals the first
/// in the order of identifiers. Where none holds both, the one with most samples stands alone.
pub fn sides<'s>(samples: &[&'s TaskSample], control: ControlId) -> Sides<'s> {
    let mut sets: BTreeMap<BTreeSet<ControlId>, Sides<'s>> = BTreeMap::new();
    for &sample in samples {
        let Some(ran) = &sample.ran else { continue };
        let mut others = ran.clone();
        let runs = others.remove(&control);
        let set = sets.entry(others.clone()).or_insert_with(|| Sides { others, ..Sides::default() });
        if runs { set.with.push(sample) } else { set.without.push(sample) }
    }
    for set in sets.values_mut() {
        keep_common_locations(set);
    }
    let size = |set: &Sides<'_>| (set.both(), set.without.len() + set.with.len());
    let chosen = sets
        .iter()
        .reduce(|best, next| if size(next.1) > size(best.1) { next } else { best })
        .map(|(others, _)| others.clone());
    let mut chosen = chosen.and_then(|others| sets.remove(&others)).unwrap_or_default();
    for set in sets.into_values() {
        chosen.excluded.extend(set.excluded.iter().cloned());
        chosen.excluded.extend(
            set.all().map(|sample| Excluded {
                sample_id: sample.id,
                reason: ExclusionReason::OtherControlsDiffer,
            }),
        );
    }
    chosen
}

/// Takes out area samples of locations with one state only, where any location has both.
fn keep_common_locations(set: &mut Sides<'_>) {
    let places = |side: &[&TaskSample]| -> BTreeSet<Place> {
        let fixed = side.iter().filter(|sample| sample.position == Position::Area);
        fixed.map(|sample| sample.place.clone()).collect()
    };
    let (without, with) = (places(&set.without), places(&set.with));
    if without.is_empty() || with.is_empty() {
        return;
    }
    let mut excluded = Vec::new();
    let mut keep = |sample: &&TaskSample| {
        let common = without.contains(&sample.place) && with.contains(&sample.place);
        if !common {
            excluded.push(Excluded { sample_id: sample.id, reason: ExclusionReason::LocationInOneState });
        }
        common
    };
    set.without.retain(&mut keep);
    set.with.retain(&mut keep);
    set.excluded.extend(excluded);
}
