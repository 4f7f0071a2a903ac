//! Declares shapes: objects with named fields, and fixed words.

/// Declares an object: a struct whose fields are [`Shape`](crate::model::shape::Shape)s, read, written and described by their names.
///
/// An `Option` field may be left out. A field may carry another name in JSON: `as_ = "as": Kind`.
#[macro_export]
macro_rules! record {
    ($(#[doc = $doc:literal])* $vis:vis struct $name:ident {
        $($(#[doc = $field_doc:literal])* $field:ident $(= $json:literal)? : $ty:ty),* $(,)?
    }) => {
        $(#[doc = $doc])*
        #[derive(Debug, Clone, PartialEq)]
        $vis struct $name {
            $($(#[doc = $field_doc])* $vis $field: $ty,)*
        }

        impl $crate::model::shape::Shape for $name {
            fn read(
                value: &serde_json::Value,
                at: &str,
                faults: &mut $crate::model::shape::Faults,
            ) -> Option<Self> {
                const KNOWN: &[&str] = &[$($crate::record!(@name $field $($json)?)),*];
                let members = $crate::model::shape::Members::open(value, at, KNOWN, faults)?;
                $(let $field = members.field::<$ty>($crate::record!(@name $field $($json)?), at, faults);)*
                let _ = &members;
                Some(Self { $($field: $field?),* })
            }

            fn write(&self) -> Option<serde_json::Value> {
                let mut map = serde_json::Map::new();
                $(if let Some(value) = $crate::model::shape::Shape::write(&self.$field) {
                    map.insert($crate::record!(@name $field $($json)?).into(), value);
                })*
                Some(serde_json::Value::Object(map))
            }

            fn schema() -> serde_json::Value {
                $crate::model::shape::object_schema(&[$($doc),*], &[
                    $((
                        $crate::record!(@name $field $($json)?),
                        &[$($field_doc),*] as &[&str],
                        <$ty as $crate::model::shape::Shape>::schema(),
                        <$ty as $crate::model::shape::Shape>::OPTIONAL,
                    )),*
                ])
            }
        }
    };
    (@name $field:ident) => { stringify!($field) };
    (@name $field:ident $json:literal) => { $json };
}

/// Declares one of a few fixed words: an enum with its snake_case words.
#[macro_export]
macro_rules! words {
    ($(#[doc = $doc:literal])* $vis:vis enum $name:ident {
        $($(#[doc = $word_doc:literal])* $variant:ident = $word:literal),* $(,)?
    }) => {
        $(#[doc = $doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        $vis enum $name {
            $($(#[doc = $word_doc])* $variant,)*
        }

        impl $name {
            /// Every word, in the order of the contract.
            $vis const ALL: &'static [Self] = &[$(Self::$variant),*];

            /// The word as the API writes it.
            $vis const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word),* }
            }

            /// What the word means, for the API document.
            $vis const fn meaning(self) -> &'static str {
                match self { $(Self::$variant => concat!("" $(, $word_doc)*)),* }
            }

            /// The value of a word.
            $vis fn from_word(word: &str) -> Option<Self> {
                match word { $($word => Some(Self::$variant),)* _ => None }
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                f.write_str(self.as_str())
            }
        }

        impl $crate::model::shape::Shape for $name {
            fn read(
                value: &serde_json::Value,
                at: &str,
                faults: &mut $crate::model::shape::Faults,
            ) -> Option<Self> {
                let read = value.as_str().and_then(Self::from_word);
                if read.is_none() {
                    faults.note(at, concat!("must be one of", $(" ", $word),*));
                }
                read
            }

            fn write(&self) -> Option<serde_json::Value> {
                Some(serde_json::Value::String(self.as_str().into()))
            }

            fn schema() -> serde_json::Value {
                serde_json::json!({"type": "string", "enum": [$($word),*]})
            }
        }
    };
}
