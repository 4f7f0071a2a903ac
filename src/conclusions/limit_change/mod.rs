//! What another limit would change: what is proposed ([`proposal`]), the agent and the clauses as if it held ([`supposed`]),
//! where a short-term average then stands ([`short_term`]), groups whose data cannot tell ([`too_coarse`]), and the answer
//! ([`view`]).

pub mod proposal;
pub mod short_term;
pub mod supposed;
pub mod too_coarse;
pub mod view;
