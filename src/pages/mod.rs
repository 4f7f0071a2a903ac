//! Pages for people, on the same use cases as the API.

pub mod charts;
