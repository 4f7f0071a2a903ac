//! When samplers ran: inside the shift, and never two at once where there can be only one.

use crate::access::scope::Scope;
use crate::model::facts::sampling::{Covers, Run, Sample, SampleOutcome};
use crate::model::facts::site::TimeZone;
use crate::model::identifiers::SiteId;
use crate::model::shape::Faults;
use crate::model::text::Code;
use crate::model::version::Version;
use crate::registry::refusal::Refusal;
use crate::registry::writer::Change;
use crate::store::tables::Key;
use crate::store::versions::{self, Where};
use chrono::{DateTime, Duration, NaiveDate, NaiveTime, TimeZone as _, Utc};
use std::collections::BTreeSet;
use uuid::Uuid;

/// Hours after the start of the shift date within which a shift's samplers run.
const SHIFT_REACH_HOURS: i64 = 36;

/// Midnight with which a local date begins; where clocks jump over it, the first instant that exists.
pub fn start_of(date: NaiveDate, zone: TimeZone) -> DateTime<Utc> {
    let midnight = date.and_time(NaiveTime::MIN);
    (0..4)
        .find_map(|hours| zone.0.from_local_datetime(&(midnight + Duration::hours(hours))).earliest())
        .map_or_else(|| midnight.and_utc(), |local| local.with_timezone(&Utc))
}

/// Checks one sample's runs by themselves.
pub fn check(sample: &Sample, zone: TimeZone, at: &str, faults: &mut Faults) {
    if sample.is_blank() {
        return;
    }
    let Some(runs) = sample.runs.as_ref().filter(|runs| !runs.is_empty()) else {
        faults.note(format!("{at}/runs"), "is required but for field blanks");
        return;
    };
    let valid = sample.came_out() == SampleOutcome::Valid;
    let from = start_of(sample.shift_date, zone);
    let to = from + Duration::hours(SHIFT_REACH_HOURS);
    let mut last_end: Option<DateTime<Utc>> = None;
    for (n, run) in runs.iter().enumerate() {
        let at = format!("{at}/runs/{n}");
        let last = n + 1 == runs.len();
        if run.end.is_none() && (valid || !last) {
            faults.note(
                format!("{at}/end"),
                "is required (only the last run of a sample that failed may lack it)",
            );
        }
        if run.end.is_some_and(|end| end <= run.start) {
            faults.note(format!("{at}/end"), "must be after the start");
        }
        if run.start < from || run.end.unwrap_or(run.start) > to {
            let zone = zone.0.name();
            faults.note(
                at.clone(),
                format!("lies outside the shift of {}: from 00:00 of that date at the site ({zone}) to 36 hours later", sample.shift_date),
            );
        }
        if last_end.is_some_and(|end| run.start < end) {
            faults.note(at, "begins before the run before it ends");
        }
        last_end = run.end.or(last_end);
    }
}

fn meet(one: &Sample, other: &Sample) -> bool {
    let runs = |sample: &Sample| sample.runs.clone().unwrap_or_default();
    let over = |a: &Run, b: &Run| {
        let (a_end, b_end) = (a.end.unwrap_or(a.start), b.end.unwrap_or(b.start));
        a.start < b_end && b.start < a_end
    };
    runs(one).iter().any(|a| runs(other).iter().any(|b| over(a, b)))
}

/// Whether two samples may run on one worker for one agent at once.
fn may_meet(one: &Sample, other: &Sample) -> bool {
    let apart = |sample: &Sample| matches!(sample.covered(), Covers::ShortTerm | Covers::Duplicate);
    apart(one) || apart(other)
}

fn works(sample: &Sample) -> bool {
    !sample.is_blank() && sample.came_out() == SampleOutcome::Valid
}

/// Agents asked for in both.
fn shared_agents<'s>(one: &'s Sample, other: &'s Sample) -> BTreeSet<&'s str> {
    let codes =
        |sample: &'s Sample| sample.agent_codes.iter().flatten().map(Code::as_str).collect::<BTreeSet<_>>();
    codes(one).intersection(&codes(other)).copied().collect()
}

/// Notes overlapping runs of one pump, or of one worker for one agent, between a sample and another.
pub fn check_pair(sample: &Sample, other: &Sample, at: &str, faults: &mut Faults) {
    if !works(sample) || !works(other) || !meet(sample, other) {
        return;
    }
    if sample.pump.is_some() && sample.pump == other.pump {
        faults
            .note(format!("{at}/runs"), format!("the pump ran on sample {} at the same time", other.number));
    }
    let agents = shared_agents(sample, other);
    if sample.worker_id.is_some()
        && sample.worker_id == other.worker_id
        && !may_meet(sample, other)
        && !agents.is_empty()
    {
        let agents: Vec<_> = agents.into_iter().collect();
        let agents = agents.join(", ");
        faults.note(
            format!("{at}/runs"),
            format!("sample {} ran on the same worker for {agents} at the same time", other.number),
        );
    }
}

/// Samples of the site on the days around a date.
pub async fn around(
    change: &mut Change,
    scope: &Scope,
    site: SiteId,
    date: NaiveDate,
) -> Result<Vec<Version<Sample>>, Refusal> {
    let as_of = change.as_of();
    let mut found = Vec::new();
    for day in [date - Duration::days(1), date, date + Duration::days(1)] {
        let of_day = [Where::Site(site), Where::Is("shift_date", Key::Date(Some(day))), Where::Standing];
        found.extend(versions::list::<Sample>(&mut change.tx, scope, as_of, &of_day, None).await?);
    }
    Ok(found)
}

/// Samples of a worker at any site on the days around a date.
pub async fn of_worker_around(
    change: &mut Change,
    worker: Uuid,
    date: NaiveDate,
) -> Result<Vec<Version<Sample>>, Refusal> {
    let (scope, as_of) = (change.everything(), change.as_of());
    let of_worker = [Where::Is("worker_id", Key::Id(Some(worker))), Where::Standing];
    let all = versions::list::<Sample>(&mut change.tx, &scope, as_of, &of_worker, None).await?;
    Ok(all.into_iter().filter(|other| (other.fact.shift_date - date).num_days().abs() <= 1).collect())
}

/// Another sample of the same worker that ran at the same time, where only one may carry a result of an agent.
pub fn clash<'s>(sample: &Version<Sample>, others: &'s [Version<Sample>]) -> Vec<&'s Version<Sample>> {
    others
        .iter()
        .filter(|other| other.id != sample.id)
        .filter(|other| works(&sample.fact) && works(&other.fact))
        .filter(|other| meet(&sample.fact, &other.fact) && !may_meet(&sample.fact, &other.fact))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_begins_at_local_midnight_on_both_sides_of_a_clock_change() {
        // IANA time zone data: Denver is UTC-7 in winter, UTC-6 from 8 March 2026.
        let denver = TimeZone(chrono_tz::America::Denver);
        let day = |d| NaiveDate::from_ymd_opt(2026, 3, d).unwrap();
        assert_eq!(start_of(day(7), denver).to_rfc3339(), "2026-03-07T07:00:00+00:00");
        assert_eq!(start_of(day(9), denver).to_rfc3339(), "2026-03-09T06:00:00+00:00");
    }
}
