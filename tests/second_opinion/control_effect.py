"""What a control did: the ratio of geometric means, the verdict from its interval, and what remains.

Definitions are those of the contract.
"""

import math

from . import draws
from .comparison import Absent, Free, Number, Perhaps, Quantile, Word
from .draws import chance, one_of
from .likelihood import LogResults
from .posterior import Box, Posterior, RatioPosterior, default_box
from .ratio import RatioLikelihood, by_lifelines, contrast, pair_ratios
from .units import known, number, rounded

PROBABILITY = 1e-5  # of the posterior: quadrature on both sides


def verdict(lower, upper, target):
    """The words for a two-sided interval of with/without; `target` is the ratio that meets the target."""
    lower = rounded(0.0 if lower is None else lower)
    upper = rounded(math.inf if upper is None else upper)
    answer = "met" if upper < target else "not_met" if lower > target else "unsettled"
    if upper < 1.0:
        word = "lowered"
    elif lower > 1.0:
        word = "raised"
    else:
        word = "no_difference_shown" if answer == "not_met" else "undecided"
    return word, answer


class Effect:
    """A request, read in one unit."""

    def __init__(self, body, answer=()):
        answer = dict(answer)
        self.unit = body["without"][0]["unit"]
        self.without, self.with_ = ([known(one, self.unit) for one in body[side]] for side in ("without", "with"))
        self.logs = LogResults.of(self.without), LogResults.of(self.with_)
        both = self.without + self.with_
        self.plain = all(one.detected for one in both)
        self.paired = body["paired"]
        self.target = rounded(1.0 - body.get("target_reduction_percent", 50) / 100.0)
        self.limit = number(body["limit"], self.unit) if "limit" in body else None
        self.action = number(body["action_level"], self.unit) if "action_level" in body else None
        distinct = len({rounded(one.lower) for one in both if one.detected})
        self.too_little = min(len(self.without), len(self.with_)) < 2 or distinct < 2
        if prior := body.get("prior"):
            self.box = Box(prior["gm_lower"], prior["gm_upper"], prior["gsd_lower"], prior["gsd_upper"])
        else:
            largest = max(one.lower if one.above else one.upper for one in both)
            self.box = default_box(self.limit, largest)
            # Results that press on the default box may widen it, up to 100 times the largest; the answer says so.
            if "prior_widened" in answer.get("flags", []):
                self.box.high = max(self.box.high, math.log(100.0 * largest))

    def counts(self):
        return {
            "n_without": Word(len(self.without)), "n_with": Word(len(self.with_)),
            "n_below_without": Word(sum(one.below for one in self.without)),
            "n_below_with": Word(sum(one.below for one in self.with_)),
        }


def interval_fields(estimate, lower, upper, target, error):
    """The ratio, the reduction and the words, from logarithms (None where there is no such end)."""
    fields = {}
    turned = {"estimate": "estimate", "lower_95": "upper_95", "upper_95": "lower_95"}
    for name, ln_ratio in (("estimate", estimate), ("lower_95", lower), ("upper_95", upper)):
        ratio_path = f"ratio_of_geometric_means.{name}"
        reduction_path = f"reduction_percent.{turned[name]}"
        if ln_ratio is None or ln_ratio > 709.78:
            fields[ratio_path] = fields[reduction_path] = Absent("the likelihood runs off, or beyond a double")
            continue
        ratio, relative = math.exp(ln_ratio), error * (1.0 + 0.01 * abs(ln_ratio))
        fields[ratio_path] = Number(ratio, relative, absolute=1e-300)
        # Near a ratio of 1 the reduction keeps the digits of the ratio only.
        reduction = -100.0 * math.expm1(ln_ratio)
        fields[reduction_path] = Number(reduction, relative, absolute=100.0 * relative * max(ratio, 1e-2))
    ends = [None if end is None else math.exp(min(end, 709.0)) for end in (lower, upper)]
    word, answer = verdict(*ends, target)
    close = lambda level: any(end is not None and abs(end / level - 1.0) < 10.0 * error for end in ends)
    fields["verdict"] = Free("an end lies at 1") if close(1.0) or close(target) else Word(word)
    fields["target"] = Free("an end lies at the target") if close(target) else Word(answer)
    return fields


class Reduction:
    """A reduction in per cent, judged as the ratio that it comes from."""

    def __init__(self, ratio):
        self.ratio = ratio

    def judge(self, got, beside):
        Number(got).judge(got, beside)  # a number at all
        return self.ratio.judge(1.0 - got / 100.0, beside)


class FurtherSamples:
    """How many more on each side; its definition leaves room, so only its size is judged.

    By the normal approximation the interval excludes a level with 80 % power when the distance is
    (1.96 + 0.84) standard errors.
    """

    def __init__(self, distances, variances, counts):
        self.distances, self.variances, self.counts = distances, variances, counts

    def about(self):
        def enough(more):
            error = math.sqrt(sum(v / (n + more) for v, n in zip(self.variances, self.counts)))
            return any(distance >= 2.8016 * error for distance in self.distances)

        more = 1
        while not enough(more) and more < 1e7:
            more = int(more * 1.1) + 1
        return more

    def judge(self, got, _):
        about = self.about()
        Word(got).judge(got, _)
        if not isinstance(got, int) or isinstance(got, bool) or got < 1:
            return Word("a whole number from 1 on").judge(got, _)
        if about < 1e5 and not about / 2 - 4 <= got <= about * 2 + 8:
            return Word(f"about {about}").judge(got, _)
        return 0.0


def method_fields(effect):
    """The method that the results allow, with its figures."""
    ln_target = math.log(effect.target)
    if effect.too_little:
        return posterior_fields(effect, ln_target)
    if effect.plain:
        return contrast_fields(effect, ln_target)
    likelihood = None
    if effect.paired:
        likelihood = RatioLikelihood.paired(pair_ratios(*effect.logs))
    if likelihood is None:
        # Pairs that cannot tell their spread are compared as two sides.
        likelihood = RatioLikelihood.unpaired(*effect.logs)
    if likelihood is None:
        return posterior_fields(effect, ln_target)
    peak = None if math.isinf(likelihood.peak) else likelihood.peak
    # The logarithm's own error: the gradient's rounding, in units of the deviation.
    error = 1e-8 * (1.0 + likelihood.sigma)
    fields = interval_fields(peak, likelihood.limit(-1), likelihood.limit(1), effect.target, error)
    # A deviance is known to about 1e-13 of the log-likelihood; near the peak its root is no better than 1e-6.
    probability = lambda x: Number(likelihood.below(x), 1e-6, absolute=3e-6)
    return fields | {
        "method": Word("profile_likelihood"),
        "p_value": Perhaps(Number(likelihood.p_value(), 1e-6, absolute=3e-6)),
        "probability_lowered": probability(0.0),
        "probability_target_met": probability(ln_target),
    }


def contrast_fields(effect, ln_target):
    values = [[one.lower for one in side] for side in (effect.without, effect.with_)]
    found = contrast(*values, effect.paired)
    fields = {"method": Word("paired_on_logs" if effect.paired else "welch_on_logs")}
    if found.error == 0.0:
        fields |= interval_fields(found.ln_ratio, None, None, effect.target, 1e-9)
        reason = Absent("no spread, so no interval")
        fields |= dict.fromkeys(("p_value", "probability_lowered", "probability_target_met"), reason)
        return fields | {"verdict": Free("no interval"), "target": Free("no interval")}
    # Rounding of the logarithms against their standard error: what values that are nearly equal leave.
    largest = max(abs(y) for side in effect.logs for y in side.lower)
    rounding = 4e-16 * (1.0 + largest) / found.error
    fields |= interval_fields(found.ln_ratio, *found.limits, effect.target, 1e-9)
    t = lambda x: abs(x - found.ln_ratio) / found.error
    tail = lambda x: 1e-9 + 4.0 * rounding * (1.0 + found.degrees) * (1.0 + t(x))
    fields["p_value"] = Number(found.p_value, tail(0.0), absolute=1e-300)
    fields["probability_lowered"] = Number(found.below(0.0), tail(0.0), absolute=1e-300)
    fields["probability_target_met"] = Number(found.below(ln_target), tail(ln_target), absolute=1e-300)
    if fields["verdict"] == Word("undecided"):
        distances = abs(found.ln_ratio), abs(found.ln_ratio - ln_target)
        variances = [float(side.lower.var(ddof=1)) for side in effect.logs]
        if effect.paired:
            variances, counts = [found.error**2 * len(effect.with_)], [len(effect.with_)]
        else:
            counts = [len(effect.without), len(effect.with_)]
        fields["further_samples"] = Perhaps(FurtherSamples(distances, variances, counts))
    return fields


def posterior_fields(effect, ln_target):
    post = RatioPosterior(*effect.logs, effect.box)
    limits = [post.quantile(p) for p in (0.5, 0.025, 0.975)]
    fields = interval_fields(*limits, effect.target, PROBABILITY)
    below = lambda ratio: post.below(math.log(ratio))
    turned = {"estimate": "estimate", "lower_95": "upper_95", "upper_95": "lower_95"}
    for (name, other), ln_ratio, p in zip(turned.items(), limits, (0.5, 0.025, 0.975)):
        ratio = Quantile(math.exp(ln_ratio), p, below, PROBABILITY, PROBABILITY)
        fields[f"ratio_of_geometric_means.{name}"] = ratio
        fields[f"reduction_percent.{other}"] = Reduction(ratio)
    return fields | {
        "method": Word("posterior"),
        "p_value": Absent("a posterior has none", flagged=False),
        "probability_lowered": Number(post.below(0.0), absolute=PROBABILITY),
        "probability_target_met": Number(post.below(ln_target), absolute=PROBABILITY),
    }


def sufficiency(effect):
    """Where the 95th percentile of what remains lies with a probability of 0.95: the posterior of the with side."""
    if effect.limit is None:
        return Absent("no limit", flagged=False)
    post = Posterior(effect.logs[1], effect.box, effect.limit)
    below = post.percentile_below(math.log(effect.limit))
    below_action = post.percentile_below(math.log(effect.action)) if effect.action is not None else 0.0
    if any(abs(chance_ - 0.95) < 3e-5 for chance_ in (below, below_action, 1.0 - below)):
        return Free("a probability lies at 0.95")
    if below_action >= 0.95:
        return Word("below_action_level")
    return Word("below_limit" if below >= 0.95 else "above_limit" if 1.0 - below >= 0.95 else "unsettled")


class ControlEffect:
    calculation = "control-effect"

    def __init__(self, kind):
        self.kind, self.name = kind, f"control-effect ({kind})"

    def draw(self, rng):
        unit, size = one_of(rng, ("ug/m3", "mg/m3", "[ppm]")), draws.scale(rng)
        paired = self.kind == "pairs" or self.kind in ("non-detects", "posterior") and chance(rng, 0.3)
        ratio = math.exp(rng.uniform(-3, 0.7))
        n, m = max(2, draws.count(rng)), max(2, draws.count(rng))
        if self.kind == "posterior":
            n, m = (1, draws.count(rng, 20)) if chance(rng, 0.5) else (draws.count(rng, 20), 1)
            if chance(rng, 0.3):
                n, m = draws.count(rng, 12), draws.count(rng, 12)
        m = n if paired else m
        below = self.kind == "non-detects" or self.kind == "posterior" and chance(rng, 0.6)
        share = rng.uniform(0.05, 0.8) if self.kind == "non-detects" else 1.0 - 1e-9
        make = lambda k, at: (
            draws.censored(rng, k, unit, at, share, ranges=True) if below else draws.detected(rng, k, unit, at)
        )
        body = {"without": make(n, size), "with": make(m, size * ratio), "paired": paired}
        if self.kind == "non-detects" and chance(rng, 0.12):
            side = one_of(rng, ("without", "with", "with"))
            body[side] = draws.censored(rng, len(body[side]), unit, size * ratio, 1.0 - 1e-9, ranges=False)
        if paired and self.kind == "pairs" and chance(rng, 0.8):
            # The same worker and task with and without: the pairs go together.
            body["with"] = [
                draws.quantity(rng, draws.digits(float(one["value"]) * ratio * math.exp(0.5 * rng.standard_normal()),
                                                 3), unit)
                for one in body["without"]
            ]
        if chance(rng, 0.6):
            body["target_reduction_percent"] = one_of(rng, (50, 80, 90, 99, 25, 33.3))
        if chance(rng, 0.35):
            body["limit"] = draws.levels_near(rng, body["with"], unit)
            if chance(rng, 0.6):
                body["action_level"] = {"value": body["limit"]["value"] / 2, "unit": unit}
        if chance(rng, 0.2):
            body["prior"] = draws.box(rng, size / 10.0, size * 10.0)
        return body

    def expect(self, body, answer):
        effect = Effect(body, answer)
        fields = effect.counts() | method_fields(effect)
        fields["sufficiency"] = sufficiency(effect)
        fields.setdefault("further_samples", Free("its definition leaves room"))
        return fields

    def confirm(self, body):
        """lifelines' regression on the same results, where it takes them: left-censored, both sides detected."""
        effect = Effect(body)
        both = effect.without + effect.with_
        enough = [len({one.lower for one in side if one.detected}) > 2 for side in (effect.without, effect.with_)]
        if not all(enough) or not all(one.detected or one.below for one in both) or effect.plain:
            return
        found = RatioLikelihood.unpaired(*effect.logs)
        ln_ratio, sigma = by_lifelines(*effect.logs)
        assert abs(ln_ratio - found.peak) < 2e-3 * found.sigma and abs(sigma / found.sigma - 1.0) < 2e-3, \
            (ln_ratio, sigma, found.peak, found.sigma)


AREAS = [ControlEffect(kind) for kind in ("two sides", "pairs", "non-detects", "posterior")]
