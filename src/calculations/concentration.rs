//! Mass over volume, with the field blanks taken off.

use crate::calculations::air_volume::{molar_mass, state};
use crate::calculations::given::{above_zero, all_measured, measured, sound};
use crate::calculations::working::Working;
use crate::calculations::{Calculation, words};
use crate::hygiene::air::{MASS_TO_PPM, mg_per_m3_to_ppm};
use crate::hygiene::concentration::{
    BLANK_CORRECTION, CONCENTRATION, MASS_NOT_POSITIVE, blank_corrected, concentration, reportable,
};
use crate::model::measured::Measured;
use crate::model::quantity::Quantity;
use crate::model::rounding::significant;
use crate::model::shape::{Faults, Shape};
use crate::model::unit::{Dimension, Unit};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

/// The mean blank is high.
pub const BLANK_HIGH: &str = "blank_high";
/// The corrected mass lies below the reporting limit.
pub const BELOW_REPORTING_LIMIT: &str = "below_reporting_limit_after_blank";
/// A bound is never corrected by blanks.
pub const NOT_CORRECTED: &str = "bound_not_blank_corrected";

/// Every flag of a concentration with its meaning.
pub const FLAGS: &[(&str, &str)] = &[
    (BLANK_HIGH, "The mean field blank is above a tenth of the sample's mass, or above its reporting limit."),
    (
        BELOW_REPORTING_LIMIT,
        "With the blanks taken off the mass is below the reporting limit, or below zero without one; the raw value is kept beside \
         it.",
    ),
    (NOT_CORRECTED, "A bound or a range is never corrected by blanks."),
    (
        MASS_NOT_POSITIVE,
        "The mass is not above zero: it stands below the reporting limit, and nowhere without one.",
    ),
];

record! {
    /// A mass on a volume of air.
    pub struct ConcentrationInput {
        /// The mass found; a weighing may be below zero.
        mass: Quantity,
        /// The air it came from.
        volume: Quantity,
        /// The masses on the field blanks.
        field_blank_masses: Option<Vec<Quantity>>,
        /// The laboratory's reporting limit, as a mass.
        reporting_limit: Option<Quantity>,
        /// Molar mass, for parts per million.
        molar_mass: Option<Quantity>,
        /// Temperature of the air, for parts per million; 25 °C if left out.
        temperature: Option<Quantity>,
        /// Pressure of the air, for parts per million; 760 mmHg if left out.
        pressure: Option<Quantity>,
    }
}

record! {
    /// A concentration in air.
    pub struct ConcentrationAnswer {
        /// The concentration, in µg/m3, mg/m3 or g/m3 by the unit of the mass; absent where there is none.
        concentration: Option<Quantity>,
        /// The same in parts per million, where the molar mass is given.
        concentration_ppm: Option<Quantity>,
        /// The mean of the field blanks.
        mean_field_blank: Option<Quantity>,
        /// The mass it was made from; a raw mass less the blanks, or below the reporting limit.
        mass_corrected: Option<Quantity>,
        /// The mass as it came, less the blanks, where it is below the limit and stands as a bound.
        mass_raw: Option<Quantity>,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// Mass over volume.
#[derive(Debug)]
pub struct Concentration;

impl Calculation for Concentration {
    const NAME: &'static str = "concentration";
    const TITLE: &'static str = "Concentration";
    const SUMMARY: &'static str = "Concentration from mass, volume and field blanks";
    type Input = ConcentrationInput;
    type Answer = ConcentrationAnswer;

    fn example() -> Value {
        json!({"mass": {"value": 2.4, "unit": "ug"}, "volume": {"value": 960, "unit": "L"},
            "field_blank_masses": [{"value": 0.03, "unit": "ug"}], "reporting_limit": {"value": 0.05, "unit": "ug"}})
    }

    fn answer(input: ConcentrationInput, working: &mut Working) -> Result<ConcentrationAnswer, Faults> {
        let mut faults = Faults::default();
        input.mass.must_be(&[Dimension::Mass], "mass", "/mass", &mut faults);
        let mass = measured(&input.mass, Unit::Ug, "/mass", &mut faults);
        let volume = above_zero(&input.volume, Unit::L, "/volume", &mut faults);
        let given = input.field_blank_masses.unwrap_or_default();
        let blanks = all_measured(&given, Unit::Ug, "/field_blank_masses", &mut faults);
        let limit = input
            .reporting_limit
            .as_ref()
            .map(|limit| above_zero(limit, Unit::Ug, "/reporting_limit", &mut faults));
        let molar_mass = input.molar_mass.as_ref().map(|mass| molar_mass(mass, &mut faults));
        let air = state(input.temperature.as_ref(), input.pressure.as_ref(), "", &mut faults);
        let answer = (|| {
            let units = Units::of(input.mass.unit);
            let mut flags = Vec::new();
            let used = blanks_off(mass?, &blanks, limit.flatten(), units, &mut flags, working);
            let found = used.mass.and_then(|mass| concentration(mass, volume?));
            let quantity = |measured: Measured| units.in_air(measured);
            if let (Some(mass), Some(found)) = (used.mass, found) {
                working.step("concentration", CONCENTRATION, || {
                    (
                        json!({"mass": units.mass(mass).to_json(), "volume": input.volume.to_json()}),
                        quantity(found).to_json(),
                    )
                });
            }
            let ppm = molar_mass.flatten().zip(air).zip(found).and_then(|((molar_mass, air), found)| {
                found.try_map(|value| mg_per_m3_to_ppm(value, molar_mass, air))
            });
            let ppm = ppm.map(|ppm| Quantity::computed(ppm, Unit::Ppm));
            if let (Some(ppm), Some(found), Some(molar_mass)) = (&ppm, found, &input.molar_mass) {
                working.step("parts per million", MASS_TO_PPM, || {
                    let air = air.map(|air| json!({"temperature_celsius": air.temperature, "pressure_mmhg": air.pressure}));
                    let inputs =
                        json!({"concentration": quantity(found).to_json(), "molar_mass": molar_mass.to_json(), "air": air});
                    (inputs, ppm.to_json())
                });
            }
            Some(ConcentrationAnswer {
                concentration: found.map(quantity),
                concentration_ppm: ppm,
                mean_field_blank: used.mean_blank.map(|mean| units.mass(Measured::Value(mean))),
                mass_corrected: used.mass.filter(|_| used.changed).map(|mass| units.mass(mass)),
                mass_raw: used.raw.map(|raw| units.mass(Measured::Value(raw))),
                flags: words(&flags),
                working: None,
            })
        })();
        sound(answer, faults)
    }
}

/// The units that a mass leads to.
#[derive(Clone, Copy)]
struct Units {
    mass: Unit,
    in_air: Unit,
}

impl Units {
    fn of(mass: Unit) -> Self {
        let in_air = match mass {
            Unit::Mg => Unit::MgPerM3,
            Unit::G => Unit::GPerM3,
            _ => Unit::UgPerM3,
        };
        Self { mass, in_air }
    }

    /// A mass in µg as it was given.
    fn mass(self, ug: Measured) -> Quantity {
        let converted = ug.try_map(|value| Unit::Ug.convert(value, self.mass));
        Quantity::computed(converted.unwrap_or(ug), self.mass)
    }

    /// A concentration in mg/m3 in the unit of the mass.
    fn in_air(self, found: Measured) -> Quantity {
        let converted = found.rounded().try_map(|value| Unit::MgPerM3.convert(value, self.in_air));
        Quantity::computed(converted.unwrap_or(found), self.in_air)
    }
}

/// A mass after its blanks.
struct Used {
    mass: Option<Measured>,
    raw: Option<f64>,
    mean_blank: Option<f64>,
    changed: bool,
}

fn blanks_off(
    mass: Measured,
    blanks: &[Measured],
    limit: Option<f64>,
    units: Units,
    flags: &mut Vec<&'static str>,
    working: &mut Working,
) -> Used {
    let Some(found) = blank_corrected(mass, blanks, limit) else {
        let stands = reportable(mass, limit);
        if stands != Some(mass) {
            flags.push(MASS_NOT_POSITIVE);
        }
        let raw = (stands != Some(mass)).then(|| significant(mass.lower()));
        return Used { mass: stands, raw, mean_blank: None, changed: stands != Some(mass) };
    };
    if found.blank_high {
        flags.push(BLANK_HIGH);
    }
    if !found.applied() {
        flags.push(NOT_CORRECTED);
    }
    let stands = reportable(found.corrected, limit);
    if stands.is_none() {
        flags.push(MASS_NOT_POSITIVE);
    }
    let bounded = found.applied() && stands.is_some_and(|mass| !mass.is_value());
    if bounded {
        flags.push(BELOW_REPORTING_LIMIT);
    }
    let net = found.raw.lower() - found.mean_blank;
    working.step("blank correction", BLANK_CORRECTION, || {
        let inputs = json!({"mass": units.mass(found.raw).to_json(),
            "field_blank_masses": blanks.iter().map(|blank| units.mass(*blank).to_json()).collect::<Vec<_>>(),
            "mean_field_blank": units.mass(Measured::Value(found.mean_blank)).to_json(),
            "net_mass": found.applied().then(|| units.mass(Measured::Value(net)).to_json())});
        (inputs, units.mass(stands.unwrap_or(Measured::Value(net))).to_json())
    });
    Used {
        mass: stands,
        raw: (bounded || stands.is_none()).then(|| significant(net)),
        mean_blank: Some(found.mean_blank),
        changed: found.applied(),
    }
}
