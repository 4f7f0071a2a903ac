//! The rules of standing and of days read as slowly and plainly as they can be: day by day, in whole numbers.
//!
//! Shares nothing with the registry. Every rule is this registry's own, but for the numbers of the paragraphs.

use crate::day_by_day::drawn::{Drawn, Event, Fate, Group, Person, Reported, SITES, START, Sample, date};
use crate::day_by_day::paragraphs::{FEDERAL_HOLIDAYS, Looks, WayDown};
use chrono::{Datelike, Days, Months, NaiveDate, Weekday};
use std::cmp::Ordering;
use std::collections::{BTreeMap, BTreeSet};

/// A fraction of thousandths.
#[derive(Debug, Clone, Copy)]
struct Fraction(i128, i128);

impl Fraction {
    fn plus(self, other: Self) -> Self {
        Self(self.0 * other.1 + other.0 * self.1, self.1 * other.1)
    }

    fn beside(self, level: i64) -> Ordering {
        self.0.cmp(&(i128::from(level) * self.1))
    }
}

/// An average: from, to (if it ends), and whether it lies strictly below its end.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Average {
    from: Fraction,
    to: Option<Fraction>,
    open: bool,
}

/// Whether an average reaches a level: at it, or only above it. `None`: cannot tell.
fn reaches(average: Average, level: i64, only_above: bool) -> Option<bool> {
    let past = |side: Ordering| side.is_gt() || side.is_eq() && !only_above;
    // More than a value is above whatever that value is at.
    let above = average.to.is_none() && average.from.beside(level).is_ge();
    if above || past(average.from.beside(level)) {
        return Some(true);
    }
    let to = average.to?.beside(level);
    if to.is_lt() || to.is_eq() && (average.open || only_above) { Some(false) } else { None }
}

fn bounds(reported: Reported) -> (i64, Option<i64>) {
    match reported {
        Reported::Value(value) => (value, Some(value)),
        Reported::Less(value) => (0, Some(value)),
        Reported::More(value) => (value, None),
    }
}

pub(crate) fn is_used(sample: &Sample) -> bool {
    matches!(sample.fate, Fate::Submitted | Fate::Accepted)
}

/// What is known of a worker's shift date in one group.
#[derive(Debug, Clone)]
pub(crate) struct Shift {
    /// The 8-hour average, if samples over longer than minutes were taken.
    pub(crate) average: Option<Average>,
    /// Whether more than a quarter of it is not known.
    part: bool,
    /// Whether the worker worked much less than the event's shift that day.
    short: bool,
    /// Whether everything behind it is accepted.
    pub(crate) accepted: bool,
    /// May it count, only raise, or nothing; by purpose and representativeness.
    standing: Counts,
    /// Every single sample's value.
    peaks: Vec<Reported>,
}

#[derive(Debug, Clone, Copy, PartialEq)]
enum Counts {
    Fully,
    Upward,
    Not,
}

fn stated_minutes(event: &Event, worker: usize, on: NaiveDate) -> i64 {
    let stated = event.stated.iter().find(|stated| stated.worker == worker && stated.date == on);
    stated.map_or(event.shift_minutes, |stated| stated.minutes)
}

/// A worker's shift in an event's group.
pub(crate) fn shift(drawn: &Drawn, event: &Event, worker: usize, on: NaiveDate) -> Option<Shift> {
    let of_it = |sample: &&Sample| sample.worker == worker && sample.date == on && is_used(sample);
    let used: Vec<&Sample> = event.samples.iter().filter(of_it).collect();
    if used.is_empty() {
        return None;
    }
    let long: Vec<&Sample> = used.iter().copied().filter(|sample| sample.covers != "short_term").collect();
    let minutes = stated_minutes(event, worker, on);
    let sampled: i64 = long.iter().map(|sample| sample.minutes).sum();
    let stated = event.stated.iter().find(|stated| stated.worker == worker && stated.date == on);
    let unsampled = stated.and_then(|stated| stated.unsampled).filter(|_| sampled < minutes);
    let (mut from, mut to) = (0_i128, Some(0_i128));
    for sample in &long {
        let (least, most) = bounds(sample.reported);
        from += i128::from(least * sample.minutes);
        to = to.zip(most).map(|(sum, most)| sum + i128::from(most * sample.minutes));
    }
    // As if nothing were breathed in the rest, and as if the rest were as what was sampled.
    let nothing = |sum: i128| Fraction(sum, 480);
    let alike = |sum: i128| Fraction(sum * i128::from(minutes.max(sampled)), i128::from(sampled * 480));
    let part = unsampled.is_none() && sampled * 4 < minutes * 3;
    let all_below = long.iter().all(|sample| matches!(sample.reported, Reported::Less(_)));
    let average = (!long.is_empty()).then(|| Average {
        from: if part || unsampled == Some("zero") { nothing(from) } else { alike(from) },
        to: to.map(|sum| if unsampled == Some("zero") { nothing(sum) } else { alike(sum) }),
        open: all_below,
    });
    // Over all groups of the date, by what the events state or else by their shift.
    let mut worked = 0;
    for other in &drawn.events {
        let knows = other.samples.iter().any(|sample| sample.worker == worker && sample.date == on)
            || other.stated.iter().any(|stated| stated.worker == worker && stated.date == on);
        if knows {
            worked += stated_minutes(other, worker, on);
        }
    }
    let bearing = if long.is_empty() { &used } else { &long };
    let purpose = |word: &str| event.purposes.contains(&word);
    let unlike = bearing.iter().any(|sample| !sample.representative);
    let standing = if unlike || purpose("upset") || purpose("emergency") {
        Counts::Not
    } else if purpose("control_trial") {
        Counts::Upward
    } else {
        Counts::Fully
    };
    Some(Shift {
        average,
        part,
        short: worked * 4 < event.shift_minutes * 3,
        accepted: bearing.iter().all(|sample| sample.fate == Fate::Accepted),
        standing,
        peaks: used.iter().map(|sample| sample.reported).collect(),
    })
}

/// What a round says of a bound.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Says {
    Nothing,
    Reaches,
    CannotTell,
    Below { accepted: bool },
}

/// A round: its date and its members.
struct Round {
    date: NaiveDate,
    members: Vec<(Average, Shift)>,
}

impl Round {
    fn says(&self, level: i64, only_above: bool) -> Says {
        let answer = |average: &Average| reaches(*average, level, only_above);
        if self.members.iter().any(|(average, _)| answer(average) == Some(true)) {
            return Says::Reaches;
        }
        let may_lower = |shift: &Shift| shift.standing == Counts::Fully && !shift.short && !shift.part;
        let rest: Vec<_> = self.members.iter().filter(|(_, shift)| may_lower(shift)).collect();
        if rest.is_empty() {
            return Says::Nothing;
        }
        if rest.iter().any(|(average, _)| answer(average).is_none()) {
            return Says::CannotTell;
        }
        Says::Below { accepted: rest.iter().all(|(_, shift)| shift.accepted) }
    }
}

/// A move of a standing: to where, since when, by which round, by a way down or not.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Moved {
    pub(crate) level: u8,
    pub(crate) since: Option<NaiveDate>,
    pub(crate) round: NaiveDate,
    pub(crate) down: bool,
}

/// The days on which a group's work became of another kind.
pub(crate) fn cuts(group: &Group) -> BTreeSet<NaiveDate> {
    let mut cuts: BTreeSet<NaiveDate> = group.changes.iter().map(|(from, _)| *from).collect();
    if let Some((from, to)) = group.control {
        cuts.insert(from);
        cuts.extend(to);
    }
    cuts
}

/// The start of the era of a date; `None`: the first.
fn era_start(cuts: &BTreeSet<NaiveDate>, on: NaiveDate) -> Option<NaiveDate> {
    let mut day = on;
    while day >= date(START) {
        if cuts.contains(&day) {
            return Some(day);
        }
        day = day.pred_opt().unwrap();
    }
    None
}

fn is_working_day(site: usize, day: NaiveDate) -> bool {
    let text = day.to_string();
    !matches!(day.weekday(), Weekday::Sat | Weekday::Sun)
        && !FEDERAL_HOLIDAYS.contains(&text.as_str())
        && !SITES[site].holidays.contains(&text.as_str())
}

fn far_enough(way: WayDown, site: usize, first: NaiveDate, second: NaiveDate) -> bool {
    let between = first.iter_days().skip(1).take_while(|day| *day <= second);
    between.filter(|day| !way.working || is_working_day(site, *day)).count() >= way.apart
}

/// How a group's standing moved: 1 below the action level, 2 at or above it, 3 above the limit.
pub(crate) fn moves(drawn: &Drawn, group: usize) -> Vec<Moved> {
    moved(drawn, group, true)
}

/// The same with the limit passed above it, or at it already, as a clause reads it that says "at or above the limit".
fn moved(drawn: &Drawn, group: usize, passed_above: bool) -> Vec<Moved> {
    let substance = drawn.substance;
    let (action, limit) = (substance.action_level, substance.limit);
    let site = drawn.groups[group].site;
    let cuts = cuts(&drawn.groups[group]);
    let mut rounds: Vec<Round> = Vec::new();
    for event in drawn.events.iter().filter(|event| event.group == group) {
        let shifts: BTreeSet<_> = event.samples.iter().map(|sample| (sample.date, sample.worker)).collect();
        let mut date = None;
        let mut members = Vec::new();
        for (on, worker) in shifts {
            let Some(mut shift) = shift(drawn, event, worker, on) else { continue };
            let Some(average) = shift.average.filter(|_| shift.standing != Counts::Not) else { continue };
            // What cannot be told from the action level, or from the limit, lowers nothing, as if nobody had accepted it.
            let tells = [(action, false), (limit, true)].map(|(level, above)| reaches(average, level, above));
            shift.accepted &= tells.iter().all(Option::is_some);
            date = date.max(Some(on));
            members.push((average, shift));
        }
        rounds.extend(date.map(|date| Round { date, members }));
    }
    rounds.sort_by_key(|round| round.date);
    let mut moves: Vec<Moved> = Vec::new();
    let mut now = 0;
    for (n, round) in rounds.iter().enumerate() {
        let era = era_start(&cuts, round.date);
        let same_era = |other: &&Round| era_start(&cuts, other.date) == era;
        let level = match (round.says(limit, passed_above), round.says(action, false)) {
            (Says::Reaches, _) => 3,
            (_, Says::Reaches) => 2,
            (_, Says::Below { .. }) => 1,
            _ => 0,
        };
        let mut moved = None;
        if level > now {
            let mut since = era;
            if now > 0 {
                let (bound, above) = if level == 3 { (limit, passed_above) } else { (action, false) };
                let below = rounds[..n]
                    .iter()
                    .filter(same_era)
                    .rfind(|other| other.says(bound, above) == (Says::Below { accepted: true }));
                since = below.map(|below| below.date.succ_opt().unwrap()).or(era);
            }
            moved = Some(Moved { level, since, round: round.date, down: false });
        } else {
            for way in substance.down[usize::from(SITES[site].construction)] {
                // Results at the limit lead down to it, and not below it.
                let at = way.at && (passed_above || way.to == 1);
                let says = |other: &Round| other.says(way.upper, at);
                let both = Says::Below { accepted: true };
                // Back from this round over all that say nothing against it.
                let earlier = rounds[..n]
                    .iter()
                    .rev()
                    .take_while(|other| same_era(other))
                    .take_while(|other| !matches!(says(other), Says::Reaches | Says::CannotTell))
                    .any(|other| says(other) == both && far_enough(*way, site, other.date, round.date));
                let lower = moved.as_ref().map_or(now, |moved: &Moved| moved.level);
                if earlier && says(round) == both && way.to < lower {
                    let since = Some(round.date);
                    moved = Some(Moved { level: way.to, since, round: round.date, down: true });
                }
            }
        }
        if let Some(moved) = moved {
            now = moved.level;
            moves.push(moved);
        }
    }
    moves
}

/// Where a group stood on a date.
pub(crate) fn standing(moves: &[Moved], on: NaiveDate) -> u8 {
    let last = moves.iter().rfind(|moved| moved.since.is_none_or(|since| since <= on));
    last.map_or(0, |moved| moved.level)
}

fn monday(day: NaiveDate) -> NaiveDate {
    day - Days::new(day.weekday().num_days_from_monday().into())
}

/// How many shifts fall in week k from 1, of so many tenths a week: what has come due by it, rounded up, less what had
/// before.
fn in_week(tenths: i64, k: i64) -> i64 {
    let due = |weeks: i64| (weeks * tenths + 9).div_euclid(10);
    due(k) - due(k - 1)
}

/// The groups that a worker worked in, by date, and whether that was recorded.
pub(crate) fn worked(person: &Person, horizon: NaiveDate) -> BTreeMap<NaiveDate, Vec<(usize, bool)>> {
    let mut found: BTreeMap<NaiveDate, Vec<(usize, bool)>> = BTreeMap::new();
    let recorded_weeks: BTreeSet<_> = person.recorded.iter().map(|(day, _)| monday(*day)).collect();
    let mut plans: Vec<_> = person.plans.iter().collect();
    // Whose assignment began first is placed first; of equals the one that was entered first.
    plans.sort_by_key(|plan| plan.from);
    let mut week = monday(date(START));
    while week < horizon {
        let mut taken = BTreeSet::new();
        for plan in &plans {
            let k = (week - monday(plan.from)).num_days() / 7 + 1;
            if k < 1 || recorded_weeks.contains(&week) {
                continue;
            }
            let mut left = in_week(plan.tenths, k);
            for day in week.iter_days().take(7) {
                let away = person.absences.iter().any(|(from, to)| *from <= day && day < *to);
                let holds = plan.from <= day && plan.to.is_none_or(|to| day < to);
                if left > 0 && holds && !away && taken.insert(day) {
                    left -= 1;
                    if day < horizon {
                        found.entry(day).or_default().push((plan.group, false));
                    }
                }
            }
        }
        week = week + Days::new(7);
    }
    for (day, group) in &person.recorded {
        found.entry(*day).or_default().push((*group, true));
    }
    found
}

/// Whether the agent was found in a group in the era of a date.
fn found_in(drawn: &Drawn, group: usize, on: NaiveDate) -> bool {
    let cuts = cuts(&drawn.groups[group]);
    let samples = drawn.events.iter().filter(|event| event.group == group).flat_map(|event| &event.samples);
    let mut of_era = samples.filter(|sample| era_start(&cuts, sample.date) == era_start(&cuts, on));
    of_era.any(|sample| is_used(sample) && bounds(sample.reported).0 > 0)
}

/// A date of a worker.
#[derive(Debug, Default)]
pub(crate) struct Day {
    /// Where the groups worked in stood; empty where none was.
    pub(crate) standings: Vec<u8>,
    /// The same where the limit is passed at it already.
    standings_at_limit: Vec<u8>,
    /// Whether one of them, where the agent is expected or was found, stands nowhere.
    open: bool,
    /// The worker's own average over all groups.
    pub(crate) own: Option<Average>,
    /// Whether everything behind it is accepted.
    pub(crate) accepted: bool,
    /// Values of samples: over minutes, or over longer.
    peaks: Vec<Reported>,
}

/// Everything that is known of a worker's dates.
pub(crate) fn days(drawn: &Drawn, worker: usize, horizon: NaiveDate) -> BTreeMap<NaiveDate, Day> {
    let all = |passed_above| -> Vec<_> {
        (0..drawn.groups.len()).map(|group| moved(drawn, group, passed_above)).collect()
    };
    let (moves, at_limit) = (all(true), all(false));
    let mut days: BTreeMap<NaiveDate, Day> = BTreeMap::new();
    let worked = worked(&drawn.people[worker], horizon);
    for (on, groups) in &worked {
        let day = days.entry(*on).or_default();
        let stood =
            |moves: &[Vec<Moved>]| groups.iter().map(|(group, _)| standing(&moves[*group], *on)).collect();
        (day.standings, day.standings_at_limit) = (stood(&moves), stood(&at_limit));
        let there = |group: usize| drawn.groups[group].expected || found_in(drawn, group, *on);
        let nowhere = |group: usize| standing(&moves[group], *on) == 0;
        day.open = groups.iter().any(|(group, _)| nowhere(*group) && there(*group));
    }
    let dates: BTreeSet<_> = drawn
        .events
        .iter()
        .flat_map(|event| &event.samples)
        .filter(|sample| sample.worker == worker)
        .map(|sample| sample.date)
        .collect();
    for on in dates {
        let mut measured = BTreeSet::new();
        let mut sum: Option<Average> = None;
        let (mut accepted, mut peaks) = (true, Vec::new());
        for event in &drawn.events {
            let Some(shift) = shift(drawn, event, worker, on) else { continue };
            peaks.extend(shift.peaks);
            let Some(average) = shift.average else { continue };
            measured.insert(event.group);
            accepted &= shift.accepted;
            sum = Some(sum.map_or(average, |sum| Average {
                from: sum.from.plus(average.from),
                to: sum.to.zip(average.to).map(|(one, other)| one.plus(other)),
                open: sum.open && average.open,
            }));
        }
        // What was breathed in a further group on record is not known: the sum is the least it can be.
        let further = worked.get(&on).into_iter().flatten();
        let further = further.filter(|(group, recorded)| *recorded && !measured.contains(group)).count();
        if let Some(sum) = sum.as_mut().filter(|_| further > 0) {
            sum.to = None;
        }
        if sum.is_some() || !peaks.is_empty() {
            let day = days.entry(on).or_default();
            (day.own, day.accepted, day.peaks) = (sum, accepted, peaks);
        }
    }
    days
}

/// How a date counts for what a clause looks at: measured, counted, undecided.
pub(crate) fn counts(day: &Day, looks: Looks) -> (bool, bool, bool) {
    match looks {
        Looks::Average(level, only_above, needed) => {
            let at_limit = needed == 3 && !only_above;
            let standings = if at_limit { &day.standings_at_limit } else { &day.standings };
            let stood = standings.iter().any(|standing| *standing >= needed);
            let none_stands = day.standings.iter().all(|standing| *standing == 0);
            let unknown = !stood && !day.standings.is_empty() && (none_stands || day.open);
            match day.own.map(|own| reaches(own, level, only_above)) {
                Some(Some(true)) => (true, true, false),
                // What is not accepted yet takes no day away.
                Some(Some(false)) if day.accepted => (false, false, false),
                Some(_) => (false, stood, true),
                None => (false, stood, unknown),
            }
        }
        Looks::Short(level, only_above) => {
            let over = |reported: &Reported| {
                let (from, to) = bounds(*reported);
                let one = Average {
                    from: Fraction(from.into(), 1),
                    to: to.map(|to| Fraction(to.into(), 1)),
                    open: matches!(reported, Reported::Less(_)),
                };
                // A sample over longer says something only where its mean is past the level.
                reaches(one, level, only_above) == Some(true)
            };
            let reached = day.peaks.iter().any(over);
            (reached, reached, false)
        }
    }
}

/// A count: how many dates in the worst twelve months, from, to; and the first twelve months with enough.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Counted {
    pub(crate) most: usize,
    pub(crate) worst: Option<(NaiveDate, NaiveDate)>,
    /// The first day of the first window with enough, and the day on which it has.
    pub(crate) first: Option<(NaiveDate, NaiveDate)>,
}

/// Counts dates in every twelve months that begin with one.
pub(crate) fn count(dates: &BTreeSet<NaiveDate>, needed: usize) -> Counted {
    let mut counted = Counted { most: 0, worst: None, first: None };
    for start in dates {
        let end = *start + Months::new(12);
        let inside: Vec<_> = dates.iter().filter(|day| *start <= **day && **day < end).collect();
        if inside.len() > counted.most {
            (counted.most, counted.worst) = (inside.len(), Some((*start, end)));
        }
        if counted.first.is_none() && inside.len() >= needed {
            counted.first = Some((*start, *inside[needed - 1]));
        }
    }
    counted
}
