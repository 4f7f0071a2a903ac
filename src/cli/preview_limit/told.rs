//! A preview as a plain text: first who cannot tell and what it takes, then groups, people and controls.

use crate::cli::preview_limit::places::Places;
use crate::conclusions::limit_change::too_coarse::SamplingNeeded;
use crate::conclusions::limit_change::view::{
    CannotTellGroup, FLAGS, LimitChangeView, NewlyTriggered, OTHER_CRITERION, REPORTING_LIMIT_TOO_HIGH,
    SAMPLE_LONGER_THAN_WINDOW, StandingsAlike,
};
use crate::model::facts::agent::LimitKind;
use crate::model::printed::{Printing, Resolution, exact};
use crate::model::quantity::Quantity;
use crate::model::unit::Unit;
use crate::surveillance::finding::{APPEARS, WHO_DECIDES};
use chrono::NaiveDate;
use std::collections::BTreeSet;

/// Figures of a mass or a flow that a reader plans by.
const FIGURES: u32 = 3;

/// The whole text.
pub(super) fn told(found: &LimitChangeView, places: &Places, position: i64, today: NaiveDate) -> String {
    let mut text = String::new();
    let mut line = |line: &str| {
        text.push_str(line);
        text.push('\n');
    };
    let kind = kind(found.kind);
    let proposed = quantity_of_limit(found);
    let under = found.rule_set.map(|only| format!(" under {}", words(only.as_str()))).unwrap_or_default();
    let over = found.averaging_minutes.map(|minutes| format!(" over {minutes} minutes")).unwrap_or_default();
    line(&format!(
        "If the {kind} of {} for {} were {proposed}{over}{under}",
        found.authority, found.agent_code
    ));
    line(&format!("As known on {today}, at position {position}. Nothing is stored."));
    line("Existing results are read as if this number had held on every date.");
    for flag in &found.flags {
        let meaning = FLAGS.iter().find(|(known, _)| known == flag).map(|(_, meaning)| *meaning);
        line(&format!("Note: {}", meaning.unwrap_or(flag)));
    }
    line("");
    line(&heading("Cannot tell", found.cannot_tell.len(), "group", "groups"));
    for group in &found.cannot_tell {
        line(&format!("  {}, {}", places.site(group.site_id), places.group(group.group_id)));
        for more in cannot_tell(group, found) {
            line(&format!("    {more}"));
        }
    }
    line("");
    let all: usize = found.standings.iter().map(|alike| alike.groups.len()).sum();
    line(&heading("How the groups stand", all, "group", "groups"));
    for alike in &found.standings {
        line(&format!("  {}", moved(alike)));
        for place in &alike.groups {
            line(&format!("    {}, {}", places.site(place.site_id), places.group(place.group_id)));
        }
    }
    line("");
    let people = people(&found.newly_triggered);
    line(&heading("Newly triggered", people, "person in sight", "people in sight"));
    if found.newly_triggered_not_in_sight > 0 {
        line(&format!("  and {} more out of sight", found.newly_triggered_not_in_sight));
    }
    if people > 0 {
        line(&format!("  With the proposed level, each of these {APPEARS}; {WHO_DECIDES}."));
    }
    for one in &found.newly_triggered {
        line(&format!("  {}, {} ({})", one.name, one.clause, one.trigger_id));
        line(&format!("    {}", days(one)));
    }
    line("");
    line(&heading("Controls no longer sufficient", found.controls.len(), "control", "controls"));
    for control in &found.controls {
        let (site, task) = (places.site(control.site_id), places.task(control.task_id));
        line(&format!(
            "  {site}, {task}: {}, {}",
            places.control(control.control_id),
            words(control.position.as_str())
        ));
        line(&format!(
            "    what remains: {} now, {} with the proposal",
            words(control.now.as_str()),
            words(control.proposed.as_str())
        ));
    }
    line("");
    line(&format!("Nothing is stored; {WHO_DECIDES}."));
    text
}

fn heading(what: &str, count: usize, one: &str, several: &str) -> String {
    match count {
        0 => format!("{what}: none"),
        1 => format!("{what}: 1 {one}"),
        count => format!("{what}: {count} {several}"),
    }
}

fn words(word: &str) -> String {
    word.replace('_', " ")
}

fn kind(kind: LimitKind) -> &'static str {
    match kind {
        LimitKind::Twa => "8-hour limit",
        LimitKind::Stel => "short-term limit",
        LimitKind::Ceiling => "ceiling",
        LimitKind::Excursion => "excursion limit",
        LimitKind::ActionLevel => "action level",
        LimitKind::Peak => "peak",
    }
}

fn quantity_of_limit(found: &LimitChangeView) -> String {
    let (value, unit) = (found.proposed.measured.lower(), found.proposed.unit);
    format!("{} {}", exact(value), unit.symbol())
}

/// What a group cannot tell, and how long to sample.
fn cannot_tell(group: &CannotTellGroup, found: &LimitChangeView) -> Vec<String> {
    let averages = match (found.averaging_minutes, group.of) {
        (None, 1) => "8-hour average",
        (None, _) => "8-hour averages",
        (Some(_), 1) => "shift",
        (Some(_), _) => "shifts",
    };
    let mut lines = vec![format!("{} of {} {averages} cannot tell", group.cannot_tell, group.of)];
    if group.part_sampled {
        lines.push("part of a shift was not sampled: sample whole shifts".to_owned());
    }
    for flag in &group.flags {
        match (flag.as_str(), found.averaging_minutes) {
            (SAMPLE_LONGER_THAN_WINDOW, Some(minutes)) => {
                lines.push(format!("the samples ran longer: take some of {minutes} minutes"));
            }
            (REPORTING_LIMIT_TOO_HIGH, _) => lines.push("the reporting limit was too high".to_owned()),
            (OTHER_CRITERION, _) => lines.push("the noise was read by another criterion".to_owned()),
            (other, _) => lines.push(words(other)),
        }
    }
    let of_noise = found.proposed.unit == Unit::DbA;
    match &group.sampling_needed {
        Some(needed) => lines.push(sampling(needed)),
        None if group.part_sampled || of_noise => {}
        None => lines.push("minutes needed: not known, for want of a volume or a reporting limit".to_owned()),
    }
    lines
}

fn sampling(needed: &SamplingNeeded) -> String {
    let figure = |quantity: &Quantity| Printing::of(Resolution::Figures(FIGURES)).quantity(quantity);
    let mut line = format!(
        "minutes needed: {} (and {} to tell a tenth of it), at {} and a reporting limit of {}",
        minutes(needed.minutes),
        minutes(needed.minutes_for_a_tenth),
        figure(&needed.flow),
        figure(&needed.reporting_limit_mass)
    );
    let there = match (needed.longer_than_the_window, needed.window_minutes) {
        (Some(true), Some(window)) => Some(format!("the limit has only {}", minutes(window))),
        _ => needed.longer_than_the_shift.then(|| "the shift is shorter".to_owned()),
    };
    if let Some(there) = there {
        line.push_str("; ");
        line.push_str(&there);
        line.push_str(": draw more air, or ask for a lower reporting limit");
    }
    line
}

/// Whole minutes, never fewer than needed.
fn minutes(value: f64) -> String {
    exact(value.ceil())
}

fn moved(alike: &StandingsAlike) -> String {
    let groups = if alike.count == 1 { "group" } else { "groups" };
    let (now, then) = (words(alike.now.as_str()), words(alike.proposed.as_str()));
    if alike.now == alike.proposed {
        format!("{} {groups} {now}, now and then", alike.count)
    } else {
        format!("{} {groups} {now} now, {then} with the proposal", alike.count)
    }
}

fn people(newly: &[NewlyTriggered]) -> usize {
    let ids: BTreeSet<_> = newly.iter().map(|one| one.worker_id).collect();
    ids.len()
}

/// The days of the worst window: what was measured stands apart from what the group's standing says.
fn days(one: &NewlyTriggered) -> String {
    match (one.measured_days, one.represented_days, one.planned_days) {
        (Some(measured), Some(represented), Some(planned)) => {
            format!(
                "days of the worst window: {measured} measured, {represented} represented, {planned} planned ahead"
            )
        }
        _ => "days across sites: some lie out of sight, so their numbers are kept back".to_owned(),
    }
}
