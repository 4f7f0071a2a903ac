//! The mathematics of occupational hygiene, pure: numbers in, numbers out.
//!
//! No clock, no store, no chance: the same numbers always give the same answer. The unit of every argument stands
//! in its doc comment, sums run in the order in which the values are given, and every formula stands as a
//! [`Formula`](crate::model::working::Formula) beside the function that computes it.

pub mod air;
pub mod air_clearing;
pub mod censored;
pub mod concentration;
pub mod control_effect;
pub mod conversion;
pub mod cumulative;
pub mod distributions;
pub mod efficiency;
pub mod en_689;
pub mod equal_energy;
pub mod extended_shift;
pub mod further_results;
pub mod further_samples;
pub mod kaplan_meier;
pub mod land;
pub mod level_difference;
pub mod level_profile;
pub mod likelihood_ratio;
pub mod limits_with_bounds;
pub mod log_linear;
pub mod lognormal;
pub mod method_accuracy;
pub mod mixture;
pub mod noise;
pub mod noncentral_t;
pub mod order_statistics;
pub mod own_means;
pub mod posterior;
pub mod profile;
mod quadrature;
pub mod respirator;
mod roots;
pub mod sample_plan;
pub mod severity;
pub mod shapiro_wilk;
pub mod shift;
pub mod short_term;
pub mod silica;
pub mod substitution;
pub mod sufficiency;
pub mod variance;
