//! Doseward: a shared exposure registry.
//!
//! Floors from the ground up; a floor uses only floors below it (a test reads the `use` lines).

pub mod access;
pub mod api;
pub mod calculations;
pub mod cli;
pub mod conclusions;
pub mod export;
pub mod hygiene;
pub mod model;
pub mod pages;
pub mod registry;
pub mod service;
pub mod settings;
pub mod store;
pub mod surveillance;
