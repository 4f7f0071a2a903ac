//! Keeping and letting go: until when each record is to be kept, what is held, and disposal as an act of two people.
//!
//! Nothing goes by itself. What is disposed of leaves its envelopes and digests in the journal, so that the chains still
//! prove; image, salt and version rows are gone.

pub mod belongings;
pub mod disposal;
pub mod holds;
pub mod keeping;
