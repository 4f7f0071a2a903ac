"""The posterior of a group's profile, from one result on."""

import math
from dataclasses import dataclass

from . import draws, group_profile, likelihood
from .comparison import Absent, Amount, Fault, Free, Number, Quantile, Word
from .draws import chance, one_of
from .likelihood import LogResults
from .posterior import Box, Posterior, default_box

# Quadrature on both sides: ours is good to about 1e-6, a hundredth of what anybody could use.
RELATIVE, PROBABILITY = 1e-5, 1e-5


@dataclass(frozen=True)
class PriorEnd:
    """An end of the prior in GM: a quantity, or a bare number in the unit of the results."""

    value: float
    unit: str

    def judge(self, got, beside):
        if isinstance(got, dict):
            return Amount(self.value, self.value, self.unit).judge(got, beside)
        return Number(self.value, unit=self.unit if "unit" in beside else None).judge(got, beside)


def prior_box(body, limit, results):
    """The box of the request, or the default one."""
    if prior := body.get("prior"):
        return Box(prior["gm_lower"], prior["gm_upper"], prior["gsd_lower"], prior["gsd_upper"])
    # The largest value: an overloaded result counts with what it reached, a bound with its upper end.
    return default_box(limit, max(one.lower if one.above else one.upper for one in results))


def pressed(post, logs):
    """Whether the results press on the prior, and whether that is a close question.

    The registry's own rule: the estimate of GM lies above the box, or more than 5 % of the posterior lies within 2 %
    of the box's width from its upper face in ln GM or ln GSD.
    """
    fitted = likelihood.fit(logs) if len(set(logs.values)) > 1 else None
    shares = post.near_upper_face()
    close = any(abs(share - 0.05) < 1e-4 for share in shares)
    return max(shares) > 0.05 or fitted is not None and fitted[0] > post.box.high, close


class PosteriorProfile:
    name = "group-profile (posterior)"
    calculation = "group-profile"

    def draw(self, rng):
        unit = one_of(rng, ("ug/m3", "mg/m3", "[ppm]"))
        n = draws.count(rng)
        if chance(rng, 0.5):
            results = draws.detected(rng, n, unit)
        else:
            results = draws.censored(rng, n, unit, share=1.0 - 1e-9 if chance(rng, 0.15) else None)
        body = {"results": results}
        if chance(rng, 0.8):
            body["limit"] = draws.levels_near(rng, results, unit)
        if chance(rng, 0.3):
            size = float(results[0].get("value", results[0].get("upper")))
            body["prior"] = draws.box(rng, size / 10.0, size * 10.0)
        return body

    def expect(self, body, answer):
        unit, results, limit = group_profile.read(body)
        logs, box = LogResults.of(results), prior_box(body, limit, results)
        post = Posterior(logs, box, limit)
        fields = {
            "n": Word(len(results)),
            "posterior.prior.gm_lower": PriorEnd(math.exp(box.low), unit),
            "posterior.prior.gm_upper": PriorEnd(math.exp(box.high), unit),
            "posterior.prior.gsd_lower": Number(math.exp(box.narrow)),
            "posterior.prior.gsd_upper": Number(math.exp(box.wide)),
            "posterior.percentile_95.median": self._percentile(post, 0.5, unit),
            "posterior.percentile_95.upper_95": self._percentile(post, 0.95, unit),
            "posterior.arithmetic_mean.mean": Number(post.mean_of_arithmetic_mean(), RELATIVE, unit=unit),
            "posterior.arithmetic_mean.lower_95": self._mean(post, 0.05, unit),
            "posterior.arithmetic_mean.upper_95": self._mean(post, 0.95, unit),
        }
        if limit is None:
            fields["posterior.rating_probabilities"] = Absent("no limit")
            fields["posterior.exceedance_fraction"] = Absent("no limit")
        else:
            for at, share in enumerate(post.rating_probabilities(limit)):
                fields[f"posterior.rating_probabilities.{at}"] = Number(float(share), absolute=PROBABILITY)
            fields["posterior.exceedance_fraction.mean"] = Number(post.mean_exceedance(limit), absolute=PROBABILITY)
        says, (presses, close) = "outside_prior" in answer.get("flags", []), pressed(post, logs)
        if says != presses and not close:
            raise Fault(f"flags: outside_prior is {says}, but by the posterior {presses}")
        # A prior that was given is taken as given, and no more than flagged.
        if says and "prior" not in body:
            for path in [path for path in fields if "rating_probabilities" in path]:
                del fields[path]
            fields["posterior.rating_probabilities"] = Absent("the results lie outside the prior")
        fields |= {path: Free("compared in an area of its own") for path in answer if path not in ("n", "posterior")}
        return fields

    @staticmethod
    def _percentile(post, p, unit):
        below = lambda level: post.percentile_below(math.log(level))
        return Quantile(post.percentile_95(p), p, below, RELATIVE, PROBABILITY, unit)

    @staticmethod
    def _mean(post, p, unit):
        below = lambda level: post.mean_below(math.log(level))
        return Quantile(post.arithmetic_mean(p), p, below, RELATIVE, PROBABILITY, unit)


AREAS = [PosteriorProfile()]
