//! What the registry counts of its own work: how much a fact really made it work out again.

use crate::store::marks::MarkKind;
use std::sync::atomic::{AtomicU64, Ordering};

/// A number for each kind of stored conclusion; it only grows.
#[derive(Debug, Default)]
pub struct OfKinds([AtomicU64; MarkKind::ALL.len()]);

impl OfKinds {
    /// Adds to the number of a kind.
    pub fn add(&self, kind: MarkKind, many: u64) {
        if let Some(at) = MarkKind::ALL.iter().position(|known| *known == kind) {
            self.0[at].fetch_add(many, Ordering::Relaxed);
        }
    }

    /// Every kind with its number.
    pub fn all(&self) -> impl Iterator<Item = (MarkKind, u64)> + '_ {
        MarkKind::ALL.into_iter().zip(self.0.iter().map(|number| number.load(Ordering::Relaxed)))
    }
}

/// What one process has done since it started.
#[derive(Debug, Default)]
pub struct Counts {
    /// Conclusions worked out by following marks. What a reader works out for himself is not among them.
    pub worked_out: OfKinds,
    /// Marks set, one that was set already among them.
    pub marked: OfKinds,
}
