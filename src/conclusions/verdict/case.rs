//! One control under judgement, at each position.

use crate::conclusions::asked::Asked;
use crate::conclusions::figures::EffectView;
use crate::conclusions::verdict::confounder::{Values, arc_minutes_an_hour, confounders};
use crate::conclusions::verdict::remaining::Remaining;
use crate::conclusions::verdict::removal::{pairs, removal_view};
use crate::conclusions::verdict::sentence::{Told, removal_sentence, sentence};
use crate::conclusions::verdict::shift_value::{ShiftValue, shift_values};
use crate::conclusions::verdict::sides::sides;
use crate::conclusions::verdict::task_sample::{Place, TaskEvidence, TaskSample, TaskSamples};
use crate::conclusions::verdict::thresholds::{PAIRS_ENOUGH, USUAL_TARGET_PERCENT};
use crate::conclusions::verdict::view::{
    ARC_TIME_NOT_RECORDED, BACKGROUND_PARTLY_MEASURED, BACKGROUND_SUBTRACTED, CHANGED_AFTER_RESULT, Excluded,
    ExclusionReason, ONE_STATE_ONLY, REPEATED_WORKERS, SEVERAL_CONTROLS_RAN, VerdictView,
};
use crate::conclusions::verdict::working::Compared;
use crate::hygiene::control_effect::{Question, control_effect};
use crate::hygiene::efficiency::REMOVAL_EFFICIENCY;
use crate::model::facts::control::Control;
use crate::model::facts::sampling::{Covers, NoiseCriterion, Position};
use crate::model::identifiers::ControlId;
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::shape::Shape;
use crate::model::unit::Unit;
use crate::model::version::Version;
use crate::model::working::Step;
use chrono::NaiveDate;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// Before and behind a filter.
const ENDS: &[Position] = &[Position::Inlet, Position::Outlet];

/// One control under judgement.
#[derive(Clone, Copy)]
pub(super) struct Case<'c, 'e> {
    pub(super) evidence: &'c TaskEvidence<'e>,
    pub(super) samples: &'c TaskSamples,
    pub(super) control: &'e Version<Control>,
    pub(super) unit: Unit,
    /// By which criterion, for noise.
    pub(super) criterion: Option<NoiseCriterion>,
    pub(super) asked: Asked,
}

impl Case<'_, '_> {
    pub(super) fn control_id(&self) -> ControlId {
        ControlId(self.control.id)
    }

    pub(super) fn title(&self) -> &str {
        self.control.fact.title.as_str()
    }

    fn at(&self, positions: &[Position], short_term: bool) -> Vec<&TaskSample> {
        let here = |sample: &&TaskSample| {
            positions.contains(&sample.position) && (sample.covers == Covers::ShortTerm) == short_term
        };
        self.samples.usable.iter().filter(here).collect()
    }

    fn left_out(&self, positions: &[Position], short_term: bool) -> Vec<Excluded> {
        self.samples
            .left_out
            .iter()
            .filter(|one| positions.contains(&one.position) && one.short_term == short_term)
            .map(|one| Excluded { sample_id: one.id, reason: one.reason })
            .collect()
    }

    /// Whether there is any sample at these positions.
    pub(super) fn concerns(&self, positions: &[Position], short_term: bool) -> bool {
        !self.at(positions, short_term).is_empty() || !self.left_out(positions, short_term).is_empty()
    }

    /// Whether inlets or outlets were sampled while the control ran, or none of them can be used at all.
    pub(super) fn has_removal(&self) -> bool {
        let ends = self.at(ENDS, false);
        let ran =
            |sample: &&TaskSample| sample.ran.as_ref().is_some_and(|ran| ran.contains(&self.control_id()));
        ends.iter().any(ran) || (ends.is_empty() && !self.left_out(ENDS, false).is_empty())
    }

    fn empty(&self, position: Position, short_term: bool) -> VerdictView {
        VerdictView {
            agent_code: self.evidence.agent.code().clone(),
            control_id: self.control_id(),
            position,
            short_term,
            excluded: Vec::new(),
            confounders: Vec::new(),
            confounded: false,
            not_accepted: 0,
            worker_count: 0,
            date_count: 0,
            first: None,
            last: None,
            n_without: None,
            n_with: None,
            n_below_without: None,
            n_below_with: None,
            method: None,
            ratio_of_geometric_means: None,
            reduction_percent: None,
            criterion: self.criterion,
            difference_level: None,
            p_value: None,
            probability_lowered: None,
            probability_target_met: None,
            target_reduction_percent: None,
            verdict: None,
            target: None,
            sufficiency: None,
            further_samples: None,
            adjusted_for_arc_time: None,
            removal_efficiency: None,
            sentence: String::new(),
            flags: Vec::new(),
            working: None,
        }
    }

    /// The verdict from values with and without the control.
    pub(super) fn compared(&self, position: Position, short_term: bool) -> VerdictView {
        let mut compared = self.compare(position, short_term);
        let mut flags: Vec<&str> = compared.effect.flags.clone();
        raise_flags(&mut flags, &compared);
        let breathed = position == Position::BreathingZone && !short_term;
        let remaining = if breathed { self.remaining(&compared.values.with) } else { Remaining::default() };
        for flag in &remaining.flags {
            if !flags.contains(flag) {
                flags.push(flag);
            }
        }
        let adjusted = compared.adjusted_for_arc_time();
        let begun = self.begun(&mut compared, (position, short_term), &flags);
        let effect = &compared.effect;
        let told = Told {
            control: self.title(),
            position,
            short_term,
            effect,
            target_percent: compared.question.target_reduction_percent,
            confounders: &compared.confounders,
            date_count: compared.dates().len(),
        };
        VerdictView {
            n_without: Some(count(effect.n_without)),
            n_with: Some(count(effect.n_with)),
            n_below_without: Some(count(effect.n_below_without)),
            n_below_with: Some(count(effect.n_below_with)),
            method: effect.method,
            ratio_of_geometric_means: EffectView::of(effect.ratio_of_geometric_means),
            reduction_percent: EffectView::of(effect.reduction_percent),
            p_value: effect.p_value,
            probability_lowered: effect.probability_lowered,
            probability_target_met: effect.probability_target_met,
            target_reduction_percent: Some(compared.question.target_reduction_percent),
            verdict: effect.verdict,
            target: effect.target,
            sufficiency: remaining.answer,
            further_samples: effect.further_samples.map(i64::from),
            adjusted_for_arc_time: adjusted.as_ref().map(|(view, _)| view.clone()),
            sentence: sentence(&told),
            working: self.asked.working.then(|| {
                let mut steps = compared.steps();
                steps.extend(adjusted.into_iter().map(|(_, step)| step));
                steps.extend(remaining.step);
                steps
            }),
            ..begun
        }
    }

    /// A verdict from two sides but for its figures and words: what was left out, what may explain a difference, flags and
    /// counts.
    pub(super) fn begun(
        &self,
        compared: &mut Compared<'_>,
        (position, short_term): (Position, bool),
        flags: &[&str],
    ) -> VerdictView {
        let mut excluded = self.left_out(&[position], short_term);
        excluded.append(&mut compared.sides.excluded);
        let mut view = VerdictView {
            excluded,
            confounders: compared.confounders.clone(),
            confounded: !compared.confounders.is_empty(),
            flags: owned(flags),
            ..self.empty(position, short_term)
        };
        describe(&mut view, compared.sides.all());
        view
    }

    pub(super) fn compare(&self, position: Position, short_term: bool) -> Compared<'_> {
        let sides = sides(&self.at(&[position], short_term), self.control_id());
        let backgrounds = self.samples.backgrounds.as_slice();
        let values = Values {
            without: shift_values(&sides.without, backgrounds, self.criterion),
            with: shift_values(&sides.with, backgrounds, self.criterion),
        };
        let paired = values.all_in_both_states() && values.without.len() >= PAIRS_ENOUGH;
        let target_percent = self.control.fact.target_reduction_percent.unwrap_or(USUAL_TARGET_PERCENT);
        let numbers = |side: &[ShiftValue]| side.iter().map(|one| one.value).collect::<Vec<Measured>>();
        let limit_of_prior = self.levels_on(values.dates().last().copied()).limit;
        let question = Question { limit_of_prior, ..Question::new(paired, target_percent) };
        let effect = match self.criterion {
            None => control_effect(&numbers(&values.without), &numbers(&values.with), &question),
            // Levels of noise have a difference and no ratio.
            Some(_) => control_effect(&[], &[], &question),
        };
        Compared {
            control: self.control_id(),
            criterion: self.criterion,
            unit: self.unit,
            confounders: confounders(&sides, &values),
            sides,
            values,
            question,
            effect,
        }
    }

    /// The removal efficiency between inlet and outlet.
    pub(super) fn removal(&self) -> VerdictView {
        let mut paired = pairs(&self.at(ENDS, false), self.control_id());
        let mut excluded = self.left_out(ENDS, false);
        excluded.append(&mut paired.excluded);
        let found = paired.efficiency();
        let pairs = &paired.pairs;
        let used = || pairs.iter().flat_map(|(inlet, outlet)| [*inlet, *outlet]);
        let alone = (!paired.others_ran).then(|| self.title());
        let mut flags = found.flags.clone();
        if paired.others_ran {
            flags.push(SEVERAL_CONTROLS_RAN);
        }
        let working = self.asked.working.then(|| {
            let quantity = |measured| Quantity::computed(measured, self.unit).to_json();
            let inputs: Vec<Value> = pairs
                .iter()
                .map(|(inlet, outlet)| {
                    json!({"date": inlet.date.to_json(), "inlet": quantity(inlet.value), "outlet": quantity(outlet.value)})
                })
                .collect();
            let result = removal_view(pairs.len(), &found).to_json();
            vec![Step::new("removal efficiency", REMOVAL_EFFICIENCY, json!(inputs), result)]
        });
        let mut view = VerdictView {
            excluded,
            removal_efficiency: Some(removal_view(pairs.len(), &found)),
            sentence: removal_sentence(alone, pairs.len(), dates(used()).len(), &found),
            flags: owned(&flags),
            working,
            ..self.empty(Position::Outlet, false)
        };
        describe(&mut view, used());
        view
    }
}

/// Raises the flags of a comparison that its figures do not carry themselves.
pub(super) fn raise_flags(flags: &mut Vec<&str>, compared: &Compared<'_>) {
    let Compared { sides, values, question, .. } = compared;
    let all = || values.without.iter().chain(&values.with);
    let mut seen = BTreeSet::new();
    let recurs = all().any(|one| matches!(one.place, Place::Worker(_)) && !seen.insert(one.place.clone()));
    let with_background = all().filter(|one| one.background.is_some()).count();
    let arc_time_in_one_state =
        arc_minutes_an_hour(&sides.without).is_some() != arc_minutes_an_hour(&sides.with).is_some();
    let conditions = [
        (!sides.both() && sides.all().next().is_some(), ONE_STATE_ONLY),
        (recurs && !question.paired && sides.both(), REPEATED_WORKERS),
        (with_background > 0, BACKGROUND_SUBTRACTED),
        (with_background > 0 && with_background < all().count(), BACKGROUND_PARTLY_MEASURED),
        (sides.both() && arc_time_in_one_state, ARC_TIME_NOT_RECORDED),
    ];
    flags.extend(conditions.into_iter().filter(|(holds, _)| *holds).map(|(_, flag)| flag));
}

/// Fills in how many results, workers and dates stand behind a verdict, and whether any was voided.
fn describe<'s>(view: &mut VerdictView, samples: impl Iterator<Item = &'s TaskSample>) {
    let samples: Vec<&TaskSample> = samples.collect();
    let dates = dates(samples.iter().copied());
    let workers: BTreeSet<&Place> = samples
        .iter()
        .map(|sample| &sample.place)
        .filter(|place| matches!(place, Place::Worker(_)))
        .collect();
    view.not_accepted = count(samples.iter().filter(|sample| !sample.accepted).count());
    view.worker_count = count(workers.len());
    view.date_count = count(dates.len());
    view.first = dates.first().copied();
    view.last = dates.last().copied();
    if view.excluded.iter().any(|one| one.reason == ExclusionReason::ChangedAfterResult) {
        view.flags.push(CHANGED_AFTER_RESULT.to_owned());
    }
}

fn dates<'s>(samples: impl Iterator<Item = &'s TaskSample>) -> BTreeSet<NaiveDate> {
    samples.map(|sample| sample.date).collect()
}

pub(super) fn count(number: usize) -> i64 {
    i64::try_from(number).unwrap_or(i64::MAX)
}

fn owned(flags: &[&str]) -> Vec<String> {
    flags.iter().map(|flag| (*flag).to_owned()).collect()
}
