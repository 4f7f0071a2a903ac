//! What a filter or collector takes out of what enters it.

use crate::calculations::given::{all_measured, common_unit, none_below_zero, sound};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::conclusions::figures::EffectView;
use crate::hygiene::control_effect::Effect;
use crate::hygiene::efficiency::{REMOVAL_EFFICIENCY, removal_efficiency};
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

record! {
    /// Inlet and outlet, pairs by their place in the lists.
    pub struct RemovalEfficiencyInput {
        /// Before the filter.
        inlet: Vec<Quantity>,
        /// Behind it.
        outlet: Vec<Quantity>,
    }
}

record! {
    /// What is taken out of what enters the filter.
    pub struct RemovalEfficiencyAnswer {
        /// The efficiency in per cent, with two-sided 95 % limits.
        efficiency_percent: Option<EffectView>,
        /// What gets through in per cent.
        penetration_percent: Option<f64>,
        /// `>=` where the efficiency is only known to be at least this.
        comparator: Option<String>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// What a filter or collector takes out.
#[derive(Debug)]
pub struct Removal;

impl Calculation for Removal {
    const NAME: &'static str = "removal-efficiency";
    const TITLE: &'static str = "RemovalEfficiencyCalculation";
    const SUMMARY: &'static str = "Removal efficiency between inlet and outlet";
    const MORE: &'static str = "Of what enters the filter; it says nothing of what people breathe.";
    type Input = RemovalEfficiencyInput;
    type Answer = RemovalEfficiencyAnswer;

    fn example() -> Value {
        json!({"inlet": [{"value": 820, "unit": "ug/m3"}, {"value": 640, "unit": "ug/m3"}],
            "outlet": [{"value": 9.1, "unit": "ug/m3"}, {"comparator": "<", "value": 5, "unit": "ug/m3"}]})
    }

    fn answer(
        input: RemovalEfficiencyInput,
        working: &mut Working,
    ) -> Result<RemovalEfficiencyAnswer, Faults> {
        let mut faults = Faults::default();
        for (side, name) in [(&input.inlet, "inlet"), (&input.outlet, "outlet")] {
            if side.is_empty() {
                faults.note(format!("/{name}"), "must hold at least one result");
            }
            for (n, one) in side.iter().enumerate() {
                none_below_zero(one, &format!("/{name}/{n}"), &mut faults);
            }
        }
        if input.inlet.len() != input.outlet.len() {
            faults.note("/outlet", "must hold as many results as inlet");
        }
        let first = input.inlet.iter().map(|one| (one, "/inlet/0".to_owned()));
        let unit = common_unit(first, false, &mut faults);
        let sides = unit.map(|unit| {
            (
                all_measured(&input.inlet, unit, "/inlet", &mut faults),
                all_measured(&input.outlet, unit, "/outlet", &mut faults),
            )
        });
        let answer = sides.filter(|_| faults.is_empty()).map(|(inlet, outlet)| {
            let found = removal_efficiency(&inlet, &outlet);
            let effect = Effect {
                estimate: found.efficiency_percent,
                lower_95: found.lower_95,
                upper_95: found.upper_95,
            };
            let efficiency = EffectView::of(effect);
            working.step("removal efficiency", REMOVAL_EFFICIENCY, || {
                let list = |side: &[Quantity]| side.iter().map(Shape::to_json).collect::<Vec<_>>();
                let result = json!({"efficiency_percent": efficiency.as_ref().map(Shape::to_json),
                    "penetration_percent": found.penetration_percent});
                (json!({"inlet": list(&input.inlet), "outlet": list(&input.outlet)}), result)
            });
            RemovalEfficiencyAnswer {
                efficiency_percent: efficiency,
                penetration_percent: found.penetration_percent,
                comparator: (found.at_least && found.efficiency_percent.is_some()).then(|| ">=".to_owned()),
                flags: words(&found.flags),
                working: None,
            }
        });
        sound(answer, faults)
    }
}
