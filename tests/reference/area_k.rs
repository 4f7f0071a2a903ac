//! Least air, least time and the window before a filter is full.

use crate::case::{Case, check_area};
use doseward::hygiene::air::volume_litres;
use doseward::hygiene::sample_plan::{
    lowest_concentration, mass_drawn, minimum_volume_litres, minutes_for, overload_minutes, samples_to_cover,
};
use doseward::model::unit::Unit;

#[test]
fn worked_examples_of_sampling_plans() {
    check_area("K", check);
}

/// µg/m3 in mg/m3.
fn milligrams(micrograms: f64) -> f64 {
    Unit::UgPerM3.convert(micrograms, Unit::MgPerM3).unwrap()
}

/// µg in ng, which no laboratory mass of the registry is given in.
fn nanograms(micrograms: f64) -> f64 {
    1000.0 * micrograms
}

/// The least litres that show the stated share of a limit in ug/m3.
fn least_volume(case: &Case, mass: f64, limit: &str) -> f64 {
    minimum_volume_litres(mass, milligrams(case.number(limit)), case.number("fraction")).unwrap()
}

pub(crate) fn check(case: &mut Case) {
    match case.id {
        "K-01" => {
            let volume = case.number("air_volume");
            let range: Vec<_> = case
                .numbers("mass_range")
                .into_iter()
                .map(|mass| lowest_concentration(mass, volume).unwrap())
                .collect();
            case.are("concentration_range", &range);
        }
        "K-02" => {
            let volume = least_volume(case, case.number("lowest_quantified_mass"), "limit");
            let flows = case.numbers("flow");
            let minutes = |litres: f64| -> Vec<_> {
                flows.iter().map(|flow| minutes_for(litres, *flow).unwrap()).collect()
            };
            let (least, most) = (minutes(volume), minutes(case.number("method_max_volume")));
            case.is("min_volume", volume);
            case.are("min_time", &least);
            case.are("max_time_by_method_volume", &most);
        }
        "K-03" => {
            let mass = |name| Unit::Mg.convert(case.number(name), Unit::Ug).unwrap();
            let (lowest, highest, volume) =
                (mass("lowest_mass"), mass("highest_mass"), case.number("volume"));
            let least = minimum_volume_litres(lowest, case.number("limit"), 1.0);
            case.is("min_volume_at_limit", least.unwrap());
            case.is("lower_end_for_200_L", lowest_concentration(lowest, volume).unwrap());
            case.is("upper_end_for_200_L", lowest_concentration(highest, volume).unwrap());
        }
        "K-04" => {
            let (limit, fraction) = (case.number("recommended_limit"), case.number("fraction"));
            let mass = case.number("lod") * case.number("loq_multiple");
            let volume = volume_litres(case.number("flow"), case.number("time"));
            let lowest = lowest_concentration(mass, volume).unwrap();
            let lowest = Unit::MgPerM3.convert(lowest, Unit::UgPerM3).unwrap();
            let needed = least_volume(case, mass, "recommended_limit");
            case.is("volume", volume);
            case.is("lowest_quantifiable_concentration", lowest);
            case.is("fraction_of_limit_reachable", lowest / limit);
            case.holds("reaches_10_percent", lowest <= fraction * limit);
            case.is("volume_needed", needed);
            case.is("time_needed", minutes_for(needed, case.number("flow")).unwrap());
        }
        "K-05" => {
            let volume = case.number("volume");
            let mass = |name| mass_drawn(milligrams(case.number(name)), volume).unwrap();
            let (qualitative, quantitative) = (mass("qualitative"), mass("quantitative"));
            let least = minimum_volume_litres(quantitative, milligrams(case.number("action_level")), 0.1);
            case.is("qualitative_mass", nanograms(qualitative));
            case.is("quantitative_mass", nanograms(quantitative));
            case.is("time_at_2_L_min", minutes_for(volume, 2.0).unwrap());
            case.is("min_volume_for_10_percent_of_action_level", least.unwrap());
        }
        "K-06" => {
            let (flow, dust) = (case.number("flow"), case.number("expected_total_dust"));
            let volume = least_volume(case, case.number("lowest_quantified_mass"), "limit");
            let least = minutes_for(volume, flow).unwrap();
            let longest = overload_minutes(case.number("max_filter_loading"), dust, flow).unwrap();
            case.is("min_time", least);
            case.is("overload_time", longest);
            case.holds("feasible", least <= longest);
            case.is("samples_needed_for_480_min", samples_to_cover(480.0, longest).unwrap());
        }
        _ => case.unknown(),
    }
}
