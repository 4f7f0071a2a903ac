//! Recording, listing, reading and voiding a fact: the same for every kind.

use crate::access::caller::Caller;
use crate::access::policy::Action;
use crate::access::scope::Scope;
use crate::model::identifiers::SiteId;
use crate::model::shape::Faults;
use crate::model::version::Version;
use crate::registry::correcting::{Referrer, refuse_what_became_impossible};
use crate::registry::place::{Place, Under};
use crate::registry::reach::Reach;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::backend::Tx;
use crate::store::error::StoreError;
use crate::store::tables::Stored;
use crate::store::versions::{self, AsOf, Page, Where};
use serde_json::{Map, Value};
use std::future::Future;
use uuid::Uuid;

/// A kind of fact that people record.
pub trait Recorded: Stored {
    /// What it is recorded under.
    const UNDER: Under;
    /// The action that recording takes.
    const RECORD: Action;
    /// The action that reading takes.
    const READ: Action;
    /// The action that voiding takes, and taking a voiding back.
    const VOID: Action = Action::Void;
    /// What is said when its natural key is taken.
    const TAKEN: &'static str = "this has been recorded before";

    /// The fields that a correction leaves as they are, each with the reason.
    const FIXED: &'static [(&'static str, &'static str)] = &[];
    /// The fields that the registry fills in itself whenever the fact is checked.
    const FILLED_IN: &'static [&'static str] = &[];
    /// The name by which a correction may put it under another parent; nothing if not said otherwise.
    const MOVED_BY: Option<&'static str> = None;

    /// What refers to it in a way that a correction of these fields could make impossible, with what is wrong in each as
    /// things are.
    fn bound<'c>(
        _version: &'c Version<Self>,
        _fields: &'c Map<String, Value>,
        _change: &'c mut Change,
    ) -> impl Future<Output = Result<Vec<Referrer>, Refusal>> + Send + 'c {
        std::future::ready(Ok(Vec::new()))
    }

    /// What refers to it in a way that its voiding could make impossible, with what is wrong in each as things are; nothing
    /// if not said otherwise.
    fn bound_when_void<'c>(
        _version: &'c Version<Self>,
        _change: &'c mut Change,
    ) -> impl Future<Output = Result<Vec<Referrer>, Refusal>> + Send + 'c {
        std::future::ready(Ok(Vec::new()))
    }

    /// The corrected fact with what the registry notes in it of the correction itself.
    fn corrected<'c>(
        self,
        _before: &'c Version<Self>,
        _change: &'c mut Change,
    ) -> impl Future<Output = Result<Self, Refusal>> + Send + 'c {
        std::future::ready(Ok(self))
    }

    /// Carries a correction on to what came with it.
    fn follow_correction<'c>(
        _before: &'c Version<Self>,
        _after: &'c Version<Self>,
        _change: &'c mut Change,
    ) -> impl Future<Output = Result<(), Refusal>> + Send + 'c {
        std::future::ready(Ok(()))
    }

    /// What recording or voiding it there takes beside [`RECORD`](Self::RECORD) and [`VOID`](Self::VOID); nothing if not
    /// said otherwise.
    fn takes_beside(_place: &Place) -> Option<Action> {
        None
    }

    /// Looks at everything it refers to and notes every fault; may fill in what the registry knows. Where its shape says
    /// all there is to say, there is nothing to look at.
    fn check<'c>(
        &'c mut self,
        _place: &'c mut Place,
        _scope: &'c Scope,
        _change: &'c mut Change,
        _faults: &'c mut Faults,
    ) -> impl Future<Output = Result<(), Refusal>> + Send + 'c {
        std::future::ready(Ok(()))
    }

    /// Carries its voiding, or the withdrawal of it, on to what came with it. `before` is the position of the version
    /// before this one.
    fn follow_voiding<'c>(
        _version: &'c Version<Self>,
        _before: i64,
        _change: &'c mut Change,
    ) -> impl Future<Output = Result<(), Refusal>> + Send + 'c {
        std::future::ready(Ok(()))
    }

    /// What is to be remarked on recording it, as words; nothing if not said otherwise.
    fn remarks<'c>(
        &'c self,
        _place: &'c Place,
        _change: &'c mut Change,
    ) -> impl Future<Output = Result<Vec<&'static str>, Refusal>> + Send + 'c {
        std::future::ready(Ok(Vec::new()))
    }

    /// What a reader is told beside the fact as things are on the day of reading, as words; nothing if not said otherwise.
    fn told<'c>(
        _version: &'c Version<Self>,
        _tx: &'c mut Tx,
        _as_of: AsOf,
    ) -> impl Future<Output = Result<Vec<&'static str>, Refusal>> + Send + 'c {
        std::future::ready(Ok(Vec::new()))
    }

    /// What its recording or voiding makes stale; nothing if not said otherwise.
    fn reach(&self, _place: &Place) -> Vec<Reach> {
        Vec::new()
    }
}

/// A fact as an answer shows it: identity, place, fields, revision, position.
pub fn view<F: Recorded>(version: &Version<F>) -> Value {
    view_of(F::UNDER, version)
}

/// The same with what a reader is told beside the fact.
///
/// # Errors
/// Only when storage fails.
pub async fn shown<F: Recorded>(version: &Version<F>, tx: &mut Tx, as_of: AsOf) -> Result<Value, Refusal> {
    let mut view = view(version);
    let told = F::told(version, tx, as_of).await?;
    if !told.is_empty() {
        view["flags"] = told.into();
    }
    Ok(view)
}

/// The same for a kind that nobody records by hand.
pub fn view_of<F: Stored>(under: Under, version: &Version<F>) -> Value {
    let mut view = Map::new();
    view.insert("id".into(), Value::String(version.id.to_string()));
    let of_site = under.may_be_a_site() && version.parent == version.site.map(|site| site.0);
    if let (Some(field), Some(parent), false) = (under.field(), version.parent, of_site) {
        view.insert(field.into(), Value::String(parent.to_string()));
    }
    if let Some(SiteId(site)) = version.site {
        view.insert("site_id".into(), Value::String(site.to_string()));
    }
    if let Value::Object(fields) = version.fact.to_json() {
        view.extend(fields);
    }
    if let Some(voided) = &version.voided {
        view.insert("voided".into(), serde_json::json!({"reason": voided}));
    }
    view.insert(bookkeeping::<F>("revision").into(), version.revision.into());
    view.insert(bookkeeping::<F>("position").into(), version.position.into());
    Value::Object(view)
}

/// Under which name an answer tells the fact's revision or journal position.
///
/// A sample has a position of its own (breathing zone, area …) and a laboratory report a revision of its own; those are
/// what their readers ask for, so the bookkeeping of the same name goes by another.
pub fn bookkeeping<F: Stored>(field: &'static str) -> &'static str {
    match (F::TABLE.kind, field) {
        ("sample" | "direct_readings", "position") => "journal_position",
        ("lab_report", "revision") => "journal_revision",
        _ => field,
    }
}

/// Records a fact.
///
/// # Errors
/// Every fault in it, or what stands in its way.
pub async fn record<F: Recorded>(
    change: &mut Change,
    under: Under,
    parent: Option<Uuid>,
    body: &Value,
) -> Result<Version<F>, Refusal> {
    let scope = change.caller.may(F::RECORD)?;
    let as_of = change.as_of();
    let mut place = Place::under(&mut change.tx, &scope, as_of, under, parent).await?;
    if let Some(beside) = F::takes_beside(&place) {
        change.caller.may(beside)?;
    }
    place.must_stand()?;
    let mut fact = F::parse(body)?;
    let mut faults = Faults::default();
    fact.check(&mut place, &scope, change, &mut faults).await?;
    if !faults.is_empty() {
        return Err(faults.into());
    }
    let reach = fact.reach(&place);
    let version = change.add(&scope, place.site, place.parent, fact).await.map_err(taken::<F>)?;
    crate::registry::reach::mark(change, version.id, &reach).await?;
    Ok(version)
}

/// A duplicate in storage, told as the conflict it is.
pub fn taken<F: Recorded>(error: StoreError) -> Refusal {
    match error {
        StoreError::Duplicate => Refusal::taken(F::TAKEN),
        other => other.into(),
    }
}

/// One fact as it was known.
///
/// # Errors
/// [`Refusal::Unknown`] where there is none in sight.
pub async fn read<F: Recorded>(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    id: Uuid,
) -> Result<Version<F>, Refusal> {
    let scope = caller.may(F::READ)?;
    versions::find(tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)
}

/// A page of facts under one thing; one more than asked for tells whether there is a next page.
///
/// # Errors
/// [`Refusal::Unknown`] where the thing is not in sight.
pub async fn list<F: Recorded>(
    tx: &mut Tx,
    caller: &Caller,
    as_of: AsOf,
    under: Under,
    parent: Option<Uuid>,
    page: Page,
) -> Result<Vec<Version<F>>, Refusal> {
    let scope = caller.may(F::READ)?;
    let place = Place::under(tx, &scope, as_of, under, parent).await?;
    let restrictions: Vec<Where> = place.parent.map(Where::Parent).into_iter().collect();
    let more = Page { limit: page.limit + 1, ..page };
    Ok(versions::list(tx, &scope, as_of, &restrictions, Some(more)).await?)
}

/// Voids a fact: it stays readable, and no conclusion uses it any more.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict when it is void already.
pub async fn void<F: Recorded>(change: &mut Change, id: Uuid, reason: &str) -> Result<Version<F>, Refusal> {
    turn_voided::<F>(change, id, reason, true).await
}

/// Takes a voiding back.
///
/// # Errors
/// [`Refusal::Unknown`], or a conflict when it is not void.
pub async fn withdraw_voiding<F: Recorded>(
    change: &mut Change,
    id: Uuid,
    reason: &str,
) -> Result<Version<F>, Refusal> {
    turn_voided::<F>(change, id, reason, false).await
}

async fn turn_voided<F: Recorded>(
    change: &mut Change,
    id: Uuid,
    reason: &str,
    voided: bool,
) -> Result<Version<F>, Refusal> {
    let scope = change.caller.may(F::VOID)?;
    let as_of = change.as_of();
    let old = versions::find::<F>(&mut change.tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    if let Some(beside) = F::takes_beside(&Place::of(&old)) {
        change.caller.may(beside)?;
    }
    if old.voided.is_some() == voided {
        return Err(Refusal::taken(if voided { "this is void already" } else { "this is not void" }));
    }
    if !voided {
        // What was refused while it was void must be looked at again.
        let mut fact = old.fact.clone();
        let mut place = Place::of(&old);
        let mut faults = Faults::default();
        fact.check(&mut place, &scope, change, &mut faults).await?;
        if !faults.is_empty() {
            return Err(faults.into());
        }
    }
    let before = if voided { F::bound_when_void(&old, change).await? } else { Vec::new() };
    let deed = if voided { "voided" } else { "voiding withdrawn" };
    let mark = voided.then(|| reason.to_owned());
    let fact = old.fact.clone();
    let version = change.alter(&scope, &old, fact, mark, deed, Some(reason)).await?;
    F::follow_voiding(&version, old.position, change).await?;
    if voided {
        let after = F::bound_when_void(&version, change).await?;
        refuse_what_became_impossible(&before, &after)?;
    }
    let reach = version.fact.reach(&Place::of(&version));
    crate::registry::reach::mark(change, version.id, &reach).await?;
    Ok(version)
}
