//! What the registry promises, under faults: killed, cut off, without power, without room, with its server gone, its file
//! damaged, and with many who write at once. The oracle is the driver's own list of what was sent and acknowledged.
//!
//! Short in plain `cargo test`; `DOSEWARD_TRUST=long` runs the long versions (`tests/trust-long`). Runs on SQLite, or on
//! PostgreSQL where `TEST_DATABASE_URL` names a server on which databases may be made. Seconds are printed, never held
//! against anything.

#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it should be")]
#![allow(
    dead_code,
    clippy::allow_attributes,
    reason = "files of the histories are shared: not every target asks for all of them"
)]

mod acknowledged;
mod as_known_on;
mod at_once;
mod bit_flips;
mod client;
#[path = "../histories/corrections.rs"]
mod corrections;
#[path = "../histories/draws.rs"]
mod draws;
mod fresh;
mod kills;
mod length;
mod model;
mod no_room;
mod one_tag;
mod own_server;
#[path = "../histories/plant.rs"]
mod plant;
mod power_loss;
#[path = "../histories/questions.rs"]
#[expect(dead_code, reason = "histories take more of it")]
mod questions;
mod running;
mod same_digest;
#[path = "../histories/script.rs"]
mod script;
mod sent_twice;
mod server_bit_flips;
#[path = "../histories/stage.rs"]
mod stage;
mod stops;
mod works;
