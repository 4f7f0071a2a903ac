"""Random inputs: what hygienists measure, and what makes arithmetic stumble."""

import math

import numpy as np

MASS_UNITS = ("mg/m3", "ug/m3", "ng/m3", "g/m3")


def digits(value, count):
    """A value with so many significant digits, as a laboratory writes it."""
    return float(f"{value:.{count - 1}e}")


def chance(rng, probability):
    return bool(rng.random() < probability)


def one_of(rng, choices):
    return choices[int(rng.integers(len(choices)))]


def scale(rng):
    """The size of the values: mostly of the trade, at times anything from 1e-9 to 1e9."""
    return 10.0 ** (rng.uniform(-9, 9) if chance(rng, 0.25) else rng.uniform(-2, 2))


def count(rng, most=60):
    """A number of results: small ones more often, as they are."""
    return int(rng.integers(1, 9)) if chance(rng, 0.5) else int(rng.integers(1, most + 1))


def quantity(rng, value, unit, comparator=None):
    """A quantity; its value is at times written as text."""
    written = repr(value) if chance(rng, 0.1) else value
    return {"value": written, "unit": unit} | ({"comparator": comparator} if comparator else {})


def logarithms(rng, n):
    """Logarithms of log-normal values about 1, with a spread from almost none to very wide."""
    kind = rng.random()
    if kind < 0.1:
        spread = 10.0 ** rng.uniform(-6, -2)
    elif kind < 0.9:
        spread = math.log(rng.uniform(1.2, 5.0))
    else:
        spread = math.log(rng.uniform(5.0, 30.0))
    return rng.standard_normal(n) * spread, spread


def detected(rng, n, unit, size=None):
    """Plain results; few digits make ties, and at times all or many are equal."""
    logs, spread = logarithms(rng, n)
    size = scale(rng) if size is None else size
    places = 11 if spread < 0.02 else one_of(rng, (2, 3, 3, 6, 15))
    values = [digits(size * math.exp(y), places) for y in logs]
    if n > 1 and chance(rng, 0.06):
        values = [values[0]] * n if chance(rng, 0.5) else [values[int(rng.integers(2))] for _ in values]
    return [quantity(rng, value, unit) for value in values]


def censored(rng, n, unit, size=None, share=None, ranges=True):
    """Results of which many are bounds: below one of several limits, between two limits, overloaded."""
    size = scale(rng) if size is None else size
    spread = math.log(rng.uniform(1.3, 6.0))
    values = [digits(size * math.exp(spread * z), one_of(rng, (2, 3, 4))) for z in rng.standard_normal(n)]
    share = rng.uniform(0.1, 0.95) if share is None else share
    shift = math.sqrt(2.0) * spread * _erfinv(2.0 * share - 1.0)
    limits = [
        digits(size * math.exp(shift + 0.4 * spread * z), 2)
        for z in rng.standard_normal(int(rng.integers(1, 5)))
    ]
    far = chance(rng, 0.08)
    results = []
    for value in values:
        limit = one_of(rng, limits)
        if far and chance(rng, 0.3):
            # A limit that lies far away from the data says almost nothing, or almost everything.
            limit = digits(limit * 10.0 ** rng.uniform(-5, 5), 2)
            results.append(quantity(rng, limit, unit, "<"))
        elif value < limit:
            results.append(quantity(rng, limit, unit, "<"))
        else:
            results.append(quantity(rng, value, unit))
    if ranges and chance(rng, 0.35):
        _between_limits(rng, results, unit)
    if ranges and chance(rng, 0.1):
        at = int(rng.integers(n))
        results[at] = quantity(rng, digits(size * math.exp(spread), 2), unit, ">")
    return results


def _between_limits(rng, results, unit):
    """Turns some non-detects into what lies between the limits of detection and of quantification."""
    for at, result in enumerate(results):
        if result.get("comparator") == "<" and chance(rng, 0.5):
            upper = float(result["value"])
            lower = 0.0 if chance(rng, 0.2) else digits(upper / one_of(rng, (3.3, 2.0, 10.0)), 3)
            results[at] = {"lower": lower, "upper": upper, "unit": unit}


def _erfinv(x):
    from scipy.special import erfinv

    return float(erfinv(x))


def in_several_units(rng, results):
    """The same results, some of them in another unit of mass concentration."""
    factor = {"mg/m3": 1e-3, "ug/m3": 1.0, "ng/m3": 1e3, "g/m3": 1e-6}
    out = []
    for result in results:
        to = one_of(rng, MASS_UNITS)
        one = lambda key: digits(float(result[key]) * (factor[to] / factor[result["unit"]]), 12)
        changed = {key: one(key) for key in ("value", "lower", "upper") if key in result}
        out.append(result | changed | {"unit": to})
    return out


def levels_near(rng, results, unit):
    """An exposure limit about where the results are, at times far away, at times one of them exactly."""
    ends = [float(result.get("value", result.get("upper"))) for result in results]
    middle = math.exp(np.mean([math.log(end) for end in ends if end > 0.0]))
    kind = rng.random()
    if kind < 0.1:
        value = one_of(rng, ends)
    elif kind < 0.2:
        value = digits(middle * 10.0 ** rng.uniform(-6, 6), 2)
    else:
        value = digits(middle * 10.0 ** rng.uniform(-0.5, 1.5), 2)
    return {"value": value, "unit": unit}


def box(rng, gm_lower, gm_upper):
    """A prior box that differs from the default one."""
    middle = math.sqrt(gm_lower * gm_upper)
    return {
        "gm_lower": digits(middle * 10.0 ** -rng.uniform(0.5, 4), 3),
        "gm_upper": digits(middle * 10.0 ** rng.uniform(0.5, 4), 3),
        "gsd_lower": digits(rng.uniform(1.02, 1.5), 3),
        "gsd_upper": digits(rng.uniform(2.5, 8.0), 3),
    }
