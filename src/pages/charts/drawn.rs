//! (below)
