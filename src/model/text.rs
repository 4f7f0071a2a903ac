//! Text that people enter: never empty, never with control characters, never endless.

use crate::model::shape::{Faults, Shape};
use serde_json::{Value, json};
use std::fmt;

macro_rules! texts {
    ($($(#[doc = $doc:literal])* $name:ident at most $max:literal),* $(,)?) => { $(
        $(#[doc = $doc])*
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(String);

        impl $name {
            /// Takes a text that holds something, nothing unprintable, and is not too long.
            pub fn new(text: &str) -> Option<Self> {
                let text = text.trim();
                let printable = !text.chars().any(|c| c.is_control() && c != '\n' && c != '\t');
                (printable && !text.is_empty() && text.chars().count() <= $max).then(|| Self(text.into()))
            }

            /// The text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str(&self.0)
            }
        }

        impl Shape for $name {
            fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
                let read = value.as_str().and_then(Self::new);
                if read.is_none() {
                    faults.note(at, concat!("must be a text of 1 to ", $max, " printable characters"));
                }
                read
            }

            fn write(&self) -> Option<Value> {
                Some(Value::String(self.0.clone()))
            }

            fn schema() -> Value {
                json!({"type": "string", "minLength": 1, "maxLength": $max})
            }
        }
    )* };
}

texts! {
    /// A short code or number, such as a group's code or a sample's number.
    Code at most 80,
    /// A name, title or a line of text.
    Line at most 300,
    /// A longer text.
    Text at most 8000,
    /// A paper as it was issued.
    Paper at most 200_000,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_refuses_control_characters_emptiness_and_endlessness() {
        assert!(Code::new("A-1").is_some());
        assert!(Code::new("  ").is_none());
        assert!(Code::new("a\0b").is_none());
        assert!(Code::new(&"x".repeat(81)).is_none());
    }
}
