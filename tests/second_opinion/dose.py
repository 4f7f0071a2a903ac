"""Noise dose and cumulative exposure: plain arithmetic with the calendar.

Sources: 29 CFR 1910.95, appendix A (dose, 16.61 log10), NIOSH 98-126 (85 dB, 3-dB exchange); Checkoway, Pearce and
Kriebel, Research Methods in Occupational Epidemiology, 2nd edition 2004 (intensity times duration, lag).
"""

import datetime
import math

from . import draws
from .comparison import Absent, Number, plain
from .draws import chance, digits, one_of, quantity
from .units import number

# criterion: (criterion level, exchange rate, threshold, factor of log10)
NOISE = {
    "osha_limit": (90.0, 5.0, 90.0, 16.61),
    "osha_action_level": (90.0, 5.0, 80.0, 16.61),
    "niosh": (85.0, 3.0, -math.inf, 10.0),
}


def noise_dose(levels, minutes, criterion):
    """The dose in per cent and the 8-hour average level of the same dose; None for no dose."""
    base, exchange, threshold, factor = NOISE[criterion]
    dose = 100.0 * math.fsum(
        t / (480.0 / 2.0 ** ((level - base) / exchange)) for level, t in zip(levels, minutes) if level >= threshold
    )
    return dose, factor * math.log10(dose / 100.0) + base if dose > 0.0 else None


class NoiseDose:
    name = "noise-dose"
    calculation = "noise-dose"

    def draw(self, rng):
        quiet = chance(rng, 0.1)
        segments = []
        for _ in range(int(rng.integers(1, 13)) if chance(rng, 0.9) else 60):
            level = round(rng.uniform(50, 79.9) if quiet else rng.uniform(60, 130), 1)
            if chance(rng, 0.15):
                level = one_of(rng, (80, 90.0, 85, 79.9, 89.9))
            segments.append({"level": quantity(rng, level, "dB[A]"), "minutes": round(rng.uniform(0.5, 480), 1)})
        return {"segments": segments, "criterion": one_of(rng, list(NOISE))}

    def expect(self, body, _):
        levels = [number(one["level"], "dB[A]") for one in body["segments"]]
        dose, twa = noise_dose(levels, [one["minutes"] for one in body["segments"]], body["criterion"])
        level = Absent("no dose") if twa is None else plain(twa, "dB[A]", absolute=1e-9)
        return {"dose_percent": Number(dose), "eight_hour_twa": level}


def years_earlier(date, years):
    """The same date so many years earlier; 29 February becomes the 28th where there is none."""
    if date.year - years < 1:
        return datetime.date.min
    try:
        return date.replace(year=date.year - years)
    except ValueError:
        return date.replace(year=date.year - years, day=28)


def cumulative(intervals, as_of=None, lag_years=0):
    """Sum of mean x share x days / 365.25 up to the reference date less the lag, and the years exposed.

    `intervals` are (from, to, mean, share), `to` being the first day no longer; the reference date is the latest
    `to` where none is given. Each calendar day with a mean above zero counts once.
    """
    end = years_earlier(as_of or max(to for _, to, _, _ in intervals), lag_years)
    dose, days = [], set()
    for start, to, mean, share in intervals:
        span = range(start.toordinal(), min(to, end).toordinal())
        dose.append(mean * share * len(span) / 365.25)
        if mean > 0.0:
            days.update(span)
    return math.fsum(dose), len(days) / 365.25


class CumulativeExposure:
    name = "cumulative-exposure"
    calculation = "cumulative-exposure"

    def draw(self, rng):
        family = one_of(rng, (("ug/m3", "mg/m3", "ng/m3"), ("{fibers}/mL",), ("[ppm]", "[ppb]")))
        unit, size = one_of(rng, family), draws.scale(rng)
        start = datetime.date(1960, 1, 1).toordinal()
        intervals = []
        for _ in range(int(rng.integers(1, 13))):
            first = start + int(rng.integers(0, 20_000))
            if chance(rng, 0.1):
                first = datetime.date(4 * int(rng.integers(491, 506)), 2, 29).toordinal()
            length = int(rng.integers(1, 4_000)) if chance(rng, 0.9) else 1
            mean_unit = unit if chance(rng, 0.8) else one_of(rng, family)
            mean = 0.0 if chance(rng, 0.1) else digits(size * math.exp(rng.standard_normal()), 3)
            interval = {
                "from": datetime.date.fromordinal(first).isoformat(),
                "to": datetime.date.fromordinal(first + length).isoformat(),
                "mean": {"value": mean, "unit": mean_unit},
            }
            if chance(rng, 0.4):
                interval["share_of_full_time"] = one_of(rng, (1, 0.5, 0.2, 0.857, 0))
            intervals.append(interval)
        body = {"intervals": intervals}
        if chance(rng, 0.6):
            body["as_of"] = datetime.date.fromordinal(start + int(rng.integers(5_000, 26_000))).isoformat()
            if chance(rng, 0.1):
                body["as_of"] = f"{4 * int(rng.integers(495, 506))}-02-29"
        if chance(rng, 0.6):
            body["lag_years"] = int(rng.integers(0, 21))
        return body

    def expect(self, body, _):
        unit = body["intervals"][0]["mean"]["unit"]
        date = datetime.date.fromisoformat
        value, years = cumulative(
            [
                (date(one["from"]), date(one["to"]), number(one["mean"], unit), one.get("share_of_full_time", 1.0))
                for one in body["intervals"]
            ],
            date(body["as_of"]) if "as_of" in body else None, body.get("lag_years", 0),
        )
        intensity = Absent("no year exposed") if years == 0.0 else plain(value / years, unit)
        return {
            "cumulative": plain(value, f"{unit}.a"),
            "years_exposed": Number(years),
            "average_intensity": intensity,
        }


AREAS = [NoiseDose(), CumulativeExposure()]
