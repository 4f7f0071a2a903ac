//! Telling how far a long piece of work has come: a bar on a terminal, nothing in a log.

use crate::registry::progress::{Progress, Stage};
use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal as _;
use std::time::Duration;

/// A bar on a terminal; on anything else it stays silent.
pub(super) fn bar(length: u64) -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let style = ProgressStyle::with_template("{bar:30} {pos}/{len} {msg}")
        .expect("the template names fields that there are");
    ProgressBar::new(length).with_style(style)
}

/// Turns on a terminal while something of unknown length is done.
pub(super) fn spinner() -> ProgressBar {
    if !std::io::stderr().is_terminal() {
        return ProgressBar::hidden();
    }
    let spinner = ProgressBar::new_spinner();
    spinner.enable_steady_tick(Duration::from_millis(120));
    spinner
}

/// Hears how far the registry's own work has come, stage by stage.
#[derive(Debug)]
pub(super) struct Telling {
    bar: ProgressBar,
    stage: Option<Stage>,
}

impl Telling {
    /// Has heard nothing yet.
    pub(super) fn new() -> Self {
        Self { bar: bar(0), stage: None }
    }

    /// Shows where the work is.
    pub(super) fn hear(&mut self, progress: Progress) {
        let number = |count: i64| u64::try_from(count).unwrap_or_default();
        if self.stage != Some(progress.stage) {
            self.stage = Some(progress.stage);
            self.bar.set_message(progress.stage.as_str());
            self.bar.set_position(0);
        }
        if let Some(of) = progress.of {
            self.bar.set_length(number(of));
        }
        self.bar.set_position(number(progress.done));
    }

    /// Takes the bar away.
    pub(super) fn end(&self) {
        self.bar.finish_and_clear();
    }
}
