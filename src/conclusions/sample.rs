//! What a sample says: its volume of air, and for each result the corrected mass and the concentration.

use crate::conclusions::asked::Asked;
use crate::conclusions::changed_after_result::{sample_voided_after_result, use_changed_after_result};
use crate::conclusions::concentration::{InAir, in_air};
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::flag::{Flag, raise, raise_if};
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::sampled_air::{SampledAir, sampled_air};
use crate::conclusions::standing_result::{Reported, is_voided, read_on_site, used_results};
use crate::model::facts::laboratory::{LabResult, ResultStatus};
use crate::model::facts::sampling::{NoiseCriterion, SampleOutcome};
use crate::model::identifiers::{ResultId, SampleId};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::text::Code;
use crate::model::unit::Unit;
use crate::model::working::Step;
use crate::record;

/// From this share on chromium(VI) may lie above total chromium on one filter before it is flagged (our own choice).
pub const ABOVE_TOTAL_ACCEPTED: f64 = 1.25;

record! {
    /// One result of a sample and what follows from it.
    pub struct SampleResultView {
        /// The result; absent for a value read on site that is kept on the sample only.
        id: Option<ResultId>,
        /// The agent.
        agent_code: Code,
        /// How far it has come.
        status: ResultStatus,
        /// Whether it stands among the results of this sample and agent.
        stands: bool,
        /// By which criterion, for noise.
        criterion: Option<NoiseCriterion>,
        /// The mass as reported.
        mass: Option<Quantity>,
        /// The mass after the field blanks; a range where the laboratory estimated it.
        mass_corrected: Option<Quantity>,
        /// The concentration in the unit of the agent's limit; of noise the average level over the sample's run.
        concentration: Option<Quantity>,
        /// The dose of noise over the sample's run, in per cent of what the criterion allows in a day.
        dose: Option<Quantity>,
        /// The concentration by the lower flow, where the flow changed by more than 5 %.
        value_at_lower_flow: Option<Quantity>,
        /// What is to be known of it.
        flags: Vec<Flag>,
    }
}

record! {
    /// What a sample says.
    pub struct SampleView {
        /// Air drawn through the sampler.
        volume: Option<Quantity>,
        /// Change of the flow in per cent of the flow before.
        flow_change_percent: Option<f64>,
        /// Every result, replaced and voided ones among them.
        results: Vec<SampleResultView>,
        /// What is to be known of the sample.
        flags: Vec<Flag>,
        /// How the numbers came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// What the standing result of a sample says of one agent: the ground for everything above samples.
#[derive(Debug, Clone, PartialEq)]
pub struct Concluded {
    /// The sample.
    pub sample_id: SampleId,
    /// The result; `None` for a value read on site that is kept on the sample only.
    pub result_id: Option<ResultId>,
    /// The agent.
    pub agent_code: Code,
    /// By which criterion, for noise.
    pub criterion: Option<NoiseCriterion>,
    /// The unit of both concentrations.
    pub unit: Unit,
    /// The concentration, of noise the average level over the run; `None` where none can be made.
    pub concentration: Option<Measured>,
    /// The concentration by the lower flow, where the flow changed too much.
    pub at_lower_flow: Option<Measured>,
    /// The dose of noise over the run, per cent.
    pub dose: Option<Measured>,
    /// Minutes sampled.
    pub minutes: f64,
    /// What is to be known of the sample and the result, in the order of the table of flags.
    pub flags: Vec<Flag>,
    /// Whether a hygienist accepted the result.
    pub accepted: bool,
}

impl Concluded {
    /// The flags that forbid it to lower or end anything.
    pub fn blocking(&self) -> impl Iterator<Item = Flag> {
        self.flags.iter().copied().filter(|flag| flag.blocks_lowering())
    }
}

/// The agent of a code among those that were gathered.
pub fn agent_of<'a>(agents: &'a [AgentEvidence], code: &Code) -> Option<&'a AgentEvidence> {
    agents.iter().find(|agent| agent.code() == code)
}

/// What the used results of a sample say of one agent: one, or for noise one a criterion; none where nothing stands.
pub fn conclude(evidence: &SampleEvidence, agent: &AgentEvidence, asked: Asked) -> Vec<Concluded> {
    let air = sampled_air(&evidence.sample.fact, None);
    used_results(evidence, asked)
        .into_iter()
        .filter(|reported| reported.result.agent_code == *agent.code())
        .map(|Reported { id, result }| {
            let found = in_air(evidence, &air, &result, Some(agent), asked, None);
            let mut flags = found.flags;
            air.flags.iter().for_each(|&flag| raise(&mut flags, flag));
            // A concentration taken as reported needs no volume of ours.
            if found.concentration.is_some() {
                flags.retain(|flag| *flag != Flag::NoVolume);
            }
            let accepted = result.status == ResultStatus::Accepted;
            raise_if(&mut flags, !accepted, Flag::NotAccepted);
            Concluded {
                sample_id: SampleId(evidence.sample.id),
                result_id: id.map(ResultId),
                agent_code: result.agent_code,
                criterion: result.criterion,
                unit: found.unit,
                concentration: found.concentration,
                at_lower_flow: found.at_lower_flow,
                dose: found.dose,
                minutes: air.minutes,
                flags,
                accepted,
            }
        })
        .collect()
}

/// What a sample says, for people and programs.
pub fn sample_view(evidence: &SampleEvidence, agents: &[AgentEvidence], asked: Asked) -> SampleView {
    let sample = &evidence.sample.fact;
    let mut steps = asked.working.then(Vec::new);
    let air = sampled_air(sample, steps.as_mut());
    let mut listed: Vec<_> = evidence.results.iter().collect();
    listed.sort_by_key(|result| (&result.fact.agent_code, result.fact.criterion, result.position, result.id));
    let mut results: Vec<SampleResultView> = listed
        .into_iter()
        .filter(|result| !asked.accepted_only || result.fact.status != ResultStatus::Submitted)
        .map(|result| {
            let voided = is_voided(result) || !evidence.sample.stands();
            result_view(
                evidence,
                &air,
                (Some(result.id), &result.fact),
                voided,
                agents,
                asked,
                steps.as_mut(),
            )
        })
        .collect();
    if !asked.accepted_only {
        for Reported { id, result } in read_on_site(evidence) {
            let voided = !evidence.sample.stands();
            results.push(result_view(evidence, &air, (id, &result), voided, agents, asked, steps.as_mut()));
        }
    }
    mark_above_total(&mut results);
    let mut flags = air.flags.clone();
    if results.iter().any(|result| result.concentration.is_some()) && air.volume.is_none() {
        flags.retain(|flag| *flag != Flag::NoVolume);
    }
    // Nothing is to come of a sample that went wrong.
    let may_come = evidence.sample.stands() && sample.came_out() == SampleOutcome::Valid;
    let awaited =
        sample.agent_codes.iter().flatten().any(|code| {
            may_come && !results.iter().any(|result| result.agent_code == *code && result.stands)
        });
    raise_if(&mut flags, awaited, Flag::ResultAwaited);
    raise_if(&mut flags, !evidence.sample.stands(), Flag::Voided);
    let changed = sample_voided_after_result(evidence) || use_changed_after_result(evidence);
    raise_if(&mut flags, changed, Flag::ChangedAfterResult);
    SampleView {
        volume: air.volume.map(|volume| Quantity::computed(Measured::Value(volume), Unit::L)),
        flow_change_percent: air.flow_change_percent,
        results,
        flags,
        working: steps,
    }
}

fn result_view(
    evidence: &SampleEvidence,
    air: &SampledAir,
    (id, result): (Option<uuid::Uuid>, &LabResult),
    voided: bool,
    agents: &[AgentEvidence],
    asked: Asked,
    steps: Option<&mut Vec<Step>>,
) -> SampleResultView {
    let stands = !voided && result.stands;
    let steps = steps.filter(|_| stands);
    let InAir { mass_corrected, unit, concentration, at_lower_flow, dose, mut flags } =
        in_air(evidence, air, result, agent_of(agents, &result.agent_code), asked, steps);
    raise_if(&mut flags, voided, Flag::Voided);
    // The voiding of a result, or of a sample that has one, comes after the result.
    raise_if(&mut flags, voided, Flag::ChangedAfterResult);
    raise_if(&mut flags, !voided && !result.stands, Flag::NotStanding);
    let shown = |measured: Option<Measured>| {
        measured.filter(|_| !voided).map(|measured| Quantity::computed(measured, unit))
    };
    SampleResultView {
        id: id.map(ResultId),
        agent_code: result.agent_code.clone(),
        status: if voided { ResultStatus::Voided } else { result.status },
        stands,
        criterion: result.criterion,
        mass: result.mass.clone(),
        mass_corrected: mass_corrected.filter(|_| !voided),
        concentration: shown(concentration),
        dose: dose.filter(|_| !voided).map(|dose| Quantity::computed(dose, Unit::Percent)),
        value_at_lower_flow: shown(at_lower_flow),
        flags,
    }
}

/// Flags chromium(VI) that lies above total chromium of the same filter.
fn mark_above_total(results: &mut [SampleResultView]) {
    let standing = |results: &[SampleResultView], code: &str| {
        results.iter().position(|result| result.stands && result.agent_code.as_str() == code)
    };
    let (Some(part), Some(total)) = (standing(results, "chromium_vi"), standing(results, "chromium_total"))
    else {
        return;
    };
    let most = results[total].concentration.as_ref().and_then(|found| found.in_unit(Unit::UgPerM3)?.upper());
    let least = results[part].concentration.as_ref().and_then(|found| found.in_unit(Unit::UgPerM3));
    if let (Some(most), Some(least)) = (most, least)
        && significant(least.lower()) > significant(ABOVE_TOTAL_ACCEPTED * most)
    {
        raise(&mut results[part].flags, Flag::AboveTotal);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::conclusions::evidence::Blank;
    use crate::conclusions::invented::{EVENT, agent, event, evidence, result, sample};
    use crate::model::shape::Shape;
    use serde_json::{Value, json};

    type Blanks = Vec<Blank>;

    fn seen(sample_change: &Value, result_change: &Value, blanks: Blanks) -> Value {
        let event = event(EVENT, &json!({}));
        let results = vec![result(60, 50, result_change)];
        let evidence = evidence(&event, sample(50, sample_change), results, blanks);
        sample_view(&evidence, &[agent("chromium_vi")], Asked { working: true, ..Asked::default() }).to_json()
    }

    fn blank(number: u128, change: &Value, mass: &Value) -> Blank {
        let base = json!({"position": "field_blank", "worker_id": null, "group_id": null, "task_id": null,
            "minutes_run": null, "flow_before": null, "flow_after": null, "control_ids_running": null});
        let blank = sample(number, &crate::conclusions::invented::with(base, change));
        (blank, vec![result(number + 500, number, &json!({"mass": mass, "blank_corrected": "no"}))])
    }

    fn ug(value: f64) -> Value {
        json!({"value": value, "unit": "ug"})
    }

    // Arithmetic: 2 L/min x 480 min = 960 L; 2.40 ug / 960 L = 0.0025 mg/m3 = 2.5 ug/m3. The rules are this registry's.
    #[test]
    fn a_mass_over_a_volume_is_given_in_the_unit_of_the_limit() {
        let view = seen(&json!({}), &json!({}), Vec::new());
        assert_eq!(view["volume"], json!({"value": 960.0, "unit": "L"}));
        assert_eq!(view["flow_change_percent"], json!(0.0));
        let found = &view["results"][0];
        assert_eq!(found["mass"], json!({"value": 2.4, "unit": "ug", "reported": "2.40"}));
        assert_eq!(found["concentration"], json!({"value": 2.5, "unit": "ug/m3"}));
        assert_eq!((&found["flags"], &view["flags"]), (&json!([]), &json!([])));
        assert_eq!(found.get("mass_corrected"), None);
        let steps: Vec<_> =
            view["working"].as_array().unwrap().iter().map(|step| step["step"].clone()).collect();
        assert_eq!(steps, ["mean flow", "flow change in per cent", "volume", "concentration of chromium_vi"]);
    }

    #[test]
    fn a_changed_flow_uses_the_mean_and_shows_the_value_by_the_lower_flow() {
        // 2.0 to 1.8 L/min: -10 %; mean 1.9 x 480 = 912 L; lower 1.8 x 480 = 864 L.
        // 2.4/912 = 2.63157894737 ug/m3; 2.4/864 = 2.77777777778 ug/m3.
        let view = seen(&json!({"flow_after": {"value": 1.8, "unit": "L/min"}}), &json!({}), Vec::new());
        assert_eq!(view["flow_change_percent"], json!(-10.0));
        assert_eq!(view["flags"], json!(["flow_changed"]));
        let found = &view["results"][0];
        assert_eq!(found["concentration"], json!({"value": 2.631_578_947_37, "unit": "ug/m3"}));
        assert_eq!(found["value_at_lower_flow"], json!({"value": 2.777_777_777_78, "unit": "ug/m3"}));
        // Exactly 5 % is accepted: 2.0 to 1.9.
        let accepted = seen(&json!({"flow_after": {"value": 1.9, "unit": "L/min"}}), &json!({}), Vec::new());
        assert_eq!((&accepted["flow_change_percent"], &accepted["flags"]), (&json!(-5.0), &json!([])));
    }

    #[test]
    fn a_sample_that_went_wrong_stays_listed_without_a_concentration() {
        let failed = json!({"outcome": "pump_failed", "flow_after": {"value": 0, "unit": "L/min"}});
        let view = seen(&failed, &json!({}), Vec::new());
        assert_eq!(view["flags"], json!(["outcome_not_valid"]));
        assert_eq!(view["results"][0]["mass"]["value"], json!(2.4));
        assert_eq!(view["results"][0].get("concentration"), None);
        assert_eq!(view.get("volume"), None);
    }

    // NIOSH 7703, front page: 54 to 1200 L, analyse within 24 h. 3 L/min x 480 min = 1440 L.
    #[test]
    fn a_volume_outside_the_method_and_a_late_analysis_are_flags_and_no_faults() {
        let flow = json!({"value": 3, "unit": "L/min"});
        let large = json!({"method": "NIOSH 7703", "flow_before": flow, "flow_after": flow});
        let view = seen(&large, &json!({"analysed_on": "2026-03-09"}), Vec::new());
        assert_eq!(view["flags"], json!(["volume_outside_method"]));
        assert_eq!(view["results"][0]["flags"], json!(["analysed_after_holding_time"]));
        assert!(view["results"][0]["concentration"].is_object());
        let within =
            seen(&json!({"method": "NIOSH 7703"}), &json!({"analysed_on": "2026-03-03"}), Vec::new());
        assert_eq!((&within["flags"], &within["results"][0]["flags"]), (&json!([]), &json!([])));
    }

    #[test]
    fn what_is_voided_after_a_result_is_known_says_so() {
        let event = event(EVENT, &json!({}));
        let flags = |sample_voided: bool, results: Vec<_>| {
            let mut evidence = evidence(&event, sample(50, &json!({})), results, Vec::new());
            evidence.sample.voided = sample_voided.then(|| "Wrong worker".into());
            let view = sample_view(&evidence, &[agent("chromium_vi")], Asked::default()).to_json();
            (view["flags"].clone(), view["results"][0]["flags"].clone())
        };
        let both = json!(["voided", "changed_after_result"]);
        assert_eq!(flags(true, vec![result(60, 50, &json!({}))]), (both.clone(), both.clone()));
        assert_eq!(flags(true, Vec::new()).0, json!(["voided"]));
        let voided = result(60, 50, &json!({"status": "voided"}));
        assert_eq!(flags(false, vec![voided]), (json!([]), both));
    }

    #[test]
    fn nothing_is_awaited_of_what_went_wrong_blanks_among_it() {
        let event = event(EVENT, &json!({}));
        let flags = |change: &Value| {
            let change = crate::conclusions::invented::with(json!({"agent_codes": ["chromium_vi"]}), change);
            let awaited = evidence(&event, sample(50, &change), Vec::new(), Vec::new());
            sample_view(&awaited, &[agent("chromium_vi")], Asked::default()).to_json()["flags"].clone()
        };
        assert_eq!(flags(&json!({})), json!(["result_awaited"]));
        assert_eq!(flags(&json!({"outcome": "pump_failed"})), json!(["outcome_not_valid"]));
        let blank =
            json!({"position": "field_blank", "worker_id": null, "minutes_run": null, "outcome": "lost"});
        assert_eq!(flags(&blank), json!(["outcome_not_valid"]));
    }

    #[test]
    fn the_calibrator_is_overdue_a_year_and_a_day_after_its_calibration() {
        let on = |day: &str| seen(&json!({"calibrated_on": day}), &json!({}), Vec::new())["flags"].clone();
        assert_eq!(on("2025-03-02"), json!([]));
        assert_eq!(on("2025-03-01"), json!(["calibrator_overdue"]));
        let missing = seen(&json!({"calibrated_on": null}), &json!({}), Vec::new());
        assert_eq!(missing["flags"], json!(["calibrator_overdue"]));
    }

    #[test]
    fn only_valid_blanks_of_the_same_medium_and_lot_are_subtracted() {
        // Mean of 0.06 and <0.02 (zero) is 0.03; 2.40 - 0.03 = 2.37 ug; 2.37 / 960 L = 2.46875 ug/m3.
        let blanks = vec![
            blank(71, &json!({}), &ug(0.06)),
            blank(72, &json!({}), &json!({"comparator": "<", "value": 0.02, "unit": "ug"})),
            blank(73, &json!({"medium_lot": "L2"}), &ug(1.0)),
            blank(74, &json!({"outcome": "contaminated"}), &ug(1.0)),
        ];
        let view =
            seen(&json!({}), &json!({"blank_corrected": "no", "reporting_limit": ug(0.1)}), blanks.clone());
        let found = &view["results"][0];
        assert_eq!(found["mass_corrected"], ug(2.37));
        assert_eq!(found["concentration"], json!({"value": 2.46875, "unit": "ug/m3"}));
        assert_eq!(found["flags"], json!(["blank_subtracted"]));
        // The laboratory did it, or does not say: nothing is subtracted.
        for (word, flags) in [("yes", json!([])), ("unknown", json!(["blank_correction_unknown"]))] {
            let change = json!({"blank_corrected": word, "reporting_limit": ug(0.1)});
            let view = seen(&json!({}), &change, blanks.clone());
            assert_eq!(view["results"][0]["concentration"]["value"], json!(2.5));
            assert_eq!(view["results"][0]["flags"], flags);
        }
    }

    #[test]
    fn a_corrected_mass_below_the_reporting_limit_becomes_a_bound() {
        // 0.12 - 0.05 = 0.07 < 0.1 ug: < 0.1 ug / 960 L = < 0.104166666667 ug/m3; 0.05 is above a tenth of 0.12.
        let change = json!({"mass": ug(0.12), "blank_corrected": "no", "reporting_limit": ug(0.1)});
        let view = seen(&json!({}), &change, vec![blank(71, &json!({}), &ug(0.05))]);
        let found = &view["results"][0];
        assert_eq!(found["mass"]["value"], json!(0.12));
        assert_eq!(found["mass_corrected"], json!({"comparator": "<", "value": 0.1, "unit": "ug"}));
        assert_eq!(found["concentration"]["comparator"], json!("<"));
        assert_eq!(found["flags"], json!(["blank_high", "blank_subtracted"]));
    }

    #[test]
    fn lost_blanks_leave_a_mass_uncorrected_and_flagged() {
        let change = json!({"blank_corrected": "no"});
        let lost = seen(&json!({}), &change, vec![blank(71, &json!({"outcome": "lost"}), &ug(0.05))]);
        assert_eq!(lost["results"][0]["flags"], json!(["blanks_lost"]));
        assert_eq!(lost["results"][0]["concentration"]["value"], json!(2.5));
        let none = seen(&json!({}), &change, Vec::new());
        assert_eq!(none["results"][0]["flags"], json!(["no_field_blank"]));
    }

    #[test]
    fn an_estimated_mass_is_the_range_between_its_limits_and_is_never_corrected() {
        // 0.03 to 0.1 ug over 960 L: 0.03125 to 0.104166666667 ug/m3.
        let change = json!({"mass": ug(0.05), "estimated": true, "blank_corrected": "no",
            "detection_limit": ug(0.03), "reporting_limit": ug(0.1)});
        let view = seen(&json!({}), &change, vec![blank(71, &json!({}), &ug(0.001))]);
        let found = &view["results"][0];
        let range = json!({"lower": 0.03125, "upper": 0.104_166_666_667, "unit": "ug/m3"});
        assert_eq!(found["concentration"], range);
        assert_eq!(found["flags"], json!(["estimated"]));
    }

    #[test]
    fn a_reported_concentration_stands_and_is_held_against_ours() {
        let change = |value: f64| json!({"concentration": {"value": value, "unit": "mg/m3"}});
        let near = seen(&json!({}), &change(0.0026), Vec::new());
        assert_eq!(near["results"][0]["concentration"], json!({"value": 2.6, "unit": "ug/m3"}));
        assert_eq!(near["results"][0]["flags"], json!([]));
        // 2.63 lies 5.2 % above 2.5.
        let far = seen(&json!({}), &change(0.00263), Vec::new());
        assert_eq!(far["results"][0]["flags"], json!(["reported_concentration_differs"]));
    }

    #[test]
    fn a_badge_needs_no_flows_and_takes_the_reported_concentration() {
        let badge = json!({"sampler_kind": "passive", "flow_before": null, "flow_after": null,
            "calibrated_on": null});
        let change = json!({"mass": null, "concentration": {"comparator": ">", "value": 3, "unit": "ug/m3"}});
        let view = seen(&badge, &change, Vec::new());
        assert_eq!(
            view["results"][0]["concentration"],
            json!({"comparator": ">", "value": 3.0, "unit": "ug/m3"})
        );
        assert_eq!((&view["results"][0]["flags"], &view["flags"]), (&json!(["overloaded"]), &json!([])));
        let without = seen(&badge, &json!({}), Vec::new());
        assert_eq!(without["results"][0]["flags"], json!(["no_volume"]));
    }

    #[test]
    fn a_replaced_result_is_listed_marked_and_concludes_nothing() {
        let event = event(EVENT, &json!({}));
        let results = vec![
            result(60, 50, &json!({"stands": false})),
            result(61, 50, &json!({"mass": ug(4.8), "status": "submitted"})),
        ];
        let evidence = evidence(&event, sample(50, &json!({})), results, Vec::new());
        let chromium = agent("chromium_vi");
        let view = sample_view(&evidence, std::slice::from_ref(&chromium), Asked::default());
        assert_eq!(view.results[0].flags, [Flag::NotStanding]);
        let concluded = conclude(&evidence, &chromium, Asked::default());
        assert_eq!(concluded.len(), 1);
        assert_eq!(concluded[0].concentration, Some(Measured::Value(5.0)));
        assert!(!concluded[0].accepted);
        assert_eq!(conclude(&evidence, &chromium, Asked { accepted_only: true, working: false }), []);
    }

    #[test]
    fn a_vapour_is_given_in_the_ppm_of_its_limit() {
        // Benzene, 78.11 g/mol: 3.195 mg/m3 x 24.45 / 78.11 = 1.00009 ppm (29 CFR 1910.1000 Table Z-1, footnotes).
        let event = event(EVENT, &json!({}));
        let change = json!({"agent_code": "benzene", "mass": null,
            "concentration": {"value": 3.195, "unit": "mg/m3"}});
        let evidence = evidence(&event, sample(50, &json!({})), vec![result(60, 50, &change)], Vec::new());
        let concluded = &conclude(&evidence, &agent("benzene"), Asked::default())[0];
        assert_eq!(concluded.unit, Unit::Ppm);
        let Some(Measured::Value(ppm)) = concluded.concentration else { panic!("a number") };
        assert!((ppm - 3.195 * 24.45 / 78.11).abs() < 1e-3, "{ppm}");
    }
}
