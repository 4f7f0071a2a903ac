//! Correcting a fact: it was always so. The earlier version stays readable, and what a correction touches is worked out anew.
//!
//! A change from a day on is another fact; what is corrected here was wrong from the beginning.

use crate::access::scope::Scope;
use crate::model::shape::Faults;
use crate::model::text::Text;
use crate::model::version::Version;
use crate::registry::place::Place;
use crate::registry::reach;
use crate::registry::recording::{Recorded, taken};
use crate::registry::refusal::Refusal;
use crate::registry::writer::{Change, Moved};
use crate::store::versions::{self, Where};
use serde_json::{Map, Value};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Which revisions the caller has read, by `If-Match`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Expected {
    /// Whatever there is.
    Any,
    /// One of these.
    OneOf(Vec<i64>),
}

impl Expected {
    /// Whether a revision is one of them.
    pub(super) fn holds(&self, revision: i64) -> bool {
        match self {
            Self::Any => true,
            Self::OneOf(revisions) => revisions.contains(&revision),
        }
    }
}

/// The field of a correction that says why.
pub const REASON: &str = "reason";

/// Whether a correction touches one of these fields.
pub fn touches(fields: &Map<String, Value>, of: &[&str]) -> bool {
    of.iter().any(|field| fields.contains_key(*field))
}

/// At most so many referrers are named one by one; the rest are counted.
const NAMED_MOST: usize = 20;

/// A fact that refers to the one corrected, with what is wrong in it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Referrer {
    /// Its kind.
    kind: &'static str,
    /// Itself.
    id: Uuid,
    /// Whether the caller may be told which it is.
    in_sight: bool,
    /// What is wrong.
    faults: BTreeSet<String>,
}

impl Referrer {
    /// One that is known to be in the caller's sight.
    pub fn in_sight(kind: &'static str, id: Uuid, fault: Option<String>) -> Self {
        Self { kind, id, in_sight: true, faults: fault.into_iter().collect() }
    }

    /// Whether it is the fact of this identifier.
    pub fn is(&self, id: Uuid) -> bool {
        self.id == id
    }

    /// Notes what else is wrong in it.
    pub fn note(&mut self, fault: String) {
        self.faults.insert(fault);
    }
}

/// The standing facts of a kind that meet the restrictions, each with what is wrong in it as things are.
///
/// # Errors
/// Only when storage fails.
pub async fn referrers<R: Recorded>(
    change: &mut Change,
    restrictions: &[Where],
) -> Result<Vec<Referrer>, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let standing: Vec<Where> = restrictions.iter().cloned().chain([Where::Standing]).collect();
    let found = versions::list::<R>(&mut change.tx, &scope, as_of, &standing, None).await?;
    let seen = match change.caller.may(R::READ) {
        Ok(seen) => {
            let ids = found.iter().map(|one| one.id).collect();
            versions::in_sight(&mut change.tx, &seen, R::TABLE, as_of.position, ids).await?
        }
        Err(_) => BTreeSet::new(),
    };
    let mut referrers = Vec::with_capacity(found.len());
    for version in found {
        let (mut fact, mut place) = (version.fact.clone(), Place::of(&version));
        let mut faults = Faults::default();
        fact.check(&mut place, &scope, change, &mut faults).await?;
        referrers.push(Referrer {
            kind: R::TABLE.kind,
            id: version.id,
            in_sight: seen.contains(&version.id),
            faults: faults.iter().map(|fault| format!("{} {}", fault.pointer, fault.detail)).collect(),
        });
    }
    Ok(referrers)
}

/// Corrects a fact by a merge patch (RFC 7396) of its fields and a reason. `expected` says which revision the caller read.
///
/// # Errors
/// [`Refusal::Unknown`], [`Refusal::Stale`]; every fault in the corrected fact; what would become impossible by it.
pub async fn correct<F: Recorded>(
    change: &mut Change,
    id: Uuid,
    expected: &Expected,
    body: &Value,
) -> Result<Version<F>, Refusal> {
    let scope = change.caller.may(F::VOID)?;
    let as_of = change.as_of();
    let old = versions::find::<F>(&mut change.tx, &scope, as_of, id).await?.ok_or(Refusal::Unknown)?;
    if let Some(beside) = F::takes_beside(&Place::of(&old)) {
        change.caller.may(beside)?;
    }
    if !old.stands() {
        return Err(Refusal::taken("this is void: take the voiding back before correcting it"));
    }
    if !expected.holds(old.revision) {
        return Err(Refusal::Stale);
    }
    let mut faults = Faults::default();
    let patch = Patch::read::<F>(body, &mut faults);
    let Some(patch) = patch.filter(|_| faults.is_empty()) else { return Err(faults.into()) };
    let unmoved = Place::of(&old);
    if let (Some(parent), Some(name)) = (patch.parent, F::MOVED_BY) {
        let found = Place::under(&mut change.tx, &scope, as_of, F::UNDER, Some(parent)).await;
        if !found.is_ok_and(|place| !place.void) {
            return Err(Refusal::fault(&format!("/{name}"), "is none that is known here"));
        }
    }
    let before = F::bound(&old, &patch.fields, change).await?;
    let fact = F::parse(&patch.applied_to(&old.fact.to_json(), F::FILLED_IN))?;
    let mut place = Place { parent: patch.parent.or(unmoved.parent), ..unmoved };
    // The old version ends first, so that the checks of the new one do not meet it.
    change.end(&old).await?;
    let fact = checked(change, &scope, fact, &mut place).await?;
    if place.site != old.site {
        return Err(Refusal::fault("", "would move it to another site: void it and record it there"));
    }
    if fact.to_json() == old.fact.to_json() && place.parent == old.parent {
        return Err(Refusal::fault("", "changes nothing"));
    }
    let fact = fact.corrected(&old, change).await?;
    let reached = [old.fact.reach(&unmoved), fact.reach(&place)].concat();
    let moved = Moved { parent: place.parent, fact, reason: patch.reason.as_str() };
    let version = change.correct(&scope, &old, moved).await.map_err(taken::<F>)?;
    F::follow_correction(&old, &version, change).await?;
    let after = F::bound(&version, &patch.fields, change).await?;
    refuse_what_became_impossible(&before, &after)?;
    reach::mark(change, version.id, &reached).await?;
    Ok(version)
}

async fn checked<F: Recorded>(
    change: &mut Change,
    scope: &Scope,
    mut fact: F,
    place: &mut Place,
) -> Result<F, Refusal> {
    let mut faults = Faults::default();
    fact.check(place, scope, change, &mut faults).await?;
    if faults.is_empty() { Ok(fact) } else { Err(faults.into()) }
}

/// What is sent: the changed fields, the reason, and where the kind allows it another parent.
struct Patch {
    fields: Map<String, Value>,
    parent: Option<Uuid>,
    reason: Text,
}

impl Patch {
    fn read<F: Recorded>(body: &Value, faults: &mut Faults) -> Option<Self> {
        let Value::Object(sent) = body else {
            faults.note("", "must be an object with the changed fields and a reason");
            return None;
        };
        let mut fields = sent.clone();
        let reason = match fields.remove(REASON) {
            Some(reason) => reason.as_str().and_then(Text::new),
            None => None,
        };
        if reason.is_none() {
            faults.note("/reason", "is required: why the record was wrong");
        }
        let parent = F::MOVED_BY.and_then(|name| Some((name, fields.remove(name)?)));
        let parent = parent.and_then(|(name, value)| {
            let id = value.as_str().and_then(|text| Uuid::parse_str(text).ok());
            if id.is_none() {
                faults.note(format!("/{name}"), "must be an identifier");
            }
            id
        });
        if fields.is_empty() && parent.is_none() {
            faults.note("", "must hold at least one field to correct");
        }
        let bookkeeping = ["id", "site_id", "revision", "position", "voided"];
        let place = F::UNDER.field().into_iter().filter(|field| F::MOVED_BY != Some(*field));
        let own = |field: &str| F::schema()["properties"].get(field).is_some();
        for field in bookkeeping.into_iter().chain(place).filter(|field| !own(field)) {
            if fields.contains_key(field) {
                faults.note(format!("/{field}"), "cannot be corrected");
            }
        }
        for (field, why) in F::FIXED {
            if fields.contains_key(*field) {
                faults.note(format!("/{field}"), *why);
            }
        }
        for field in F::FILLED_IN {
            if fields.contains_key(*field) {
                faults.note(format!("/{field}"), "is written by the registry");
            }
        }
        Some(Self { fields, parent, reason: reason? })
    }

    /// The fact with the fields changed; what the registry fills in is left out, so that it is filled in anew.
    fn applied_to(&self, fact: &Value, filled_in: &[&str]) -> Value {
        let mut whole = fact.clone();
        if let Value::Object(whole) = &mut whole {
            whole.retain(|field, _| !filled_in.contains(&field.as_str()));
        }
        let patch = Value::Object(self.fields.clone());
        forget_reported(&mut whole, &patch);
        merge(&mut whole, &patch);
        whole
    }
}

/// The digits of a quantity are those of its value: where the value is corrected without them, they are the new one's.
fn forget_reported(target: &mut Value, patch: &Value) {
    let (Value::Object(target), Value::Object(patch)) = (target, patch) else { return };
    if patch.contains_key("value") {
        target.remove("reported");
    }
    for (field, value) in patch {
        if let Some(inner) = target.get_mut(field) {
            forget_reported(inner, value);
        }
    }
}

/// JSON Merge Patch, RFC 7396 section 2.
pub(super) fn merge(target: &mut Value, patch: &Value) {
    let Value::Object(patch) = patch else {
        *target = patch.clone();
        return;
    };
    if !target.is_object() {
        *target = Value::Object(Map::new());
    }
    let Value::Object(target) = target else { return };
    for (field, value) in patch {
        if value.is_null() {
            target.remove(field);
        } else {
            merge(target.entry(field.clone()).or_insert(Value::Null), value);
        }
    }
}

/// Names every fact that was possible before a correction, or a voiding, and is not after it.
///
/// # Errors
/// Those facts.
pub fn refuse_what_became_impossible(before: &[Referrer], after: &[Referrer]) -> Result<(), Refusal> {
    let nothing = BTreeSet::new();
    let known = |one: &Referrer| before.iter().find(|other| (other.kind, other.id) == (one.kind, one.id));
    let mut faults = Faults::default();
    let mut others = 0;
    for one in after {
        let had = known(one).map_or(&nothing, |other| &other.faults);
        let new: Vec<&str> = one.faults.difference(had).map(String::as_str).collect();
        if new.is_empty() {
            continue;
        }
        if one.in_sight && faults.len() < NAMED_MOST {
            faults.note("", format!("would leave {} {} impossible: {}", one.kind, one.id, new.join("; ")));
        } else {
            others += 1;
        }
    }
    if others > 0 {
        faults.note("", format!("would leave {others} further facts impossible that refer to it"));
    }
    if faults.is_empty() { Ok(()) } else { Err(faults.into()) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    // RFC 7396, Appendix A: the example test cases.
    #[test]
    fn a_merge_patch_is_applied_as_the_standard_says() {
        for (original, patch, result) in [
            (json!({"a": "b"}), json!({"a": "c"}), json!({"a": "c"})),
            (json!({"a": "b"}), json!({"b": "c"}), json!({"a": "b", "b": "c"})),
            (json!({"a": "b"}), json!({"a": null}), json!({})),
            (json!({"a": "b", "b": "c"}), json!({"a": null}), json!({"b": "c"})),
            (json!({"a": ["b"]}), json!({"a": "c"}), json!({"a": "c"})),
            (json!({"a": "c"}), json!({"a": ["b"]}), json!({"a": ["b"]})),
            (json!({"a": {"b": "c"}}), json!({"a": {"b": "d", "c": null}}), json!({"a": {"b": "d"}})),
            (json!({"a": [{"b": "c"}]}), json!({"a": [1]}), json!({"a": [1]})),
            (json!(["a", "b"]), json!(["c", "d"]), json!(["c", "d"])),
            (json!({"a": "b"}), json!(["c"]), json!(["c"])),
            (json!({"a": "foo"}), json!(null), json!(null)),
            (json!({"e": null}), json!({"a": 1}), json!({"e": null, "a": 1})),
            (json!([1, 2]), json!({"a": "b", "c": null}), json!({"a": "b"})),
            (json!({}), json!({"a": {"bb": {"ccc": null}}}), json!({"a": {"bb": {}}})),
        ] {
            let mut target = original.clone();
            merge(&mut target, &patch);
            assert_eq!(target, result, "{original} {patch}");
        }
    }

    #[test]
    fn only_what_a_correction_made_impossible_is_named_and_only_what_is_in_sight() {
        let one = |id, in_sight, faults: &[&str]| Referrer {
            kind: "assignment",
            id: Uuid::from_u128(id),
            in_sight,
            faults: faults.iter().map(|&fault| fault.to_owned()).collect(),
        };
        let before = [one(1, true, &["/from old"]), one(2, true, &[]), one(3, false, &[])];
        assert!(refuse_what_became_impossible(&before, &before).is_ok());
        let after = [one(1, true, &["/from old"]), one(2, true, &["/to new"]), one(3, false, &["/to new"])];
        let Err(Refusal::Faults(faults)) = refuse_what_became_impossible(&before, &after) else { panic!() };
        let said: Vec<_> = faults.iter().map(|fault| fault.detail.clone()).collect();
        assert_eq!(said.len(), 2);
        assert!(said[0].contains("00000002 impossible: /to new"), "{said:?}");
        assert!(said[1].contains("1 further") && !said[1].contains("00000003"), "{said:?}");
    }
}
