"""How long to sample, and how many workers.

Sources: NIOSH 77-173, technical appendix A (one of the top fraction with a confidence), here exact by the
hypergeometric distribution; volume = lowest mass / (fraction of the limit).
"""

import math
from fractions import Fraction

from scipy import stats

from . import draws
from .comparison import Number, Word, plain
from .draws import chance, digits, one_of
from .units import number


def workers_to_sample(group, confidence, top_fraction):
    """The fewest workers of whom one is among the top with this confidence, in exact fractions.

    Fractions of the decimals given: 0.1 of 30 is 3, not 4, and a chance of exactly 0.1 is small enough for 0.9.
    """
    top = math.ceil(Fraction(str(top_fraction)) * group)
    allowed = 1 - Fraction(str(confidence))
    for n in range(group + 1):
        none = Fraction(math.comb(group - top, n), math.comb(group, n))
        if none <= allowed:
            assert math.isclose(float(none), stats.hypergeom.pmf(0, group, top, n), rel_tol=1e-9, abs_tol=1e-12)
            return n
    raise AssertionError("a whole group holds its top")


class SampleDuration:
    name = "sample-plan (duration)"
    calculation = "sample-plan"

    def draw(self, rng):
        unit = one_of(rng, ("ug/m3", "mg/m3", "ng/m3"))
        body = {
            "limit": {"value": digits(draws.scale(rng), 2), "unit": unit},
            "reporting_limit_mass": {"value": digits(10.0 ** rng.uniform(-4, 2), 2), "unit": one_of(rng, ("ug", "mg"))},
            "flow": {"value": digits(10.0 ** rng.uniform(-1, 1.5), 2), "unit": "L/min"},
        }
        if chance(rng, 0.3):
            body["flow"] = {"value": digits(10.0 ** rng.uniform(1, 3), 3), "unit": "mL/min"}
        if chance(rng, 0.6):
            body["fraction_of_limit"] = digits(rng.uniform(0.01, 1.0), 2)
        return body

    def expect(self, body, _):
        # ug over mg/m3 is a thousandth of a cubic metre, a litre.
        litres = number(body["reporting_limit_mass"], "ug") / (
            body.get("fraction_of_limit", 0.1) * number(body["limit"], "mg/m3")
        )
        return {
            "minimum_volume": plain(litres, "L"),
            "minimum_minutes": Number(litres / number(body["flow"], "L/min")),
        }


class WorkersToSample:
    name = "sample-plan (workers)"
    calculation = "sample-plan"

    def draw(self, rng):
        return {
            "group_size": int(rng.integers(1, 61)) if chance(rng, 0.8) else int(rng.integers(61, 500)),
            "confidence": one_of(rng, (0.9, 0.95, 0.99, 0.8, 0.5, round(rng.uniform(0.05, 0.999), 3))),
            "top_fraction": one_of(rng, (0.1, 0.2, 0.05, 0.3, 0.7, round(rng.uniform(0.01, 0.99), 2))),
        }

    def expect(self, body, _):
        return {"workers_to_sample": Word(workers_to_sample(**{
            "group": body["group_size"], "confidence": body["confidence"], "top_fraction": body["top_fraction"],
        }))}


AREAS = [SampleDuration(), WorkersToSample()]
