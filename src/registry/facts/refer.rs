//! What checks of several kinds share: things referred to, and dates in order.

use crate::access::scope::Scope;
use crate::model::facts::agent::Agent;
use crate::model::identifiers::SiteId;
use crate::model::shape::Faults;
use crate::model::text::Code;
use crate::model::version::Version;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::tables::{Key, Stored};
use crate::store::versions::{self, Where};
use chrono::NaiveDate;
use uuid::Uuid;

/// The thing referred to; unknown, void and another site's are the same fault.
pub async fn existing<F: Stored>(
    change: &mut Change,
    scope: &Scope,
    site: Option<SiteId>,
    id: impl Into<Uuid>,
    at: &str,
    faults: &mut Faults,
) -> Result<Option<Version<F>>, Refusal> {
    let as_of = change.as_of();
    let found = versions::find::<F>(&mut change.tx, scope, as_of, id.into()).await?;
    let here = found
        .filter(|found| found.stands() && (site.is_none() || found.site.is_none() || found.site == site));
    if here.is_none() {
        faults.note(at, "is none that is known here");
    }
    Ok(here)
}

/// The agent of a code.
pub async fn agent(
    change: &mut Change,
    code: &Code,
    at: &str,
    faults: &mut Faults,
) -> Result<Option<Version<Agent>>, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_code = [Where::Is("code", Key::Text(Some(code.to_string()))), Where::Standing];
    let found = versions::list::<Agent>(&mut change.tx, &scope, as_of, &of_code, None).await?.pop();
    if found.is_none() {
        faults.note(at, format!("is no agent that is known: {code}"));
    }
    Ok(found)
}

/// Notes a fault unless `to` lies after `from`.
pub fn in_order(from: Option<NaiveDate>, to: Option<NaiveDate>, at: &str, faults: &mut Faults) {
    if let (Some(from), Some(to)) = (from, to)
        && to <= from
    {
        faults.note(at, "must be after the first day (it is the first day no longer)");
    }
}

/// Whether two spans of days share one.
pub fn spans_meet(
    (from, to): (NaiveDate, Option<NaiveDate>),
    (other_from, other_to): (NaiveDate, Option<NaiveDate>),
) -> bool {
    to.is_none_or(|to| other_from < to) && other_to.is_none_or(|other_to| from < other_to)
}

/// Notes a fault unless the number lies above `least` and at most at `most`.
pub fn within(value: Option<f64>, least: f64, most: f64, at: &str, faults: &mut Faults) {
    if value.is_some_and(|value| value <= least || value > most) {
        faults.note(at, format!("must be above {least} and at most {most}"));
    }
}
