//! Conclusions as they are handed out, read back as the views that figures are drawn from.

use crate::model::shape::{Faults, Shape};
use crate::pages::stopped::Stopped;
use serde_json::Value;
use std::fmt;

/// A conclusion that is not what it is said to be.
#[derive(Debug)]
struct NotAsSaid(Faults);

impl fmt::Display for NotAsSaid {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a conclusion could not be read back: {:?}", self.0)
    }
}

impl std::error::Error for NotAsSaid {}

/// Each as its view.
///
/// # Errors
/// One of them is no such view.
pub fn views<'v, V: Shape>(items: impl IntoIterator<Item = &'v Value>) -> Result<Vec<V>, Stopped> {
    items
        .into_iter()
        .map(|item| V::parse(item).map_err(|faults| Stopped::inside(NotAsSaid(faults))))
        .collect()
}
