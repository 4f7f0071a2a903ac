//! Recording, listing, reading and voiding over HTTP: the same for every kind of fact.

use crate::access::policy::Action;
use crate::api::App;
use crate::api::endpoint::{Access, Endpoint, Schema};
use crate::api::problem::Problem;
use crate::api::questions::{note_named, spanned};
use crate::api::reply::Reply;
use crate::api::request::Request;
use crate::api::writing::{Made, write};
use crate::model::shape::Shape;
use crate::model::version::Version;
use crate::registry::correcting::{self, REASON};
use crate::registry::facts::results::Because;
use crate::registry::place::{Place, Under};
use crate::registry::recording::{self, Recorded};
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::versions::Page;
use serde_json::{Map, Value, json};
use uuid::Uuid;

/// How a kind of fact is named to people and in addresses.
#[derive(Debug, Clone, Copy)]
pub struct Naming {
    /// The heading of the API document.
    pub tag: &'static str,
    /// One of them, with its article ("a control period").
    pub one: &'static str,
    /// Several ("control periods").
    pub many: &'static str,
    /// The last name of its paths ("control-periods").
    pub last: &'static str,
    /// Its name among the components of the API document ("ControlPeriod").
    pub component: &'static str,
}

/// Records and lists a kind of fact under a thing: `POST` and `GET` of one path.
pub fn collection<F: Recorded>(path: &str, under: Under, naming: Naming, example: Value) -> [Endpoint; 2] {
    let list_under = if under == Under::AnyWorker { Under::Worker } else { under };
    [
        Endpoint::get(path, Access::Needs(F::READ), move |app, request| list::<F>(app, request, list_under))
            .says(naming.tag, format!("List {}", naming.many))
            .paged()
            .answers(
                200,
                "A page, in the order in which they were first recorded.",
                answer::<F>(naming).list_of(),
            ),
        Endpoint::post(path, Access::Needs(F::RECORD), move |app, request| {
            create::<F>(app, request, under, naming.last)
        })
        .says(naming.tag, format!("Record {}", naming.one))
        .takes::<F>(naming.component, example)
        .answers(201, "Recorded.", answer::<F>(naming)),
    ]
}

/// Reads one fact of a kind, corrects it, voids it and takes the voiding back.
pub fn item<F: Recorded>(naming: Naming) -> [Endpoint; 4] {
    let path = format!("/{}/{{id}}", naming.last);
    let read = Endpoint::get(&path, Access::Needs(F::READ), read::<F>);
    let [void, withdraw] =
        voiding(&path, naming, Access::Needs(F::VOID), answer::<F>(naming), |path, access| {
            [
                Endpoint::post(&format!("{path}/voiding"), access, move |app, request| {
                    turn::<F>(app, request, true, naming.last)
                }),
                Endpoint::post(&format!("{path}/voiding-withdrawal"), access, move |app, request| {
                    turn::<F>(app, request, false, naming.last)
                }),
            ]
        });
    [described_read(read, naming, answer::<F>(naming)), correction::<F>(naming), void, withdraw]
}

/// Corrects a fact of a kind.
pub fn correction<F: Recorded>(naming: Naming) -> Endpoint {
    let path = format!("/{}/{{id}}", naming.last);
    described_correction(
        Endpoint::patch(&path, Access::Needs(F::VOID), correct::<F>),
        naming,
        correction_schema::<F>(naming),
        answer::<F>(naming),
    )
}

fn described_correction(endpoint: Endpoint, naming: Naming, takes: Schema, answers: Schema) -> Endpoint {
    endpoint
        .says(naming.tag, format!("Correct {}", naming.one))
        .more(
            "A JSON merge patch (RFC 7396) of the fields that were recorded wrongly, with a reason: it was always so. What \
             changed on a day is another fact. Everything that refers to the fact is looked at again; what would become \
             impossible is named, beyond the caller's sight only counted. The earlier revision stays readable.",
        )
        .takes_schema(takes, json!({"reason": "Typed wrongly."}), |body| Because::parse(body).map(drop))
        .answers(200, "As it is known now.", answers)
}

/// The fields of a kind that can be corrected, none of them required, and the reason.
fn correction_schema<F: Recorded>(naming: Naming) -> Schema {
    let mut schema = F::schema();
    if let Some(Value::Object(fields)) = schema.get_mut("properties") {
        let fixed = F::FIXED.iter().map(|(field, _)| *field).chain(F::FILLED_IN.iter().copied());
        fixed.for_each(|field| drop(fields.remove(field)));
        if let Some(parent) = F::MOVED_BY {
            let id = json!({"type": "string", "format": "uuid", "description": "What it belongs under."});
            fields.insert(parent.into(), id);
        }
        let reason = json!({"type": "string", "description": "Why the record was wrong."});
        fields.insert(REASON.into(), reason);
    }
    schema["required"] = json!([REASON]);
    Schema::named(format!("{}Correction", naming.component), schema)
}

async fn correct<F: Recorded>(app: App, request: Request) -> Result<Reply, Problem> {
    let (id, expected) = (request.id()?, request.expected()?);
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let version = correcting::correct::<F>(change, id, &expected, body).await?;
            let as_of = change.as_of();
            Ok(Made::changed(recording::shown(&version, &mut change.tx, as_of).await?))
        })
    })
    .await
}

async fn correct_either<F: Recorded, G: Recorded>(app: App, request: Request) -> Result<Reply, Problem> {
    let (id, expected) = (request.id()?, request.expected()?);
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let view = match correcting::correct::<F>(change, id, &expected, body).await {
                Ok(version) => recording::view(&version),
                Err(first @ (Refusal::Unknown | Refusal::Forbidden)) => {
                    match correcting::correct::<G>(change, id, &expected, body).await {
                        Ok(version) => recording::view(&version),
                        Err(Refusal::Unknown) => return Err(first),
                        Err(second) => return Err(second),
                    }
                }
                Err(first) => return Err(first),
            };
            Ok(Made::changed(view))
        })
    })
    .await
}

/// The same for two kinds that share the last name of their paths: the one is tried, then the other.
pub fn either_item<F: Recorded, G: Recorded>(naming: Naming, schema: Schema) -> [Endpoint; 4] {
    let path = format!("/{}/{{id}}", naming.last);
    let read = Endpoint::get(&path, Access::Needs(F::READ), read_either::<F, G>);
    let [void, withdraw] =
        voiding(&path, naming, Access::Needs(Action::Void), schema.clone(), |path, access| {
            [
                Endpoint::post(&format!("{path}/voiding"), access, move |app, request| {
                    turn_either::<F, G>(app, request, true, naming.last)
                }),
                Endpoint::post(&format!("{path}/voiding-withdrawal"), access, move |app, request| {
                    turn_either::<F, G>(app, request, false, naming.last)
                }),
            ]
        });
    let parts = [correction_schema::<F>(naming), correction_schema::<G>(naming)];
    let takes = json!({"anyOf": parts.each_ref().map(|part| part.schema.clone())});
    let correct = described_correction(
        Endpoint::patch(&path, Access::Needs(Action::Void), correct_either::<F, G>),
        naming,
        Schema::named(format!("{}OrOtherCorrection", naming.component), takes),
        schema.clone(),
    );
    [described_read(read, naming, schema), correct, void, withdraw]
}

fn described_read(endpoint: Endpoint, naming: Naming, schema: Schema) -> Endpoint {
    endpoint.says(naming.tag, format!("Read {}", naming.one)).answers_one(schema)
}

fn voiding(
    path: &str,
    naming: Naming,
    access: Access,
    schema: Schema,
    make: impl Fn(&str, Access) -> [Endpoint; 2],
) -> [Endpoint; 2] {
    let [void, withdraw] = make(path, access);
    [
        void.says(naming.tag, format!("Void {}", naming.one))
            .more("It stays readable and leaves every conclusion.")
            .takes::<Because>("Because", json!({"reason": "Entered twice."}))
            .answers(201, "Voided.", schema.clone()),
        withdraw
            .says(naming.tag, format!("Take the voiding of {} back", naming.one))
            .more("What was checked on recording is checked again.")
            .takes::<Because>("Because", json!({"reason": "It was right after all."}))
            .answers(201, "It stands again.", schema),
    ]
}

/// The schema of a fact in answers: identity, place, fields, revision, position.
pub fn answer<F: Recorded>(naming: Naming) -> Schema {
    Schema::named(format!("{}Answer", naming.component), answer_schema::<F>(F::UNDER))
}

fn answer_schema<F: Recorded>(under: Under) -> Value {
    let id = |description: &str| json!({"type": "string", "format": "uuid", "description": description});
    let mut schema = F::schema();
    let mut fields = Map::new();
    fields.insert("id".into(), id("Its identifier, the same over all revisions."));
    if let Some(parent) = under.field() {
        fields.insert(parent.into(), id("What it was recorded under."));
    }
    fields.entry("site_id").or_insert_with(|| id("The site it belongs to, if it belongs to one."));
    if let Some(Value::Object(own)) = schema.get_mut("properties").map(Value::take) {
        fields.extend(own);
    }
    fields.insert(
        "voided".into(),
        json!({
            "type": "object",
            "description": "There if it is void: no conclusion uses it.",
            "properties": {"reason": {"type": "string", "description": "Why it was voided."}},
            "required": ["reason"],
        }),
    );
    let number = |description: &str| json!({"type": "integer", "description": description});
    let [revision, position] = ["revision", "position"].map(recording::bookkeeping::<F>);
    fields.insert(revision.into(), number("1 at first, one more with every change."));
    fields.insert(position.into(), number("The journal position that brought this revision."));
    schema["properties"] = Value::Object(fields);
    if let Value::Object(schema) = &mut schema {
        // More may be added to answers; a program must not stumble over it.
        schema.remove("additionalProperties");
        let required = schema.entry("required").or_insert_with(|| json!([]));
        if let Value::Array(required) = required {
            required.extend(["id", revision, position].map(Value::from));
        }
    }
    schema
}

/// Records a fact under the thing in the path.
pub async fn create<F: Recorded>(
    app: App,
    request: Request,
    under: Under,
    last: &'static str,
) -> Result<Reply, Problem> {
    let parent = if under == Under::Nothing { None } else { Some(request.id()?) };
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let version = recording::record::<F>(change, under, parent, body).await?;
            let as_of = change.as_of();
            let mut view = recording::shown(&version, &mut change.tx, as_of).await?;
            let remarks = version.fact.remarks(&Place::of(&version), change).await?;
            if !remarks.is_empty() {
                view["flags"] = json!(remarks);
            }
            Ok(Made::new(&format!("/{last}/{}", version.id), view))
        })
    })
    .await
}

/// A page of the facts under the thing in the path.
pub async fn list<F: Recorded>(app: App, request: Request, under: Under) -> Result<Reply, Problem> {
    let parent = if under == Under::Nothing { None } else { Some(request.id()?) };
    let page = request.page()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let found = recording::list::<F>(&mut tx, &request.caller, as_of, under, parent, page).await?;
    let mut items = Vec::with_capacity(found.len());
    for version in &found {
        items.push((version.id, recording::shown(version, &mut tx, as_of).await?));
    }
    drop(tx);
    note_named(&app, &request, as_of, spanned(&request, scope_of(under)), shown(page, &items)).await?;
    Ok(Reply::items(&request, page.limit, items))
}

/// What a list of facts spans, in a word.
const fn scope_of(under: Under) -> &'static str {
    match under {
        Under::Group => "group",
        Under::Event => "event",
        _ => "site",
    }
}

/// What one fact that names several workers spans: its site.
fn of_site<F: Recorded>(version: &Version<F>) -> String {
    version.site.map_or_else(|| F::TABLE.kind.to_owned(), |site| format!("site {site}"))
}

/// Those of a list that stand on the page asked for: one more was read to see whether there is a next one.
pub(crate) fn shown(page: Page, items: &[(Uuid, Value)]) -> impl Iterator<Item = &Value> {
    items.iter().take(usize::try_from(page.limit).unwrap_or_default()).map(|(_, view)| view)
}

/// One fact.
pub async fn read<F: Recorded>(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let version = recording::read::<F>(&mut tx, &request.caller, as_of, id).await?;
    let view = recording::shown(&version, &mut tx, as_of).await?;
    drop(tx);
    note_named(&app, &request, as_of, of_site(&version), [&view]).await?;
    Ok(Reply::one(&request, version.revision, &view))
}

async fn read_either<F: Recorded, G: Recorded>(app: App, request: Request) -> Result<Reply, Problem> {
    let id = request.id()?;
    let mut tx = app.registry.database.read().await?;
    let as_of = app.registry.now(&mut tx).await?;
    let first = recording::read::<F>(&mut tx, &request.caller, as_of, id).await;
    let (revision, view, scope) = match first {
        Err(Refusal::Unknown) => {
            let other = recording::read::<G>(&mut tx, &request.caller, as_of, id).await;
            // Whoever may not read the second kind learns only that it is none of the first.
            let other = other.map_err(|refusal| {
                if matches!(refusal, Refusal::Forbidden) { Refusal::Unknown } else { refusal }
            })?;
            (other.revision, recording::view(&other), of_site(&other))
        }
        first => {
            let first = first?;
            (first.revision, recording::view(&first), of_site(&first))
        }
    };
    drop(tx);
    note_named(&app, &request, as_of, scope, [&view]).await?;
    Ok(Reply::one(&request, revision, &view))
}

async fn turn<F: Recorded>(
    app: App,
    request: Request,
    voided: bool,
    last: &'static str,
) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let because = Because::parse(body)?;
            let version = turn_voided::<F>(change, id, because.reason.as_str(), voided).await?;
            let as_of = change.as_of();
            let view = recording::shown(&version, &mut change.tx, as_of).await?;
            Ok(Made::new(&format!("/{last}/{id}"), view))
        })
    })
    .await
}

async fn turn_either<F: Recorded, G: Recorded>(
    app: App,
    request: Request,
    voided: bool,
    last: &'static str,
) -> Result<Reply, Problem> {
    let id = request.id()?;
    write(app, request, move |change, _, body| {
        Box::pin(async move {
            let because = Because::parse(body)?;
            let reason = because.reason.as_str();
            let view = match turn_voided::<F>(change, id, reason, voided).await {
                Ok(version) => recording::view(&version),
                Err(first @ (Refusal::Unknown | Refusal::Forbidden)) => {
                    match turn_voided::<G>(change, id, reason, voided).await {
                        Ok(version) => recording::view(&version),
                        Err(Refusal::Unknown) => return Err(first),
                        Err(second) => return Err(second),
                    }
                }
                Err(first) => return Err(first),
            };
            Ok(Made::new(&format!("/{last}/{id}"), view))
        })
    })
    .await
}

/// Voids a fact, or takes its voiding back.
pub(crate) async fn turn_voided<F: Recorded>(
    change: &mut Change,
    id: Uuid,
    reason: &str,
    voided: bool,
) -> Result<Version<F>, Refusal> {
    if voided {
        recording::void::<F>(change, id, reason).await
    } else {
        recording::withdraw_voiding::<F>(change, id, reason).await
    }
}
