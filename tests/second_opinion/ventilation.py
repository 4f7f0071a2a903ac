"""What a filter takes out, and how fast a room clears.

Sources: Hinds, Aerosol Technology, 2nd edition 1999 (penetration); ASTM E741-11 (concentration decay).
"""

import math

import numpy as np
from scipy import stats

from . import draws
from .comparison import Absent, Number, Word
from .draws import chance, digits, one_of, quantity
from .units import known


def penetration(logs):
    """Mean of ln(outlet/inlet) and its two-sided 95 % limits by Student's t; no limits without spread."""
    mean = math.fsum(logs) / len(logs)
    if len(logs) < 2 or max(logs) - min(logs) < 1e-9:
        return mean, None
    limits = stats.ttest_1samp(logs, 0.0).confidence_interval(0.95)
    return mean, (float(limits.low), float(limits.high))


def _per_cent(ln_penetration, absolute=1e-7):
    # 1 - penetration loses the digits of a penetration near 1, hence the absolute part (per cent).
    value = -100.0 * math.expm1(ln_penetration) if ln_penetration < 709.0 else -math.inf
    return Number(value, absolute=absolute if abs(value) < 100.0 else 0.0)


class RemovalEfficiency:
    name = "removal-efficiency"
    calculation = "removal-efficiency"

    def draw(self, rng):
        n, size, unit = draws.count(rng), draws.scale(rng), one_of(rng, ("ug/m3", "mg/m3", "/L"))
        centre, spread = rng.uniform(-9, 0.5), 10.0 ** rng.uniform(-3, 0.3)
        below = one_of(rng, (0.0, 0.0, 0.3, 1.0))
        inlet, outlet = [], []
        for _ in range(n):
            before = digits(size * math.exp(0.5 * rng.standard_normal()), 3)
            after = digits(before * math.exp(centre + spread * rng.standard_normal()), 3)
            inlet.append(quantity(rng, before, unit))
            outlet.append(quantity(rng, after, unit, "<" if chance(rng, below) else None))
        if chance(rng, 0.05):
            inlet[0], outlet[0] = quantity(rng, size, unit, "<"), quantity(rng, size, unit)
        return {"inlet": inlet, "outlet": outlet}

    def expect(self, body, _):
        unit = body["inlet"][0]["unit"]
        logs, at_least = [], False
        for before, after in zip(body["inlet"], body["outlet"]):
            before, after = known(before, unit), known(after, unit)
            if before.lower <= 0.0:
                continue  # what may be nothing lets no share through: the pair says nothing
            at_least |= after.below
            logs.append(math.log(after.upper / before.lower))
        if not logs:
            reason = Absent("no pair with a detected inlet")
            return {"efficiency_percent.estimate": reason, "penetration_percent": reason}
        mean, limits = penetration(logs)
        expected = {
            "efficiency_percent.estimate": _per_cent(mean),
            "penetration_percent": Number(100.0 * math.exp(mean)),
            "comparator": Word(">=") if at_least else Absent("every outlet is a value", flagged=False),
        }
        if limits is None or at_least:
            reason = Absent("one pair, no spread, or an outlet below its limit")
            return expected | {"efficiency_percent.lower_95": reason, "efficiency_percent.upper_95": reason}
        lower = _per_cent(limits[1])
        return expected | {
            "efficiency_percent.lower_95": Absent("beyond a double") if math.isinf(lower.value) else lower,
            "efficiency_percent.upper_95": _per_cent(limits[0]),
        }


def decay(minutes, values, background):
    """Slope of ln(value - background) on time by least squares; None with fewer than two times."""
    usable = [(t, math.log(value - background)) for t, value in zip(minutes, values) if value > background]
    if len({t for t, _ in usable}) < 2:
        return None
    times, logs = np.array(usable).T
    # About the mean, or the fit would lose digits with times far from zero.
    return float(np.polyfit(times - times.mean(), logs - logs.mean(), 1)[0])


class AirClearing:
    name = "air-clearing"
    calculation = "air-clearing"

    def draw(self, rng):
        size, rate = draws.scale(rng), rng.uniform(0.5, 30.0) / 60.0 * one_of(rng, (1, 1, 1, 1, -1))
        background = digits(size * rng.uniform(0.001, 0.3), 2) if chance(rng, 0.5) else None
        step, start = rng.uniform(0.5, 10), one_of(rng, (0.0, 0.0, 480.0))
        readings = []
        for at in range(int(rng.integers(1, 61))):
            t = round(start + at * step, 2) if chance(rng, 0.95) else round(start, 2)
            value = size * math.exp(max(-rate * (t - start) + 0.1 * rng.standard_normal(), -25)) + (background or 0)
            readings.append({"minutes": t, "value": digits(min(value, size * 1e12), 4)})
        body = {"readings": readings}
        return body | ({"background": background} if background is not None else {})

    def expect(self, body, _):
        background = body.get("background", 0.0)
        values = [one["value"] for one in body["readings"]]
        slope = decay([one["minutes"] for one in body["readings"]], values, background)
        names = ("air_changes_per_hour", "half_life_minutes", "minutes_to_99_percent")
        if slope is None:
            return dict.fromkeys(names, Absent("fewer than two usable readings at different times"))
        # A reading just above the background leaves few digits of the difference.
        least = min(value - background for value in values if value > background)
        relative = 1e-9 + 1e-15 * background / least
        changes = -60.0 * slope
        expected = {names[0]: Number(changes, relative, absolute=1e-11)}
        if changes <= 1e-11:
            return expected | dict.fromkeys(names[1:], Absent("the readings do not fall"))
        return expected | {
            names[1]: Number(60.0 * math.log(2.0) / changes, relative),
            names[2]: Number(60.0 * math.log(100.0) / changes, relative),
        }


AREAS = [RemovalEfficiency(), AirClearing()]
