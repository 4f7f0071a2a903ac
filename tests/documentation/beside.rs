//! Figures that the registry gives without a calculation of their own: each by the function that its conclusions use.

use doseward::conclusions::day_chance::{day_chance, day_shares};
use doseward::hygiene::control_effect::Verdict;
use doseward::hygiene::shift::{Segment, Unsampled};
use doseward::hygiene::{
    air, air_clearing, concentration, cumulative, efficiency, equal_energy, extended_shift, level_difference,
    level_profile, lognormal, method_accuracy, noise, order_statistics, own_means, sample_plan, severity,
    shift, silica, variance,
};
use doseward::model::facts::sampling::NoiseCriterion;
use doseward::model::measured::Measured;
use doseward::surveillance::chance::{PlannedDays, chance_of_passing};
use doseward::surveillance::day_count::{Chance, WINDOW_MONTHS, expected};
use serde_json::{Value, json};

/// The numbers of an example.
struct Given<'v>(&'v Value);

impl Given<'_> {
    fn number(&self, name: &str) -> f64 {
        self.0[name].as_f64().unwrap_or_else(|| panic!("{name} is a number"))
    }

    fn numbers(&self, name: &str) -> Vec<f64> {
        self.0[name].as_array().unwrap().iter().map(|one| one.as_f64().unwrap()).collect()
    }

    /// Values as they are written in a report: `3.1`, `"<3.1"`, `">3.1"`, `[1.0, 3.1]`.
    fn results(&self, name: &str) -> Vec<Measured> {
        self.0[name].as_array().unwrap().iter().map(result).collect()
    }

    fn criterion(&self) -> NoiseCriterion {
        match self.0["criterion"].as_str() {
            Some("osha_limit") => NoiseCriterion::OshaLimit,
            Some("osha_action_level") => NoiseCriterion::OshaActionLevel,
            _ => NoiseCriterion::Niosh,
        }
    }
}

fn result(written: &Value) -> Measured {
    if let Some(ends) = written.as_array() {
        return Measured::Between { lower: ends[0].as_f64().unwrap(), upper: ends[1].as_f64().unwrap() };
    }
    match (written.as_f64(), written.as_str()) {
        (Some(value), _) => Measured::Value(value),
        (_, Some(text)) if text.starts_with('<') => Measured::Below(text[1..].parse().unwrap()),
        (_, Some(text)) if text.starts_with('>') => Measured::Above(text[1..].parse().unwrap()),
        _ => panic!("{written} is no result"),
    }
}

fn written(measured: Measured) -> Value {
    match measured.rounded() {
        Measured::Value(value) => json!(value),
        Measured::Below(limit) => json!(format!("<{limit}")),
        Measured::Above(value) => json!(format!(">{value}")),
        Measured::Between { lower, upper } => json!([lower, upper]),
    }
}

/// The answer to an example of a figure.
pub(crate) fn answer(figure: &str, input: &Value) -> Value {
    let given = Given(input);
    of_air(figure, &given)
        .or_else(|| of_noise(figure, &given))
        .or_else(|| of_groups(figure, &given))
        .or_else(|| of_plans(figure, &given))
        .unwrap_or_else(|| panic!("no figure {figure}"))
}

fn of_air(figure: &str, given: &Given<'_>) -> Option<Value> {
    Some(match figure {
        "rotameter flow" => {
            let air = |name: &str| air::AirState {
                temperature: given.0[name]["temperature"].as_f64().unwrap(),
                pressure: given.0[name]["pressure"].as_f64().unwrap(),
            };
            let flow = air::rotameter_flow(given.number("reading"), air("calibrated_at"), air("used_at"));
            json!({"flow": flow})
        }
        "expressed as" => {
            let molar = (given.number("molar_mass_of_part"), given.number("molar_mass"));
            let found = concentration::expressed_as(given.number("concentration"), molar.0, molar.1);
            json!({"concentration": found})
        }
        "comparison" => {
            let mass = Measured::Value(given.number("mass"));
            let found = concentration::concentration(mass, given.number("volume")).unwrap().scaled(1000.0);
            json!({"concentration": written(found), "answer": found.against(given.number("level")).as_str()})
        }
        "answer against a level" => {
            let level = given.number("level");
            let answers: Vec<_> =
                given.results("results").iter().map(|result| result.against(level).as_str()).collect();
            json!({"answers": answers})
        }
        "shift average" => {
            let segments: Vec<Segment> = given
                .results("concentrations")
                .into_iter()
                .zip(given.numbers("minutes"))
                .map(|(concentration, minutes)| Segment { concentration, minutes })
                .collect();
            let rest = shift::unsampled_minutes(&segments, given.number("shift_minutes"));
            let stated = match &given.0["unsampled"] {
                Value::String(word) if word == "zero" => Some(Unsampled::Zero),
                Value::String(_) => Some(Unsampled::AsSampled),
                Value::Number(_) => Some(Unsampled::At(Measured::Value(given.number("unsampled")))),
                _ => None,
            };
            let found = shift::shift_average(&segments, rest, stated).unwrap();
            json!({"eight_hour_twa": written(found.eight_hour_twa), "partly_sampled": found.partly_sampled})
        }
        "duplicates" => json!({"mean": written(shift::duplicate_average(&given.results("values")).unwrap())}),
        "peak" => json!({"peak": written(shift::peak(&given.results("short_term")).unwrap())}),
        "limit of dust with silica" => {
            let [quartz, cristobalite, tridymite] =
                ["quartz_percent", "cristobalite_percent", "tridymite_percent"]
                    .map(|name| given.number(name));
            json!({"limit": silica::formula_limit(quartz, cristobalite, tridymite)})
        }
        "many grab samples" => {
            let found =
                severity::many_grab_samples(&given.numbers("results"), given.number("limit")).unwrap();
            json!({"severity": found.severity, "lower_95": found.lower_95, "upper_95": found.upper_95})
        }
        "grab samples" => {
            let found = severity::grab_samples(&given.numbers("results"), given.number("limit")).unwrap();
            json!({"mean_log10": found.mean_log10, "deviation_log10": found.deviation_log10})
        }
        "clearing time" => {
            let [efficiency, changes, mixing] =
                ["efficiency", "air_changes_per_hour", "mixing_factor"].map(|name| given.number(name));
            json!({"minutes": air_clearing::minutes_to_clear(efficiency, changes, mixing)})
        }
        "filters in series" => {
            let through = efficiency::penetration_in_series(&given.numbers("penetrations"));
            json!({"penetration": through, "decontamination_factor": efficiency::decontamination_factor(through)})
        }
        _ => return None,
    })
}

fn of_noise(figure: &str, given: &Given<'_>) -> Option<Value> {
    Some(match figure {
        "doses of parts" => {
            let parts: Vec<Measured> = given
                .results("levels")
                .into_iter()
                .zip(given.numbers("minutes"))
                .map(|(level, minutes)| noise::dose_of_average(level, minutes, given.criterion()))
                .collect();
            let dose = noise::sum_of_doses(&parts);
            json!({"dose_percent": written(dose), "level": written(noise::compared_level(dose, given.criterion()))})
        }
        "dose of an 8-hour level" => {
            let level = Measured::Value(given.number("eight_hour_twa"));
            json!({"dose_percent": written(noise::dose_of_eight_hour_twa(level, given.criterion()))})
        }
        "action level of a long shift" => {
            json!({"action_level": noise::extended_shift_action_level(given.number("hours"))})
        }
        "level profile" => {
            let found = level_profile::level_profile(&given.results("levels"), given.0["limit"].as_f64());
            let (mean, percentile) = (found.mean_level.unwrap(), found.percentile_95.unwrap());
            json!({"mean_level": mean.estimate, "lower_95": mean.lower_95, "upper_95": mean.upper_95,
                "standard_deviation_level": found.standard_deviation, "percentile_95": percentile.estimate,
                "exceedance_fraction": found.exceedance_fraction.map(|share| share.estimate)})
        }
        "level difference" => {
            let (without, with) = (given.results("without"), given.results("with"));
            let paired = given.0["paired"].as_bool().unwrap();
            let found = level_difference::level_difference(&without, &with, paired);
            json!({"difference": found.difference.estimate, "lower_95": found.difference.lower_95,
                "upper_95": found.difference.upper_95, "verdict": found.verdict.map(Verdict::as_str)})
        }
        "equal-energy mean" => {
            let at = |estimate| cumulative::MeanWithLimits { estimate, lower: None, upper: None };
            let parts: Vec<_> =
                given.numbers("levels").into_iter().map(at).zip(given.numbers("years")).collect();
            json!({"mean": equal_energy::equal_energy_mean(&parts).unwrap().estimate})
        }
        _ => return None,
    })
}

fn of_groups(figure: &str, given: &Given<'_>) -> Option<Value> {
    Some(match figure {
        "tolerance factor" => {
            let [n, share, confidence] = ["n", "share", "confidence"].map(|name| given.number(name));
            json!({"factor": lognormal::tolerance_factor(n, share, confidence)})
        }
        "regression for one limit" => {
            let non_detects = given.results("non_detects").len();
            let found = order_statistics::single_limit_regression(&given.numbers("detected"), non_detects);
            let (mean, deviation) = found.unwrap();
            json!({"mean_of_logs": mean, "deviation_of_logs": deviation})
        }
        "workers whose mean is above the limit" => {
            let [within, between, mean] =
                ["within", "between", "mean_of_logs"].map(|name| given.number(name));
            json!({"share": variance::Reml { within, between, mean }.share_above(given.number("limit"))})
        }
        "workers apart" => {
            let of_worker = |name| given.numbers(name).into_iter().map(f64::ln).collect::<Vec<_>>();
            let found = own_means::own_means(&["A", "B", "C"].map(of_worker)).unwrap();
            let workers: Vec<Value> = found
                .workers
                .iter()
                .map(|one| {
                    json!({"mean": one.mean.exp(), "lower": one.lower.exp(), "upper": one.upper.exp(), "apart": one.apart})
                })
                .collect();
            json!({"group_mean": found.group_mean.exp(), "workers": workers})
        }
        "chance of a day" => {
            let limit = given.0["limit"].as_f64();
            let found = day_chance(&given.results("results"), limit, given.number("level")).unwrap();
            json!({"estimate": found.estimate, "lower_95": found.lower, "upper_95": found.upper})
        }
        "chance of passing" => {
            let limit = given.0["limit"].as_f64();
            let shares = day_shares(&given.results("results"), limit, given.number("level")).unwrap();
            let whole = |name: &str| usize::try_from(given.0[name].as_u64().unwrap()).unwrap();
            let planned = [PlannedDays { days: whole("planned"), shares: &shares }];
            json!({"chance": chance_of_passing(whole("counted"), whole("needed"), &planned)})
        }
        "expected days" => {
            let dates = given.0["dates"].as_array().unwrap().iter().map(|date| date.as_str().unwrap());
            let chances: Vec<Chance> = dates
                .zip(given.numbers("chances"))
                .map(|(date, chance)| Chance {
                    date: date.parse().unwrap(),
                    estimate: chance,
                    lower: chance,
                    upper: chance,
                })
                .collect();
            let ((estimate, _, _), window) = expected(&chances, WINDOW_MONTHS).unwrap();
            json!({"estimate": estimate, "from": window.from.to_string(), "to": window.to.to_string()})
        }
        _ => return None,
    })
}

fn of_plans(figure: &str, given: &Given<'_>) -> Option<Value> {
    Some(match figure {
        "continuous equivalent" => {
            let [limit, hours, days] =
                ["limit", "hours_per_day", "days_per_week"].map(|name| given.number(name));
            json!({"continuous": extended_shift::continuous_equivalent(limit, hours, days)})
        }
        "accuracy of a method" => {
            json!({"accuracy": method_accuracy::method_accuracy(given.number("bias"), given.number("precision"))})
        }
        "working range" => {
            let [lowest, highest, volume] =
                ["lowest_mass", "highest_mass", "volume"].map(|name| given.number(name));
            json!({"lowest": sample_plan::lowest_concentration(lowest, volume),
                "highest": sample_plan::lowest_concentration(highest, volume)})
        }
        "minutes to a full filter" => {
            let [most, dust, flow] =
                ["highest_loading", "dust_concentration", "flow"].map(|name| given.number(name));
            json!({"minutes": sample_plan::overload_minutes(most, dust, flow)})
        }
        "workers of many" => {
            let found =
                sample_plan::workers_of_many(given.number("confidence"), given.number("top_fraction"));
            json!({"workers": found})
        }
        _ => return None,
    })
}
