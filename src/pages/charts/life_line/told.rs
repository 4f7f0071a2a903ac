//! What is said of a life line: its sentences, its key, its table.

use super::{Picture, is_unknown};
use crate::conclusions::history::basis::{Basis, GapKind};
use crate::conclusions::history::view::{CumulativeView, HistoryFlag, HistoryInterval};
use crate::model::facts::duty::DutyStatus;
use crate::model::measured::Measured;
use crate::model::unit::Unit;
use crate::pages::charts::figure::{Column, KeyMark, Row, Said, Table};
use crate::pages::charts::said;

/// The letters of duties, in the order of their dates: a to z, then aa.
pub(super) fn letter(at: usize) -> String {
    let sign = |at: usize| char::from(b"abcdefghijklmnopqrstuvwxyz"[at % 26]);
    if at < 26 { sign(at).to_string() } else { format!("{}{}", letter(at / 26 - 1), sign(at)) }
}

/// The unit of a dose for people.
pub fn dose_unit(unit: &str) -> String {
    let plain = unit.strip_suffix(".a").unwrap_or(unit);
    let known = Unit::from_code(plain).map(Unit::symbol);
    format!("{} × years", known.unwrap_or(plain))
}

/// The dose with its band: `at least 0.43 (0.34 to 0.63)`.
pub fn dose(dose: &CumulativeView) -> String {
    let Some(value) = dose.value else { return "not known".to_owned() };
    let least = if dose.at_least { "at least " } else { "" };
    let band = dose.lower.zip(dose.upper).map_or_else(String::new, |(lower, upper)| {
        format!(" ({} to {})", said::bare(lower), said::bare(upper))
    });
    format!("{least}{}{band}", said::bare(value))
}

/// Why nothing is known of a time; to a reader of some sites a time without an assignment may be work elsewhere.
fn gap_words(picture: &Picture<'_>, kind: GapKind) -> String {
    if picture.of.in_part && kind == GapKind::NoAssignment {
        "not in sight".to_owned()
    } else {
        said::gap(kind)
    }
}

/// The sentences, the key and the table.
pub(super) fn told(picture: &Picture<'_>) -> Said {
    let history = picture.of.history;
    let agent = picture.names.agent(&history.agent_code);
    let mut desc = vec![format!(
        "{agent} from {} to {}, over {}.",
        said::date(history.from),
        said::date(history.to.pred_opt().unwrap_or(history.to)),
        said::count(said::counted(picture.of.assignments.len()), "count-assignment")
    )];
    for interval in &history.intervals {
        desc.push(of_interval(picture, interval));
    }
    if let Some(cumulative) = &history.cumulative {
        desc.push(format!(
            "Cumulative exposure {} {}; every mean at its one-sided 95 % limits gives the band.",
            dose(cumulative),
            dose_unit(&cumulative.unit)
        ));
    }
    let mut notes = Vec::new();
    for gap in &history.gaps {
        notes.push(format!(
            "{}: {}.",
            said::period(Some(gap.from), Some(gap.to)),
            gap_words(picture, gap.kind)
        ));
    }
    if let Some(missing) = history.cumulative.as_ref().filter(|dose| dose.at_least) {
        notes.push(format!(
            "The dose reads at least: {} years are missing from it.",
            said::bare(missing.years_missing)
        ));
    }
    if history.lag_years > 0 {
        let years = said::count(history.lag_years, "count-year");
        notes.push(format!("The last {years} are not counted."));
    }
    if let Some(line) =
        picture.of.levels.iter().find(|line| line.is_lawful()).filter(|_| picture.limit.is_some())
    {
        notes.push(format!(
            "Every time is drawn against the {} of today; each shift was judged by that of its own day.",
            line.named()
        ));
    }
    for (at, duty) in ordered(picture).iter().enumerate() {
        desc.push(format!("Duty {}: {}, {} {}.", letter(at), duty.1, said::duty(duty.2), said::date(duty.0)));
    }
    Said { title: format!("Life line: {agent}"), desc, notes, key: key(picture), table: table(picture) }
}

/// Duties in the order of their dates.
pub(super) fn ordered<'p>(picture: &'p Picture<'_>) -> Vec<(chrono::NaiveDate, &'p str, DutyStatus)> {
    let mut found: Vec<_> =
        picture.of.duties.iter().map(|duty| (duty.due_on, duty.words.as_str(), duty.status)).collect();
    found.sort_by_key(|duty| duty.0);
    found
}

fn of_interval(picture: &Picture<'_>, interval: &HistoryInterval) -> String {
    let period = said::period(Some(interval.from), Some(interval.to));
    let group = picture.names.group(interval.group_id);
    let Some(mean) = &interval.mean else {
        return format!("{period}, {group}: no mean, {}.", said::basis(interval.basis));
    };
    let numbers: Vec<f64> = levels(picture);
    let of = |value: f64| said::number(value, mean.unit, &numbers);
    let band = mean
        .lower
        .zip(mean.upper)
        .map_or_else(String::new, |(lower, upper)| format!(" ({} to {})", of(lower), of(upper)));
    let share = picture.limit.map_or_else(String::new, |limit| {
        format!(", {} % of the limit", said::per_cent(100.0 * mean.estimate / limit, &[100.0]))
    });
    format!(
        "{period}, {group}: mean {}{band} {}{share}, from {}.",
        of(mean.estimate),
        mean.unit.symbol(),
        said::basis(interval.basis)
    )
}

fn levels(picture: &Picture<'_>) -> Vec<f64> {
    let Some(unit) = picture.unit else { return Vec::new() };
    picture.of.levels.iter().filter_map(|level| level.unit.convert(level.value, unit)).collect()
}

fn key(picture: &Picture<'_>) -> Vec<(KeyMark, String)> {
    let history = picture.of.history;
    let mut key = Vec::new();
    let mut add = |holds: bool, mark: KeyMark, words: &str| {
        if holds {
            key.push((mark, words.to_owned()));
        }
    };
    let shifts =
        |own: bool| picture.shifts.iter().any(|shift| picture.is_own(shift) == own && shift.value.is_value());
    add(shifts(true), KeyMark::Own, "own shift");
    add(shifts(false), KeyMark::Other, "another member’s shift");
    let bound = |value: Measured| matches!(value, Measured::Below(_) | Measured::Between { lower: 0.0, .. });
    add(
        picture.shifts.iter().any(|shift| bound(shift.value)),
        KeyMark::NonDetectDown,
        "below a reporting limit: the bar stands at that limit, the truth somewhere along the tail",
    );
    add(picture.shifts.iter().any(|shift| !shift.is_accepted()), KeyMark::NotAccepted, "not accepted yet");
    let basis = |basis: Basis| history.intervals.iter().any(|one| one.basis == basis && one.mean.is_some());
    add(basis(Basis::Own), KeyMark::BandOwn, "mean of own shifts, 90 % band");
    add(basis(Basis::Group), KeyMark::BandRepresented, "represented by the group, 90 % band");
    add(basis(Basis::Posterior), KeyMark::BandPosterior, "too little detected: posterior mean, 90 % band");
    add(basis(Basis::Judgement), KeyMark::BandJudged, "judgement of a hygienist, not measured");
    let gap = |unknown: bool| history.gaps.iter().any(|gap| is_unknown(gap.kind) == unknown);
    add(gap(true), KeyMark::Gap, "no data: not counted as zero");
    add(gap(false) || !picture.of.absences.is_empty(), KeyMark::Away, "away");
    add(!picture.of.cuts.is_empty(), KeyMark::Era, "a control or the work changed: a new era");
    let duty = |which: &[DutyStatus]| picture.of.duties.iter().any(|duty| which.contains(&duty.status));
    add(duty(&[DutyStatus::Open]), KeyMark::Due, "due");
    add(duty(&[DutyStatus::Overdue]), KeyMark::Late, "late");
    add(duty(&[DutyStatus::Met]), KeyMark::Done, "completed");
    key
}

fn table(picture: &Picture<'_>) -> Table {
    let history = picture.of.history;
    let numbers = levels(picture);
    let mut rows: Vec<(chrono::NaiveDate, Row)> = history
        .intervals
        .iter()
        .map(|interval| {
            let site = interval.site_id.map_or("", |site| picture.names.site(site));
            let (mean, band) = interval.mean.as_ref().map_or_else(
                || ("no data".to_owned(), String::new()),
                |mean| {
                    let of = |value: f64| said::number(value, mean.unit, &numbers);
                    let band = mean.lower.zip(mean.upper);
                    let band = band
                        .map_or_else(String::new, |(lower, upper)| format!("{} to {}", of(lower), of(upper)));
                    (format!("{} {}", of(mean.estimate), mean.unit.symbol()), band)
                },
            );
            let shifts =
                interval.n.map_or_else(String::new, |n| format!(", {}", said::count(n, "count-shift")));
            let lag = if interval.flags.contains(&HistoryFlag::WithinLag) { "; within the lag" } else { "" };
            let cells = [
                format!("{}, {site}", picture.names.group(interval.group_id)),
                said::period(Some(interval.from), Some(interval.to)),
                said::bare(interval.weight),
                mean,
                band,
                format!("{}{shifts}{lag}", said::basis(interval.basis)),
            ];
            let row = if interval.mean.is_some() { Row::of(cells) } else { Row::unknown(cells) };
            (interval.from, row)
        })
        .collect();
    rows.extend(history.gaps.iter().map(|gap| {
        let cells = [
            gap_words(picture, gap.kind),
            said::period(Some(gap.from), Some(gap.to)),
            String::new(),
            "no data".to_owned(),
            String::new(),
            if is_unknown(gap.kind) { "not counted as zero".to_owned() } else { String::new() },
        ];
        (gap.from, Row::unknown(cells))
    }));
    rows.sort_by_key(|one| one.0);
    Table {
        caption: "Exposure by interval; means of 8-hour averages with one-sided 95 % limits.".to_owned(),
        columns: vec![
            Column::text("Group"),
            Column::text("From, to"),
            Column::number("Share of full time"),
            Column::number("Mean"),
            Column::number("90 % band"),
            Column::text("Rests on"),
        ],
        rows: rows.into_iter().map(|one| one.1).collect(),
    }
}
