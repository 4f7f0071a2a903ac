//! Places in a body, and a body with something else in one.

use serde_json::Value;

/// The pointers of a body and of everything in it that this holds of.
pub(crate) fn places(body: &Value, holds: fn(&Value) -> bool) -> Vec<String> {
    let mut found = Vec::new();
    walk(body, "", &mut |at, value| {
        if holds(value) {
            found.push(at.to_owned());
        }
    });
    found
}

/// Shows every value with its pointer, each before what it holds.
pub(crate) fn walk(value: &Value, at: &str, see: &mut impl FnMut(&str, &Value)) {
    see(at, value);
    match value {
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(n, item)| walk(item, &format!("{at}/{n}"), see));
        }
        Value::Object(members) => {
            members.iter().for_each(|(name, member)| walk(member, &format!("{at}/{name}"), see));
        }
        _ => {}
    }
}

/// The body with another value at a place.
pub(crate) fn with(body: &Value, at: &str, value: Value) -> Value {
    let mut body = body.clone();
    *body.pointer_mut(at).unwrap() = value;
    body
}

/// The body without a member or an item.
pub(crate) fn without(body: &Value, at: &str) -> Value {
    let mut body = body.clone();
    let (around, name) = at.rsplit_once('/').unwrap();
    match body.pointer_mut(around).unwrap() {
        Value::Array(items) => {
            items.remove(name.parse().unwrap());
        }
        Value::Object(members) => {
            members.remove(name);
        }
        other => panic!("{at} is in {other}"),
    }
    body
}
