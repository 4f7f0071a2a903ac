//! What a reader may ask of every conclusion.

/// How a conclusion is asked for.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Asked {
    /// Leave out what nobody has accepted yet (blanks too).
    pub accepted_only: bool,
    /// Show the working.
    pub working: bool,
}
