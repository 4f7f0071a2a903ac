//! The use cases: everything the registry does for people and programs, whichever face they use.

pub mod clock;
pub mod conclude;
pub mod counts;
pub mod duties;
pub mod duty_list;
pub mod duty_view;
pub mod enter_pack;
pub mod escalation;
pub mod facts;
pub mod find_workers;
pub mod gather;
pub mod journal;
pub mod passwords;
pub mod place;
pub mod progress;
pub mod reach;
pub mod reach_table;
pub mod reading;
pub mod rebuild;
pub mod recompute;
pub mod recording;
pub mod refusal;
pub mod sign_in;
pub mod standing_moves;
pub mod verify;
pub mod writer;
