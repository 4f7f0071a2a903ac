//! Which examinations a worker ought to be offered: first, next, after a release, on a ground, on leaving.
//!
//! Which occasion an examination is, is told by what brings it about and stays the same when a date is corrected: the
//! first of a clause; the n-th of a part of the programme after those that ended; a release; a ground; an employment.

use crate::model::facts::clause::TimeUnit;
use crate::model::facts::worker::MedicalGroundKind;
use crate::model::identifiers::WorkerId;
use crate::surveillance::calendar::{add_days, add_months};
use crate::surveillance::case::{Act, Behind as Fact, Case, Employed, Examination};
use crate::surveillance::clause::{TimeToAct, after};
use crate::surveillance::day_count::{Count, WINDOW_MONTHS, Window};
use crate::surveillance::duties::{
    About, Behind, DutyGrounds, DutyKey, DutyKind, FIRST_OCCASION, OughtDuty, first_examination,
};
use crate::surveillance::evaluation::{GROUND, releases};
use crate::surveillance::finding::{Coverage, Event, Finding};
use crate::surveillance::pack::Pack;
use crate::surveillance::pack::surveillance_detail::{DetailKind, Part, SurveillanceDetail};
use crate::surveillance::pack::surveillance_rule::{SurveillanceRule, TriggerType};
use chrono::NaiveDate;
use std::collections::BTreeMap;

/// The text covers everybody at the level unless fewer days are shown, and nothing shows that.
pub const COVERED_UNLESS_SHOWN: &str = "covered_unless_shown_otherwise";
/// Owed after a release at which the worker was present.
pub const AFTER_RELEASE: &str = "after_release";
/// Owed on leaving employment.
pub const AT_TERMINATION: &str = "at_termination";
/// Rests on a physician's ground: nobody else may learn more than that an examination is to be offered.
pub const MEDICAL_GROUND: &str = "medical_ground";
/// No earlier examination is on record to count from.
pub const NONE_ON_RECORD: &str = "no_examination_on_record";

/// How the occasion of an examination on leaving begins.
pub const LEAVING: &str = "leaving-";
/// How the occasion of a follow-up begins.
const FOLLOW_UP: &str = "follow-up-";
/// How the occasion of an examination on a release begins.
const RELEASE: &str = "release-";

/// An examination that ought to be offered, with the window whose counted days it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Owed {
    /// The duty; its basis holds the facts other than days.
    pub duty: OughtDuty,
    /// The days it rests on, in order.
    pub days: Vec<NaiveDate>,
}

/// Everything that a worker ought to be offered under one body of law.
pub fn owed(pack: &Pack, worker: WorkerId, case: &Case<'_>, findings: &[Finding<'_>]) -> Vec<Owed> {
    let programme = Programme { pack, worker, case };
    let mut owed = Vec::new();
    for finding in findings.iter().filter(|finding| finding.covers_somebody()) {
        owed.extend(programme.first(finding));
        owed.extend(programme.of_events(finding));
    }
    owed.extend(programme.next(findings));
    owed.extend(programme.on_grounds_and_releases(findings));
    owed.extend(programme.on_leaving(findings));
    owed
}

struct Programme<'p> {
    pack: &'p Pack,
    worker: WorkerId,
    case: &'p Case<'p>,
}

/// A duty about to be made.
struct New<'n> {
    kind: DutyKind,
    occasion: String,
    due_on: NaiveDate,
    due_from_learning: bool,
    flags: Vec<&'n str>,
    facts: Vec<Fact>,
}

impl Programme<'_> {
    fn duty(&self, finding: &Finding<'_>, new: New<'_>) -> Owed {
        let worst = finding.worst.as_ref();
        let duty = OughtDuty {
            key: DutyKey {
                kind: new.kind,
                about: About::Worker(self.worker),
                agent_code: self.case.question.agent_code.to_owned(),
                trigger_id: finding.rule.trigger_id.clone(),
                occasion: new.occasion,
            },
            grounds: DutyGrounds {
                clause: finding.rule.clause(),
                due_on: new.due_on,
                due_from_learning: new.due_from_learning,
                met_on: None,
                authority: None,
                medical: new.flags.contains(&MEDICAL_GROUND),
                days_counted: worst.map(|worst| i64::try_from(worst.count).unwrap_or(i64::MAX)),
                window: worst.map(|worst| worst.window.clone()),
                basis: new.facts.iter().map(|fact| fact.position).collect(),
                sites: new.facts.iter().filter_map(|fact| fact.site).collect(),
                employer: None,
                flags: new.flags.into_iter().map(str::to_owned).collect(),
            },
        };
        Owed { duty, days: finding.worst.as_ref().map(|worst| days_of(finding, worst)).unwrap_or_default() }
    }

    /// The first examination of a clause that counts days or years.
    fn first(&self, finding: &Finding<'_>) -> Option<Owed> {
        if !finding.events.is_empty() {
            return None;
        }
        let mut outcome = finding.outcome(self.pack, self.case);
        outcome.met = true;
        let code = self.case.question.agent_code;
        let mut duty = first_examination(self.pack, self.worker, code, &outcome, Behind::default())?;
        if self.is_credited(finding, duty.grounds.due_on) {
            return None;
        }
        duty.grounds.basis.extend(finding.behind.iter().map(|fact| fact.position));
        duty.grounds.sites.extend(finding.behind.iter().filter_map(|fact| fact.site));
        if finding.by_default {
            duty.grounds.flags.push(COVERED_UNLESS_SHOWN.into());
        }
        let days = finding.worst.as_ref().map(|worst| days_of(finding, worst)).unwrap_or_default();
        Some(Owed { duty, days })
    }

    /// Whether an examination that was done not long before serves as the first one.
    fn is_credited(&self, finding: &Finding<'_>, due_on: NaiveDate) -> bool {
        let Some(months) =
            finding.rule.recent_exam_credit_months.and_then(|months| u32::try_from(months).ok())
        else {
            return false;
        };
        let Some(first) = &finding.first else { return false };
        self.case.examinations.iter().any(|done| {
            let itself = done.trigger_id == finding.rule.trigger_id && done.occasion == FIRST_OCCASION;
            done.act == Act::Completed
                && !itself
                && self.is_whole(done)
                && !self.rests_on_ground(done)
                && done.on <= due_on
                && add_months(done.on, months) > first.window.from
        })
    }

    /// What each release or ground that meets a clause asks for.
    fn of_events(&self, finding: &Finding<'_>) -> Vec<Owed> {
        if finding.rule.initial_exam.is_none() {
            return Vec::new();
        }
        let time = TimeToAct::of(self.pack, &finding.rule.trigger_id);
        let learned = self.case.question.learned_on.unwrap_or(self.case.today);
        let follow_up = self.pack.detail(&finding.rule.trigger_id, DetailKind::FollowUp);
        let events = finding.events.iter().filter(|event| event.ended.is_none());
        let mut owed = Vec::new();
        for event in events {
            let from = if time.runs_from_learning() { learned } else { event.on };
            let new = |occasion: String, due_on, due_from_learning| New {
                kind: DutyKind::OfferExamination,
                occasion,
                due_on,
                due_from_learning,
                flags: vec![if event.medical { MEDICAL_GROUND } else { AFTER_RELEASE }],
                facts: vec![event.behind],
            };
            let due_on = time.after(from, self.case.question.working_days);
            owed.push(self.duty(finding, new(event.key.clone(), due_on, time.runs_from_learning())));
            if let Some(every) = follow_up.map(SurveillanceDetail::number).filter(|every| *every > 0) {
                let bound = follow_up.map_or(0, SurveillanceDetail::bound);
                for (n, months) in (every..=bound).step_by(every as usize).enumerate() {
                    let occasion = format!("{FOLLOW_UP}{}-{}", event.key, n + 1);
                    owed.push(self.duty(finding, new(occasion, add_months(event.on, months), false)));
                }
            }
        }
        owed
    }

    /// The next examination of each part of each section's programme: the one that is due first. What rests on a medical
    /// ground stands beside the rest and moves nothing of it, or everybody could tell that there is such a ground.
    fn next(&self, findings: &[Finding<'_>]) -> Vec<Owed> {
        let mut soonest: BTreeMap<(String, Part, bool), Owed> = BTreeMap::new();
        for finding in findings.iter().filter(|finding| finding.covers_somebody()) {
            for (part, intervals) in self.intervals(finding) {
                let Some(next) = self.next_of(finding, part, &intervals, findings) else { continue };
                let key = (finding.rule.cfr_section.clone(), part, is_medical(finding));
                let sooner = soonest
                    .get(&key)
                    .is_none_or(|known| next.duty.grounds.due_on < known.duty.grounds.due_on);
                if sooner {
                    soonest.insert(key, next);
                }
            }
        }
        soonest.into_values().collect()
    }

    /// The intervals of each part: those of the particulars, else the one of the row.
    fn intervals(&self, finding: &Finding<'_>) -> BTreeMap<Part, Vec<(DetailKind, u32, u32)>> {
        let mut parts: BTreeMap<Part, Vec<_>> = BTreeMap::new();
        for detail in self.pack.details_of(&finding.rule.trigger_id) {
            let is_interval = matches!(
                detail.kind,
                DetailKind::Interval
                    | DetailKind::IntervalFirst
                    | DetailKind::IntervalWithinMonths
                    | DetailKind::IntervalWithinYearsOfExposure
            );
            if let Some(part) = detail.part.filter(|_| is_interval) {
                parts.entry(part).or_default().push((detail.kind, detail.number(), detail.bound()));
            }
        }
        let of_row = finding.rule.periodic_months.and_then(|months| u32::try_from(months).ok());
        if let Some(months) = of_row.filter(|_| parts.is_empty()) {
            parts.insert(Part::Examination, vec![(DetailKind::Interval, months, 0)]);
        }
        parts
    }

    fn next_of(
        &self,
        finding: &Finding<'_>,
        part: Part,
        intervals: &[(DetailKind, u32, u32)],
        findings: &[Finding<'_>],
    ) -> Option<Owed> {
        let medical = is_medical(finding);
        let of_section: Vec<&Examination> = self
            .examinations_of_section(&finding.rule.cfr_section)
            .filter(|done| medical || !self.rests_on_ground(done))
            .filter(|done| self.is_whole(done))
            .collect();
        let serves = |done: &&&Examination| part_of(&done.occasion).is_none_or(|of| of == part);
        let last = of_section.iter().filter(serves).max_by_key(|done| (done.on, done.act));
        let event = finding.events.iter().rfind(|event| event.ended.is_none());
        let anchor = last.map(|done| (done.on, done.behind)).max(event.map(|event| (event.on, event.behind)));
        let number = 1 + of_section
            .iter()
            .filter(|done| part_of(&done.occasion) == Some(part) && self.rests_on_ground(done) == medical)
            .count();
        let occasion = format!("{part}-{number}");
        let kind = if part == Part::Audiogram { DutyKind::Audiogram } else { DutyKind::PeriodicExamination };
        let mut flags: Vec<&str> = Vec::new();
        if part != Part::Examination && part != Part::Audiogram {
            flags.push(part.as_str());
        }
        if medical {
            flags.push(MEDICAL_GROUND);
        }
        if finding.by_default {
            flags.push(COVERED_UNLESS_SHOWN);
        }
        let mut facts = finding.behind.clone();
        let Some((anchor, fact)) = anchor else {
            // A clause with a first examination waits for that; any other begins at once.
            if finding.rule.initial_exam.is_some() {
                return None;
            }
            let due_on = self.case.question.learned_on.unwrap_or(self.case.today);
            if !self.is_covered(finding, due_on, false) || first_is_open(findings, &finding.rule.cfr_section)
            {
                return None;
            }
            flags.push(NONE_ON_RECORD);
            return Some(
                self.duty(finding, New { kind, occasion, due_on, due_from_learning: true, flags, facts }),
            );
        };
        facts.push(fact);
        let first_done = of_section.iter().map(|done| done.on).min();
        let exposed_since = self.exposed_since(finding);
        let due = intervals.iter().filter_map(|(condition, months, bound)| {
            let due_on = add_months(anchor, *months);
            let holds = match condition {
                DetailKind::IntervalFirst => number == 1,
                DetailKind::IntervalWithinMonths => {
                    first_done.is_some_and(|first| due_on <= add_months(first, *bound))
                }
                DetailKind::IntervalWithinYearsOfExposure => {
                    exposed_since.is_some_and(|since| due_on <= add_months(since, bound.saturating_mul(12)))
                }
                _ => true,
            };
            holds.then_some(due_on)
        });
        let due_on = due.min()?;
        let looks_back = self.pack.detail(&finding.rule.trigger_id, DetailKind::PeriodicLooksBack).is_some();
        let due_on = self.first_covered(finding, due_on, looks_back)?;
        Some(self.duty(finding, New { kind, occasion, due_on, due_from_learning: false, flags, facts }))
    }

    /// Whether the worker is covered when an examination falls due, by what is planned; beyond the days that are planned,
    /// on the last of them. Whoever has left by then is owed none.
    fn is_covered(&self, finding: &Finding<'_>, due_on: NaiveDate, looks_back: bool) -> bool {
        let employed = |one: &Employed| one.from <= due_on && one.to.is_none_or(|to| due_on < to);
        if !self.case.employments.is_empty() && !self.case.employments.iter().any(employed) {
            return false;
        }
        finding.covers(due_on.min(add_months(self.case.today, WINDOW_MONTHS)), looks_back)
    }

    /// The day on which an examination falls due: the date of its interval, or where the worker is not covered then (moved
    /// away, or left) the first later one on which he is again.
    fn first_covered(&self, finding: &Finding<'_>, due_on: NaiveDate, looks_back: bool) -> Option<NaiveDate> {
        if self.is_covered(finding, due_on, looks_back) {
            return Some(due_on);
        }
        // Coverage begins with a day that counts, looking back on the day after one, or with an employment.
        let employed = self.case.employments.iter().map(|one| one.from);
        let counted = finding.counted.iter().flat_map(|day| [Some(day), day.succ_opt()]).flatten();
        let mut later: Vec<NaiveDate> = employed.chain(counted).filter(|day| *day > due_on).collect();
        later.sort_unstable();
        later.into_iter().find(|day| self.is_covered(finding, *day, looks_back))
    }

    /// The first day of exposure on record, here or elsewhere.
    fn exposed_since(&self, finding: &Finding<'_>) -> Option<NaiveDate> {
        let elsewhere = self.case.earlier.iter().map(|entry| entry.from);
        finding.counted.iter().next().into_iter().chain(elsewhere).min()
    }

    fn examinations_of_section(&self, section: &str) -> impl Iterator<Item = &Examination> {
        let of_it =
            move |done: &&Examination| self.rule_of(done).is_some_and(|rule| rule.cfr_section == section);
        self.case.examinations.iter().filter(of_it)
    }

    fn rule_of(&self, done: &Examination) -> Option<&SurveillanceRule> {
        self.pack.surveillance.iter().find(|rule| rule.trigger_id == done.trigger_id)
    }

    /// Whether an examination was asked for by a physician's ground.
    fn rests_on_ground(&self, done: &Examination) -> bool {
        let of_rule = self.rule_of(done).is_some_and(|rule| rule.trigger_type.looks_at_grounds());
        let starts = |kind: &MedicalGroundKind| done.occasion.starts_with(&on_ground(*kind));
        of_rule && !done.occasion.starts_with(RELEASE)
            || done.occasion.starts_with(GROUND)
            || MedicalGroundKind::ALL.iter().any(starts)
    }

    /// Whether an examination was more than a test after a release: a clause that asks for one test asks for no examination.
    fn is_whole(&self, done: &Examination) -> bool {
        let asks_for_all =
            || self.rule_of(done).is_some_and(|rule| rule.initial_exam.as_deref() == Some("yes"));
        !done.occasion.starts_with(FOLLOW_UP) && (!done.occasion.starts_with(RELEASE) || asks_for_all())
    }

    /// What grounds and releases ask for of whoever a clause covers for another reason; once for a section.
    fn on_grounds_and_releases(&self, findings: &[Finding<'_>]) -> Vec<Owed> {
        let mut owed: BTreeMap<(String, String), Owed> = BTreeMap::new();
        for finding in findings.iter().filter(|finding| finding.covers_somebody()) {
            for detail in self.pack.details_of(&finding.rule.trigger_id) {
                let events: Vec<Event> = match (detail.kind, detail.ground) {
                    (DetailKind::OnGround, Some(kind)) => {
                        let grounds = self.case.grounds.iter().filter(|ground| {
                            ground.kind == kind
                                && ground.agent_code == self.case.question.agent_code
                                && ground.trigger_id.as_ref().is_none_or(|id| *id == finding.rule.trigger_id)
                                && self.case.ended_on(ground).is_none()
                        });
                        let key = |on| format!("{}{on}", on_ground(kind));
                        grounds
                            .map(|ground| Event {
                                key: key(ground.on),
                                on: ground.on,
                                ended: None,
                                medical: true,
                                behind: ground.behind,
                            })
                            .collect()
                    }
                    (DetailKind::OnRelease, _) => releases(self.case),
                    _ => continue,
                };
                for event in events.into_iter().filter(|event| finding.covers(event.on, false)) {
                    let unit = detail.unit.unwrap_or(TimeUnit::Days);
                    let due_on = after(event.on, detail.number(), unit, self.case.question.working_days);
                    let new = New {
                        kind: DutyKind::OfferExamination,
                        occasion: event.key.clone(),
                        due_on,
                        due_from_learning: false,
                        flags: vec![if event.medical { MEDICAL_GROUND } else { AFTER_RELEASE }],
                        facts: vec![event.behind],
                    };
                    let key = (finding.rule.cfr_section.clone(), event.key);
                    owed.entry(key).or_insert_with(|| self.duty(finding, new));
                }
            }
        }
        owed.into_values().collect()
    }

    /// The examination on leaving; once for a section and an employment.
    fn on_leaving(&self, findings: &[Finding<'_>]) -> Vec<Owed> {
        let mut owed: BTreeMap<(String, NaiveDate), Owed> = BTreeMap::new();
        // Whoever is covered by exposure is owed one for that, whatever else there is.
        let (of_grounds, of_exposure): (Vec<_>, Vec<_>) = findings
            .iter()
            .filter(|finding| finding.covers_somebody())
            .partition(|finding| is_medical(finding));
        for finding in of_exposure.into_iter().chain(of_grounds) {
            let Some(detail) = self.pack.detail(&finding.rule.trigger_id, DetailKind::Termination) else {
                continue;
            };
            let once_covered =
                self.pack.detail(&finding.rule.trigger_id, DetailKind::LeavingOnceCovered).is_some();
            for employment in self.case.employments {
                let Some(left_on) = employment.to.and_then(|to| to.pred_opt()) else { continue };
                let covered = finding.covers(left_on, false)
                    || (once_covered && finding.covered_within(employment.from, left_on));
                if !covered || self.examined_lately(finding, detail, left_on) {
                    continue;
                }
                let new = New {
                    kind: DutyKind::OfferExamination,
                    occasion: format!("{LEAVING}{}", employment.from),
                    due_on: add_days(left_on, detail.bound().into()),
                    due_from_learning: false,
                    flags: if is_medical(finding) {
                        vec![AT_TERMINATION, MEDICAL_GROUND]
                    } else {
                        vec![AT_TERMINATION]
                    },
                    facts: vec![employment.behind],
                };
                let key = (finding.rule.cfr_section.clone(), employment.from);
                owed.entry(key).or_insert_with(|| self.duty(finding, new));
            }
        }
        owed.into_values().collect()
    }

    /// Whether a completed examination lies so shortly before that none is owed on leaving.
    fn examined_lately(
        &self,
        finding: &Finding<'_>,
        detail: &SurveillanceDetail,
        left_on: NaiveDate,
    ) -> bool {
        let Some(months) = detail.amount.and_then(|months| u32::try_from(months).ok()) else { return false };
        self.examinations_of_section(&finding.rule.cfr_section).any(|done| {
            let full = part_of(&done.occasion).is_none_or(|part| part == Part::Examination)
                && self.is_whole(done)
                && (is_medical(finding) || !self.rests_on_ground(done));
            let leaving = done.occasion.starts_with(LEAVING);
            done.act == Act::Completed
                && full
                && !leaving
                && done.on <= left_on
                && add_months(done.on, months) > left_on
        })
    }
}

/// How the occasion of an examination on a ground of a kind begins.
fn on_ground(kind: MedicalGroundKind) -> String {
    format!("{}-", kind.as_str().replace('_', "-"))
}

fn is_medical(finding: &Finding<'_>) -> bool {
    finding.events.iter().any(|event| event.medical)
}

/// The part of the programme that an occasion names; `None` for a first examination and those on an event, which hold
/// every part.
fn part_of(occasion: &str) -> Option<Part> {
    let (part, number) = occasion.rsplit_once('-')?;
    number.parse::<u32>().ok()?;
    Part::from_word(part)
}

/// Whether another clause of the section asks for a first examination: then that comes first.
fn first_is_open(findings: &[Finding<'_>], section: &str) -> bool {
    findings.iter().any(|other| {
        other.rule.cfr_section == section
            && other.covers_somebody()
            && other.rule.initial_exam.is_some()
            && !matches!(other.coverage, Coverage::Events)
            && other.rule.trigger_type != TriggerType::Task
    })
}

fn days_of(finding: &Finding<'_>, worst: &Count) -> Vec<NaiveDate> {
    let Window { from, to } = &worst.window;
    finding.counted.within(*from, *to).to_vec()
}
