//! Whole histories against a slow, plain reference that walks day by day and knows nothing of the pack.
//!
//! The numbers are written here once more, from the paragraphs named beside them.

use crate::made::{agent, member, round};
use chrono::{Datelike, Days, Months, NaiveDate, Weekday};
use doseward::model::facts::rule_set::RuleSet;
use doseward::model::measured::Measured;
use doseward::surveillance::calendar::WorkingDays;
use doseward::surveillance::monitoring::standard::Standard;
use doseward::surveillance::monitoring::track::{Rounds, State, follow};
use doseward::surveillance::pack::Pack;
use doseward::surveillance::round::Round;
use doseward::surveillance::standing::Era;
use std::collections::BTreeSet;

/// A standard with one average and one or two intervals.
struct Plain {
    agent: &'static str,
    /// From the action level on, every so many months.
    low: (f64, u32),
    /// Above the limit, every so many months; whether exactly at it counts.
    high: Option<(f64, u32, bool)>,
    /// Months after a result below the action level that is not the first.
    third: Option<u32>,
    /// Whether a result exactly at the action level counts towards stopping.
    stops_at: bool,
    /// Days between the two results, and whether they are working days.
    apart: (u32, bool),
    /// Whether two results must lie below the limit before the longer interval holds; whether exactly at it counts.
    two_for_low: Option<bool>,
    /// Whether a first result below the action level must be confirmed.
    confirms: bool,
    /// Whether the interval runs from the newest round.
    newest: bool,
}

const STANDARDS: [Plain; 6] = [
    // 29 CFR 1910.1026(d)(2).
    Plain {
        agent: "chromium_vi",
        low: (2.5, 6),
        high: Some((5.0, 3, false)),
        third: None,
        stops_at: false,
        apart: (7, false),
        two_for_low: None,
        confirms: false,
        newest: false,
    },
    // 29 CFR 1910.1025(d)(6); exactly at 50 the stricter side.
    Plain {
        agent: "lead",
        low: (30.0, 6),
        high: Some((50.0, 3, true)),
        third: None,
        stops_at: false,
        apart: (7, false),
        two_for_low: Some(false),
        confirms: false,
        newest: false,
    },
    // 29 CFR 1910.1053(d)(3).
    Plain {
        agent: "silica_respirable",
        low: (25.0, 6),
        high: Some((50.0, 3, false)),
        third: Some(6),
        stops_at: false,
        apart: (7, false),
        two_for_low: None,
        confirms: false,
        newest: true,
    },
    // 29 CFR 1910.1027(d)(3).
    Plain {
        agent: "cadmium",
        low: (2.5, 6),
        high: None,
        third: None,
        stops_at: false,
        apart: (7, false),
        two_for_low: None,
        confirms: true,
        newest: false,
    },
    // 29 CFR 1910.1028(e)(3), (4).
    Plain {
        agent: "benzene",
        low: (0.5, 12),
        high: Some((1.0, 6, false)),
        third: None,
        stops_at: false,
        apart: (7, false),
        two_for_low: Some(true),
        confirms: false,
        newest: false,
    },
    // 29 CFR 1910.1047(d)(3), (4), the 8-hour average.
    Plain {
        agent: "ethylene_oxide",
        low: (0.5, 6),
        high: Some((1.0, 3, false)),
        third: None,
        stops_at: false,
        apart: (7, false),
        two_for_low: Some(true),
        confirms: false,
        newest: false,
    },
];

/// Numbers from a seed (`SplitMix64`, common practice).
struct Draws(u64);

impl Draws {
    /// A number below `end`.
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((mixed ^ (mixed >> 31)) % u64::try_from(end).unwrap()).unwrap()
    }
}

/// What a round says: from, to (both may be meant), accepted or not.
#[derive(Debug, Clone, Copy)]
struct Said {
    date: NaiveDate,
    from: f64,
    to: f64,
    below: bool,
    accepted: bool,
}

/// Where monitoring stands, as the reference puts it: nothing, to be confirmed, or every so many months; and until when.
#[derive(Debug, Clone, PartialEq)]
enum Stands {
    Nothing,
    Stopped,
    Confirm(NaiveDate),
    Every(u32, BTreeSet<NaiveDate>),
}

fn months(date: NaiveDate, months: u32) -> NaiveDate {
    date.checked_add_months(Months::new(months)).unwrap()
}

/// Tier of a value: 0 below the action level, 1 from it on, 2 above the limit.
fn tier(standard: &Plain, value: f64) -> u32 {
    match standard.high {
        Some((limit, _, at)) if value > limit || at && value >= limit => 2,
        _ => u32::from(value >= standard.low.0),
    }
}

/// The days from one date to another that count towards being far enough apart.
fn days_between(standard: &Plain, first: NaiveDate, second: NaiveDate) -> u32 {
    let mut day = first;
    let mut count = 0;
    while day < second {
        day = day.succ_opt().unwrap();
        let weekend = matches!(day.weekday(), Weekday::Sat | Weekday::Sun);
        count += u32::from(!standard.apart.1 || !weekend);
    }
    count
}

/// Walks from the first round to the last, a day at a time.
#[expect(clippy::too_many_lines, reason = "one walk, told in one piece")]
fn walk(standard: &Plain, said: &[Said], cuts: &[NaiveDate]) -> Stands {
    let interval = |tier: u32| match (tier, standard.high) {
        (2, Some((_, months, _))) => months,
        (0, _) => standard.third.unwrap(),
        _ => standard.low.1,
    };
    let mut stands: Option<u32> = None; // The tier that is repeated.
    let mut told = false;
    let mut confirming: Option<NaiveDate> = None;
    let mut open: BTreeSet<NaiveDate> = BTreeSet::new();
    let mut dates: Vec<NaiveDate> = Vec::new(); // Dates of the schedule.
    let mut met_until = NaiveDate::MIN;
    let mut stop_run: Vec<NaiveDate> = Vec::new();
    let mut low_run: Vec<NaiveDate> = Vec::new();
    let (Some(first), Some(last)) = (said.first(), said.last()) else { return Stands::Nothing };
    let mut day = first.date;
    while day <= last.date {
        if cuts.contains(&day) {
            stop_run.clear();
            low_run.clear();
        }
        if let Some(round) = said.iter().find(|said| said.date == day) {
            // `<x` lies strictly below x.
            let (least, most) = (tier(standard, round.from), {
                let to = if round.below { round.to - 1e-9 } else { round.to };
                tier(standard, to)
            });
            // Also between at and below the levels of a step down, a range may be undecided.
            let sure = round.accepted && certain(standard, round);
            let count = |run: &mut Vec<NaiveDate>, fits: Option<bool>| match fits {
                Some(true) if round.accepted => {
                    if run.last().is_none_or(|last| days_between(standard, *last, day) >= standard.apart.0) {
                        run.push(day);
                    }
                }
                Some(true) => {}
                Some(false) | None => run.clear(),
            };
            count(&mut stop_run, under(round, standard.low.0, standard.stops_at));
            if let (Some(at), Some((limit, ..))) = (standard.two_for_low, standard.high) {
                count(&mut low_run, under(round, limit, at));
            }
            let stop_now = stop_run.len() >= 2 && stop_run.last() == Some(&day);
            let low_now = low_run.len() >= 2 && low_run.last() == Some(&day);
            let before = (stands, confirming);
            let mut to_stop = false;
            if !told {
                if least > 0 {
                    (stands, told) = (Some(least), true);
                } else if sure {
                    told = true;
                    to_stop = !standard.confirms;
                    confirming = standard.confirms.then_some(day);
                }
            } else if least > 0 && stands.is_none_or(|now| least > now) {
                (stands, confirming) = (Some(least), None);
            } else if (stands.is_some() || confirming.is_some()) && stop_now {
                (stands, confirming, to_stop) = (None, None, true);
            } else if stands == Some(2) && low_now && least <= 1 {
                stands = Some(1);
            } else if sure && least == most {
                let down = stands.is_some_and(|now| least < now);
                let may = (least == 1 && standard.two_for_low.is_none())
                    || (least == 0 && standard.third.is_some());
                if down && may {
                    stands = Some(least);
                }
            }
            let moved = (stands, confirming) != before;
            if sure || to_stop {
                open.clear();
            }
            if let Some(tier) = stands {
                let every = interval(tier);
                if moved {
                    dates = (1..80).map(|k| months(day, every * k)).collect();
                    met_until = day;
                    open.insert(dates[0]);
                } else if sure {
                    let next = if standard.newest {
                        months(day, every)
                    } else {
                        // A round meets the date that it is made for; a late one meets what it missed.
                        let pending = *dates.iter().find(|date| **date > met_until).unwrap();
                        if day > pending {
                            met_until = *dates.iter().rfind(|date| **date <= day).unwrap();
                        } else if day > met_until {
                            met_until = pending;
                        }
                        let next = *dates.iter().find(|date| **date > met_until).unwrap();
                        next.min(months(day, every))
                    };
                    open.insert(next);
                }
            }
            if let Some(from) = confirming
                && (moved || sure)
            {
                let from = stop_run.last().copied().unwrap_or(from);
                open.insert(from + Days::new(u64::from(standard.apart.0)));
            }
        }
        day = day.succ_opt().unwrap();
    }
    match (stands, confirming, told) {
        (Some(tier), ..) => Stands::Every(interval(tier), open),
        (None, Some(_), _) => Stands::Confirm(*open.first().unwrap()),
        (None, None, true) => Stands::Stopped,
        (None, None, false) => Stands::Nothing,
    }
}

/// Whether a round lies below a value (at it too where that counts); `None` where it cannot tell.
fn under(round: &Said, value: f64, at: bool) -> Option<bool> {
    let lies = |number: f64| number < value || at && number <= value;
    if round.below {
        return if round.to <= value { Some(true) } else { None };
    }
    match (lies(round.from), lies(round.to)) {
        (true, true) => Some(true),
        (false, false) => Some(false),
        _ => None,
    }
}

/// Whether a round tells on which side of every number of the standard it lies.
fn certain(standard: &Plain, round: &Said) -> bool {
    let mut asked = vec![(standard.low.0, false), (standard.low.0, standard.stops_at)];
    if let Some((limit, _, at)) = standard.high {
        asked.extend([(limit, !at)]);
        asked.extend(standard.two_for_low.map(|at| (limit, at)));
    }
    asked.into_iter().all(|(value, at)| under(round, value, at).is_some())
}

fn drawn(standard: &Plain, random: &mut Draws) -> (Vec<Said>, Vec<NaiveDate>) {
    let limit = standard.high.map_or(standard.low.0 * 2.0, |high| high.0);
    let values = [
        0.5 * standard.low.0,
        0.8 * standard.low.0,
        standard.low.0,
        0.5 * (standard.low.0 + limit),
        limit,
        1.6 * limit,
    ];
    let mut date =
        NaiveDate::from_ymd_opt(2019, 8, 1).unwrap() + Days::new(u64::try_from(random.below(1500)).unwrap());
    let mut said = Vec::new();
    for _ in 0..=random.below(13) {
        let (a, b) = (random.below(values.len()), random.below(values.len()));
        let (from, to, below) = match random.below(10) {
            0 => (0.0, values[a], true),
            1 => (values[a.min(b)], values[a.max(b)], false),
            _ => (values[a], values[a], false),
        };
        said.push(Said { date, from, to, below, accepted: random.below(8) > 0 });
        let gap = [1, 5, 6, 7, 8, 30, 90, 183, 200, 400][random.below(10)];
        date = date + Days::new(gap);
    }
    let cuts = (0..random.below(3)).map(|_| {
        let at = random.below(said.len());
        said[at].date
    });
    let cuts: BTreeSet<NaiveDate> = cuts.collect();
    (said.clone(), cuts.into_iter().collect())
}

fn eras(cuts: &[NaiveDate]) -> Vec<Era> {
    let mut from = None;
    let mut eras = Vec::new();
    for cut in cuts {
        eras.push(Era { from, to: Some(*cut) });
        from = Some(*cut);
    }
    eras.push(Era { from, to: None });
    eras
}

#[test]
fn whole_histories_agree_with_walking_day_by_day() {
    const SEEDS: u64 = 4_000;
    for standard in &STANDARDS {
        let agent = agent(standard.agent, RuleSet::UsGeneralIndustry);
        let rules = Standard::of(
            Pack::built_in(),
            standard.agent,
            RuleSet::UsGeneralIndustry,
            agent.levels,
            agent.unit,
        );
        let (mut stopped, mut open, mut several) = (0, 0, 0);
        for seed in 0..SEEDS {
            let mut random = Draws(seed);
            let (said, cuts) = drawn(standard, &mut random);
            let rounds: Vec<Round> = said
                .iter()
                .map(|said| {
                    let value = match (said.below, said.from.total_cmp(&said.to).is_eq()) {
                        (true, _) => Measured::Below(said.to),
                        (false, true) => Measured::Value(said.to),
                        (false, false) => Measured::Between { lower: said.from, upper: said.to },
                    };
                    round(said.date, agent.levels, vec![member(value, said.accepted)])
                })
                .collect();
            let made = Rounds { eight_hour: &rounds, short_term: &[] };
            let tracks = follow(&rules, made, &eras(&cuts), &WorkingDays::default());
            let track = &tracks[0];
            let due: BTreeSet<NaiveDate> = track.open().map(|occasion| occasion.due_on).collect();
            let found = match track.state {
                State::Unknown => Stands::Nothing,
                State::Stopped => Stands::Stopped,
                State::Unconfirmed => Stands::Confirm(*due.first().unwrap()),
                State::Repeating { months, .. } => Stands::Every(months, due),
            };
            let expected = walk(standard, &said, &cuts);
            assert_eq!(found, expected, "{} seed {seed}: {said:#?} cut at {cuts:?}", standard.agent);
            stopped += u32::from(expected == Stands::Stopped);
            open += u32::from(matches!(expected, Stands::Every(..)));
            several += u32::from(matches!(&expected, Stands::Every(_, due) if due.len() > 1));
        }
        // The histories drawn come to every end, or they would show little.
        assert!(
            stopped > 200 && open > 1_000 && several > 5,
            "{}: {stopped} {open} {several}",
            standard.agent
        );
    }
}
