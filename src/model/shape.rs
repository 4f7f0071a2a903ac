//! One description of every thing that crosses a border of the program.
//!
//! A [`Shape`] is read from JSON with *every* fault named by its pointer, written back to JSON, and described as a
//! JSON Schema for the API document. Bodies of requests, images in the journal and answers all use it, so the three
//! cannot drift apart. Declare one with [`record!`](crate::record) (an object) or [`words!`](crate::words) (one of a
//! few fixed words).

use chrono::{DateTime, NaiveDate, SubsecRound, Utc};
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// One thing wrong with what was sent: where, and what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// JSON pointer (RFC 6901) into the request's body.
    pub pointer: String,
    /// What is wrong, as a phrase that follows the pointer.
    pub detail: String,
}

/// Everything found wrong so far, in the order in which it was found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Faults(Vec<Fault>);

impl Faults {
    /// Adds a fault.
    pub fn note(&mut self, pointer: impl Into<String>, detail: impl Into<String>) {
        self.0.push(Fault { pointer: pointer.into(), detail: detail.into() });
    }

    /// Whether nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// How many there are.
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// The faults themselves.
    pub fn iter(&self) -> impl Iterator<Item = &Fault> {
        self.0.iter()
    }

    /// Takes over another list, each pointer put below `at`.
    pub fn take_below(&mut self, at: &str, other: Self) {
        for fault in other.0 {
            self.note(format!("{at}{}", fault.pointer), fault.detail);
        }
    }
}

/// Something that is read from JSON, written to it and described.
pub trait Shape: Sized {
    /// Whether the field may be left out.
    const OPTIONAL: bool = false;

    /// Reads a value; on `None` at least one fault was noted.
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self>;

    /// What a missing field means; by default a fault.
    fn absent(at: &str, faults: &mut Faults) -> Option<Self> {
        faults.note(at, "is required");
        None
    }

    /// The JSON of this value; `None` where the field is left out.
    fn write(&self) -> Option<Value>;

    /// Its JSON Schema (2020-12).
    fn schema() -> Value;

    /// Reads a whole body.
    ///
    /// # Errors
    /// Every fault that was found.
    fn parse(value: &Value) -> Result<Self, Faults> {
        let mut faults = Faults::default();
        match Self::read(value, "", &mut faults) {
            Some(read) if faults.is_empty() => Ok(read),
            _ => Err(faults),
        }
    }

    /// The JSON of a value that is always present.
    fn to_json(&self) -> Value {
        self.write().unwrap_or(Value::Null)
    }
}

impl<T: Shape> Shape for Option<T> {
    const OPTIONAL: bool = true;

    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        if value.is_null() { Some(None) } else { T::read(value, at, faults).map(Some) }
    }

    fn absent(_: &str, _: &mut Faults) -> Option<Self> {
        Some(None)
    }

    fn write(&self) -> Option<Value> {
        self.as_ref().and_then(Shape::write)
    }

    fn schema() -> Value {
        T::schema()
    }
}

impl<T: Shape> Shape for Vec<T> {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let Value::Array(items) = value else {
            faults.note(at, "must be a list");
            return None;
        };
        // Every member is read before giving up, so that all faults are named at once.
        let read: Vec<Option<T>> =
            items.iter().enumerate().map(|(n, item)| T::read(item, &format!("{at}/{n}"), faults)).collect();
        read.into_iter().collect()
    }

    fn write(&self) -> Option<Value> {
        Some(Value::Array(self.iter().filter_map(Shape::write).collect()))
    }

    fn schema() -> Value {
        json!({"type": "array", "items": T::schema()})
    }
}

/// Two objects shown as one: the members of the first, then those of the second.
#[derive(Debug, Clone, PartialEq)]
pub struct Joined<A, B>(pub A, pub B);

impl<A: Shape, B: Shape> Shape for Joined<A, B> {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let Value::Object(map) = value else {
            faults.note(at, "must be an object");
            return None;
        };
        let of_first = A::schema();
        let (mut first, mut second) = (Map::new(), Map::new());
        for (name, value) in map {
            let part = if of_first["properties"].get(name).is_some() { &mut first } else { &mut second };
            part.insert(name.clone(), value.clone());
        }
        let first = A::read(&Value::Object(first), at, faults);
        Some(Self(first?, B::read(&Value::Object(second), at, faults)?))
    }

    fn write(&self) -> Option<Value> {
        let mut joined = self.0.write()?;
        if let (Value::Object(joined), Some(Value::Object(second))) = (&mut joined, self.1.write()) {
            joined.extend(second);
        }
        Some(joined)
    }

    fn schema() -> Value {
        let (mut joined, second) = (A::schema(), B::schema());
        if let (Value::Object(into), Value::Object(from)) = (&mut joined["properties"], &second["properties"])
        {
            into.extend(from.clone());
        }
        let required = |schema: &Value| schema["required"].as_array().cloned().unwrap_or_default();
        let both: Vec<Value> = required(&joined).into_iter().chain(required(&second)).collect();
        if !both.is_empty() {
            joined["required"] = Value::Array(both);
        }
        joined
    }
}

impl Shape for bool {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        value.as_bool().or_else(|| {
            faults.note(at, "must be true or false");
            None
        })
    }

    fn write(&self) -> Option<Value> {
        Some(Value::Bool(*self))
    }

    fn schema() -> Value {
        json!({"type": "boolean"})
    }
}

impl Shape for f64 {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        match value.as_f64() {
            // Adding zero turns -0.0 into 0.0, which is also what comes back from SQLite.
            Some(number) if number.is_finite() => Some(number + 0.0),
            _ => {
                faults.note(at, "must be a number");
                None
            }
        }
    }

    fn write(&self) -> Option<Value> {
        // JSON knows no infinity: a figure that cannot be computed is left out.
        serde_json::Number::from_f64(*self).map(Value::Number)
    }

    fn schema() -> Value {
        json!({"type": "number"})
    }
}

impl Shape for i64 {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        value.as_i64().or_else(|| {
            faults.note(at, "must be a whole number");
            None
        })
    }

    fn write(&self) -> Option<Value> {
        Some(json!(self))
    }

    fn schema() -> Value {
        json!({"type": "integer"})
    }
}

/// Text that the registry itself writes (answers only; what people enter is a [`text`](crate::model::text)).
impl Shape for String {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        value.as_str().map(str::to_owned).or_else(|| {
            faults.note(at, "must be a text");
            None
        })
    }

    fn write(&self) -> Option<Value> {
        Some(Value::String(self.clone()))
    }

    fn schema() -> Value {
        json!({"type": "string"})
    }
}

impl Shape for NaiveDate {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let read = value.as_str().and_then(parse_date);
        if read.is_none() {
            faults.note(at, "must be a date of the calendar written as 2026-03-02");
        }
        read
    }

    fn write(&self) -> Option<Value> {
        Some(json!(self.format("%Y-%m-%d").to_string()))
    }

    fn schema() -> Value {
        json!({"type": "string", "format": "date", "examples": ["2026-03-02"]})
    }
}

/// A date written `YYYY-MM-DD`, between the years 1900 and 2199.
pub fn parse_date(text: &str) -> Option<NaiveDate> {
    use chrono::Datelike as _;
    (text.len() == 10)
        .then(|| NaiveDate::parse_from_str(text, "%Y-%m-%d").ok())
        .flatten()
        .filter(|date| (1900..2200).contains(&date.year()))
}

impl Shape for DateTime<Utc> {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let read = value.as_str().and_then(parse_instant);
        if read.is_none() {
            faults.note(at, "must be an instant with its offset, written as 2026-03-02T07:30:00-07:00");
        }
        read
    }

    fn write(&self) -> Option<Value> {
        Some(json!(write_instant(*self)))
    }

    fn schema() -> Value {
        json!({"type": "string", "format": "date-time", "examples": ["2026-03-02T07:30:00-07:00"]})
    }
}

/// An RFC 3339 instant with offset, cut to microseconds (what both databases keep).
pub fn parse_instant(text: &str) -> Option<DateTime<Utc>> {
    DateTime::parse_from_rfc3339(text).ok().map(|at| at.with_timezone(&Utc).trunc_subsecs(6))
}

/// An instant as text: UTC, with `Z`, decimals only where there are any.
pub fn write_instant(at: DateTime<Utc>) -> String {
    at.to_rfc3339_opts(chrono::SecondsFormat::AutoSi, true)
}

impl Shape for Uuid {
    fn read(value: &Value, at: &str, faults: &mut Faults) -> Option<Self> {
        let read = value.as_str().and_then(|text| Uuid::parse_str(text).ok());
        if read.is_none() {
            faults.note(at, "must be an identifier (a UUID)");
        }
        read
    }

    fn write(&self) -> Option<Value> {
        Some(json!(self.to_string()))
    }

    fn schema() -> Value {
        json!({"type": "string", "format": "uuid"})
    }
}

/// Any JSON, kept as it is: for the inputs of a working step and other free-form parts of an answer.
impl Shape for Value {
    fn read(value: &Value, _: &str, _: &mut Faults) -> Option<Self> {
        Some(value.clone())
    }

    fn write(&self) -> Option<Value> {
        Some(self.clone())
    }

    fn schema() -> Value {
        json!({})
    }
}

/// The members of a JSON object while it is read by [`record!`](crate::record).
#[derive(Debug)]
pub struct Members<'v> {
    map: &'v Map<String, Value>,
}

impl<'v> Members<'v> {
    /// The object's members; names that are none of `known` are faults by name.
    pub fn open(value: &'v Value, at: &str, known: &[&str], faults: &mut Faults) -> Option<Self> {
        let Value::Object(map) = value else {
            faults.note(at, "must be an object");
            return None;
        };
        for name in map.keys().filter(|name| !known.contains(&name.as_str())) {
            faults.note(format!("{at}/{}", escape(name)), "is no field of this thing");
        }
        Some(Self { map })
    }

    /// Reads one field.
    pub fn field<T: Shape>(&self, name: &str, at: &str, faults: &mut Faults) -> Option<T> {
        let pointer = format!("{at}/{name}");
        match self.map.get(name) {
            Some(value) => T::read(value, &pointer, faults),
            None => T::absent(&pointer, faults),
        }
    }
}

/// A name as a JSON-pointer segment.
fn escape(name: &str) -> String {
    name.replace('~', "~0").replace('/', "~1")
}

/// The schema of an object from its fields: name, description lines, schema, whether it may be left out.
pub fn object_schema(description: &[&str], fields: &[(&str, &[&str], Value, bool)]) -> Value {
    let join = |lines: &[&str]| lines.iter().map(|line| line.trim()).collect::<Vec<_>>().join(" ");
    let mut properties = Map::new();
    let mut required = Vec::new();
    for (name, lines, schema, optional) in fields {
        let mut schema = schema.clone();
        if let Value::Object(schema) = &mut schema
            && !lines.is_empty()
        {
            schema.insert("description".into(), Value::String(join(lines)));
        }
        properties.insert((*name).into(), schema);
        if !optional {
            required.push(json!(name));
        }
    }
    let mut object = json!({"type": "object", "properties": properties, "additionalProperties": false});
    if let Value::Object(object) = &mut object {
        if !required.is_empty() {
            object.insert("required".into(), Value::Array(required));
        }
        if !description.is_empty() {
            object.insert("description".into(), Value::String(join(description)));
        }
    }
    object
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{record, words};

    record! {
        /// A thing for these tests.
        pub(super) struct Thing {
            /// Its weight.
            weight: f64,
            /// Since when.
            from: Option<NaiveDate>,
            kind = "as": Option<Colour>,
            parts: Option<Vec<i64>>,
        }
    }

    words! {
        /// A colour.
        pub(super) enum Colour { Red = "red", DarkBlue = "dark_blue" }
    }

    #[test]
    fn every_fault_is_named_at_once_by_its_pointer() {
        let sent =
            json!({"weight": "x", "from": "2024-02-30", "as": "green", "parts": [1, "2", 3.5], "no/pe": 1});
        let faults = Thing::parse(&sent).unwrap_err();
        let pointers: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
        assert_eq!(pointers, ["/no~1pe", "/weight", "/from", "/as", "/parts/1", "/parts/2"]);
    }

    #[test]
    fn what_is_written_reads_back_the_same() {
        let sent = json!({"weight": 2.5, "as": "dark_blue", "parts": []});
        let thing = Thing::parse(&sent).unwrap();
        assert_eq!(thing.kind, Some(Colour::DarkBlue));
        assert_eq!(Colour::ALL.len(), 2);
        assert_eq!((Colour::Red.to_string().as_str(), Colour::Red.meaning()), ("red", ""));
        assert_eq!(thing.to_json(), sent);
    }

    #[test]
    fn the_schema_names_required_fields_and_refuses_others() {
        let schema = Thing::schema();
        assert_eq!(schema["required"], json!(["weight"]));
        assert_eq!(schema["additionalProperties"], json!(false));
        assert_eq!(schema["properties"]["weight"]["description"], json!("Its weight."));
    }
}
