//! The texts of the pages, in one catalogue a language: `templates/pages/texts/en.ftl` and those beside it whose names begin
//! with the language, in the form of Project Fluent.

use crate::pages::told;
use crate::pages::visit::Visit;
use fluent_bundle::concurrent::FluentBundle;
use fluent_bundle::{FluentArgs, FluentResource};
use std::sync::LazyLock;
use unic_langid::LanguageIdentifier;

/// The catalogue in English.
const ENGLISH: &str = concat!(
    include_str!("../../templates/pages/texts/en.ftl"),
    include_str!("../../templates/pages/texts/en-reading.ftl"),
    "\n",
    include_str!("../../templates/pages/texts/en-sampling.ftl"),
    "\n",
    include_str!("../../templates/pages/texts/en-correcting.ftl"),
);

/// The texts of one language.
pub struct Texts {
    language: &'static str,
    bundle: FluentBundle<FluentResource>,
}

impl std::fmt::Debug for Texts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Texts").field("language", &self.language).finish_non_exhaustive()
    }
}

/// The texts in English.
pub fn english() -> &'static Texts {
    static TEXTS: LazyLock<Texts> = LazyLock::new(|| Texts::read("en", ENGLISH));
    &TEXTS
}

impl Texts {
    /// The texts in the language of whoever looks. There is one language; the next one is chosen here.
    pub fn of(_: &Visit) -> &'static Self {
        english()
    }

    /// Reads a catalogue. What of it cannot be read is not there; the tests read every text.
    fn read(language: &'static str, catalogue: &str) -> Self {
        let resource = match FluentResource::try_new(catalogue.to_owned()) {
            Ok(resource) | Err((resource, _)) => resource,
        };
        let known: LanguageIdentifier = language.parse().unwrap_or_default();
        let mut bundle = FluentBundle::new_concurrent(vec![known]);
        // No marks of direction around what is put in: both languages run from left to right.
        bundle.set_use_isolating(false);
        bundle.add_resource_overriding(resource);
        Self { language, bundle }
    }

    /// The language's name in HTML.
    pub fn language(&self) -> &'static str {
        self.language
    }

    fn say(&self, key: &str, put_in: Option<&FluentArgs<'_>>) -> Option<String> {
        let pattern = self.bundle.get_message(key)?.value()?;
        let mut faults = Vec::new();
        let text = self.bundle.format_pattern(pattern, put_in, &mut faults).into_owned();
        for fault in faults {
            tracing::error!(key, %fault, "a text is not whole");
        }
        Some(text)
    }

    /// A text; its key where there is none, which a test finds.
    pub fn t(&self, key: &str) -> String {
        self.say(key, None).unwrap_or_else(|| key.to_owned())
    }

    /// A text about a number of things: `$n` decides on the form, `$count` is the number as it is told.
    pub fn n(&self, key: &str, number: usize) -> String {
        self.with_number(key, number, &[])
    }

    /// A text with things put in.
    pub fn with(&self, key: &str, what: &[(&str, &str)]) -> String {
        let mut put_in = FluentArgs::new();
        for (name, value) in what {
            put_in.set(*name, *value);
        }
        self.say(key, Some(&put_in)).unwrap_or_else(|| key.to_owned())
    }

    /// A text about a number of things with other things put in.
    pub fn with_number(&self, key: &str, number: usize, what: &[(&str, &str)]) -> String {
        let mut put_in = FluentArgs::new();
        for (name, value) in what {
            put_in.set(*name, *value);
        }
        put_in.set("n", number);
        put_in.set("count", told::count(i64::try_from(number).unwrap_or(i64::MAX)));
        self.say(key, Some(&put_in)).unwrap_or_else(|| key.to_owned())
    }

    /// A word of the API as people read it; the word itself where the family has no text for it.
    pub fn word(&self, family: &str, word: &str) -> String {
        let key = format!("{family}-{}", word.replace('_', "-"));
        self.say(&key, None).unwrap_or_else(|| told::words(word))
    }

    /// What is told once after a form was carried out; nothing for a key that is no such text.
    pub fn said(&self, key: &str) -> Option<String> {
        key.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'-').then_some(())?;
        self.say(&format!("said-{key}"), None)
    }
}

#[cfg(test)]
#[path = "texts/tests.rs"]
mod tests;
