//! How a command ends when it does not do what was asked.

use crate::model::shape::Faults;
use crate::registry::refusal::Refusal;
use crate::service::ServiceError;
use crate::settings::WrongSettings;
use crate::store::error::StoreError;
use std::fmt::Write as _;

/// Why a command did not do what was asked; it leaves with the exit code of its kind.
#[derive(Debug, thiserror::Error)]
pub enum Failure {
    /// Refused or failed.
    #[error("{0}")]
    Refused(String),
    /// Misused: an argument or a setting that cannot be meant.
    #[error("{0}")]
    Misused(String),
}

impl Failure {
    /// 1 refused or failed, 2 misused.
    pub const fn exit_code(&self) -> u8 {
        match self {
            Self::Refused(_) => 1,
            Self::Misused(_) => 2,
        }
    }
}

impl From<Refusal> for Failure {
    fn from(refusal: Refusal) -> Self {
        Self::Refused(in_words(&refusal))
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        Self::Refused(with_causes(&error))
    }
}

impl From<ServiceError> for Failure {
    fn from(error: ServiceError) -> Self {
        Self::Refused(with_causes(&error))
    }
}

impl From<WrongSettings> for Failure {
    fn from(wrong: WrongSettings) -> Self {
        Self::Misused(wrong.to_string())
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        Self::Refused(error.to_string())
    }
}

/// A refusal with every fault on a line of its own.
pub fn in_words(refusal: &Refusal) -> String {
    match refusal {
        Refusal::Faults(faults) => format!("{refusal}:{}", listed(faults)),
        Refusal::Conflict { detail, faults } => format!("{detail}{}", listed(faults)),
        Refusal::Store(error) | Refusal::Unreachable(error) | Refusal::NoRoom(error) => with_causes(error),
        other => other.to_string(),
    }
}

fn listed(faults: &Faults) -> String {
    let mut lines = String::new();
    for fault in faults.iter() {
        let place = if fault.pointer.is_empty() { "/" } else { &fault.pointer };
        write!(lines, "\n  {place} {}", fault.detail).expect("writing to a String cannot fail");
    }
    lines
}

fn with_causes(error: &dyn std::error::Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        write!(text, ": {error}").expect("writing to a String cannot fail");
        cause = error.source();
    }
    text
}
