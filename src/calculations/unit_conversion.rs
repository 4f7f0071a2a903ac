//! One unit in another.

use crate::calculations::Calculation;
use crate::calculations::air_volume::{ABSOLUTE_ZERO, molar_mass, state};
use crate::calculations::given::sound;
use crate::calculations::working::Working;
use crate::hygiene::conversion::{convert, formula};
use crate::model::quantity::Quantity;
use crate::model::shape::{Faults, Shape};
use crate::model::unit::{Dimension, Unit};
use crate::model::working::Step;
use crate::record;
use serde_json::{Value, json};

record! {
    /// A quantity and the unit it is wanted in.
    pub struct UnitConversionInput {
        /// The quantity.
        quantity: Quantity,
        /// The unit.
        to: Unit,
        /// Molar mass, between mass and parts by volume.
        molar_mass: Option<Quantity>,
        /// Temperature of the air, between mass and parts by volume; 25 °C if left out.
        temperature: Option<Quantity>,
        /// Pressure of the air, between mass and parts by volume; 760 mmHg if left out.
        pressure: Option<Quantity>,
    }
}

record! {
    /// The quantity in the other unit.
    pub struct UnitConversionAnswer {
        /// The quantity.
        quantity: Quantity,
        /// What needs care.
        flags: Vec<String>,
        /// How it came about, where asked for.
        working: Option<Vec<Step>>,
    }
}

/// One unit in another.
#[derive(Debug)]
pub struct UnitConversion;

impl Calculation for UnitConversion {
    const NAME: &'static str = "unit-conversion";
    const TITLE: &'static str = "UnitConversion";
    const SUMMARY: &'static str = "A quantity in another unit, by mass or by volume";
    type Input = UnitConversionInput;
    type Answer = UnitConversionAnswer;

    fn example() -> Value {
        json!({"quantity": {"value": 0.75, "unit": "[ppm]"}, "to": "mg/m3", "molar_mass": {"value": 30.03, "unit": "g/mol"}})
    }

    fn answer(input: UnitConversionInput, working: &mut Working) -> Result<UnitConversionAnswer, Faults> {
        let mut faults = Faults::default();
        let molar_mass = input.molar_mass.as_ref().and_then(|mass| molar_mass(mass, &mut faults));
        let air = state(input.temperature.as_ref(), input.pressure.as_ref(), "", &mut faults);
        let (from, to) = (input.quantity.unit, input.to);
        let celsius = input.quantity.in_unit(Unit::Celsius);
        if celsius.is_some_and(|celsius| {
            celsius.upper().map_or(celsius.lower(), |upper| upper.min(celsius.lower())) < ABSOLUTE_ZERO
        }) {
            faults.note("/quantity", "must not be below absolute zero");
        }
        let of_gas =
            |dimension| matches!(dimension, Dimension::MassConcentration | Dimension::VolumeFraction);
        let between = from.dimension() != to.dimension();
        if between && of_gas(from.dimension()) && of_gas(to.dimension()) {
            if input.molar_mass.is_none() {
                faults.note("/molar_mass", "is required between mass and parts by volume");
            }
        } else if between {
            faults.note("/to", format!("must be a unit of what {from} measures"));
        }
        let found = air.filter(|_| faults.is_empty()).and_then(|air| {
            let found = convert(input.quantity.measured, from, to, molar_mass, air)?;
            let quantity = Quantity::computed(found, to);
            working.step("conversion", formula(from, to), || {
                let air = between.then(|| json!({"temperature_celsius": air.temperature, "pressure_mmhg": air.pressure}));
                let inputs = json!({"quantity": input.quantity.to_json(), "molar_mass_g_per_mol": molar_mass, "air": air});
                (inputs, quantity.to_json())
            });
            Some(UnitConversionAnswer { quantity, flags: Vec::new(), working: None })
        });
        sound(found, faults)
    }
}
