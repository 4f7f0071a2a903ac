"""Air volume, concentration and conversion of units: plain arithmetic.

Sources: OSHA Technical Manual, section II, chapter 1 (mean flow, volume, mass over volume); square-root law of
variable-area flow meters; 29 CFR 1910.1000, table Z-1 (24.45 litres in a mole at 25 degrees Celsius and 760 mmHg).
"""

import math

from .comparison import EXACT, Absent, Number, Refused, plain, Amount
from .draws import chance, digits, one_of, quantity
from .units import UNITS, Known, convert, dimension, known, molar_volume, number


def mean_flow(before, after, rotameter=None):
    """(before + after) / 2; a rotameter reads wrong by the root of pressure and temperature ratios."""
    flow = 0.5 * (before + after)
    if rotameter is None:
        return flow
    state = lambda key: (
        number(rotameter[key]["pressure"], "mm[Hg]"), number(rotameter[key]["temperature"], "Cel") + 273.15
    )
    (calibrated, cold), (used, warm) = state("calibrated_at"), state("used_at")
    return flow * math.sqrt(calibrated / used * warm / cold)


def _air_state(rng):
    celsius, mmhg = digits(rng.uniform(-20, 45), 3), digits(rng.uniform(500, 800), 4)
    temperature = {"value": celsius, "unit": "Cel"}
    if chance(rng, 0.3):
        temperature = {"value": round(celsius + 273.15, 2), "unit": "K"}
    pressure = {"value": mmhg, "unit": "mm[Hg]"}
    if chance(rng, 0.3):
        pressure = {"value": digits(mmhg * 101.325 / 760, 5), "unit": "kPa"}
    return {"temperature": temperature, "pressure": pressure}


class AirVolume:
    name = "air-volume"
    calculation = "air-volume"

    def draw(self, rng):
        unit = one_of(rng, ("L/min", "mL/min"))
        before = digits(10.0 ** rng.uniform(-3, 3), 3)
        after = digits(before * rng.uniform(0.8, 1.2), 4)
        after_unit = unit if chance(rng, 0.8) else one_of(rng, ("L/min", "mL/min"))
        body = {
            "flow_before": quantity(rng, before, unit),
            "flow_after": quantity(rng, digits(convert(after, unit, after_unit), 4), after_unit),
            "minutes": int(rng.integers(1, 1500)) if chance(rng, 0.7) else round(rng.uniform(0.1, 900), 2),
        }
        if chance(rng, 0.4):
            body["rotameter"] = {"calibrated_at": _air_state(rng), "used_at": _air_state(rng)}
        return body

    def expect(self, body, _):
        before, after = number(body["flow_before"], "L/min"), number(body["flow_after"], "L/min")
        flow = mean_flow(before, after, body.get("rotameter"))
        return {
            "mean_flow": plain(flow, "L/min"),
            # The difference of two flows that hardly differ keeps the rounding of the flows.
            "flow_change_percent": Number(100.0 * (after - before) / before, absolute=1e-9),
            "volume": plain(flow * body["minutes"], "L"),
        }


def net_mass(mass, blanks, reporting_limit):
    """Mass less the mean blank (one below its limit counts zero); a bound is never corrected.

    Below the reporting limit only that limit is known; below zero without one, only the mass as it came.
    """
    if not blanks or not mass.detected:
        return mass
    net = mass.lower - math.fsum(blank.lower for blank in blanks) / len(blanks)
    if reporting_limit is not None:
        return Known(0.0, reporting_limit) if float(f"{net:.11e}") < reporting_limit else Known(net, net)
    return Known(net, net) if net > 0.0 else Known(0.0, mass.lower)


class Concentration:
    name = "concentration"
    calculation = "concentration"

    def draw(self, rng):
        unit = one_of(rng, ("ug", "mg", "g"))
        size = 10.0 ** rng.uniform(-4, 3)
        mass = quantity(rng, digits(size, 3), unit)
        kind = rng.random()
        if kind < 0.2:
            mass = quantity(rng, digits(size, 2), unit, one_of(rng, "<<<>"))
        elif kind < 0.3:
            mass = {"lower": digits(size / 3.3, 3), "upper": digits(size, 3), "unit": unit}
        litres = digits(10.0 ** rng.uniform(-1, 4), 4)
        in_litres = chance(rng, 0.8)
        body = {
            "mass": mass,
            "volume": {"value": litres, "unit": "L"} if in_litres else {"value": litres / 1000, "unit": "m3"},
        }
        if chance(rng, 0.5):
            body["field_blank_masses"] = [
                quantity(rng, digits(size * rng.uniform(0.001, 0.8), 2), unit, one_of(rng, (None, None, "<")))
                for _ in range(int(rng.integers(1, 5)))
            ]
        if chance(rng, 0.5):
            # Without blanks nothing is corrected, so a limit above a detected mass would contradict it.
            most = 0.9 if "field_blank_masses" in body else 0.5
            body["reporting_limit"] = {"value": digits(size * rng.uniform(0.01, most), 2), "unit": unit}
        if chance(rng, 0.5):
            body["molar_mass"] = {"value": digits(rng.uniform(2, 400), 4), "unit": "g/mol"}
            body |= _air_state(rng) if chance(rng, 0.5) else {}
        return body

    def expect(self, body, _):
        limit = number(body["reporting_limit"], "ug") if "reporting_limit" in body else None
        blanks = [known(blank, "ug") for blank in body.get("field_blank_masses", [])]
        mass = net_mass(known(body["mass"], "ug"), blanks, limit)
        in_air = mass.scaled(1.0 / number(body["volume"], "L"))
        # Subtracting a blank about as large as the mass keeps the rounding of the masses.
        raw = known(body["mass"], "ug")
        slack = 1e-12 * (raw.lower if raw.detected else 0.0) / number(body["volume"], "L")
        expected = {"concentration": Amount(in_air.lower, in_air.upper, "mg/m3", absolute=slack)}
        if "molar_mass" in body:
            factor = molar_volume(body) / number(body["molar_mass"], "g/mol")
            ppm = in_air.scaled(factor)
            expected["concentration_ppm"] = Amount(ppm.lower, ppm.upper, "[ppm]", absolute=slack * factor)
        else:
            expected["concentration_ppm"] = Absent("no molar mass", flagged=False)
        return expected


class UnitConversion:
    name = "unit-conversion"
    calculation = "unit-conversion"

    def draw(self, rng):
        unit = one_of(rng, list(UNITS))
        same = [code for code in UNITS if dimension(code) == dimension(unit)]
        gas = ("mass concentration", "volume fraction")
        if dimension(unit) in gas and chance(rng, 0.5):
            same = [code for code in UNITS if dimension(code) in gas]
        to = one_of(rng, list(UNITS) if chance(rng, 0.1) else same)
        if dimension(unit) == "temperature":
            value = digits(rng.uniform(200, 330), 5)
            value = value if unit == "K" else round(value - 273.15, 2)
        else:
            value = digits(10.0 ** rng.uniform(-9, 9), one_of(rng, (1, 3, 12)))
        # A temperature below another is not one between zero and that.
        bounded = dimension(unit) != "temperature"
        source = quantity(rng, value, unit, one_of(rng, (None,) * 6 + ("<", ">")) if bounded else None)
        if chance(rng, 0.1) and value > 0.0:
            source = {"lower": value / 3, "upper": value, "unit": unit}
        body = {"quantity": source, "to": to}
        if {dimension(unit), dimension(to)} == set(gas):
            if chance(rng, 0.95):
                body["molar_mass"] = {"value": digits(rng.uniform(2, 400), 4), "unit": "g/mol"}
            body |= _air_state(rng) if chance(rng, 0.5) else {}
        return body

    def expect(self, body, _):
        source, to = body["quantity"], body["to"]
        ends = dimension(source["unit"]), dimension(to)
        if ends[0] == ends[1]:
            range_ = known(source, to)
            # From kelvin to degrees Celsius digits are lost where the result is near zero.
            slack = 1e-9 if ends[0] == "temperature" else 0.0
            return {"quantity": Amount(range_.lower, range_.upper, to, EXACT, slack)}
        if set(ends) != {"mass concentration", "volume fraction"}:
            return Refused("the dimensions differ")
        if "molar_mass" not in body:
            return Refused("no molar mass")
        per_ppm = number(body["molar_mass"], "g/mol") / molar_volume(body)
        if ends[0] == "volume fraction":
            range_ = known(source, "[ppm]").scaled(per_ppm * convert(1.0, "mg/m3", to))
        else:
            range_ = known(source, "mg/m3").scaled(convert(1.0, "[ppm]", to) / per_ppm)
        return {"quantity": Amount(range_.lower, range_.upper, to)}


AREAS = [AirVolume(), Concentration(), UnitConversion()]
