//! The examiner's packet as a paper: self-contained HTML for A4 and Letter.

use crate::conclusions::examiner_packet::{ExaminerPacket, PacketDuty, PacketExposure, When};
use crate::conclusions::history::basis::{Basis, GapKind};
use crate::conclusions::history::view::{HistoryFlag, IntervalMean};
use crate::export::paper::{STYLE, days, foot, words};
use crate::model::facts::agent::LimitKind;
use crate::model::facts::duty::{DutyKind, DutyStatus};
use crate::model::printed::{Printing, Resolution, exact, precision};
use crate::model::text::Line;
use crate::registry::anchor::ChainState;
use askama::Template;

/// A row of examinations.
struct TriggerRow {
    what: &'static str,
    clause: String,
    due_on: String,
    status: String,
    days: String,
}

/// A row of work.
struct WorkRow {
    when: &'static str,
    days: String,
    place: String,
    what: String,
    shifts: String,
    hours: String,
}

/// A row of exposure.
struct ExposureRow {
    when: &'static str,
    days: String,
    group: String,
    mean: String,
    between: String,
    basis: String,
    unknown: bool,
}

/// A row of equipment.
struct EquipmentRow {
    when: &'static str,
    days: String,
    what: String,
    factor: String,
    worn: String,
    hours: String,
}

#[derive(Template)]
#[template(path = "examiner_packet.html")]
struct Paper<'p> {
    style: &'static str,
    packet: &'p ExaminerPacket,
    sentences: Vec<String>,
    triggers: Vec<TriggerRow>,
    work: Vec<WorkRow>,
    exposure: Vec<ExposureRow>,
    gaps: Vec<String>,
    limits: Vec<String>,
    equipment: Vec<EquipmentRow>,
    earlier: Vec<String>,
    foot: String,
}

/// Writes the paper.
///
/// # Errors
/// Never for a packet: the template writes into memory.
pub fn write(packet: &ExaminerPacket, state: &ChainState) -> Result<String, askama::Error> {
    let paper = Paper {
        style: STYLE,
        packet,
        sentences: sentences(packet),
        triggers: triggers(packet),
        work: packet
            .work
            .iter()
            .map(|work| WorkRow {
                when: of_when(work.when),
                days: days(work.from, work.to),
                place: joined([work.site_code.as_deref(), work.group_title.as_deref()]),
                what: joined([work.job_title.as_ref().map(Line::as_str), tasks(&work.tasks).as_deref()]),
                shifts: exact(work.shifts_per_week),
                hours: exact(work.hours_per_shift),
            })
            .collect(),
        exposure: packet.exposure.iter().map(|row| exposure(row, packet)).collect(),
        gaps: packet
            .gaps
            .iter()
            .map(|gap| format!("{}: {}", days(gap.from, Some(gap.to)), of_gap(gap.kind)))
            .collect(),
        limits: packet
            .limits
            .iter()
            .map(|limit| {
                let value = Printing::of(Resolution::Figures(precision::MOST)).quantity(&limit.value);
                let over =
                    limit.averaging_minutes.map(|minutes| format!(" over {minutes} min")).unwrap_or_default();
                format!("{} of {} {value}{over}, {}", of_limit(limit.kind), limit.authority, limit.source)
            })
            .collect(),
        equipment: packet
            .protective_equipment
            .iter()
            .map(|worn| EquipmentRow {
                when: of_when(worn.when),
                days: days(worn.from, worn.to),
                what: worn.title.clone(),
                factor: worn.assigned_protection_factor.map_or_else(|| "not recorded".into(), exact),
                worn: worn
                    .worn_share
                    .map_or_else(|| "not recorded".into(), |share| format!("{} %", exact(100.0 * share))),
                hours: exact(worn.hours_per_shift),
            })
            .collect(),
        earlier: packet
            .earlier_examinations
            .iter()
            .map(|one| format!("{}: {}, {}", one.on, of_kind(one.kind), words(one.action.as_str())))
            .collect(),
        foot: foot(state),
    };
    paper.render()
}

/// Every examination with how it stands: what is to be done first, by when it is due; then the others, the newest first.
fn triggers(packet: &ExaminerPacket) -> Vec<TriggerRow> {
    let to_do = |duty: &&PacketDuty| matches!(duty.status, DutyStatus::Open | DutyStatus::Overdue);
    let (mut first, mut then): (Vec<&PacketDuty>, Vec<&PacketDuty>) = packet.triggers.iter().partition(to_do);
    first.sort_by_key(|duty| duty.due_on);
    then.sort_by_key(|duty| std::cmp::Reverse(duty.due_on));
    let row = |duty: &PacketDuty| TriggerRow {
        what: of_kind(duty.kind),
        clause: cited(duty),
        due_on: duty.due_on.to_string(),
        status: words(duty.status.as_str()),
        days: duty.days_counted.map(|days| days.to_string()).unwrap_or_default(),
    };
    first.into_iter().chain(then).map(row).collect()
}

/// The conclusion in words comes first.
fn sentences(packet: &ExaminerPacket) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(days) = packet.days_by_standing {
        let measured = packet.days_measured.unwrap_or_default();
        lines.push(format!(
            "Days at or above the action level in the worst twelve months: {days} by where the worker's group stood, \
             {measured} by filters that the worker wore."
        ));
    }
    let known = packet.exposure.iter().any(|row| row.mean.is_some());
    if !known {
        lines.push("Nothing has been measured of this exposure, so nothing is known.".to_owned());
    }
    lines
}

fn exposure(row: &PacketExposure, packet: &ExaminerPacket) -> ExposureRow {
    let levels = levels(packet, row.mean.as_ref());
    let figure = |mean: &IntervalMean, value: f64| {
        let resolution = Resolution::of(mean.unit, precision::MOST);
        Printing::of(resolution).beside(&levels).number(value)
    };
    let mean = row.mean.as_ref();
    let between = mean.and_then(|mean| match (mean.lower, mean.upper) {
        (Some(lower), Some(upper)) => Some(format!("{} to {}", figure(mean, lower), figure(mean, upper))),
        (Some(lower), None) => Some(format!("at least {}", figure(mean, lower))),
        (None, Some(upper)) => Some(format!("at most {}", figure(mean, upper))),
        (None, None) => None,
    });
    ExposureRow {
        when: of_when(row.when),
        days: days(row.from, row.to),
        group: row.group_title.clone().unwrap_or_default(),
        mean: mean.map_or_else(
            || "not known".to_owned(),
            |mean| format!("{} {}", figure(mean, mean.estimate), mean.unit.symbol()),
        ),
        between: between.unwrap_or_default(),
        basis: rests_on(row),
        unknown: mean.is_none(),
    }
}

/// The limits in the unit of a mean: no figure is rounded across one.
fn levels(packet: &ExaminerPacket, mean: Option<&IntervalMean>) -> Vec<f64> {
    let Some(mean) = mean else { return Vec::new() };
    packet.limits.iter().filter_map(|limit| limit.value.number_in(mean.unit)).collect()
}

fn of_when(when: When) -> &'static str {
    match when {
        When::Former => "former",
        When::Current => "now",
        When::Anticipated => "to come",
    }
}

/// Few rounds are said first.
fn rests_on(row: &PacketExposure) -> String {
    let few = row.flags.iter().any(|flag| flag == HistoryFlag::FewDates.as_str());
    let few = if few { "too few to describe this group: " } else { "" };
    let counts = row.n.zip(row.date_count).map(|(n, dates)| format!(" ({n} on {dates} days)"));
    format!("{few}{}{}", of_basis(row.basis), counts.unwrap_or_default())
}

fn of_kind(kind: DutyKind) -> &'static str {
    match kind {
        DutyKind::PeriodicExamination => "periodic examination",
        DutyKind::Audiogram => "test of hearing",
        _ => "first examination",
    }
}

pub(super) fn of_limit(kind: LimitKind) -> String {
    match kind {
        LimitKind::Twa => "8-hour limit".to_owned(),
        LimitKind::Stel => "short-term limit".to_owned(),
        LimitKind::ActionLevel | LimitKind::Ceiling | LimitKind::Excursion | LimitKind::Peak => {
            words(kind.as_str())
        }
    }
}

fn of_basis(basis: Basis) -> &'static str {
    match basis {
        Basis::Own => "the worker's own shifts",
        Basis::Group => "shifts of the group",
        Basis::Posterior => "few results of the group",
        Basis::Judgement => "a hygienist's judgement",
        Basis::None => "nothing",
    }
}

pub(super) fn of_gap(kind: GapKind) -> &'static str {
    match kind {
        GapKind::NotEmployedHere => "not employed here",
        GapKind::NoAssignment => "employed, and in no group",
        GapKind::NoDataInEra => "nothing was measured",
        GapKind::DataCannotTell => "the results tell nothing",
    }
}

fn tasks(titles: &[String]) -> Option<String> {
    (!titles.is_empty()).then(|| titles.join(", "))
}

pub(super) fn joined<const N: usize>(parts: [Option<&str>; N]) -> String {
    parts.into_iter().flatten().collect::<Vec<_>>().join(": ")
}

/// The clause with the edition in which it was read, and how far that was checked.
fn cited(duty: &PacketDuty) -> String {
    let clause = duty.clause.clone().unwrap_or_default();
    let edition = duty.edition.as_ref().map(|edition| format!("read in: {edition}"));
    let checked = duty.verification.map(|how| how.in_words().to_owned());
    let beside: Vec<String> = edition.into_iter().chain(checked).collect();
    if clause.is_empty() || beside.is_empty() { clause } else { format!("{clause} ({})", beside.join("; ")) }
}
