//! A small invented plant of a seed: one agent, a few groups on sites in three zones, one or two workers.

use crate::day_by_day::paragraphs::{SUBSTANCES, Substance};
use crate::draws::Draws;
use chrono::{Days, Duration, NaiveDate, NaiveDateTime};
use std::collections::BTreeSet;

/// A site that all seeds share.
pub(crate) struct Site {
    /// Its code.
    pub(crate) code: &'static str,
    /// Its zone, as it is entered.
    pub(crate) zone: &'static str,
    /// The hours by which its clocks are behind UTC in winter (IANA time zone data).
    pub(crate) behind: i64,
    /// Whether its work is construction.
    pub(crate) construction: bool,
    /// Its own holidays.
    pub(crate) holidays: &'static [&'static str],
    /// The date there when it is 15:00 UTC on 2 March 2026.
    pub(crate) today: &'static str,
}

/// The sites: in the last it is tomorrow already.
pub(crate) const SITES: [Site; 3] = [
    Site {
        code: "DNV",
        zone: "America/Denver",
        behind: 7,
        construction: false,
        holidays: &["2025-03-05", "2025-03-06", "2025-08-14", "2024-03-01"],
        today: "2026-03-02",
    },
    Site {
        code: "LDN",
        zone: "Europe/London",
        behind: 0,
        construction: false,
        holidays: &["2025-03-07"],
        today: "2026-03-02",
    },
    Site {
        code: "AKL",
        zone: "Pacific/Auckland",
        behind: -12,
        construction: true,
        holidays: &["2025-02-06"],
        today: "2026-03-03",
    },
];

/// The first day on which anything happens.
pub(crate) const START: &str = "2023-11-20";
/// So many days later nothing happens any more: 20 February 2026.
const SPAN: usize = 823;

/// A group.
#[derive(Debug)]
pub(crate) struct Group {
    /// Its site.
    pub(crate) site: usize,
    /// Dates of changes, and whether each may raise exposure.
    pub(crate) changes: Vec<(NaiveDate, bool)>,
    /// Whether the agent is expected there, from the first day on.
    pub(crate) expected: bool,
    /// When a control stood on its task.
    pub(crate) control: Option<(NaiveDate, Option<NaiveDate>)>,
}

/// An assignment, in tenths of shifts a week.
#[derive(Debug, Clone)]
pub(crate) struct Plan {
    /// To which group.
    pub(crate) group: usize,
    /// First day.
    pub(crate) from: NaiveDate,
    /// First day no longer.
    pub(crate) to: Option<NaiveDate>,
    /// Tenths of shifts a week.
    pub(crate) tenths: i64,
}

/// A worker.
#[derive(Debug, Default)]
pub(crate) struct Person {
    /// Assignments.
    pub(crate) plans: Vec<Plan>,
    /// Days recorded as worked, with their groups.
    pub(crate) recorded: BTreeSet<(NaiveDate, usize)>,
    /// Absences.
    pub(crate) absences: Vec<(NaiveDate, NaiveDate)>,
}

/// What the laboratory says, in thousandths.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Reported {
    /// A value.
    Value(i64),
    /// Less than a value.
    Less(i64),
    /// More than a value.
    More(i64),
}

/// What became of a sample's result.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fate {
    /// Nothing came yet.
    Awaited,
    /// It came.
    Submitted,
    /// It was accepted.
    Accepted,
    /// It was voided.
    Voided,
}

/// A breathing-zone sample.
#[derive(Debug, Clone)]
pub(crate) struct Sample {
    /// Whose.
    pub(crate) worker: usize,
    /// The shift date.
    pub(crate) date: NaiveDate,
    /// When it started, UTC.
    pub(crate) start: NaiveDateTime,
    /// For how many minutes.
    pub(crate) minutes: i64,
    /// `shift`, `task` or `short_term`.
    pub(crate) covers: &'static str,
    /// Whether the day was like other days.
    pub(crate) representative: bool,
    /// What was reported.
    pub(crate) reported: Reported,
    /// What became of it.
    pub(crate) fate: Fate,
}

/// What an event states of a worker's shift.
#[derive(Debug, Clone)]
pub(crate) struct Stated {
    /// Whose.
    pub(crate) worker: usize,
    /// Which.
    pub(crate) date: NaiveDate,
    /// How long in the event's group.
    pub(crate) minutes: i64,
    /// What the unsampled time counts as: `zero` or `as_sampled`.
    pub(crate) unsampled: Option<&'static str>,
}

/// A sampling event in one group.
#[derive(Debug)]
pub(crate) struct Event {
    /// The group.
    pub(crate) group: usize,
    /// Its purposes.
    pub(crate) purposes: &'static [&'static str],
    /// Minutes of a shift.
    pub(crate) shift_minutes: i64,
    /// What it states of shifts.
    pub(crate) stated: Vec<Stated>,
    /// Its samples.
    pub(crate) samples: Vec<Sample>,
}

/// Everything of a seed.
#[derive(Debug)]
pub(crate) struct Drawn {
    /// The seed.
    pub(crate) seed: u64,
    /// The agent.
    pub(crate) substance: &'static Substance,
    /// The groups.
    pub(crate) groups: Vec<Group>,
    /// The workers.
    pub(crate) people: Vec<Person>,
    /// The events, by group and date.
    pub(crate) events: Vec<Event>,
}

/// A date that is written out.
pub(crate) fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn days(many: usize) -> Days {
    Days::new(u64::try_from(many).unwrap())
}

fn whole(number: usize) -> i64 {
    i64::try_from(number).unwrap()
}

/// The plant of a seed.
pub(crate) fn draw(seed: u64) -> Drawn {
    let mut draws = Draws::from(seed + 1);
    let substance = draws.one_of(&SUBSTANCES);
    let first_site = draws.below(SITES.len());
    let groups: Vec<Group> = (0..=*draws.one_of(&[0, 1, 1, 2]))
        // At least the second is on another site.
        .map(|n| Group {
            // Taken from the seed itself, so that the draws of seeds known by number stay what they are.
            expected: (seed / 2).is_multiple_of(2) == (n % 2 == 0),
            ..group(&mut draws, (first_site + n) % SITES.len())
        })
        .collect();
    let people = (0..=draws.below(4) / 3).map(|_| person(&mut draws, groups.len())).collect::<Vec<_>>();
    let mut drawn = Drawn { seed, substance, groups, people, events: Vec::new() };
    for group in 0..drawn.groups.len() {
        rounds(&mut draws, &mut drawn, group);
    }
    if draws.one_in(3) {
        two_sites_on_one_date(&mut draws, &mut drawn);
    }
    if draws.one_in(4) {
        many_days(&mut draws, &mut drawn);
    }
    drawn.events.retain(|event| !event.samples.is_empty());
    drawn
}

fn day(draws: &mut Draws) -> NaiveDate {
    date(START) + days(draws.below(SPAN))
}

fn group(draws: &mut Draws, site: usize) -> Group {
    let mut changes: Vec<_> = (0..draws.below(3)).map(|_| (day(draws), draws.one_in(2))).collect();
    changes.dedup_by_key(|(from, _)| *from);
    let control = draws.one_in(4).then(|| {
        let from = day(draws);
        (from, draws.one_in(2).then(|| from + days(1 + draws.below(200))))
    });
    Group { site, changes, expected: false, control }
}

fn person(draws: &mut Draws, groups: usize) -> Person {
    let mut person = Person::default();
    for _ in 0..draws.below(4) {
        let from = day(draws);
        let to = (!draws.one_in(3)).then(|| from + days(1 + draws.below(260)));
        let plan = Plan { group: draws.below(groups), from, to, tenths: 1 + whole(draws.below(65)) };
        // Two at once in one group are refused.
        let meets = |other: &Plan| {
            other.group == plan.group
                && other.to.is_none_or(|to| plan.from < to)
                && plan.to.is_none_or(|to| other.from < to)
        };
        if !person.plans.iter().any(meets) {
            person.plans.push(plan);
        }
    }
    if draws.one_in(2) {
        let around = day(draws);
        for _ in 0..draws.below(8) {
            person.recorded.insert((around + days(draws.below(10)), draws.below(groups)));
        }
    }
    for _ in 0..draws.below(3) {
        let from = day(draws);
        person.absences.push((from, from + days(1 + draws.below(40))));
    }
    person
}

/// A value about the levels of the agent.
fn reported(draws: &mut Draws, substance: &Substance) -> Reported {
    let Substance { action_level, limit, .. } = *substance;
    // Vinyl chloride may both stand at its action level and step down at it: which comes first is nobody's rule.
    let at = if substance.code == "vinyl_chloride" { action_level + 1 } else { action_level };
    let value = *draws.one_of(&[
        action_level / 5,
        action_level / 2 + 1,
        action_level * 4 / 5,
        action_level - 1,
        at,
        at,
        i64::midpoint(action_level, limit),
        limit,
        limit + 1,
        limit * 2,
        limit * 6,
    ]);
    match draws.below(12) {
        0 | 1 => Reported::Less(value),
        2 => Reported::More(value),
        _ => Reported::Value(value),
    }
}

fn fate(draws: &mut Draws) -> Fate {
    match draws.below(16) {
        0 => Fate::Awaited,
        1 => Fate::Voided,
        2..5 => Fate::Submitted,
        _ => Fate::Accepted,
    }
}

/// When a local hour by winter time is, in UTC.
fn instant(on: NaiveDate, hour: i64, site: usize) -> NaiveDateTime {
    on.and_hms_opt(0, 0, 0).unwrap() + Duration::hours(hour + SITES[site].behind)
}

fn rounds(draws: &mut Draws, drawn: &mut Drawn, group: usize) {
    const PURPOSES: [&[&str]; 10] = [
        &["routine"],
        &["routine"],
        &["routine"],
        &["routine"],
        &["baseline"],
        &["worst_case"],
        &["control_trial"],
        &["upset"],
        &["complaint", "routine"],
        &["routine", "emergency"],
    ];
    let last = date(START) + days(SPAN);
    let mut on = day(draws);
    for _ in 0..draws.below(7) {
        if on > last {
            break;
        }
        let purposes = if draws.one_in(2) { PURPOSES[0] } else { *draws.one_of(&PURPOSES) };
        let shift_minutes = *draws.one_of(&[480, 480, 480, 600]);
        // Often nothing is there any more, and nobody doubts it.
        let calm = draws.one_in(2);
        let mut event = Event { group, purposes, shift_minutes, stated: Vec::new(), samples: Vec::new() };
        for worker in 0..drawn.people.len() {
            for back in 0..2 {
                if draws.one_in(if back == 0 { 6 } else { 3 }) || back == 1 && !draws.one_in(5) {
                    continue;
                }
                let begun = event.samples.len();
                shift(draws, drawn, &mut event, worker, on - days(back));
                for sample in event.samples.iter_mut().skip(begun).filter(|_| calm) {
                    sample.reported = Reported::Value(drawn.substance.action_level / 3);
                    sample.fate = Fate::Accepted;
                }
            }
        }
        drawn.events.push(event);
        on = on + days(*draws.one_of(&[2, 4, 5, 6, 7, 8, 9, 10, 14, 30, 90, 200]));
    }
}

/// What was sampled of one shift.
fn shift(draws: &mut Draws, drawn: &Drawn, event: &mut Event, worker: usize, on: NaiveDate) {
    let hour = *draws.one_of(&[6, 7, 8, 14, 22]);
    if draws.one_in(4) {
        event.stated.push(Stated {
            worker,
            date: on,
            minutes: *draws.one_of(&[480, 600, 300, 360, 359]),
            unsampled: draws.one_in(2).then(|| *draws.one_of(&["zero", "as_sampled"])),
        });
    }
    let parts: &[(&str, i64)] = match draws.below(8) {
        0 => &[("task", 240), ("task", 120)],
        1 => &[("task", 120), ("shift", 240)],
        2 => &[("shift", 240)],
        3 => &[("shift", 360)],
        4 => &[("short_term", 15)],
        5 => &[("shift", 300), ("short_term", 15)],
        _ => &[("shift", 300)],
    };
    let full = draws.one_in(2).then_some([("shift", event.shift_minutes)]);
    let mut start = instant(on, hour, drawn.groups[event.group].site);
    let whole = full.as_ref().map_or(parts, |full| &full[..]);
    let representative = !draws.one_in(12);
    for (covers, minutes) in whole {
        let mut value = reported(draws, drawn.substance);
        if let (&"short_term", Some(short)) = (covers, drawn.substance.short) {
            value = *draws.one_of(&[
                Reported::Value(short),
                Reported::Value(short + 1),
                Reported::Value(short - 1),
                Reported::Less(short),
                Reported::Less(short * 2),
                value,
            ]);
        }
        let sample = Sample {
            worker,
            date: on,
            start,
            minutes: *minutes,
            covers,
            representative,
            reported: value,
            fate: fate(draws),
        };
        start += Duration::minutes(*minutes);
        if fits(drawn, event, &sample) {
            event.samples.push(sample);
        }
    }
}

/// Whether a sample runs while no other of the worker does: that would be refused.
fn fits(drawn: &Drawn, event: &Event, sample: &Sample) -> bool {
    let end = |one: &Sample| one.start + Duration::minutes(one.minutes);
    let free = |other: &Sample| {
        other.worker != sample.worker || end(other) <= sample.start || end(sample) <= other.start
    };
    // A worker's shift in a group belongs to one event.
    let apart = drawn.events.iter().filter(|other| other.group == event.group).all(|other| {
        other.samples.iter().all(|other| other.worker != sample.worker || other.date != sample.date)
    });
    apart && event.samples.iter().all(free) && drawn.events.iter().flat_map(|event| &event.samples).all(free)
}

/// One worker, one date, two groups, each with the half of the shift that was spent there.
fn two_sites_on_one_date(draws: &mut Draws, drawn: &mut Drawn) {
    if drawn.groups.len() < 2 {
        return;
    }
    let (on, worker) = (day(draws), draws.below(drawn.people.len()));
    for group in 0..2 {
        let minutes = *draws.one_of(&[240, 240, 200, 300]);
        let hour = if drawn.groups[group].site == 0 { 15 } else { 8 };
        let mut event = Event {
            group,
            purposes: &["routine"],
            shift_minutes: 480,
            stated: vec![Stated { worker, date: on, minutes, unsampled: None }],
            samples: Vec::new(),
        };
        let sample = Sample {
            worker,
            date: on,
            start: instant(on, hour, drawn.groups[group].site),
            minutes,
            covers: "shift",
            representative: true,
            reported: reported(draws, drawn.substance),
            fate: fate(draws),
        };
        // Rounds of one date would have no order that the rules give.
        let same_date = |other: &Event| {
            other.group == group && other.samples.iter().any(|other| (other.date - on).num_days().abs() < 2)
        };
        if !drawn.events.iter().any(same_date) && fits(drawn, &event, &sample) {
            event.samples.push(sample);
            drawn.events.push(event);
        }
    }
}

/// A long campaign on one worker, so that measured days alone may be enough.
fn many_days(draws: &mut Draws, drawn: &mut Drawn) {
    let (group, worker) = (draws.below(drawn.groups.len()), draws.below(drawn.people.len()));
    let mut on = day(draws);
    let mut event =
        Event { group, purposes: &["routine"], shift_minutes: 480, stated: Vec::new(), samples: Vec::new() };
    for _ in 0..*draws.one_of(&[9, 10, 11, 12]) {
        if on > date(START) + days(SPAN) {
            break;
        }
        let high = draws.below(4) > 0;
        let short = drawn.substance.short.filter(|_| draws.one_in(3));
        let value = match (short, high) {
            (Some(short), true) => Reported::Value(short + whole(draws.below(2))),
            (None, true) => Reported::Value(drawn.substance.limit + whole(draws.below(2))),
            _ => reported(draws, drawn.substance),
        };
        let sample = Sample {
            worker,
            date: on,
            start: instant(on, 8, drawn.groups[group].site),
            minutes: if short.is_some() { 15 } else { 480 },
            covers: if short.is_some() { "short_term" } else { "shift" },
            representative: true,
            reported: value,
            fate: fate(draws),
        };
        let same_date = |other: &Event| {
            other.group == group && other.samples.iter().any(|other| (other.date - on).num_days().abs() < 2)
        };
        if !drawn.events.iter().any(same_date) && fits(drawn, &event, &sample) {
            event.samples.push(sample);
        }
        on = on + days(1 + draws.below(30));
    }
    // Its date is that of its latest shift: no other round of the group lies between its first and its last.
    let (Some(first), Some(last)) = (event.samples.first(), event.samples.last()) else { return };
    let between = |other: &Event| {
        other.group == group
            && other.samples.iter().any(|one| first.date <= one.date && one.date <= last.date + days(1))
    };
    if !drawn.events.iter().any(between) {
        drawn.events.push(event);
    }
}
