//! A request as a handler sees it: who asks, which thing, with which parameters.

use crate::access::caller::Caller;
use crate::api::problem::{self, Problem};
use crate::model::magnitude;
use crate::model::shape::{Faults, Shape};
use crate::registry::correcting::Expected;
use crate::registry::refusal::Refusal;
use crate::store::versions::Page;
use axum::body::Bytes;
use axum::http::{HeaderMap, header};
use serde_json::Value;
use uuid::Uuid;

/// Items of a page if nothing else is asked for.
pub const PAGE: i64 = 50;
/// The most items of a page.
pub const PAGE_MOST: i64 = 500;
/// What is said of a cursor that was not given out.
const NO_CURSOR: &str = "must be a cursor from next of an earlier page";
/// The longest an Idempotency-Key may be.
const KEY_MOST: usize = 255;
/// The header in which a reader says what for.
pub(crate) const PURPOSE: &str = "X-Purpose";
/// The most characters of a stated purpose.
pub(crate) const PURPOSE_MOST: usize = 200;

/// Which part of a list that is made whole for every answer (conclusions) is asked for.
///
/// Its cursor is the count of items before it; clients are told nothing of what is in it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch {
    before: usize,
    limit: usize,
}

impl Stretch {
    /// The items of this part, and the cursor of the next one.
    ///
    /// # Errors
    /// A cursor that points past the list was not given out for it.
    pub fn cut<T>(self, mut items: Vec<T>) -> Result<(Vec<T>, Option<String>), Problem> {
        if self.before > 0 && self.before >= items.len() {
            let mut faults = Faults::default();
            faults.note("/after", NO_CURSOR);
            return Err(faults.into());
        }
        items.drain(..self.before);
        let more = items.len() > self.limit;
        items.truncate(self.limit);
        Ok((items, more.then(|| (self.before + self.limit).to_string())))
    }
}

/// A request whose credentials, role, parameters' names and media type have been looked at.
#[derive(Debug)]
pub struct Request {
    /// Who asks; nobody where no credentials are needed.
    pub caller: Caller,
    /// From where: the client's address.
    pub client: Option<String>,
    /// What for, as the caller said.
    pub purpose: Option<String>,
    /// The method.
    pub method: axum::http::Method,
    /// The path as sent.
    pub path: String,
    /// The route's template.
    pub route: &'static str,
    /// The parts of the path that the template names.
    pub parts: Vec<(String, String)>,
    /// The query parameters, decoded.
    pub query: Vec<(String, String)>,
    /// The query as sent.
    pub raw_query: String,
    /// The headers.
    pub headers: HeaderMap,
    /// The body.
    pub body: Bytes,
    /// Whether an empty body stands for an object without fields.
    pub body_optional: bool,
    /// The Idempotency-Key.
    pub key: Option<String>,
}

impl Request {
    /// A named part of the path; empty if the template has no such part.
    pub fn part(&self, name: &str) -> &str {
        self.parts.iter().find(|(part, _)| part == name).map_or("", |(_, value)| value)
    }

    /// The identifier in the path.
    ///
    /// # Errors
    /// What is no identifier is the name of nothing: 404.
    pub fn id(&self) -> Result<Uuid, Problem> {
        let text = self.part("id");
        Uuid::parse_str(text).ok().filter(|_| text.len() == 36).ok_or_else(Problem::unknown)
    }

    /// Which revisions the caller has read, by `If-Match`.
    ///
    /// # Errors
    /// 428 without the header; a tag that was never given out matches nothing.
    pub fn expected(&self) -> Result<Expected, Problem> {
        let mut revisions = Vec::new();
        let mut given = false;
        for tag in self.headers.get_all(header::IF_MATCH) {
            for tag in tag.to_str().unwrap_or_default().split(',').map(str::trim) {
                given = true;
                if tag == "*" {
                    return Ok(Expected::Any);
                }
                let revision = tag.strip_prefix('"').and_then(|tag| tag.split_once('-'));
                revisions.extend(revision.and_then(|(revision, _)| revision.parse::<i64>().ok()));
            }
        }
        if given { Ok(Expected::OneOf(revisions)) } else { Err(Refusal::NeedsMatch.into()) }
    }

    /// A query parameter as text.
    pub fn asked(&self, name: &str) -> Option<&str> {
        self.query.iter().find(|(given, _)| given == name).map(|(_, value)| value.as_str())
    }

    /// A query parameter, if it is given; a fault is noted under its name.
    pub fn parameter<T: Shape>(&self, name: &str, faults: &mut Faults) -> Option<T> {
        let text = self.asked(name)?;
        let bare = matches!(T::schema()["type"].as_str(), Some("boolean" | "integer" | "number"));
        let value = bare.then(|| serde_json::from_str(text).ok()).flatten();
        T::read(&value.unwrap_or_else(|| Value::String(text.to_owned())), &format!("/{name}"), faults)
    }

    /// A query parameter that must be given.
    pub fn needed<T: Shape>(&self, name: &str, faults: &mut Faults) -> Option<T> {
        if self.asked(name).is_none() {
            faults.note(format!("/{name}"), "is required as a query parameter");
        }
        self.parameter(name, faults)
    }

    /// Whether a query parameter is `true`.
    pub fn flag(&self, name: &str, faults: &mut Faults) -> bool {
        self.parameter::<bool>(name, faults).unwrap_or(false)
    }

    /// At most how many items are asked for.
    pub fn limit(&self, faults: &mut Faults) -> i64 {
        let limit = self.parameter::<i64>("limit", faults).unwrap_or(PAGE);
        if !(1..=PAGE_MOST).contains(&limit) {
            faults.note("/limit", format!("must be 1 to {PAGE_MOST}"));
        }
        limit
    }

    /// Which part of a list is asked for.
    ///
    /// # Errors
    /// A limit that is none, or a cursor that was not given out.
    pub fn page(&self) -> Result<Page, Problem> {
        let mut faults = Faults::default();
        let limit = self.limit(&mut faults);
        let after = self.asked("after").and_then(|cursor| {
            let read = Uuid::parse_str(cursor).ok();
            if read.is_none() {
                faults.note("/after", NO_CURSOR);
            }
            read
        });
        if faults.is_empty() { Ok(Page { after, limit }) } else { Err(faults.into()) }
    }

    /// Which part of a list that is made whole is asked for.
    pub fn stretch(&self, faults: &mut Faults) -> Stretch {
        let limit = usize::try_from(self.limit(faults)).unwrap_or_default();
        let before = self.asked("after").map_or(0, |cursor| {
            // Only the one way in which the number is written out, and never that of the first page.
            let read = cursor.parse::<usize>().ok();
            let read = read.filter(|before| *before > 0 && before.to_string() == cursor);
            if read.is_none() {
                faults.note("/after", NO_CURSOR);
            }
            read.unwrap_or_default()
        });
        Stretch { before, limit }
    }

    /// The body's media type without its parameters, in lower case.
    pub fn media_type(&self) -> String {
        media_type(&self.headers)
    }

    /// The body as JSON.
    ///
    /// # Errors
    /// 400 where it is none, 422 where a number of it is beyond any quantity.
    pub fn json(&self) -> Result<Value, Problem> {
        if self.body.is_empty() && self.body_optional {
            return Ok(Value::Object(serde_json::Map::new()));
        }
        let body = serde_json::from_slice(&self.body)
            .map_err(|error| Problem::new(&problem::UNREADABLE, format!("the body is not JSON: {error}")))?;
        let faults = magnitude::faults_of(&body);
        if faults.is_empty() { Ok(body) } else { Err(faults.into()) }
    }
}

/// The body's media type without its parameters, in lower case.
pub(crate) fn media_type(headers: &HeaderMap) -> String {
    let given = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    given.split(';').next().unwrap_or_default().trim().to_ascii_lowercase()
}

/// The Idempotency-Key: a quoted or a bare string of 1 to 255 printable characters.
///
/// # Errors
/// 400 for anything else.
pub(crate) fn idempotency_key(headers: &HeaderMap) -> Result<Option<String>, Problem> {
    let wrong = || {
        let detail = format!("Idempotency-Key must be 1 to {KEY_MOST} printable ASCII characters");
        Problem::new(&problem::UNREADABLE, detail)
    };
    let mut given = headers.get_all("idempotency-key").iter();
    let Some(value) = given.next() else { return Ok(None) };
    let text = value.to_str().map_err(|_| wrong())?.trim();
    let key = match text.strip_prefix('"') {
        Some(rest) => rest
            .strip_suffix('"')
            .filter(|inner| !inner.replace("\\\\", "").replace("\\\"", "").contains('"'))
            .ok_or_else(wrong)?
            .replace("\\\"", "\"")
            .replace("\\\\", "\\"),
        None => text.to_owned(),
    };
    let printable = key.bytes().all(|byte| (b' '..=b'~').contains(&byte));
    if given.next().is_some() || key.is_empty() || key.len() > KEY_MOST || !printable {
        return Err(wrong());
    }
    Ok(Some(key))
}

/// What a reader says he reads for: up to 200 printable characters in UTF-8.
///
/// # Errors
/// 400 for anything else.
pub(crate) fn purpose(headers: &HeaderMap) -> Result<Option<String>, Problem> {
    let wrong = || {
        let detail =
            format!("{PURPOSE} must be one text of 1 to {PURPOSE_MOST} printable characters in UTF-8");
        Problem::new(&problem::UNREADABLE, detail)
    };
    let mut given = headers.get_all(PURPOSE).iter();
    let Some(value) = given.next() else { return Ok(None) };
    let text = std::str::from_utf8(value.as_bytes()).map_err(|_| wrong())?.trim();
    let printable = !text.chars().any(char::is_control);
    if given.next().is_some() || text.is_empty() || text.chars().count() > PURPOSE_MOST || !printable {
        return Err(wrong());
    }
    Ok(Some(text.to_owned()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::http::HeaderValue;

    fn key(text: &str) -> Result<Option<String>, Problem> {
        let mut headers = HeaderMap::new();
        headers.insert("idempotency-key", HeaderValue::from_bytes(text.as_bytes()).unwrap());
        idempotency_key(&headers)
    }

    #[test]
    fn a_list_made_whole_is_cut_without_gap_and_a_cursor_past_its_end_is_a_fault() {
        let cut = |before, limit| Stretch { before, limit }.cut(vec!['a', 'b', 'c']);
        assert_eq!(cut(0, 2).unwrap(), (vec!['a', 'b'], Some("2".into())));
        assert_eq!(cut(2, 2).unwrap(), (vec!['c'], None));
        assert_eq!(cut(0, 3).unwrap(), (vec!['a', 'b', 'c'], None));
        assert!(cut(3, 2).is_err() && cut(usize::MAX, 2).is_err());
        let empty: Vec<char> = Vec::new();
        assert_eq!(Stretch { before: 0, limit: 2 }.cut(empty.clone()).unwrap(), (empty, None));
    }

    #[test]
    fn a_purpose_is_printable_and_has_an_end() {
        let of = |text: &str| {
            let mut headers = HeaderMap::new();
            headers.insert("x-purpose", HeaderValue::from_bytes(text.as_bytes()).unwrap());
            purpose(&headers)
        };
        assert_eq!(of(" periodic examination ").unwrap(), Some("periodic examination".into()));
        assert_eq!(of(&"é".repeat(200)).unwrap(), Some("é".repeat(200)));
        for wrong in ["", " ", "a\tb", &"x".repeat(201)] {
            assert!(of(wrong).is_err(), "{wrong}");
        }
        assert_eq!(purpose(&HeaderMap::new()).unwrap(), None);
    }

    // RFC 8941 section 3.3.3 for the quoted form, which draft-ietf-httpapi-idempotency-key-header asks for.
    #[test]
    fn a_key_may_be_quoted_or_bare_and_has_an_end() {
        assert_eq!(key("\"a b\"").unwrap(), Some("a b".into()));
        assert_eq!(key("\"a\\\"b\"").unwrap(), Some("a\"b".into()));
        assert_eq!(key("8e03978e-40d5").unwrap(), Some("8e03978e-40d5".into()));
        assert!(key(&"x".repeat(255)).is_ok());
        for wrong in ["", "\"", "\"a", "\"a\"b\"", "é", &"x".repeat(256)] {
            assert!(key(wrong).is_err(), "{wrong}");
        }
        assert_eq!(idempotency_key(&HeaderMap::new()).unwrap(), None);
    }
}
