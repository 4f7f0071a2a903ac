//! The one table of endpoints: router, API document and the test of who may do what all come from it.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::problem::Problem;
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::model::shape::{Faults, Shape};
use axum::http::{Method, StatusCode};
use serde_json::{Value, json};
use std::future::Future;
use std::pin::Pin;
use std::sync::LazyLock;

/// The most bytes of a JSON body.
pub const BODY_MOST: usize = 2 << 20;
/// The most bytes of a file.
pub const FILE_MOST: usize = 10 << 20;

/// Reads a body only to tell what is wrong with it.
pub type Reads = fn(&Value) -> Result<(), Faults>;
type Answering = Pin<Box<dyn Future<Output = Result<Reply, Problem>> + Send>>;
type Handler = Box<dyn Fn(App, Request) -> Answering + Send + Sync>;

/// Who may use an endpoint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Anybody, without credentials.
    Open,
    /// Whoever knows the secret that is part of the path, without other credentials.
    SecretInPath,
    /// Whoever has a valid account.
    AnyAccount,
    /// Whoever the policy lets do this.
    Needs(Action),
}

/// A named JSON Schema, for the components of the API document.
#[derive(Debug, Clone)]
pub struct Schema {
    /// Its name among the components; empty: written out in place.
    pub name: String,
    /// The schema.
    pub schema: Value,
    /// Other components that it refers to.
    pub parts: Vec<Schema>,
}

impl Schema {
    /// The schema of a shape.
    pub fn of<T: Shape>(name: impl Into<String>) -> Self {
        Self::named(name, T::schema())
    }

    /// Any schema.
    pub fn named(name: impl Into<String>, schema: Value) -> Self {
        Self { name: name.into(), schema, parts: Vec::new() }
    }

    /// The same, with other components that it refers to.
    #[must_use]
    pub fn with_parts(mut self, parts: impl IntoIterator<Item = Self>) -> Self {
        self.parts.extend(parts);
        self
    }

    /// The same with an example.
    #[must_use]
    pub fn such_as(mut self, example: Value) -> Self {
        self.schema["examples"] = Value::Array(vec![example]);
        self
    }

    /// A page of a list of these.
    #[must_use]
    pub fn list_of(&self) -> Self {
        let items = if self.name.is_empty() { self.schema.clone() } else { reference(&self.name) };
        let schema = json!({
            "type": "object",
            "properties": {
                "items": {"type": "array", "description": "What stands on this page.", "items": items},
                "next": {
                    "type": ["string", "null"],
                    "description": "Cursor of the next page, for ?after=; null on the last page.",
                },
            },
            "required": ["items", "next"],
        });
        Self::named("", schema).with_parts((!self.name.is_empty()).then(|| self.clone()))
    }

    /// An array of these.
    #[must_use]
    pub fn array_of(&self) -> Self {
        let items = if self.name.is_empty() { self.schema.clone() } else { reference(&self.name) };
        let parts = (!self.name.is_empty()).then(|| self.clone());
        Self::named("", json!({"type": "array", "items": items})).with_parts(parts)
    }
}

/// A reference to a component.
pub fn reference(name: &str) -> Value {
    json!({"$ref": format!("#/components/schemas/{name}")})
}

/// A query parameter.
#[derive(Debug, Clone)]
pub struct Parameter {
    /// Its name.
    pub name: &'static str,
    /// Its JSON Schema.
    pub schema: Value,
    /// What it does.
    pub description: &'static str,
    /// Whether it must be given.
    pub required: bool,
}

/// One media type that a request's body may have.
#[derive(Debug, Clone)]
pub struct BodyKind {
    /// The media type.
    pub media_type: &'static str,
    /// What it holds.
    pub schema: Schema,
    /// One that is right.
    pub example: Option<Value>,
    /// Reads a body, to prove the example.
    pub reads: Option<Reads>,
}

/// One answer that went well.
#[derive(Debug, Clone)]
pub struct AnswerKind {
    /// HTTP status.
    pub status: StatusCode,
    /// What it says.
    pub description: &'static str,
    /// The media type.
    pub media_type: &'static str,
    /// What it holds; none: no body.
    pub schema: Option<Schema>,
}

/// One endpoint.
pub struct Endpoint {
    /// The method.
    pub method: Method,
    /// The whole path, its parameters in braces.
    pub path: String,
    /// Who may use it.
    pub access: Access,
    /// Under which heading the API document lists it.
    pub tag: &'static str,
    /// What it does, in a few words.
    pub summary: String,
    /// What else there is to know.
    pub description: &'static str,
    /// The query parameters it knows; all others are faults.
    pub query: Vec<Parameter>,
    /// What its body may be.
    pub bodies: Vec<BodyKind>,
    /// Whether the body may be left out.
    pub body_optional: bool,
    /// The most bytes of its body.
    pub body_most: usize,
    /// Whether its answer carries an entity tag.
    pub tagged: bool,
    /// Whether a thing named in its query may be unknown.
    pub names_things: bool,
    /// The answers that went well.
    pub answers: Vec<AnswerKind>,
    pub(crate) handler: Handler,
}

impl std::fmt::Debug for Endpoint {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} {}", self.method, self.path)
    }
}

impl Endpoint {
    fn new<H, A>(method: Method, path: String, access: Access, handler: H) -> Self
    where
        H: Fn(App, Request) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Reply, Problem>> + Send + 'static,
    {
        Self {
            method,
            path,
            access,
            tag: "",
            summary: String::new(),
            description: "",
            query: Vec::new(),
            bodies: Vec::new(),
            body_optional: false,
            body_most: BODY_MOST,
            tagged: false,
            names_things: false,
            answers: Vec::new(),
            handler: Box::new(move |app, request| Box::pin(handler(app, request))),
        }
    }

    /// A `GET` below the API's base.
    pub fn get<H, A>(path: &str, access: Access, handler: H) -> Self
    where
        H: Fn(App, Request) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Reply, Problem>> + Send + 'static,
    {
        Self::new(Method::GET, format!("{}{path}", crate::api::BASE), access, handler)
    }

    /// A `POST` below the API's base.
    pub fn post<H, A>(path: &str, access: Access, handler: H) -> Self
    where
        H: Fn(App, Request) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Reply, Problem>> + Send + 'static,
    {
        Self::new(Method::POST, format!("{}{path}", crate::api::BASE), access, handler)
    }

    /// A `PATCH` below the API's base: a correction, which needs `If-Match`.
    pub fn patch<H, A>(path: &str, access: Access, handler: H) -> Self
    where
        H: Fn(App, Request) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Reply, Problem>> + Send + 'static,
    {
        Self::new(Method::PATCH, format!("{}{path}", crate::api::BASE), access, handler)
    }

    /// Whether it takes a body and writes.
    pub fn writes(&self) -> bool {
        self.method == Method::POST || self.method == Method::PATCH
    }

    /// Whether an answer may name workers and then leaves a line in the access log: whatever is read, or asked with a body that
    /// stores nothing. Who records knows what he recorded; the journal names him.
    pub fn leaves_a_line(&self) -> bool {
        let asks = ["/workers/search", "/limit-changes/preview"].iter().any(|end| self.path.ends_with(end));
        matches!(self.access, Access::Needs(_)) && (self.method == Method::GET || asks)
    }

    /// A `GET` for anybody, its path from the root.
    pub fn open<H, A>(path: &str, handler: H) -> Self
    where
        H: Fn(App, Request) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Reply, Problem>> + Send + 'static,
    {
        Self::new(Method::GET, path.to_owned(), Access::Open, handler)
    }

    /// The same endpoint with another handler: for a kind that needs more than the general way.
    #[must_use]
    pub fn handled_by<H, A>(mut self, handler: H) -> Self
    where
        H: Fn(App, Request) -> A + Send + Sync + 'static,
        A: Future<Output = Result<Reply, Problem>> + Send + 'static,
    {
        self.handler = Box::new(move |app, request| Box::pin(handler(app, request)));
        self
    }

    /// Answers with JSON, instead of what was said before.
    #[must_use]
    pub fn answers_instead(mut self, status: u16, description: &'static str, schema: Schema) -> Self {
        self.answers.clear();
        self.answers(status, description, schema)
    }

    /// Under which heading, and what it does in a few words.
    #[must_use]
    pub fn says(mut self, tag: &'static str, summary: impl Into<String>) -> Self {
        self.tag = tag;
        self.summary = summary.into();
        self
    }

    /// What else there is to know.
    #[must_use]
    pub fn more(mut self, description: &'static str) -> Self {
        self.description = description;
        self
    }

    /// Knows a query parameter.
    #[must_use]
    pub fn asks<T: Shape>(mut self, name: &'static str, description: &'static str) -> Self {
        self.query.push(Parameter { name, schema: T::schema(), description, required: false });
        self
    }

    /// Needs a query parameter.
    #[must_use]
    pub fn needs<T: Shape>(mut self, name: &'static str, description: &'static str) -> Self {
        self.query.push(Parameter { name, schema: T::schema(), description, required: true });
        self
    }

    /// Lists by pages.
    #[must_use]
    pub fn paged(mut self) -> Self {
        let limit = json!({"type": "integer", "minimum": 1, "maximum": 500, "default": 50});
        let limit = Parameter {
            name: "limit",
            schema: limit,
            description: "At most how many items.",
            required: false,
        };
        self.query.push(limit);
        self.asks::<String>("after", "The cursor from `next` of the page before.")
    }

    /// Takes a JSON body of a shape.
    #[must_use]
    pub fn takes<T: Shape>(self, name: impl Into<String>, example: Value) -> Self {
        self.takes_schema(Schema::of::<T>(name), example, |body| T::parse(body).map(drop))
    }

    /// Takes a JSON body that is described and read in another way.
    #[must_use]
    pub fn takes_schema(mut self, schema: Schema, example: Value, reads: Reads) -> Self {
        self.bodies.push(BodyKind {
            media_type: "application/json",
            schema,
            example: Some(example),
            reads: Some(reads),
        });
        self
    }

    /// Takes a file of another media type, up to [`FILE_MOST`] bytes.
    #[must_use]
    pub fn takes_file(mut self, media_type: &'static str, example: &str) -> Self {
        let schema = Schema::named("", json!({"type": "string"}));
        self.bodies.push(BodyKind { media_type, schema, example: Some(json!(example)), reads: None });
        self.body_most = FILE_MOST;
        self
    }

    /// The body may be left out.
    #[must_use]
    pub fn body_optional(mut self) -> Self {
        self.body_optional = true;
        self
    }

    /// Answers with JSON.
    #[must_use]
    pub fn answers(self, status: u16, description: &'static str, schema: Schema) -> Self {
        self.answers_with(status, description, "application/json", Some(schema))
    }

    /// Answers with one thing and its entity tag; `If-None-Match` may spare the body.
    #[must_use]
    pub fn answers_one(self, schema: Schema) -> Self {
        self.tagged().answers(200, "The thing as it is known now.", schema)
    }

    /// The answer carries an entity tag.
    #[must_use]
    pub fn tagged(mut self) -> Self {
        self.tagged = true;
        self
    }

    /// Its query names things: one out of sight is unknown like one in the path.
    #[must_use]
    pub fn names_things(mut self) -> Self {
        self.names_things = true;
        self
    }

    /// Answers with any media type.
    #[must_use]
    pub fn answers_with(
        mut self,
        status: u16,
        description: &'static str,
        media_type: &'static str,
        schema: Option<Schema>,
    ) -> Self {
        let status = StatusCode::from_u16(status).unwrap_or(StatusCode::OK);
        self.answers.push(AnswerKind { status, description, media_type, schema });
        self
    }
}

/// Every endpoint.
pub fn endpoints() -> &'static [Endpoint] {
    static ENDPOINTS: LazyLock<Vec<Endpoint>> = LazyLock::new(crate::api::all_endpoints);
    &ENDPOINTS
}
