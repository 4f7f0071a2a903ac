//! A laboratory's file while somebody looks at it: kept byte for byte with its head, and with what its names of agents
//! stand for.

use crate::model::text::Code;
use crate::pages::form::{Form, SentFile};
use crate::registry::journal::hex;
use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use serde_json::{Map, Value, json};
use sha2::{Digest as _, Sha256};
use std::collections::BTreeMap;

/// The fields of the head of a report, in the order in which they stand.
pub const HEAD: &[&str] =
    &["report_number", "laboratory", "received_on", "part", "revision", "accreditation"];

/// A file that is looked at.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct LabDraft {
    head: BTreeMap<String, String>,
    /// The file's name.
    pub name: String,
    /// Its bytes; none before one was sent.
    pub file: Vec<u8>,
    /// Which agents the laboratory's own names stand for.
    pub named: BTreeMap<String, Code>,
    /// Whether rows wait whose sample is not known.
    pub hold: bool,
}

impl LabDraft {
    /// What was sent, over what was kept: a file that is not sent anew stays.
    pub fn sent(kept: Option<Self>, form: &Form, file: Option<&SentFile>) -> Self {
        let mut draft = kept.unwrap_or_default();
        for field in HEAD {
            match form.given(field) {
                Some(text) => drop(draft.head.insert((*field).to_owned(), text.to_owned())),
                None => drop(draft.head.remove(*field)),
            }
        }
        draft.hold = form.ticked("hold");
        if let Some(file) = file {
            draft.name.clone_from(&file.name);
            draft.file = file.bytes.to_vec();
        }
        for (name, text) in form.iter() {
            let Some(code) = name.strip_prefix("text-").map(|n| form.text(&format!("code-{n}"))) else {
                continue;
            };
            match Code::new(code) {
                Some(code) => drop(draft.named.insert(text.to_owned(), code)),
                None => drop(draft.named.remove(text)),
            }
        }
        draft
    }

    /// A field of the head as it was typed.
    pub fn field(&self, name: &str) -> &str {
        self.head.get(name).map_or("", String::as_str)
    }

    /// The head as the reader of the file takes it.
    pub fn head(&self) -> Vec<(String, String)> {
        self.head.iter().map(|(name, text)| (name.clone(), text.clone())).collect()
    }

    /// As it is kept.
    pub fn to_draft(&self) -> String {
        let named: Map<String, Value> =
            self.named.iter().map(|(text, code)| (text.clone(), json!(code.as_str()))).collect();
        json!({
            "head": self.head, "name": self.name, "file": STANDARD.encode(&self.file), "named": named, "hold": self.hold,
        })
        .to_string()
    }

    /// As it was kept; nothing where it cannot be read.
    pub fn from_draft(draft: &str) -> Option<Self> {
        let kept: Value = serde_json::from_str(draft).ok()?;
        let pairs = |field: &str| kept[field].as_object().cloned().unwrap_or_default();
        let texts = |pairs: Map<String, Value>| {
            pairs.into_iter().filter_map(|(name, text)| Some((name, text.as_str()?.to_owned())))
        };
        Some(Self {
            head: texts(pairs("head")).collect(),
            name: kept["name"].as_str()?.to_owned(),
            file: STANDARD.decode(kept["file"].as_str()?).ok()?,
            named: texts(pairs("named")).filter_map(|(text, code)| Some((text, Code::new(&code)?))).collect(),
            hold: kept["hold"].as_bool().unwrap_or_default(),
        })
    }

    /// What tells this file, with everything said of it, from another.
    pub fn digest(&self) -> String {
        hex(&Sha256::digest(self.to_draft().as_bytes()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_kept_byte_for_byte_until_another_is_sent() {
        let form =
            Form::parse(b"report_number=L-1&hold=yes&text-0=Blei&code-0=lead&text-1=X&code-1=").unwrap();
        let file = SentFile {
            field: "file".into(),
            name: "r.csv".into(),
            media_type: String::new(),
            bytes: b"a,b\r\n\xff".to_vec().into(),
        };
        let draft = LabDraft::sent(None, &form, Some(&file));
        assert_eq!(LabDraft::from_draft(&draft.to_draft()), Some(draft.clone()));
        assert_eq!((draft.file.as_slice(), draft.named.len(), draft.hold), (&b"a,b\r\n\xff"[..], 1, true));
        let again = LabDraft::sent(Some(draft.clone()), &Form::parse(b"report_number=L-2").unwrap(), None);
        assert_eq!(
            (again.file.as_slice(), again.field("report_number"), again.hold),
            (draft.file.as_slice(), "L-2", false)
        );
        assert_ne!(again.digest(), draft.digest());
    }
}
