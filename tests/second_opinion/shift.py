"""The shift: 8-hour average, severity, mixture, extended shifts. Plain arithmetic, with both ends of what is known.

Sources: 29 CFR 1910.1000(d) (8-hour average, mixtures); OSHA Technical Manual, section II, chapter 1 (one-sided
limits with the sampling and analytical error, mixtures); NIOSH 77-173 (uniform and non-uniform exposures); Brief and
Scala 1975 (extended shifts); 29 CFR 1910.1025(c)(2) (lead).
"""

import math

from . import draws
from .comparison import Absent, Amount, Number, Refused, Word, plain
from .draws import chance, digits, one_of, quantity
from .units import Known, known, number, rounded

ONE_SIDED_95 = 1.645  # as printed in NIOSH 77-173


def _segments(rng, unit, size, bounds=0.3):
    """Segments of a shift, some of them bounds."""
    segments = []
    for _ in range(int(rng.integers(1, 13)) if chance(rng, 0.9) else int(rng.integers(13, 61))):
        value = digits(size * math.exp(rng.standard_normal()), 3)
        concentration = quantity(rng, value, unit)
        kind = rng.random()
        if kind < bounds * 0.7:
            concentration = quantity(rng, value, unit, "<")
        elif kind < bounds * 0.9:
            concentration = {"lower": digits(value / 3.3, 3), "upper": value, "unit": unit}
        elif kind < bounds:
            concentration = quantity(rng, value, unit, ">")
        segments.append({"concentration": concentration, "minutes": round(rng.uniform(0.5, 240), 1)})
    return segments


def dose(segments, unit):
    """Concentration times minutes, from the least to the most."""
    ranges = [(known(one["concentration"], unit), one["minutes"]) for one in segments]
    return Known(
        math.fsum(range_.lower * minutes for range_, minutes in ranges),
        math.inf if any(range_.above for range_, _ in ranges)
        else math.fsum(range_.upper * minutes for range_, minutes in ranges),
    )


def eight_hour_twa(segments, unit, unsampled_minutes=0.0, unsampled=None):
    """The 8-hour average and the average over the sampled time."""
    minutes = math.fsum(one["minutes"] for one in segments)
    sampled = dose(segments, unit)
    whole = sampled
    if unsampled_minutes > 0.0 and unsampled == "as_sampled":
        whole = sampled.scaled((minutes + unsampled_minutes) / minutes)
    elif unsampled_minutes > 0.0 and isinstance(unsampled, dict):
        rest = known(unsampled["concentration"], unit).scaled(unsampled_minutes)
        whole = Known(sampled.lower + rest.lower, sampled.upper + rest.upper)
    return whole.scaled(1.0 / 480.0), sampled.scaled(1.0 / minutes), minutes


class ShiftAverage:
    name = "shift-average"
    calculation = "shift-average"

    def draw(self, rng):
        unit, size = one_of(rng, ("ug/m3", "mg/m3", "[ppm]", "{fibers}/mL")), draws.scale(rng)
        segments = _segments(rng, unit, size, bounds=one_of(rng, (0.0, 0.4, 1.0)))
        if unit == "ug/m3" and chance(rng, 0.3):
            changed = draws.in_several_units(rng, [one["concentration"] for one in segments])
            segments = [one | {"concentration": other} for one, other in zip(segments, changed)]
        body = {"segments": segments}
        if chance(rng, 0.7):
            body["unsampled_minutes"] = round(rng.uniform(1, 300), 1)
            background = quantity(rng, digits(size * rng.uniform(0.001, 0.5), 2), unit, one_of(rng, (None, "<")))
            body["unsampled"] = one_of(rng, ("zero", "as_sampled", {"concentration": background}))
            if chance(rng, 0.05):
                del body["unsampled"]
        return body

    def expect(self, body, _):
        if "unsampled_minutes" in body and "unsampled" not in body:
            return Refused("unsampled minutes, and nothing says what they were")
        unit = body["segments"][0]["concentration"]["unit"]
        twa, sampled, minutes = eight_hour_twa(
            body["segments"], unit, body.get("unsampled_minutes", 0.0), body.get("unsampled")
        )
        return {
            "eight_hour_twa": Amount(twa.lower, twa.upper, unit),
            "sampled_average": Amount(sampled.lower, sampled.upper, unit),
            "sampled_minutes": Number(minutes),
        }


def severity(concentrations, minutes, limit, error, procedure="osha"):
    """Average over the sampled time as a share of the limit, with one-sided 95 % limits and what they say."""
    total = math.fsum(minutes)
    products = [x * t for x, t in zip(concentrations, minutes)]
    share = math.fsum(products) / total / limit
    if procedure == "niosh_uniform":
        half = error / math.sqrt(len(products))
    elif len(products) == 1:
        half = error
    else:
        half = error * math.sqrt(math.fsum(product**2 for product in products)) / (limit * total)
        if procedure == "niosh_nonuniform":
            half /= math.sqrt(1.0 + (error / ONE_SIDED_95) ** 2)
    lower, upper = share - half, share + half
    if rounded(lower) > 1.0:
        word = "above_limit"
    else:
        word = "not_above_limit" if rounded(upper) <= 1.0 else "possibly_above_limit"
    return share, lower, upper, word


class Severity:
    name = "severity"
    calculation = "severity"

    def draw(self, rng):
        unit, size = one_of(rng, ("ug/m3", "mg/m3", "[ppm]")), draws.scale(rng)
        body = {
            "segments": _segments(rng, unit, size, bounds=0.0),
            "limit": {"value": digits(size * 10.0 ** rng.uniform(-0.3, 0.5), 2), "unit": unit},
            "sampling_analytical_error": digits(rng.uniform(0.01, 0.5), 2),
        }
        if chance(rng, 0.3):
            body["segments"] = body["segments"][:1]
        if chance(rng, 0.1):
            # Exactly at the limit: neither above nor possibly above but for the error.
            body["segments"] = [one | {"concentration": dict(body["limit"])} for one in body["segments"]]
        if chance(rng, 0.7):
            body["procedure"] = one_of(rng, ("osha", "niosh_uniform", "niosh_nonuniform"))
        return body

    def expect(self, body, _):
        unit = body["limit"]["unit"]
        share, lower, upper, word = severity(
            [number(one["concentration"], unit) for one in body["segments"]],
            [one["minutes"] for one in body["segments"]],
            number(body["limit"], unit), body["sampling_analytical_error"], body.get("procedure", "osha"),
        )
        # A limit is a difference, so near zero it keeps the rounding of the share.
        return {
            "severity": Number(share),
            "lower_95": Number(lower, absolute=1e-11 * share),
            "upper_95": Number(upper),
            "classification": Word(word),
        }


def mixture(shares, errors):
    """Sum of the shares of the limits and, with an error of every component, the error of the sum."""
    total = Known(math.fsum(one.lower for one in shares), math.fsum(one.upper for one in shares))
    error = None
    if all(one.detected for one in shares) and None not in errors and total.lower > 0.0:
        error = math.sqrt(math.fsum((one.lower / total.lower * sae) ** 2 for one, sae in zip(shares, errors)))
    return total, error


class Mixture:
    name = "mixture"
    calculation = "mixture"

    def draw(self, rng):
        bounds, errors = chance(rng, 0.25), one_of(rng, ("all", "some", "none"))
        components = []
        for _ in range(int(rng.integers(1, 9))):
            unit = one_of(rng, ("ug/m3", "mg/m3", "[ppm]", "[ppb]"))
            limit = digits(draws.scale(rng), 2)
            value = digits(limit * 10.0 ** rng.uniform(-2, 0.2), 3)
            concentration = quantity(rng, value, unit, one_of(rng, (None, "<", "<")) if bounds else None)
            component = {"concentration": concentration, "limit": {"value": limit, "unit": unit}}
            if errors == "all" or errors == "some" and chance(rng, 0.5):
                component["sampling_analytical_error"] = digits(rng.uniform(0.02, 0.4), 2)
            components.append(component)
        if chance(rng, 0.08):
            # Tenths add up to the limit exactly, which is not above it.
            components = [
                {"concentration": {"value": share, "unit": "[ppm]"}, "limit": {"value": 1, "unit": "[ppm]"}}
                for share in (0.1, 0.2, 0.7)
            ]
        return {"components": components}

    def expect(self, body, _):
        shares, errors = [], []
        for component in body["components"]:
            unit = component["limit"]["unit"]
            shares.append(known(component["concentration"], unit).scaled(1.0 / number(component["limit"], unit)))
            errors.append(component.get("sampling_analytical_error"))
        total, error = mixture(shares, errors)
        expected = {"mixture_error": Absent("an error or a plain value is missing", flagged=False)}
        expected["control_limit"] = expected["mixture_error"]
        if error is not None:
            expected = {"mixture_error": Number(error), "control_limit": Number(1.0 + error)}
        if total.detected:
            return expected | {
                "equivalent_exposure": Number(total.lower),
                "exceeds": Word(rounded(total.lower) > 1.0),
            }
        # With bounds only the ends are certain.
        certain = rounded(total.lower) > 1.0 or rounded(total.upper) <= 1.0
        word = Word(rounded(total.lower) > 1.0) if certain else Absent("cannot tell", flagged=True)
        return expected | {
            "equivalent_exposure": Absent("only its ends are known", flagged=False),
            "equivalent_exposure_range": _Ends(total),
            "exceeds": word,
        }


class _Ends:
    """The ends of a range without a unit, as `lower` and `upper` or with a comparator."""

    def __init__(self, range_):
        self.range = range_

    def judge(self, got, _):
        if isinstance(got, dict):
            got = got | {"unit": "%"}
        return Amount(self.range.lower, self.range.upper, "%").judge(got, {})

    def __str__(self):
        return str(self.range)


FACTORS = {
    "brief_scala_daily": lambda h: 8.0 / h * (24.0 - h) / 16.0,
    "brief_scala_weekly": lambda h: 40.0 / h * (168.0 - h) / 128.0,
    "equal_dose_daily": lambda h: 8.0 / h,
    "equal_dose_weekly": lambda h: 40.0 / h,
    "lead_daily": lambda h: 8.0 / h,
}


class ExtendedShift:
    name = "extended-shift"
    calculation = "extended-shift"

    def draw(self, rng):
        model = one_of(rng, list(FACTORS))
        weekly = model.endswith("weekly")
        # Half an hour at least; a full day or week leaves Brief and Scala no limit at all.
        hours = round(rng.uniform(0.5, 160.0 if weekly else 23.5), 1)
        if chance(rng, 0.1):
            hours = 40 if weekly else 8
        limit = {"value": digits(draws.scale(rng), 2), "unit": one_of(rng, ("ug/m3", "mg/m3", "[ppm]"))}
        if model == "lead_daily":
            limit = {"value": 50, "unit": "ug/m3"}
        return {"model": model, "hours_per_week" if weekly else "hours_per_shift": hours, "limit": limit}

    def expect(self, body, _):
        factor = min(1.0, FACTORS[body["model"]](body.get("hours_per_shift", body.get("hours_per_week"))))
        unit = body["limit"]["unit"]
        return {"factor": Number(factor), "adjusted_limit": plain(factor * number(body["limit"], unit), unit)}


AREAS = [ShiftAverage(), Severity(), Mixture(), ExtendedShift()]
