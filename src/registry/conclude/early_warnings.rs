//! Early warnings.
