//! What a control did on a task: one verdict for each control and position, and what may have confounded it.
//!
//! The way through the folder: [`task_sample`] admits samples, [`sides`] says which of them are compared, [`shift_value`]
//! makes one value of each shift, [`confounder`] looks for what else differed, [`conclude`] puts the verdicts together
//! ([`removal`] for inlet and outlet, [`noise`] for levels, `remaining` for what is left to breathe, `adjustment` for the
//! same arc time, [`working`] for the steps), and [`sentence`] says it in words
//! (`change_in_words` for by how much).

mod adjustment;
mod case;
#[cfg(test)]
mod cases;
mod change_in_words;
pub mod conclude;
pub mod confounder;
mod level_sentence;
pub mod noise;
mod remaining;
pub mod removal;
pub mod sentence;
pub mod shift_value;
pub mod sides;
pub mod task_sample;
pub mod thresholds;
pub mod view;
pub mod working;
