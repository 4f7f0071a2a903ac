//! Air volume, flow and concentration.

use crate::case::{Case, check_area, plain};
use doseward::hygiene::air::{
    AirState, ROOM_AIR, flow_change_accepted, flow_change_percent, mean_flow, mg_per_m3_to_ppm, molar_volume,
    ppm_to_mg_per_m3, rotameter_flow, volume_litres,
};
use doseward::hygiene::concentration::{blank_corrected, concentration, expressed_as};
use doseward::hygiene::method_accuracy::method_accuracy;
use doseward::model::measured::Measured;
use doseward::model::unit::Unit;

#[test]
fn worked_examples_of_air_and_concentration() {
    check_area("A", check);
}

/// Concentration of µg in litres, in the unit asked for.
fn of_mass(mass: f64, litres: f64, unit: Unit) -> f64 {
    let found = plain(concentration(Measured::Value(mass), litres).unwrap());
    Unit::MgPerM3.convert(found, unit).unwrap()
}

#[expect(clippy::too_many_lines, reason = "one arm for each example")]
pub(crate) fn check(case: &mut Case) {
    match case.id {
        "A-01" => {
            let flow = case.number("flow_rate");
            let volumes: Vec<_> = case
                .numbers("sampling_time")
                .into_iter()
                .map(|minutes| volume_litres(flow, minutes))
                .collect();
            let found: Vec<_> = case
                .numbers("mass_on_filter")
                .into_iter()
                .zip(&volumes)
                .map(|(mg, litres)| of_mass(Unit::Mg.convert(mg, Unit::Ug).unwrap(), *litres, Unit::MgPerM3))
                .collect();
            case.are("air_volume", &volumes);
            case.are("concentration", &found);
        }
        "A-02" => {
            let (before, after) = (case.number("flow_before"), case.number("flow_after"));
            let change = flow_change_percent(before, after).unwrap();
            let litres = volume_litres(mean_flow(before, after), case.number("sampling_time"));
            case.is("mean_flow", mean_flow(before, after));
            case.is("flow_change", change);
            case.holds("flow_check_passed", flow_change_accepted(change));
            case.is("air_volume", litres);
            case.is("air_volume_m3", Unit::L.convert(litres, Unit::M3).unwrap());
        }
        "A-03" => {
            let (before, after) = (case.number("flow_before"), case.number("flow_after"));
            let (minutes, mass) = (case.number("sampling_time"), case.number("mass_on_filter"));
            let change = flow_change_percent(before, after).unwrap();
            case.is("flow_change", change);
            // The same difference, on another flow.
            let mean = mean_flow(before, after);
            let relative = flow_change_percent(mean, mean + (after - before)).unwrap();
            case.is("flow_change_relative_to_mean", relative);
            case.holds("flow_check_passed", flow_change_accepted(change));
            let by = |flow| of_mass(mass, volume_litres(flow, minutes), Unit::UgPerM3);
            case.is("concentration_using_mean_flow", by(mean_flow(before, after)));
            case.is("concentration_using_lower_flow", by(before.min(after)));
        }
        "A-04" => {
            let mass = Measured::Value(case.number("mass_on_filter"));
            let corrected = blank_corrected(mass, &case.values("field_blank_masses"), None).unwrap();
            let litres = volume_litres(case.number("mean_flow"), case.number("sampling_time"));
            case.is("mean_field_blank", corrected.mean_blank);
            case.is("blank_corrected_mass", plain(corrected.corrected));
            case.is("concentration", of_mass(plain(corrected.corrected), litres, Unit::UgPerM3));
        }
        "A-05" => {
            let air = |kelvin: f64, pressure| AirState {
                temperature: Unit::Kelvin.convert(kelvin, Unit::Celsius).unwrap(),
                pressure,
            };
            let used = air(case.number("ambient_temperature"), case.number("ambient_pressure"));
            let (reading, pressure) = (case.number("rotameter_reading"), case.number("calibration_pressure"));
            let printed = air(case.number("calibration_temperature"), pressure);
            case.is("actual_flow", rotameter_flow(reading, printed, used).unwrap());
            case.is(
                "actual_flow_with_corrected_calibration_temperature_294_29_K",
                rotameter_flow(reading, air(294.29, pressure), used).unwrap(),
            );
        }
        "A-06" => {
            assert!((molar_volume(ROOM_AIR).unwrap() - case.number("molar_volume")).abs() < 1e-12);
            let found: Vec<_> = case
                .numbers("ppm")
                .into_iter()
                .zip(case.numbers("molecular_weight"))
                .map(|(ppm, molar_mass)| ppm_to_mg_per_m3(ppm, molar_mass, ROOM_AIR).unwrap())
                .collect();
            case.are("mg_per_m3", &found);
        }
        "A-07" => {
            let (mass, molar_mass) = (case.number("concentration"), case.number("molecular_weight"));
            let air = AirState { temperature: case.number("temperature"), pressure: case.number("pressure") };
            case.is("ppm", mg_per_m3_to_ppm(mass, molar_mass, air).unwrap());
            case.is(
                "ppm_if_standard_conditions_assumed",
                mg_per_m3_to_ppm(mass, molar_mass, ROOM_AIR).unwrap(),
            );
        }
        "A-08" => {
            let (bias, precision) = (case.number("bias") / 100.0, case.number("overall_precision_SrT"));
            case.is("accuracy_half_width_95pct", 100.0 * method_accuracy(bias, precision).unwrap());
        }
        "A-09" => {
            let found = expressed_as(
                case.number("limit_as_CrO3"),
                case.number("atomic_weight_Cr"),
                case.number("molecular_weight_CrO3"),
            );
            case.is("limit_as_CrVI", found);
            case.is("limit_as_CrVI_ug", Unit::MgPerM3.convert(found, Unit::UgPerM3).unwrap());
        }
        "A-10" => {
            let mass = ppm_to_mg_per_m3(
                case.number("formaldehyde_ppm"),
                case.number("formaldehyde_molecular_weight"),
                ROOM_AIR,
            );
            let ppm = mg_per_m3_to_ppm(
                case.number("carbon_monoxide_mg_m3"),
                case.number("carbon_monoxide_molecular_weight"),
                ROOM_AIR,
            );
            case.is("formaldehyde_mg_m3", mass.unwrap());
            case.is("carbon_monoxide_ppm", ppm.unwrap());
        }
        "A-11" => {
            // Gravimetry is blank correction of two weight differences, in mg; g/m3 are mg/L.
            let gain = case.number("filter_weight_after") - case.number("filter_weight_before");
            let blank = case.number("blank_weight_after") - case.number("blank_weight_before");
            let net = blank_corrected(Measured::Value(gain), &[Measured::Value(blank)], None).unwrap();
            case.is("net_mass", plain(net.corrected));
            let micrograms = Unit::Mg.convert(plain(net.corrected), Unit::Ug).unwrap();
            case.is("concentration", of_mass(micrograms, case.number("air_volume"), Unit::MgPerM3));
        }
        _ => case.unknown(),
    }
}
