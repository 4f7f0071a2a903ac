//! Figures drawn by the server, as SVG: pure functions from the views that the API answers, so that a drawing and an answer
//! cannot tell different numbers.
//!
//! A [`figure::Figure`] holds a broad and a slim drawing, a text alternative, the key of its marks and the table that stands
//! beside it. Colours and widths of lines come from classes of the style sheet alone (`charts.css` holds those that only
//! figures use); no attribute styles anything.

pub mod all_sites;
pub mod between_workers;
pub mod day_counts;
pub mod duty_line;
pub mod era_results;
pub mod figure;
pub mod glyphs;
pub mod left_of_exposure;
pub mod levels;
pub mod life_line;
pub mod log_probability;
pub mod marks;
pub mod names;
pub mod noise_years;
pub mod over_time;
pub mod plotting;
pub mod posterior_curve;
pub mod said;
pub mod scale;
pub mod svg;
pub mod without_and_with;
pub mod worker_days;

#[cfg(test)]
mod drawn;
#[cfg(test)]
mod invented;
#[cfg(test)]
mod tests;

/// The rules of the style sheet that only figures need, to be included after those of the pages.
pub const STYLE: &str = include_str!("charts.css");
