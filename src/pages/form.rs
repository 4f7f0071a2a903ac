//! Fields by name, as a browser sends them, and what is wrong with them.

use crate::model::shape::Faults;
use axum::body::Bytes;
use std::convert::Infallible;

/// A file that was sent with a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SentFile {
    /// The field.
    pub field: String,
    /// The name that the browser gives it; of no use as a path.
    pub name: String,
    /// Its media type, as the browser guesses it.
    pub media_type: String,
    /// Its bytes.
    pub bytes: Bytes,
}

/// Reads a form with files; `None` where it is no such thing.
pub(crate) async fn parts(body: Bytes, content_type: &str) -> Option<(Form, Vec<SentFile>)> {
    let boundary = multer::parse_boundary(content_type).ok()?;
    let whole = futures_util::stream::once(async move { Ok::<Bytes, Infallible>(body) });
    let mut parts = multer::Multipart::new(whole, boundary);
    let (mut fields, mut files) = (Vec::new(), Vec::new());
    while let Some(part) = parts.next_field().await.ok()? {
        let field = part.name()?.to_owned();
        let media_type = part.content_type().map(ToString::to_string).unwrap_or_default();
        match part.file_name().map(str::to_owned) {
            // A field for a file that was left empty is sent without a name.
            Some(name) if !name.is_empty() => {
                files.push(SentFile { field, name, media_type, bytes: part.bytes().await.ok()? });
            }
            Some(_) => {}
            None => fields.push((field, part.text().await.ok()?)),
        }
    }
    Some((Form(fields), files))
}

/// Fields or query parameters in the order in which they were sent.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Form(Vec<(String, String)>);

impl Form {
    /// Reads what a browser sends as `application/x-www-form-urlencoded`; `None` where it is no such thing.
    pub fn parse(text: &[u8]) -> Option<Self> {
        serde_urlencoded::from_bytes(text).ok().map(Self)
    }

    /// The first value of a field without the blanks around it; empty where it was not sent.
    pub fn text(&self, name: &str) -> &str {
        self.raw(name).trim()
    }

    /// The first value of a field as it was typed.
    pub fn raw(&self, name: &str) -> &str {
        self.0.iter().find(|(field, _)| field == name).map_or("", |(_, value)| value)
    }

    /// The first value of a field; nothing where it is empty.
    pub fn given(&self, name: &str) -> Option<&str> {
        Some(self.text(name)).filter(|text| !text.is_empty())
    }

    /// Every value of a field.
    pub fn all<'f>(&'f self, name: &'f str) -> impl Iterator<Item = &'f str> {
        self.0.iter().filter(move |(field, _)| field == name).map(|(_, value)| value.as_str())
    }

    /// Whether a box was ticked.
    pub fn ticked(&self, name: &str) -> bool {
        self.0.iter().any(|(field, _)| field == name)
    }

    /// Every field with its value.
    pub fn iter(&self) -> impl Iterator<Item = (&str, &str)> {
        self.0.iter().map(|(name, value)| (name.as_str(), value.as_str()))
    }

    /// The same as a query, without the fields that are empty and without those named here.
    pub fn as_query(&self, without: &[&str]) -> String {
        let kept: Vec<&(String, String)> = self
            .0
            .iter()
            .filter(|(name, value)| !value.trim().is_empty() && !without.contains(&name.as_str()))
            .collect();
        serde_urlencoded::to_string(kept).unwrap_or_default()
    }
}

/// What is wrong in a form: by field, in the order of the faults.
#[derive(Debug, Clone, Default)]
pub struct Wrong(Vec<(String, String)>);

impl Wrong {
    /// The faults of a use case by the names of the fields: `/note` is the field `note`, `/roles/0/role` is `roles-0-role`.
    pub fn of(faults: &Faults) -> Self {
        let field = |pointer: &str| pointer.trim_start_matches('/').replace('/', "-");
        Self(faults.iter().map(|fault| (field(&fault.pointer), fault.detail.clone())).collect())
    }

    /// One fault.
    pub fn one(field: &str, detail: impl Into<String>) -> Self {
        Self(vec![(field.to_owned(), detail.into())])
    }

    /// Notes a further fault.
    pub fn note(&mut self, field: &str, detail: impl Into<String>) {
        self.0.push((field.to_owned(), detail.into()));
    }

    /// What is wrong with a field; empty where nothing is.
    pub fn at(&self, field: &str) -> &str {
        self.0.iter().find(|(name, _)| name == field).map_or("", |(_, detail)| detail)
    }

    /// Whether nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Every fault with its field.
    pub fn all(&self) -> &[(String, String)] {
        &self.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_form_is_read_and_written_back_as_a_query() {
        let form = Form::parse(b"site=ALD&kind=&note=a+%26+b&duty=1&duty=2").unwrap();
        assert_eq!(form.text("note"), "a & b");
        assert_eq!(form.given("kind"), None);
        assert_eq!(form.all("duty").collect::<Vec<_>>(), ["1", "2"]);
        assert_eq!(form.as_query(&["duty"]), "site=ALD&note=a+%26+b");
    }

    #[tokio::test]
    async fn a_form_with_a_file_is_read_into_fields_and_files() {
        let body = "--x\r\ncontent-disposition: form-data; name=\"note\"\r\n\r\na & b\r\n--x\r\n\
            content-disposition: form-data; name=\"report\"; filename=\"r.csv\"\r\ncontent-type: text/csv\r\n\r\n1,2\r\n--x--\r\n";
        let (form, files) = parts(body.into(), "multipart/form-data; boundary=x").await.unwrap();
        assert_eq!(form.text("note"), "a & b");
        assert_eq!(
            (files[0].field.as_str(), files[0].name.as_str(), &files[0].bytes[..]),
            ("report", "r.csv", &b"1,2"[..])
        );
        assert!(parts("--x".into(), "multipart/form-data; boundary=x").await.is_none());
    }

    #[test]
    fn faults_are_found_by_the_field() {
        let mut faults = Faults::default();
        faults.note("/note", "is required");
        faults.note("/roles/0/role", "is none");
        let wrong = Wrong::of(&faults);
        assert_eq!(
            (wrong.at("note"), wrong.at("roles-0-role"), wrong.at("on")),
            ("is required", "is none", "")
        );
    }
}
