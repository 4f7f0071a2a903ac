//! Figures of one answer that say the same in two ways.

use serde_json::Value;

/// Two figures may differ in the last of twelve digits before they disagree.
const SLACK: f64 = 1e-9;

/// What of an answer contradicts itself.
pub(crate) fn contradictions(name: &str, body: &Value, answer: &Value) -> Vec<String> {
    let figures = Figures { body, answer };
    match name {
        "group-profile" => figures.of_a_group(),
        "control-effect" => figures.of_a_control(),
        "severity" => figures.of_a_severity(),
        "mixture" => figures.of_a_mixture(),
        "removal-efficiency" => figures.of_a_filter(),
        _ => Vec::new(),
    }
}

struct Figures<'v> {
    body: &'v Value,
    answer: &'v Value,
}

impl Figures<'_> {
    fn number(&self, pointer: &str) -> Option<f64> {
        self.answer.pointer(pointer)?.as_f64()
    }

    fn word(&self, pointer: &str) -> Option<&str> {
        self.answer.pointer(pointer)?.as_str()
    }

    /// The limit asked about, where it is in the unit of the figures.
    fn limit(&self, first: &str) -> Option<f64> {
        let limit = self.body.get("limit")?;
        let unit = self.body.pointer(first)?.get("unit")?;
        limit["value"].as_f64().filter(|_| limit["unit"] == *unit)
    }

    // The 95th percentile is above the limit where more than 5 % of days are (practice: P(X95 > L) is P(exceedance > 5 %)).
    fn of_a_group(&self) -> Vec<String> {
        let mut wrong = Vec::new();
        let Some(limit) = self.limit("/results/0") else { return wrong };
        for (percentile, share) in
            [("estimate", "estimate"), ("upper_70", "upper_70"), ("upper_95", "upper_95")]
        {
            let above =
                self.number(&format!("/percentile_95/{percentile}")).map(|value| (value / limit).ln());
            let exceeded = self.number(&format!("/exceedance_fraction/{share}"));
            if let (Some(above), Some(exceeded)) = (above, exceeded)
                && above.abs() > 1e-3
                && (above > 0.0) != (exceeded > 0.05)
            {
                wrong.push(format!("percentile_95/{percentile} and exceedance_fraction/{share} disagree"));
            }
        }
        let (upper, outcome) = (self.number("/percentile_95/upper_70"), self.word("/en_689/outcome"));
        if let (Some(upper), Some(outcome), Some("statistical")) =
            (upper, outcome, self.word("/en_689/stage"))
            && (upper <= limit) != (outcome == "compliance")
        {
            wrong.push(format!("en_689 says {outcome} of {upper} against {limit}"));
        }
        wrong
    }

    // Contract: limits are swapped when turned into a reduction; the verdict follows from the interval.
    fn of_a_control(&self) -> Vec<String> {
        let mut wrong = Vec::new();
        for (of_ratio, of_reduction) in
            [("estimate", "estimate"), ("lower_95", "upper_95"), ("upper_95", "lower_95")]
        {
            let ratio = self.number(&format!("/ratio_of_geometric_means/{of_ratio}"));
            let reduction = self.number(&format!("/reduction_percent/{of_reduction}"));
            if let (Some(ratio), Some(reduction)) = (ratio, reduction)
                && (100.0 * (1.0 - ratio) - reduction).abs() > SLACK * (100.0 + reduction.abs())
            {
                wrong.push(format!("ratio {ratio} and reduction {reduction}"));
            }
        }
        let end = |name: &str| self.number(&format!("/ratio_of_geometric_means/{name}"));
        let (below, above) = (
            end("upper_95").is_some_and(|upper| upper < 1.0),
            end("lower_95").is_some_and(|lower| lower > 1.0),
        );
        if let Some(verdict) = self.word("/verdict")
            && ((verdict == "lowered") != below || (verdict == "raised") != above)
        {
            wrong.push(format!("verdict {verdict} of {}", self.answer["ratio_of_geometric_means"]));
        }
        let (lowered, met) = (self.number("/probability_lowered"), self.number("/probability_target_met"));
        // A flat likelihood gives one half for both, each by the root of a difference of rounded numbers.
        if lowered.zip(met).is_some_and(|(lowered, met)| met > lowered + 1e-7) {
            wrong.push("the target is met more probably than exposure is lowered".to_owned());
        }
        wrong
    }

    // Contract: above_limit when lower_95 > 1, not_above_limit when upper_95 <= 1.
    fn of_a_severity(&self) -> Vec<String> {
        let (lower, upper) = (self.number("/lower_95"), self.number("/upper_95"));
        let expected = if lower.is_some_and(|lower| lower > 1.0) {
            "above_limit"
        } else if upper.is_some_and(|upper| upper <= 1.0) {
            "not_above_limit"
        } else {
            "possibly_above_limit"
        };
        let said = self.word("/classification");
        (said != Some(expected)).then(|| format!("{said:?} of {lower:?} to {upper:?}")).into_iter().collect()
    }

    // Contract: exceeds where E > 1.
    fn of_a_mixture(&self) -> Vec<String> {
        let (sum, exceeds) = (self.number("/equivalent_exposure"), self.answer["exceeds"].as_bool());
        let wrong = sum.zip(exceeds).is_some_and(|(sum, exceeds)| exceeds != (sum > 1.0));
        wrong.then(|| format!("{sum:?} exceeds: {exceeds:?}")).into_iter().collect()
    }

    // By definition: what gets through and what is taken out are the whole.
    fn of_a_filter(&self) -> Vec<String> {
        let (out, through) =
            (self.number("/efficiency_percent/estimate"), self.number("/penetration_percent"));
        let wrong = out
            .zip(through)
            .is_some_and(|(out, through)| (100.0 - out - through).abs() > SLACK * (100.0 + through));
        wrong.then(|| format!("efficiency {out:?}, penetration {through:?}")).into_iter().collect()
    }
}
