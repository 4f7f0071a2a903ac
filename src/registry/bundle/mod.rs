//! A signed bundle: the record of a worker, a site or all, to be handed to somebody who has nothing of ours.
//!
//! A tar archive of plain text: tables as CSV with a JSON Schema each, the entries of the journal with their images, the
//! uploaded files, a manifest, checksums, an anchor and a signature. It is checked with the tools of any computer. One of a
//! site or of all can be taken over into an empty registry. Nothing of the medical chain is in any of them.

mod check;
mod chosen;
mod manifest;
mod tables;
pub mod take_over;
pub mod write;

pub use check::{Bundle, Signature};

use crate::model::identifiers::{SiteId, WorkerId};
use crate::registry::backup::Fault;
use crate::registry::journal::hex;
use crate::registry::refusal::Refusal;
use sha2::{Digest as _, Sha256};
use std::collections::BTreeSet;

/// Whose record a bundle holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BundleOf {
    /// Everything.
    All,
    /// What belongs to a site, with the workers who were there and nothing of their exposure elsewhere.
    Site(SiteId),
    /// What belongs to a worker, on all sites.
    Worker(WorkerId),
}

impl std::fmt::Display for BundleOf {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::All => f.write_str("all"),
            Self::Site(site) => write!(f, "site {site}"),
            Self::Worker(worker) => write!(f, "worker {worker}"),
        }
    }
}

/// SHA-256 over the places at which a journal leaves something out.
pub(in crate::registry) fn digest_of_gaps(gaps: &BTreeSet<(i64, i64)>) -> String {
    let mut hash = Sha256::new();
    for (position, ordinal) in gaps {
        hash.update(position.to_be_bytes());
        hash.update(ordinal.to_be_bytes());
    }
    hex(&hash.finalize())
}

/// A fault of the container, told of a bundle.
fn of_bundle(fault: Fault) -> Refusal {
    let Fault(what) = fault;
    Fault::new(what.replace("backup", "bundle")).into()
}

fn wrong(what: impl Into<String>) -> Refusal {
    Fault::new(what).into()
}
