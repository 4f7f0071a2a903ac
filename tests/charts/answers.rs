//! What the running demonstration answers.

use doseward::model::shape::Shape;
use serde_json::Value;
use std::path::Path;

/// A demonstration with the tokens of its people.
pub(crate) struct Answers {
    address: String,
    tokens: Value,
    client: reqwest::Client,
}

impl Answers {
    pub(crate) fn of(address: &str, directory: &Path) -> Self {
        let note = std::fs::read_to_string(directory.join("demo.json")).unwrap();
        let note: Value = serde_json::from_str(&note).unwrap();
        Self {
            address: format!("{address}/api/v1"),
            tokens: note["tokens"].clone(),
            client: reqwest::Client::new(),
        }
    }

    /// An answer as the physician or somebody else gets it.
    pub(crate) async fn get(&self, role: &str, path: &str) -> Value {
        let token = self.tokens[role].as_str().unwrap();
        let sent =
            self.client.get(format!("{}{path}", self.address)).bearer_auth(token).send().await.unwrap();
        assert!(sent.status().is_success(), "{path}: {}", sent.status());
        sent.json().await.unwrap()
    }

    /// The items of a list.
    pub(crate) async fn items(&self, role: &str, path: &str) -> Vec<Value> {
        let mark = if path.contains('?') { '&' } else { '?' };
        let mut answer = self.get(role, &format!("{path}{mark}limit=200")).await;
        match answer["items"].take() {
            Value::Array(items) => items,
            _ => Vec::new(),
        }
    }
}

/// Answers as the views that they were written from.
pub(crate) fn views<V: Shape>(items: &[Value]) -> Vec<V> {
    items.iter().map(view).collect()
}

/// One answer as its view.
pub(crate) fn view<V: Shape>(item: &Value) -> V {
    V::parse(item).unwrap_or_else(|faults| panic!("{faults:?}\n{item:#}"))
}

/// A fact out of an answer that carries more than the fact.
pub(crate) fn fact<V: Shape>(item: &Value) -> V {
    let known = V::schema();
    let members = item.as_object().unwrap();
    let kept = members.iter().filter(|(name, _)| known["properties"].get(name.as_str()).is_some());
    view(&Value::Object(kept.map(|(name, value)| (name.clone(), value.clone())).collect()))
}

pub(crate) fn text<'v>(value: &'v Value, name: &str) -> &'v str {
    value[name].as_str().unwrap_or_default()
}
