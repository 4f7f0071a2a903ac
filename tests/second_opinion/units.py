"""Quantities of the contract: units with their sizes, and what is known of a value as the range it lies in.

Sizes are those of the international system; 760 mm[Hg] is 101.325 kPa and a foot 0.3048 m by definition.
"""

import math
from dataclasses import dataclass

# code: (dimension, size in the first unit of that dimension)
UNITS = {
    "mg/m3": ("mass concentration", 1.0),
    "ug/m3": ("mass concentration", 1e-3),
    "ng/m3": ("mass concentration", 1e-6),
    "g/m3": ("mass concentration", 1e3),
    "[ppm]": ("volume fraction", 1.0),
    "[ppb]": ("volume fraction", 1e-3),
    "{fibers}/mL": ("fibre concentration", 1.0),
    "/m3": ("number concentration", 1.0),
    "/L": ("number concentration", 1e3),
    "/[ft_i]3": ("number concentration", 1.0 / 0.3048**3),
    "ug": ("mass", 1.0),
    "mg": ("mass", 1e3),
    "g": ("mass", 1e6),
    "L/min": ("flow", 1.0),
    "mL/min": ("flow", 1e-3),
    "L": ("volume", 1.0),
    "m3": ("volume", 1e3),
    "dB[A]": ("sound level", 1.0),
    "dB": ("peak sound level", 1.0),
    "g/mol": ("molar mass", 1.0),
    "%": ("per cent", 1.0),
    "K": ("temperature", 1.0),
    "Cel": ("temperature", 1.0),
    "kPa": ("pressure", 1.0),
    "mm[Hg]": ("pressure", 101.325 / 760.0),
}
ROOM_CELSIUS, ROOM_MMHG = 25.0, 760.0


def dimension(unit):
    """What a unit measures; a unit times `a` (years) is a dimension of its own."""
    if unit.endswith(".a"):
        return dimension(unit.removesuffix(".a")) + " times years"
    return UNITS[unit][0]


def convert(value, unit, to):
    """`value` of `unit` in `to`; both of one dimension."""
    if unit == to:
        return value
    if dimension(unit) != dimension(to):
        raise ValueError(f"{unit} does not convert into {to}")
    if dimension(unit) == "temperature":
        return value + 273.15 if to == "K" else value - 273.15
    size = lambda code: UNITS[code.removesuffix(".a")][1]
    return value * size(unit) / size(to)


def rounded(value):
    """To 12 significant digits, as every figure is before it is compared with a level."""
    return float(f"{value:.11e}") if math.isfinite(value) else value


@dataclass(frozen=True)
class Known:
    """What is known of a value: the least and the most it can be."""

    lower: float
    upper: float

    @property
    def detected(self):
        return self.lower == self.upper

    @property
    def below(self):
        """Whether it is a non-detect: somewhere from zero to a limit."""
        return self.lower <= 0.0 < self.upper < math.inf

    @property
    def above(self):
        return self.upper == math.inf

    def scaled(self, factor):
        return Known(self.lower * factor, self.upper * factor)


def known(quantity, unit):
    """Reads a quantity of a request or an answer, in `unit`."""
    one = lambda key: rounded(convert(float(quantity[key]), quantity["unit"], unit))
    if "value" not in quantity:
        return Known(one("lower"), one("upper"))
    value = one("value")
    match quantity.get("comparator"):
        case None:
            return Known(value, value)
        case "<":
            return Known(0.0, value)
        case ">":
            return Known(value, math.inf)
    raise ValueError(f"comparator {quantity['comparator']!r}")


def number(quantity, unit):
    """A plain quantity as a number in `unit`."""
    range_ = known(quantity, unit)
    assert range_.detected, f"{quantity} is no plain number"
    return range_.lower


def molar_volume(request):
    """Litres of gas in a mole: 24.45 at 25 degrees Celsius and 760 mmHg (29 CFR 1910.1000, table Z-1), else ideal."""
    celsius = number(request["temperature"], "Cel") if "temperature" in request else ROOM_CELSIUS
    mmhg = number(request["pressure"], "mm[Hg]") if "pressure" in request else ROOM_MMHG
    return 24.45 * (760.0 / mmhg) * (273.15 + celsius) / 298.15
