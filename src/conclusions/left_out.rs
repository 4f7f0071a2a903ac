//! Which samples of a group a profile leaves out or shows beside, each with its reason.

use crate::conclusions::asked::Asked;
use crate::conclusions::changed_after_result::{
    result_voided, sample_voided_after_result, use_changed_after_result,
};
use crate::conclusions::evidence::SampleEvidence;
use crate::conclusions::limits::AgentEvidence;
use crate::conclusions::sample::conclude;
use crate::conclusions::shift_average::ShiftTwa;
use crate::conclusions::standing_result::is_used;
use crate::conclusions::use_of_result::{LeftOutReason, ProfileUse, StandingUse, Uses};
use crate::model::facts::sampling::{Covers, NoiseCriterion, Position, SampleOutcome};
use crate::model::identifiers::SampleId;
use crate::record;
use std::collections::BTreeMap;

record! {
    /// A sample that is left out or stands beside, and why.
    pub struct LeftOut {
        /// The sample.
        sample_id: SampleId,
        /// Why.
        reason: LeftOutReason,
    }
}

/// What became of a breathing-zone sample in a profile.
enum Fate {
    Used,
    Beside(LeftOutReason),
    LeftOut(LeftOutReason),
}

/// Samples left out, and samples shown beside, in the order of shift date and number.
///
/// A sample whose result was voided, and which is used by another result, stands among those left out all the same.
///
/// `shifts` are the averages made of these samples, of noise those by one `criterion`; only breathing-zone samples that the agent was asked for or found
/// on are spoken of.
pub fn left_out_and_beside(
    samples: &[&SampleEvidence],
    shifts: &[&ShiftTwa],
    agent: &AgentEvidence,
    criterion: Option<NoiseCriterion>,
    asked: Asked,
) -> (Vec<LeftOut>, Vec<LeftOut>) {
    let shift_of: BTreeMap<SampleId, &ShiftTwa> = shifts
        .iter()
        .flat_map(|shift| shift.samples.iter().map(move |sample| (sample.sample_id, *shift)))
        .collect();
    let mut spoken_of: Vec<&&SampleEvidence> =
        samples.iter().filter(|evidence| is_about(evidence, agent)).collect();
    spoken_of.sort_by_key(|evidence| {
        (evidence.sample.fact.shift_date, &evidence.sample.fact.number, evidence.sample.id)
    });
    let (mut left_out, mut beside) = (Vec::new(), Vec::new());
    for evidence in spoken_of {
        let sample_id = SampleId(evidence.sample.id);
        let fate = fate(evidence, shift_of.get(&sample_id).copied(), agent, criterion, asked);
        if !matches!(fate, Fate::LeftOut(_)) && result_voided(evidence, agent.code()) {
            left_out.push(LeftOut { sample_id, reason: LeftOutReason::ChangedAfterResult });
        }
        match fate {
            Fate::Used => {}
            Fate::Beside(reason) => beside.push(LeftOut { sample_id, reason }),
            Fate::LeftOut(reason) => left_out.push(LeftOut { sample_id, reason }),
        }
    }
    (left_out, beside)
}

fn is_about(evidence: &SampleEvidence, agent: &AgentEvidence) -> bool {
    let sample = &evidence.sample.fact;
    let asked_for = sample.agent_codes.as_ref().map(|codes| codes.contains(agent.code()));
    let found = evidence.results.iter().any(|result| result.fact.agent_code == *agent.code())
        || sample.on_site_results.iter().flatten().any(|read| read.agent_code == *agent.code());
    // A failed sample that does not say what it was for could have been for any agent.
    let unsaid =
        asked_for.is_none() && evidence.results.is_empty() && sample.came_out() != SampleOutcome::Valid;
    sample.position == Position::BreathingZone && (asked_for == Some(true) || found || unsaid)
}

fn fate(
    evidence: &SampleEvidence,
    shift: Option<&ShiftTwa>,
    agent: &AgentEvidence,
    criterion: Option<NoiseCriterion>,
    asked: Asked,
) -> Fate {
    let sample = &evidence.sample.fact;
    if sample_voided_after_result(evidence) {
        return Fate::LeftOut(LeftOutReason::ChangedAfterResult);
    }
    if !evidence.sample.stands() {
        return Fate::LeftOut(LeftOutReason::Voided);
    }
    if let Some(reason) = Uses::outcome(sample.came_out()) {
        return Fate::LeftOut(reason);
    }
    let Some(shift) = shift else {
        return Fate::LeftOut(without_a_shift(evidence, agent, criterion, asked));
    };
    if sample.covered() == Covers::ShortTerm {
        return Fate::LeftOut(LeftOutReason::ShortTerm);
    }
    if shift.enters_profile() {
        return Fate::Used;
    }
    let changed = use_changed_after_result(evidence).then_some(LeftOutReason::ChangedAfterResult);
    let first = changed.or(shift.uses.reasons.first().copied());
    let last = changed.or(shift.uses.reasons.last().copied());
    let (reason, is_beside) = match (shift.twa, shift.uses.profile, shift.uses.standing) {
        (None, ..) => (None, false),
        (_, ProfileUse::Beside, _) | (_, _, StandingUse::Beside) => (first, true),
        // A part or a short shift weighs more than why the event took place; it stands later in the list.
        _ => (last, false),
    };
    let reason = reason.unwrap_or(LeftOutReason::NoConcentration);
    if is_beside { Fate::Beside(reason) } else { Fate::LeftOut(reason) }
}

/// Why a valid sample gave no shift.
fn without_a_shift(
    evidence: &SampleEvidence,
    agent: &AgentEvidence,
    criterion: Option<NoiseCriterion>,
    asked: Asked,
) -> LeftOutReason {
    if agent.is_noise() {
        let concluded = conclude(evidence, agent, asked);
        if concluded.iter().any(|one| one.dose.is_some() && one.criterion != criterion) {
            return LeftOutReason::OtherCriterion;
        }
        if !concluded.is_empty() {
            return LeftOutReason::NoNoiseDose;
        }
    }
    let mut results = evidence.results.iter().filter(|result| result.fact.agent_code == *agent.code());
    if let Some(concluded) = conclude(evidence, agent, asked).first() {
        return match concluded.concentration {
            Some(_) => LeftOutReason::UnitNotOfLimit,
            None => LeftOutReason::NoConcentration,
        };
    }
    let waits_for_acceptance = results.any(|result| is_used(result, Asked { accepted_only: false, ..asked }));
    if waits_for_acceptance {
        LeftOutReason::NotAccepted
    } else if result_voided(evidence, agent.code()) {
        LeftOutReason::ChangedAfterResult
    } else {
        LeftOutReason::ResultAwaited
    }
}
