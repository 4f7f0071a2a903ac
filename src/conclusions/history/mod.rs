//! One worker's exposure to one agent over the years and over all sites: intervals with their means, the dose, the gaps,
//! and the days at or above the action level.
//!
//! The way through the folder: [`evidence`] is what goes in ([`from_conclusions`] takes it from groups and shifts), [`piece`] cuts the assignments where anything changes,
//! [`basis`] finds the mean of each piece, [`weight`] how much was worked, [`timeline`] what is missing, [`conclude`] puts
//! the history together. Noise takes its mean levels from [`noise_basis`], its years from [`noise_levels`] and the sum of
//! a day's doses from [`noise_day`]. [`respirator`] makes the dose as if respirators had protected as assigned. [`worker_days`] lists the dates that the surveillance clauses count, [`day_numbers`] sums them up,
//! [`assessed_days`] says what is settled of them.

pub mod assessed_days;
pub mod basis;
#[cfg(test)]
mod cases;
pub mod conclude;
pub mod day_numbers;
pub mod evidence;
pub mod expected;
pub mod from_conclusions;
pub mod level_period;
pub mod noise_basis;
pub mod noise_day;
pub mod noise_levels;
pub mod passing;
pub mod piece;
pub mod respirator;
pub mod thresholds;
pub mod timeline;
pub mod view;
pub mod weight;
pub mod worker_days;
