//! How far a long piece of work has come, for whoever waits for it.

/// What is being done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stage {
    /// Entries are walked.
    Entries,
    /// Lines of the access log are walked.
    AccessLog,
    /// Versions are counted against entries.
    Versions,
    /// Stored conclusions are compared, or computed.
    Conclusions,
    /// Uploaded files are held against their digests, or read again.
    Originals,
    /// The chunks of a backup are looked through.
    Chunks,
    /// Rows beside the journal are carried.
    Rows,
}

impl Stage {
    /// The stage in a word.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Entries => "entries",
            Self::AccessLog => "lines of the access log",
            Self::Versions => "versions",
            Self::Conclusions => "conclusions",
            Self::Originals => "originals",
            Self::Chunks => "chunks",
            Self::Rows => "rows",
        }
    }
}

/// How far it has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// What is being done.
    pub stage: Stage,
    /// How many are done.
    pub done: i64,
    /// Of how many, where that is known.
    pub of: Option<i64>,
}
