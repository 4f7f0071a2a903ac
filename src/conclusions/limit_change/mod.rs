//! What another limit would change: the agent and the clauses as if it held ([`supposed`]), groups whose data cannot tell
//! ([`too_coarse`]), and the answer ([`view`]).

pub mod supposed;
pub mod too_coarse;
pub mod view;
