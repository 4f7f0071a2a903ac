//! What the facts say: samples, shift averages, profiles, verdicts, histories. Pure: facts in, conclusions out.

pub mod asked;
pub mod averaging;
pub mod changed_after_result;
pub mod comparison;
pub mod concentration;
pub mod control_state;
pub mod day_chance;
pub mod due_date;
pub mod effect_working;
pub mod era;
pub mod evidence;
pub mod examiner_packet;
pub mod field_blanks;
pub mod figures;
pub mod flag;
pub mod group_standing;
pub mod history;
#[cfg(test)]
pub(crate) mod invented;
pub mod left_out;
pub mod letter;
pub mod limit_change;
pub mod limits;
pub mod method;
#[cfg(test)]
mod noise_cases;
pub mod noise_criterion;
pub mod noise_result;
pub mod noise_working;
pub mod posterior_mean;
pub mod profile;
pub mod profile_figures;
pub mod profile_view;
pub mod profile_working;
pub mod record_package;
pub mod sample;
pub mod sampled_air;
pub mod shift_average;
pub mod shift_average_view;
pub mod shift_of_worker;
pub mod short_term_rounds;
pub mod short_term_standing;
pub mod standing_moves;
pub mod standing_result;
pub mod use_of_result;
pub mod verdict;
pub mod workers_apart;
