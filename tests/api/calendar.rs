//! The calendar of due dates: opened by a token of its own, which opens nothing else; names nobody.

use crate::harness::TestApp;
use crate::whole_job::plant::{Plant, chromium_month};
use serde_json::json;
