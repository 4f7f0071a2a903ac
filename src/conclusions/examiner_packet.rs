//! What an examining physician is given with a worker: what the person did, does and will do, the exposure that came with
//! it, protective equipment, and the dates of earlier examinations.
//!
//! The items are those that the standards' paragraphs on information for the examiner name (29 CFR 1926.1126(i)(4);
//! those of other substances from memory).

use crate::conclusions::history::basis::Basis;
use crate::conclusions::history::view::{Gap, HistoryView, IntervalMean};
use crate::model::facts::agent::{Limit, LimitKind, Verification};
use crate::model::facts::control::{Control, Task};
use crate::model::facts::duty::{DutyActionKind, DutyKind, DutyStatus, Window};
use crate::model::facts::worker::Assignment;
use crate::model::identifiers::{DutyId, GroupId, WorkerId};
use crate::model::quantity::Quantity;
use crate::model::text::{Code, Line};
use crate::model::version::Version;
use crate::{record, words};
use chrono::NaiveDate;
use std::collections::BTreeMap;
use uuid::Uuid;

/// What stands at the head of the packet.
pub const CAUTION: &str = "For the licensed health professional who examines this worker. Compiled from the employer's exposure registry: it says which clause the facts appear to trigger, and decides nothing. The law in force where the worker works and the examining professional decide. It holds no medical finding.";

words! {
    /// When something was, is or will be.
    pub enum When {
        /// Over.
        Former = "former",
        /// Now.
        Current = "current",
        /// Still to come, as far as it is planned.
        Anticipated = "anticipated",
    }
}

record! {
    /// A limit that the exposure is read against.
    pub struct PacketLimit {
        /// Whose it is.
        authority: Code,
        /// What kind.
        kind: LimitKind,
        /// Its value.
        value: Quantity,
        /// Over how many minutes it is averaged.
        averaging_minutes: Option<i64>,
        /// Where it stands.
        source: Line,
    }
}

record! {
    /// An examination that is to be offered.
    pub struct PacketDuty {
        /// The duty.
        duty_id: DutyId,
        /// What is to be offered.
        kind: DutyKind,
        /// Whose clause it is.
        authority: Option<Code>,
        /// The clause that the facts appear to trigger.
        clause: Option<String>,
        /// Which edition of the text was read.
        edition: Option<String>,
        /// How far the row was checked against the text.
        verification: Option<Verification>,
        /// By when.
        due_on: NaiveDate,
        /// How it stands.
        status: DutyStatus,
        /// Days counted in the worst window.
        days_counted: Option<i64>,
        /// The worst window.
        window: Option<Window>,
    }
}

record! {
    /// Work in a group.
    pub struct PacketWork {
        /// Former, current or anticipated.
        when: When,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// The site's code.
        site_code: Option<String>,
        /// The group's title.
        group_title: Option<String>,
        /// The job title then.
        job_title: Option<Line>,
        /// Titles of the group's tasks in that time.
        tasks: Vec<String>,
        /// Shifts a week.
        shifts_per_week: f64,
        /// Hours a shift.
        hours_per_shift: f64,
    }
}

record! {
    /// Exposure in a time.
    pub struct PacketExposure {
        /// Former, current or anticipated.
        when: When,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// The group's title.
        group_title: Option<String>,
        /// Whose mean it is.
        basis: Basis,
        /// The mean 8-hour average with its limits, outside any respirator; absent where nothing is known.
        mean: Option<IntervalMean>,
        /// Shifts behind it.
        n: Option<i64>,
        /// Days on which they were.
        date_count: Option<i64>,
        /// What is to be known of it.
        flags: Vec<String>,
    }
}

record! {
    /// Protective equipment in a time.
    pub struct PacketEquipment {
        /// Former, current or anticipated.
        when: When,
        /// The first day.
        from: NaiveDate,
        /// The first day no longer.
        to: Option<NaiveDate>,
        /// What it is.
        title: String,
        /// Its assigned protection factor: assumed protection, not measured.
        assigned_protection_factor: Option<f64>,
        /// The share of exposed time in which it is worn, 0 to 1; absent: not recorded.
        worn_share: Option<f64>,
        /// Hours of a shift.
        hours_per_shift: f64,
    }
}

record! {
    /// An earlier examination: its date and nothing of what it found.
    pub struct PacketExamination {
        /// The day.
        on: NaiveDate,
        /// Offered, done or declined.
        action: DutyActionKind,
        /// Which kind.
        kind: DutyKind,
    }
}

record! {
    /// What an examining physician is given.
    pub struct ExaminerPacket {
        /// What it is and what it does not decide.
        caution: String,
        /// The worker.
        worker_id: WorkerId,
        /// The other entries of the same person whose facts it holds.
        also_known_as: Option<Vec<WorkerId>>,
        /// Name.
        name: String,
        /// The employer.
        employer: Option<Line>,
        /// The worker's number there.
        employee_number: Option<Code>,
        /// The agent.
        agent_code: Code,
        /// Its name.
        agent_name: String,
        /// As of this day.
        as_of: NaiveDate,
        /// Limits in force on that day.
        limits: Vec<PacketLimit>,
        /// Examinations to be offered.
        triggers: Vec<PacketDuty>,
        /// What the worker did, does and is to do.
        work: Vec<PacketWork>,
        /// The exposure that came with it.
        exposure: Vec<PacketExposure>,
        /// Times of which nothing is known.
        gaps: Vec<Gap>,
        /// Days at or above the action level in the worst twelve months: measured.
        days_measured: Option<i64>,
        /// The same by the standing of the groups.
        days_by_standing: Option<i64>,
        /// Protective equipment.
        protective_equipment: Vec<PacketEquipment>,
        /// Earlier examinations.
        earlier_examinations: Vec<PacketExamination>,
        /// What is to be known of it.
        flags: Vec<String>,
    }
}

/// The names that the work of a worker goes by.
#[derive(Debug, Clone, Default)]
pub struct Names {
    /// Titles of groups.
    pub groups: BTreeMap<Uuid, String>,
    /// Codes of sites.
    pub sites: BTreeMap<Uuid, String>,
    /// Tasks of those groups.
    pub tasks: Vec<Task>,
    /// Respirators worn.
    pub controls: BTreeMap<Uuid, Control>,
}

/// When a time is, seen from a day.
fn when(from: NaiveDate, to: Option<NaiveDate>, today: NaiveDate) -> When {
    if from > today {
        When::Anticipated
    } else if to.is_some_and(|to| to <= today) {
        When::Former
    } else {
        When::Current
    }
}

/// The limits as a packet shows them.
pub fn limits(in_force: &[&Limit]) -> Vec<PacketLimit> {
    let one = |limit: &&Limit| PacketLimit {
        authority: limit.authority.clone(),
        kind: limit.kind,
        value: limit.value.clone(),
        averaging_minutes: limit.averaging_minutes,
        source: limit.source.clone(),
    };
    in_force.iter().map(one).collect()
}

/// What a worker did, does and is to do, by first day.
pub fn work(assignments: &[Version<Assignment>], names: &Names, today: NaiveDate) -> Vec<PacketWork> {
    let one = |assignment: &Version<Assignment>| {
        let fact = &assignment.fact;
        let meets = |task: &&Task| {
            task.group_id == fact.group_id
                && task.from.is_none_or(|from| fact.to.is_none_or(|to| from < to))
                && task.to.is_none_or(|to| to > fact.from)
        };
        PacketWork {
            when: when(fact.from, fact.to, today),
            from: fact.from,
            to: fact.to,
            site_code: assignment.site.and_then(|site| names.sites.get(&site.0).cloned()),
            group_title: names.groups.get(&fact.group_id.0).cloned(),
            job_title: fact.job_title.clone(),
            tasks: names.tasks.iter().filter(meets).map(|task| task.title.to_string()).collect(),
            shifts_per_week: fact.shifts_per_week,
            hours_per_shift: fact.hours_per_shift,
        }
    };
    assignments.iter().map(one).collect()
}

/// The exposure of a history's intervals, and what is anticipated: in a group that goes on, or that the worker is to join,
/// as it was last known there.
pub fn exposure(
    history: &HistoryView,
    assignments: &[Version<Assignment>],
    names: &Names,
    today: NaiveDate,
) -> Vec<PacketExposure> {
    let title = |group: GroupId| names.groups.get(&group.0).cloned();
    let mut rows: Vec<PacketExposure> = history
        .intervals
        .iter()
        .map(|interval| PacketExposure {
            when: when(interval.from, Some(interval.to), today),
            from: interval.from,
            to: Some(interval.to),
            group_title: title(interval.group_id),
            basis: interval.basis,
            mean: interval.mean.clone(),
            n: interval.n,
            date_count: interval.date_count,
            flags: interval.flags.iter().map(ToString::to_string).collect(),
        })
        .collect();
    let ahead = assignments.iter().filter(|one| one.fact.to.is_none_or(|to| to > history.to));
    for assignment in ahead {
        let last = history.intervals.iter().rfind(|interval| interval.group_id == assignment.fact.group_id);
        rows.push(PacketExposure {
            when: When::Anticipated,
            from: assignment.fact.from.max(history.to),
            to: assignment.fact.to,
            group_title: title(assignment.fact.group_id),
            basis: last.map_or(Basis::None, |interval| interval.basis),
            mean: last.and_then(|interval| interval.mean.clone()),
            n: last.and_then(|interval| interval.n),
            date_count: last.and_then(|interval| interval.date_count),
            flags: vec![AS_LAST_KNOWN.to_owned()],
        });
    }
    rows
}

/// An exposure still to come is taken to be as it was last known.
pub const AS_LAST_KNOWN: &str = "as_last_known";

/// The flags of a packet of its own.
pub const FLAGS: &[(&str, &str)] = &[(
    AS_LAST_KNOWN,
    "What is to come is taken to be as it was last known in that group; nothing was measured of it.",
)];

/// The protective equipment of assignments, by first day.
pub fn equipment(
    assignments: &[Version<Assignment>],
    names: &Names,
    today: NaiveDate,
) -> Vec<PacketEquipment> {
    let one = |assignment: &Version<Assignment>| {
        let fact = &assignment.fact;
        let control = names.controls.get(&fact.respirator_control_id?.0)?;
        Some(PacketEquipment {
            when: when(fact.from, fact.to, today),
            from: fact.from,
            to: fact.to,
            title: control.title.to_string(),
            assigned_protection_factor: control.assigned_protection_factor,
            worn_share: fact.respirator_worn_share,
            hours_per_shift: fact.hours_per_shift,
        })
    };
    assignments.iter().filter_map(one).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    // This registry's rule: `from` is the first day, `to` the first day no longer.
    #[test]
    fn a_time_is_former_from_its_first_day_no_longer() {
        let today = date("2026-03-02");
        let of = |from: &str, to: Option<&str>| when(date(from), to.map(date), today);
        assert_eq!(of("2026-01-01", Some("2026-03-02")), When::Former);
        assert_eq!(of("2026-01-01", Some("2026-03-03")), When::Current);
        assert_eq!(of("2026-03-02", None), When::Current);
        assert_eq!(of("2026-03-03", None), When::Anticipated);
    }
}
