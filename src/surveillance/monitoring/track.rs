//! A group's rounds followed through a standard: where its monitoring stands, every move, and every time it was or is due.
//!
//! Up at once; down by the standard's own step down, and where it has none between two intervals by the newest round. What
//! is flagged, not accepted or cannot tell raises and starts, and never lowers or ends.

use crate::model::identifiers::EventId;
use crate::surveillance::calendar::WorkingDays;
use crate::surveillance::monitoring::interval::Inside;
use crate::surveillance::monitoring::occasion::{Occasion, RoundRef, Schedule};
use crate::surveillance::monitoring::runs::{Runs, two_a_quarter};
use crate::surveillance::monitoring::standard::{Known, Line, Standard, WayDown};
use crate::surveillance::pack::monitoring_reading::Averages;
use crate::surveillance::round::Round;
use crate::surveillance::standing::{Era, era_of};
use chrono::NaiveDate;

/// The rounds of one group and agent.
#[derive(Debug, Clone, Copy, Default)]
pub struct Rounds<'r> {
    /// Of 8-hour averages.
    pub eight_hour: &'r [Round],
    /// Of short-term averages.
    pub short_term: &'r [Round],
}

/// How a group's monitoring stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// No round has told yet.
    Unknown,
    /// The first round lies below and needs confirming.
    Unconfirmed,
    /// It is repeated: the line of the standard, and every how many months.
    Repeating {
        /// Its place among the standard's lines.
        line: usize,
        /// The months.
        months: u32,
    },
    /// Nothing more is asked for.
    Stopped,
}

/// A move of a group's monitoring.
#[derive(Debug, Clone, PartialEq)]
pub struct MonitoringMove {
    /// Where it stands from then on.
    pub state: State,
    /// The round that moved it, with its date.
    pub round: RoundRef,
    /// Row of the pack that says so; `None` where no row asks for anything.
    pub rule_id: Option<String>,
    /// The clause as it is cited.
    pub clause: Option<String>,
}

/// What is sampled together under a standard, and how that stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Track {
    /// Which averages.
    pub averages: Averages,
    /// How it stands.
    pub state: State,
    /// Every move, in the order of the rounds.
    pub moves: Vec<MonitoringMove>,
    /// Every time it was or is due, in the order of the rounds.
    pub occasions: Vec<Occasion>,
    /// Whether, with nothing told yet, a round could not tell.
    pub cannot_tell: bool,
    /// Whether, with nothing told yet, a round is flagged or not accepted.
    pub not_accepted: bool,
    /// Whether a step down waits for short-term results only, of which there are none.
    pub short_term_missing: bool,
    /// The rounds that count as monitoring done: they tell on which side of every level they lie, and are accepted.
    pub done: Vec<RoundRef>,
    schedule: Option<Schedule>,
    /// Dates of the rounds made since the present line began.
    made: Vec<NaiveDate>,
}

/// One event's rounds.
struct Visit<'r> {
    event: EventId,
    date: NaiveDate,
    own: Known<'r>,
}

/// The visits of a group: its rounds by event, in order.
fn visits<'r>(rounds: Rounds<'r>) -> Vec<Visit<'r>> {
    let mut visits: Vec<Visit<'r>> = Vec::new();
    let short = rounds.short_term.iter().map(|round| (round, true));
    for (round, is_short) in rounds.eight_hour.iter().map(|round| (round, false)).chain(short) {
        let at = visits.iter().position(|visit| visit.event == round.event).unwrap_or_else(|| {
            visits.push(Visit { event: round.event, date: round.date, own: Known::default() });
            visits.len() - 1
        });
        let visit = &mut visits[at];
        visit.date = visit.date.max(round.date);
        *(if is_short { &mut visit.own.short_term } else { &mut visit.own.eight_hour }) = Some(round);
    }
    visits.sort_by_key(|visit| (visit.date, visit.event));
    visits
}

/// Follows the rounds of a group through a standard: one track for what is sampled together.
pub fn follow(
    standard: &Standard,
    rounds: Rounds<'_>,
    eras: &[Era],
    working_days: &WorkingDays,
) -> Vec<Track> {
    let mut tracks: Vec<Track> = standard.tracks().into_iter().map(Track::new).collect();
    let mut runs = vec![Runs::default(); standard.ways_down.len()];
    let mut known = Known::default();
    let mut era = None;
    for visit in visits(rounds) {
        let own = era_of(visit.date, eras);
        if era != Some(own) {
            era = Some(own);
            runs.fill(Runs::default());
        }
        let newest = Known {
            eight_hour: visit.own.eight_hour.or(known.eight_hour),
            short_term: visit.own.short_term.or(known.short_term),
        };
        let confirmed: Vec<bool> = standard
            .ways_down
            .iter()
            .zip(&mut runs)
            .map(|(way, runs)| runs.count(way, (visit.date, visit.own), working_days))
            .collect();
        let step =
            Step { standard, working_days, visit: &visit, known: newest, confirmed: &confirmed, runs: &runs };
        for track in &mut tracks {
            step.take(track);
        }
        let stays = |of: Known<'_>| standard.may_be_relied_on(of);
        let (eight_hour, short_term) = (visit.own.eight_hour, visit.own.short_term);
        if stays(Known { eight_hour, short_term: None }) {
            known.eight_hour = eight_hour;
        }
        if stays(Known { eight_hour: None, short_term }) {
            known.short_term = short_term;
        }
    }
    tracks
}

/// One visit, and all that is known when it is taken.
struct Step<'s> {
    standard: &'s Standard,
    working_days: &'s WorkingDays,
    visit: &'s Visit<'s>,
    known: Known<'s>,
    confirmed: &'s [bool],
    runs: &'s [Runs],
}

impl Track {
    fn new(averages: Averages) -> Self {
        Self {
            averages,
            state: State::Unknown,
            moves: Vec::new(),
            occasions: Vec::new(),
            cannot_tell: false,
            not_accepted: false,
            short_term_missing: false,
            done: Vec::new(),
            schedule: None,
            made: Vec::new(),
        }
    }

    /// The time for which it is due and not answered yet; of several the one that is due first.
    pub fn open(&self) -> impl Iterator<Item = &Occasion> {
        self.occasions.iter().filter(|occasion| occasion.met_by.is_none())
    }

    /// Whether a step down, or a first stop, has ended it.
    pub fn is_stopped(&self) -> bool {
        self.state == State::Stopped
    }
}

impl Step<'_> {
    /// The lines of a track with their places, the least strict first.
    fn lines(&self, averages: Averages) -> impl Iterator<Item = (usize, &Line)> {
        self.standard.lines.iter().enumerate().filter(move |(_, line)| line.averages == averages)
    }

    /// The visit's own rounds that a track samples; nothing where it does not concern the track.
    fn own(&self, averages: Averages) -> Vec<&Round> {
        let Known { eight_hour, short_term } = self.visit.own;
        let rounds = match averages {
            Averages::EightHour => [eight_hour, None],
            Averages::ShortTerm => [None, short_term],
            Averages::Both => [eight_hour, short_term],
        };
        rounds.into_iter().flatten().collect()
    }

    /// Whether one of the visit's rounds cannot tell on which side of a bound of the standard it lies.
    fn cannot_tell(&self, averages: Averages) -> bool {
        let lines = self.lines(averages).map(|(_, line)| line.condition);
        let ways = self.standard.ways_down.iter().filter(|way| way.is_about(averages));
        let known = match averages {
            Averages::EightHour => Known { short_term: None, ..self.visit.own },
            Averages::ShortTerm => Known { eight_hour: None, ..self.visit.own },
            Averages::Both => self.visit.own,
        };
        lines.chain(ways.map(|way| way.condition)).any(|condition| condition.blurred(known))
    }

    /// The strictest line that is certainly reached.
    fn reached(&self, averages: Averages, known: Known<'_>) -> Option<(usize, &Line)> {
        self.lines(averages).filter(|(_, line)| line.condition.reached(known, averages)).last()
    }

    /// A way down of a kind that this visit confirms and that no other average stands against.
    fn way_down(&self, averages: Averages, rarer: bool) -> Option<&WayDown> {
        let ways = self.standard.ways_down.iter().zip(self.confirmed);
        let mut ways = ways.filter(|(way, confirmed)| {
            **confirmed && way.is_about(averages) && way.leads_to.is_some() == rarer
        });
        ways.find_map(|(way, _)| {
            let apart = Known {
                eight_hour: self.known.eight_hour.filter(|_| way.condition.eight_hour.is_none()),
                short_term: self.known.short_term.filter(|_| way.condition.short_term.is_none()),
            };
            let against = averages == Averages::Both && self.reached(averages, apart).is_some();
            (!against).then_some(way)
        })
    }

    fn take(&self, track: &mut Track) {
        let own = self.own(track.averages);
        let settled = own.iter().filter_map(|round| round.may_lower()).reduce(|a, b| a && b);
        if own.is_empty() || settled.is_none() && self.reached(track.averages, self.known).is_none() {
            return;
        }
        let cannot_tell = self.cannot_tell(track.averages);
        let sure = settled == Some(true) && !cannot_tell;
        // What is sampled together is made with its 8-hour average; a short-term round alone leaves that owing.
        let made = sure && (track.averages != Averages::Both || self.visit.own.eight_hour.is_some());
        if made {
            track.done.push(self.round());
        }
        let moved = self.moves_to(track, sure);
        if let Some((state, rule)) = &moved {
            track.moves.push(MonitoringMove {
                state: *state,
                round: self.round(),
                rule_id: rule.as_ref().map(|(rule_id, _)| rule_id.clone()),
                clause: rule.as_ref().map(|(_, clause)| clause.clone()),
            });
            track.state = *state;
        }
        self.answer(track, made || moved.is_some() && track.is_stopped(), cannot_tell, settled);
        self.ask(track, moved.is_some(), made);
        track.short_term_missing = match track.state {
            State::Unknown => {
                let asks = self.lines(track.averages).any(|(_, line)| line.condition.short_term.is_some());
                asks && sure && self.known.short_term.is_none()
            }
            State::Repeating { line, .. } => self.waits_for_short_term(track.averages, line),
            State::Unconfirmed | State::Stopped => false,
        };
    }

    /// Whether a way down from a line waits for short-term results only.
    fn waits_for_short_term(&self, averages: Averages, line: usize) -> bool {
        self.standard.ways_down.iter().zip(self.runs).any(|(way, runs)| {
            let leads_down = way.leads_to.as_deref().is_none_or(|to| {
                self.lines(averages).any(|(place, line_there)| line_there.rule_id == to && place < line)
            });
            leads_down && way.is_about(averages) && runs.waits_for_short_term(way, self.known)
        })
    }

    fn round(&self) -> RoundRef {
        (self.visit.event, self.visit.date)
    }

    /// Where the visit moves a track, with the row and clause that say so.
    fn moves_to(&self, track: &Track, sure: bool) -> Option<(State, Option<(String, String)>)> {
        let averages = track.averages;
        let to = |(place, line): (usize, &Line)| {
            let state = State::Repeating { line: place, months: line.months };
            (state, Some((line.rule_id.clone(), line.clause.clone())))
        };
        let has_lower = |line: &Line| {
            [line.condition.eight_hour, line.condition.short_term]
                .into_iter()
                .flatten()
                .any(|i| i.lower.is_some())
        };
        let current = match track.state {
            State::Unknown => {
                let reached = self
                    .lines(averages)
                    .filter(|(_, line)| !line.not_initial && has_lower(line))
                    .filter(|(_, line)| line.condition.reached(self.known, averages));
                return self.first_move(averages, sure).or_else(|| reached.last().map(to));
            }
            State::Repeating { line, .. } => Some(line),
            State::Unconfirmed | State::Stopped => None,
        };
        let target = self
            .reached(averages, self.known)
            .filter(|(_, line)| current.is_some() || !line.not_initial && has_lower(line));
        if let Some(target) = target
            && current.is_none_or(|current| target.0 > current)
        {
            return Some(to(target));
        }
        if track.is_stopped() {
            return None;
        }
        if let Some(way) = self.way_down(averages, false) {
            return Some((State::Stopped, Some((way.rule_id.clone(), way.clause.clone()))));
        }
        let (current, State::Repeating { months, .. }) = (current?, track.state) else { return None };
        if let Some(way) = self.way_down(averages, true)
            && way.from_months.is_none_or(|from| from == months)
            && let Some((place, line)) =
                self.lines(averages).find(|(_, line)| way.leads_to.as_deref() == Some(&*line.rule_id))
            && place < current
            && target.is_none_or(|(reached, _)| reached <= place)
        {
            let state = State::Repeating { line: place, months: line.months };
            return Some((state, Some((way.rule_id.clone(), way.clause.clone()))));
        }
        let newest = self
            .lines(averages)
            .filter(|(_, line)| line.condition.holds(self.known, averages) == Inside::Yes)
            .last()?;
        let has_way = |line: &Line| {
            let mut ways = self.standard.ways_down.iter();
            ways.any(|way| way.is_about(averages) && way.leads_to.as_deref() == Some(&*line.rule_id))
        };
        (sure && newest.0 < current && !has_way(newest.1)).then(|| to(newest))
    }

    /// Where the first round that tells moves a track, if it does not reach a line.
    fn first_move(&self, averages: Averages, sure: bool) -> Option<(State, Option<(String, String)>)> {
        if !sure {
            return None;
        }
        let lines = || self.lines(averages).filter(|(_, line)| !line.not_initial);
        let answer = |line: &Line| line.condition.holds(self.known, averages);
        if let Some((place, line)) = lines().filter(|(_, line)| answer(line) == Inside::Yes).last() {
            let state = State::Repeating { line: place, months: line.months };
            return Some((state, Some((line.rule_id.clone(), line.clause.clone()))));
        }
        let stop = self.standard.first_stops.iter().find(|stop| {
            let about = stop.averages == averages || averages == Averages::Both;
            about && stop.condition.holds(self.known, averages) == Inside::Yes
        });
        if let Some(stop) = stop {
            return Some((State::Stopped, Some((stop.rule_id.clone(), stop.clause.clone()))));
        }
        if lines().any(|(_, line)| answer(line) == Inside::CannotTell) {
            return None;
        }
        let confirms =
            self.standard.ways_down.iter().find(|way| way.confirms_first && way.is_about(averages));
        if let Some(way) = confirms {
            let below = way.condition.holds(self.known, averages) == Inside::Yes;
            return below.then(|| (State::Unconfirmed, Some((way.rule_id.clone(), way.clause.clone()))));
        }
        Some((State::Stopped, None))
    }

    /// Answers the times that are open, or says why the visit does not.
    fn answer(&self, track: &mut Track, made: bool, cannot_tell: bool, settled: Option<bool>) {
        let round = self.round();
        for occasion in track.occasions.iter_mut().filter(|occasion| occasion.met_by.is_none()) {
            if made {
                occasion.met_by = Some(round);
            } else {
                occasion.cannot_tell |= cannot_tell;
                occasion.not_accepted |= settled == Some(false);
            }
        }
        if track.state == State::Unknown {
            track.cannot_tell |= cannot_tell;
            track.not_accepted |= settled == Some(false);
        }
    }

    /// Asks for the next time.
    fn ask(&self, track: &mut Track, moved: bool, made: bool) {
        let date = self.visit.date;
        let (rule, due_on) = match track.state {
            State::Unknown | State::Stopped => return,
            State::Unconfirmed => {
                let ways = self.standard.ways_down.iter().zip(self.runs);
                let mut ways = ways.filter(|(way, _)| way.confirms_first && way.is_about(track.averages));
                let Some((way, runs)) = ways.next().filter(|_| moved || made) else { return };
                let first = runs.last_eight_hour().unwrap_or(date);
                ((&way.rule_id, &way.clause), way.earliest(first, self.working_days))
            }
            State::Repeating { line, months } => {
                let line = &self.standard.lines[line];
                let due_on = if moved {
                    let schedule = Schedule::new(date, months, line.from_newest);
                    track.schedule = Some(schedule);
                    track.made = vec![date];
                    schedule.first()
                } else if made {
                    track.made.push(date);
                    let thinned = line.thins_out && months < THINNED_MONTHS && two_a_quarter(&track.made);
                    if thinned {
                        track.state = State::Repeating {
                            line: self.standard.lines.iter().position(|l| l == line).unwrap_or_default(),
                            months: THINNED_MONTHS,
                        };
                        track.moves.push(MonitoringMove {
                            state: track.state,
                            round: self.round(),
                            rule_id: Some(line.rule_id.clone()),
                            clause: Some(line.clause.clone()),
                        });
                        track.schedule = Some(Schedule::new(date, THINNED_MONTHS, line.from_newest));
                    }
                    let Some(schedule) = track.schedule.as_mut() else { return };
                    if thinned { schedule.first() } else { schedule.next_after(date) }
                } else {
                    return;
                };
                ((&line.rule_id, &line.clause), due_on)
            }
        };
        track.occasions.push(Occasion {
            rule_id: rule.0.clone(),
            clause: rule.1.clone(),
            follows: self.round(),
            due_on,
            met_by: None,
            cannot_tell: false,
            not_accepted: false,
        });
    }
}

/// The interval after two samples in every quarter of two years (29 CFR 1910.1051(d)(3)(ii), (iii)).
const THINNED_MONTHS: u32 = 6;
