//! The verdict on a control of noise: a difference in dB in place of a ratio.

use crate::conclusions::asked::Asked;
use crate::conclusions::sample::{Concluded, conclude};
use crate::conclusions::verdict::case::{Case, count, raise_flags};
use crate::conclusions::verdict::level_sentence::{ToldLevel, level_sentence};
use crate::conclusions::verdict::shift_value::ShiftValue;
use crate::conclusions::verdict::task_sample::{TaskEvidence, belongs};
use crate::conclusions::verdict::view::{LevelDifferenceView, VerdictView};
use crate::conclusions::verdict::working::Compared;
use crate::hygiene::control_effect::EffectMethod;
use crate::hygiene::level_difference::{
    LEVEL_VERDICT, LOWERED_PROBABILITY, LOWERING_LOOKED_FOR, LevelDifference, PAIRED_ON_LEVELS,
    WELCH_ON_LEVELS, level_difference,
};
use crate::hygiene::likelihood_ratio::PROFILE_LIKELIHOOD;
use crate::model::facts::sampling::{NoiseCriterion, Position};
use crate::model::measured::Measured;
use crate::model::rounding::significant;
use crate::model::shape::Shape;
use crate::model::working::Step;
use serde_json::{Value, json};

/// The criterion by which the samples of a task are compared; `None` for anything but noise.
///
/// Of those that were read the one with most samples; of equals the one that leaves out the fewest levels, since a
/// threshold makes a quiet state look quieter than it is.
pub fn criterion_compared(evidence: &TaskEvidence<'_>, asked: Asked) -> Option<NoiseCriterion> {
    if !evidence.agent.is_noise() {
        return None;
    }
    let of_task = || evidence.samples.iter().filter(|sample| belongs(evidence, &sample.sample.fact));
    let read = |criterion: NoiseCriterion| {
        let by = |one: &Concluded| one.criterion == Some(criterion) && one.dose.is_some();
        of_task().filter(|sample| conclude(sample, evidence.agent, asked).iter().any(by)).count()
    };
    // The last of equals is taken.
    [NoiseCriterion::OshaLimit, NoiseCriterion::OshaActionLevel, NoiseCriterion::Niosh]
        .into_iter()
        .max_by_key(|criterion| read(*criterion))
}

impl Case<'_, '_> {
    /// The verdict from levels with and without the control.
    pub(super) fn compared_levels(&self, position: Position, short_term: bool) -> VerdictView {
        let mut compared = self.compare(position, short_term);
        let levels = |side: &[ShiftValue]| side.iter().map(|one| one.value).collect::<Vec<Measured>>();
        let (without, with) = (levels(&compared.values.without), levels(&compared.values.with));
        let found = level_difference(&without, &with, compared.question.paired);
        let mut flags: Vec<&str> = found.flags.clone();
        raise_flags(&mut flags, &compared);
        let begun = self.begun(&mut compared, (position, short_term), &flags);
        let told = ToldLevel {
            control: self.title(),
            position,
            short_term,
            found: &found,
            confounders: &compared.confounders,
            date_count: compared.dates().len(),
        };
        VerdictView {
            n_without: Some(count(found.n_without)),
            n_with: Some(count(found.n_with)),
            n_below_without: Some(count(found.n_below_without)),
            n_below_with: Some(count(found.n_below_with)),
            method: found.method,
            difference_level: LevelDifferenceView::of(found.difference),
            p_value: found.p_value,
            probability_lowered: found.probability_lowered,
            verdict: found.verdict,
            sentence: level_sentence(&told),
            working: self.asked.working.then(|| steps(&compared, &found)),
            ..begun
        }
    }
}

fn steps(compared: &Compared<'_>, found: &LevelDifference) -> Vec<Step> {
    let mut steps = compared.steps();
    let numbers =
        |side: &[ShiftValue]| side.iter().map(|one| compared.quantity(one.value)).collect::<Vec<Value>>();
    let inputs = json!({"criterion": compared.criterion.map(NoiseCriterion::as_str),
        "without": numbers(&compared.values.without), "with": numbers(&compared.values.with)});
    let difference = LevelDifferenceView::of(found.difference).map_or(Value::Null, |view| view.to_json());
    let formula = match found.method {
        Some(EffectMethod::WelchOnLogs) => WELCH_ON_LEVELS,
        Some(EffectMethod::PairedOnLogs) => PAIRED_ON_LEVELS,
        Some(EffectMethod::ProfileLikelihood) => PROFILE_LIKELIHOOD,
        Some(EffectMethod::Posterior) | None => return steps,
    };
    steps.push(Step::new("difference of mean levels", formula, inputs, difference.clone()));
    if let Some(contrast) = found.contrast {
        let inputs = json!({"difference": significant(contrast.difference),
            "standard_error": significant(contrast.standard_error),
            "degrees_of_freedom": significant(contrast.degrees_of_freedom)});
        let result = json!({"probability_lowered": found.probability_lowered, "p_value": found.p_value});
        steps.push(Step::new("probabilities", LOWERED_PROBABILITY, inputs, result));
    }
    if let Some(verdict) = found.verdict {
        let inputs = json!({"difference_level": difference, "lowering_looked_for_db": LOWERING_LOOKED_FOR});
        steps.push(Step::new("verdict", LEVEL_VERDICT, inputs, json!({"verdict": verdict.as_str()})));
    }
    steps
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::asked::Asked;
    use crate::conclusions::evidence::SampleEvidence;
    use crate::conclusions::invented::{ARM, EVENT, agent, event, evidence, group, id, result, sample};
    use crate::conclusions::verdict::conclude::control_verdicts;
    use crate::conclusions::verdict::view::ExclusionReason;
    use crate::hygiene::control_effect::Verdict;

    /// A dosimeter run of a shift, read by these criteria.
    fn run(number: u128, day: &str, running: bool, read: &[(&str, Value)]) -> SampleEvidence {
        let controls = if running { json!([id(ARM)]) } else { json!([]) };
        let change = json!({"sampler_kind": "dosimeter", "shift_date": day, "worker_id": id(number % 3 + 60),
            "control_ids_running": controls});
        let results = (0u128..).zip(read).map(|(n, (criterion, level))| {
            let change = json!({"agent_code": "noise", "mass": null, "criterion": criterion,
                "concentration": level, "reporting_limit": null});
            result(number * 10 + n, number, &change)
        });
        let event = event(EVENT, &json!({"purpose": ["control_trial"]}));
        evidence(&event, sample(number, &change), results.collect(), Vec::new())
    }

    fn db(level: f64) -> Value {
        json!({"value": level, "unit": "dB[A]"})
    }

    fn verdict_of(samples: &[SampleEvidence]) -> VerdictView {
        let (group, agent) = (group(Some("2020-01-01")), agent("noise"));
        let evidence =
            TaskEvidence { task: &group.tasks[0], group: &group, agent: &agent, samples, whole_shifts: &[] };
        control_verdicts(&evidence, Asked { working: true, ..Asked::default() }).remove(0)
    }

    // This registry's rules; invented levels. 92, 94, 93 without and 88, 89, 87 with: means 93 and 88, difference -5 dB;
    // both variances 1, se = root(2/3) = 0.816497, df 4, t(0.975, 4) = 2.776445 (table): -5 -/+ 2.266955.
    #[test]
    fn a_control_lowers_the_level_by_decibels_and_no_per_cent() {
        let days = ["2026-03-02", "2026-03-03", "2026-03-04", "2026-03-05", "2026-03-06", "2026-03-09"];
        let samples: Vec<_> =
            [(92.0, false), (88.0, true), (94.0, false), (89.0, true), (93.0, false), (87.0, true)]
                .into_iter()
                .zip(days)
                .zip(101..)
                .map(|(((level, running), day), number)| {
                    run(number, day, running, &[("osha_limit", db(level - 3.0)), ("niosh", db(level))])
                })
                .collect();
        let found = verdict_of(&samples);
        let difference = found.difference_level.clone().unwrap();
        assert_eq!((found.criterion, difference.estimate), (Some(NoiseCriterion::Niosh), Some(-5.0)));
        assert!((difference.lower_95.unwrap() + 7.266_955).abs() < 1e-5, "{difference:?}");
        assert!((difference.upper_95.unwrap() + 2.733_045).abs() < 1e-5, "{difference:?}");
        assert_eq!(found.verdict, Some(Verdict::Lowered));
        assert_eq!(
            (found.ratio_of_geometric_means, found.reduction_percent, found.target),
            (None, None, None)
        );
        assert_eq!(found.flags, ["repeated_workers"]);
        let said = "was lower by 5.0 dB (95 % interval 2.7 dB to 7.3 dB)";
        assert!(found.sentence.contains(said), "{}", found.sentence);
        let steps: Vec<_> = found.working.unwrap().into_iter().map(|step| step.step).collect();
        assert!(steps.ends_with(&[
            "difference of mean levels".into(),
            "probabilities".into(),
            "verdict".into()
        ]));
    }

    #[test]
    fn what_was_read_by_another_criterion_or_by_none_is_left_out_with_its_reason() {
        let samples = [
            run(101, "2026-03-02", false, &[("osha_action_level", db(92.0))]),
            run(102, "2026-03-03", true, &[("osha_action_level", db(88.0))]),
            run(103, "2026-03-04", true, &[("osha_limit", db(88.0))]),
            run(104, "2026-03-05", true, &[("osha_action_level", json!({"value": 140, "unit": "dB"}))]),
        ];
        let found = verdict_of(&samples);
        assert_eq!(found.criterion, Some(NoiseCriterion::OshaActionLevel));
        let reasons: Vec<_> = found.excluded.iter().map(|one| one.reason).collect();
        assert_eq!(reasons, [ExclusionReason::OtherCriterion, ExclusionReason::NoNoiseDose]);
        assert_eq!((found.verdict, found.flags[0].as_str()), (None, "too_few_levels"));
    }

    // Doses add: 95 dBA over half the sampled time and silence over the rest is the dose of 90 dBA (5 dB an exchange).
    #[test]
    fn filters_of_one_shift_are_one_level_of_their_doses() {
        let mut samples = vec![
            run(101, "2026-03-02", false, &[("osha_limit", db(95.0))]),
            run(104, "2026-03-02", false, &[("osha_limit", json!({"value": 0, "unit": "%"}))]),
        ];
        for sample in &mut samples {
            sample.sample.fact.minutes_run = Some(240.0);
        }
        let found = verdict_of(&samples);
        let steps = found.working.unwrap();
        let value = steps.iter().find(|step| step.step == "value without, 2026-03-02").unwrap();
        assert_eq!(value.result, db(90.0));
    }
}
