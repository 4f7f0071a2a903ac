"""What a group's results say: plain results with exact limits, and results with non-detects by likelihood.

Definitions are those of the contract; EN 689:2018, 5.5.2 and 5.5.3, for the two tests.
"""

import math

from scipy import special

from . import draws, likelihood, lognormal, non_detects, worker_variance
from .comparison import EXACT, Absent, Amount, Free, Number, Perhaps, Quantile, Word, plain
from .draws import chance, one_of
from .likelihood import LogResults
from .posterior import Flat, Posterior
from .units import known, number, rounded

PRELIMINARY_SHARES = {3: 0.1, 4: 0.15, 5: 0.2}
ONLY = ("geometric_mean", "geometric_standard_deviation", "arithmetic_mean", "percentile_95", "exceedance_fraction")


def read(body):
    """The results in one unit, that of the first; the limit in the same."""
    unit = body["results"][0]["unit"]
    results = [known(one, unit) for one in body["results"]]
    return unit, results, number(body["limit"], unit) if "limit" in body else None


def largest(results):
    """The result that may be the largest: the highest upper end, a value before a bound."""
    return max(results, key=lambda one: (one.upper, one.lower))


def preliminary(results, limit):
    """EN 689 on 3 to 5 results. A bound counts at its upper end; an overloaded result is above what it reached."""
    share = rounded(PRELIMINARY_SHARES[len(results)] * limit)
    if any(one.lower >= limit if one.above else one.upper > limit for one in results):
        return "non_compliance"
    return "compliance" if all(one.upper < share for one in results) else "no_decision"


def en_689(results, limit, upper_70):
    """The test of EN 689, as expected fields."""
    if limit is None or len(results) < 3:
        return {"en_689": Absent("no limit, or fewer than 3 results")}
    if len(results) in PRELIMINARY_SHARES:
        return {"en_689.stage": Word("preliminary"), "en_689.outcome": Word(preliminary(results, limit))}
    if upper_70 is None:
        return {"en_689": Absent("no exact limit of the 95th percentile")}
    outcome = "compliance" if rounded(upper_70) <= rounded(limit) else "non_compliance"
    close = abs(upper_70 / limit - 1.0) < 1e-5
    return {
        "en_689.stage": Word("statistical"),
        "en_689.outcome": Free("the limit is met to the last digits") if close else Word(outcome),
    }


def figure(path, ln_value, unit, relative=EXACT):
    """A figure with a unit from its logarithm; absent where no double holds it."""
    if ln_value > lognormal.LARGEST_LN:
        return {path: Absent("beyond a double")}
    if ln_value > lognormal.LARGEST_LN - 1.0:
        return {path: Free("at the end of what a double holds")}
    # An end that underflows is zero.
    value = math.exp(ln_value)
    return {path: Number(value, relative * max(1.0, abs(ln_value) / 100.0), absolute=1e-300, unit=unit)}


def tail(path, value, distance, moments_error, relative):
    """A share of a normal tail: what is uncertain in the distance grows with the distance in the tail."""
    if value in (0.0, 1.0):
        return {path: Number(value, absolute=1e-290)}
    z = max(abs(distance), abs(float(special.ndtri(value))))
    return {path: Number(value, relative * (1.0 + z) + (1.0 + z) ** 2 * moments_error, absolute=1e-290)}


def exact_fields(results, limit, unit):
    """Everything that plain values with spread give."""
    values = [one.lower for one in results]
    m = lognormal.LogMoments.of(values)
    fields = {"method": Word("exact"), "geometric_mean": plain(math.exp(m.mean), unit)}
    fields["geometric_standard_deviation"] = Number(math.exp(m.sd))
    mean = m.unbiased_mean()
    if math.isfinite(mean):
        fields["arithmetic_mean.estimate"] = Number(mean, unit=unit)
    # Both roots are solved to about 1e-12 in the logarithm; its distance from the mean carries the quadrature's error.
    for name, probability in (("lower_95", 0.95), ("upper_95", 0.05)):
        limit_ln = lognormal.land_ln_limit(m, probability)
        path = f"arithmetic_mean.{name}"
        if limit_ln is None:
            fields[path] = Absent("beyond a double")
        else:
            fields |= figure(path, limit_ln, unit, 1e-9 + 1e-10 * abs(limit_ln - m.mean))
    fields |= figure("percentile_95.estimate", m.mean + lognormal.Z_95 * m.sd, unit)
    upper_70 = m.mean + lognormal.tolerance_factor(m.n, 0.70) * m.sd
    fields |= figure("percentile_95.upper_70", upper_70, unit)
    fields |= figure("percentile_95.upper_95", m.mean + lognormal.tolerance_factor(m.n, 0.95) * m.sd, unit)
    if limit is None:
        fields["exceedance_fraction"] = Absent("no limit")
    else:
        k = m.distance(limit)
        # exp of the deviation, not the deviation, is what was given: its uncertainty is that of the logarithms.
        error = (1.0 + abs(k)) / max(1.0, abs(k)) * m.relative_sd_error
        fields |= tail("exceedance_fraction.estimate", float(special.ndtr(-k)), k, error, EXACT)
        for name, confidence in (("lower_95", 0.05), ("upper_70", 0.70), ("upper_95", 0.95)):
            share = lognormal.exceedance_limit(m, limit, confidence)
            fields |= tail(f"exceedance_fraction.{name}", share, k, error, 1e-9)
    fields |= shapiro_fields(values, m)
    return fields, math.exp(upper_70) if upper_70 < lognormal.LARGEST_LN else None


def shapiro_fields(values, m):
    if m.n < 3:
        return {"lognormal_fit": Absent("fewer than 3 results")}
    w, p = lognormal.shapiro_wilk(values)
    # SciPy's coefficients use a normal quantile good to about 1e-9; ln(1 - W), and for three values asin(sqrt W),
    # carry that into p, the more so the nearer W is to 1.
    slack = 3e-9 + 4.0 * m.relative_sd_error
    rest = max(1.0 - w, slack)
    slack_p = slack / math.sqrt(rest) if m.n == 3 else 10.0 * slack / rest
    return {
        "lognormal_fit.w": Number(w, absolute=slack),
        "lognormal_fit.p_value": Number(p, absolute=1e-7 + slack_p),
    }


def likelihood_fields(fitted, limit, unit):
    """What maximum likelihood gives.

    Both sides stop where the gradient is lost in rounding: 1e-8 of the deviation of the logarithms.
    """
    mu, sigma, _ = fitted
    error = 1e-8 * (1.0 + sigma)
    fields = {
        "method": Word("maximum_likelihood"),
        "geometric_mean": plain(math.exp(mu), unit, error),
        "lognormal_fit": Absent("not every result is a plain value"),
    }
    if sigma < 700.0:
        fields["geometric_standard_deviation"] = Number(math.exp(sigma), error)
    fields |= figure("arithmetic_mean.estimate", mu + 0.5 * sigma**2, unit, error * (1.0 + sigma))
    fields |= figure("percentile_95.estimate", mu + lognormal.Z_95 * sigma, unit, 3.0 * error)
    if limit is None:
        fields["exceedance_fraction"] = Absent("no limit")
    else:
        z = (math.log(limit) - mu) / sigma
        fields |= tail("exceedance_fraction.estimate", float(special.ndtr(-z)), z, 1e-8, 1e-8)
    return fields


def bounded_limits(logs, limit, unit):
    """One-sided limits with bounds among the results: quantiles under a prior uniform in mu and ln sigma.

    Where every result is detected the percentile's are those of the non-central t (Box and Tiao 1973, section 2.4).
    The contract defines no limits here, so that a service may leave them out. Quadrature on both sides.
    """
    post = Posterior(logs, Flat(logs), mesh=(50, 3))
    fields = {}
    percentile = lambda value: post.percentile_below(math.log(value))
    mean = lambda value: post.mean_below(math.log(value))
    # Lower limits of the mean: the lower one of this and of that under a prior with 1/sigma more.
    lower = min(post, post.tilted(-1.0), key=lambda one: one.ln_arithmetic_mean(0.05))
    lower_mean = lambda value: lower.mean_below(math.log(value))
    for path, ln_value, p, below in (
        ("arithmetic_mean.lower_95", lower.ln_arithmetic_mean(0.05), 0.05, lower_mean),
        ("arithmetic_mean.upper_95", post.ln_arithmetic_mean(0.95), 0.95, mean),
        ("percentile_95.upper_70", post.ln_percentile_95(0.70), 0.70, percentile),
        ("percentile_95.upper_95", post.ln_percentile_95(0.95), 0.95, percentile),
    ):
        if ln_value > lognormal.LARGEST_LN - 1.0:
            fields[path] = Free("at or beyond the end of what a double holds")
        else:
            fields[path] = Perhaps(Quantile(math.exp(ln_value), p, below, 1e-5, 1e-5, unit))
    if limit is not None:
        for name, probability in (("lower_95", 0.05), ("upper_70", 0.70), ("upper_95", 0.95)):
            value = post.exceedance(limit, probability)
            fields[f"exceedance_fraction.{name}"] = Perhaps(Number(value, 1e-4, absolute=1e-5))
    return fields, post.ln_percentile_95(0.70)


def rank_fields(results, unit):
    """Substitution, order statistics and Kaplan-Meier; none with an overloaded result or a range above zero."""
    parts = non_detects.split(results)
    if parts is None:
        reason = Absent("a result is neither a value nor a non-detect")
        return {"substitution": reason, "order_statistics": reason, "kaplan_meier": reason}
    detected, limits = parts
    fields = {}
    for name, divisor in (("half", 2.0), ("root_two", math.sqrt(2.0))):
        gm, gsd, mean = non_detects.substituted(detected, limits, divisor)
        fields |= {
            f"substitution.{name}.geometric_mean": plain(gm, unit),
            f"substitution.{name}.geometric_standard_deviation":
                Absent("one result") if gsd is None else Number(gsd),
            f"substitution.{name}.arithmetic_mean": plain(mean, unit),
        }
    logs = non_detects.order_statistics(detected, limits)
    if logs is None:
        fields["order_statistics"] = Absent("fewer than two different detected values")
    else:
        fields["order_statistics.geometric_mean"] = plain(math.exp(logs.mean()), unit)
        fields["order_statistics.geometric_standard_deviation"] = Number(math.exp(logs.std(ddof=1)))
    if detected:
        fields["kaplan_meier.mean"] = plain(non_detects.kaplan_meier_mean(detected, limits), unit)
    else:
        fields["kaplan_meier"] = Absent("no detected value")
    return fields


def profile_fields(body, answer):
    """Everything but the posterior and the workers."""
    unit, results, limit = read(body)
    distinct = {rounded(one.lower) for one in results if one.detected}
    top = largest(results)
    fields = {
        "n": Word(len(results)),
        "n_below": Word(sum(one.below for one in results)),
        "largest_result": Amount(top.lower, top.upper, unit),
        "posterior": Free("compared in an area of its own"),
    }
    upper_70 = None
    if len(distinct) < 2:
        fields["method"] = Word("posterior_only")
        fields |= dict.fromkeys(ONLY, Absent("fewer than two different detected values"))
        if not all(one.detected for one in results) or len(results) < 3:
            fields["lognormal_fit"] = Absent("a non-detect, or fewer than 3 results")
        else:
            fields["lognormal_fit"] = Absent("all results are equal")
    elif all(one.detected for one in results):
        more, upper_70 = exact_fields(results, limit, unit)
        fields |= more
    else:
        logs = LogResults.of(results)
        more, ln_upper_70 = bounded_limits(logs, limit, unit)
        fields |= likelihood_fields(likelihood.fit(logs), limit, unit) | more
        # The test follows the limit where the service gives one.
        if "upper_70" in answer.get("percentile_95", {}) and ln_upper_70 < lognormal.LARGEST_LN:
            upper_70 = math.exp(ln_upper_70)
    return fields | en_689(results, limit, upper_70) | rank_fields(results, unit)


def _levels(rng, results, unit):
    body = {}
    if chance(rng, 0.85):
        to = one_of(rng, ("ug/m3", "mg/m3")) if unit == "ug/m3" and chance(rng, 0.2) else unit
        level = draws.levels_near(rng, results, unit)
        if to != unit:
            level = {"value": draws.digits(level["value"] / 1000.0, 12), "unit": to}
        body["limit"] = level
    return body


class PlainResults:
    name = "group-profile (plain results)"
    calculation = "group-profile"

    def draw(self, rng):
        unit = one_of(rng, ("ug/m3", "mg/m3", "[ppm]", "{fibers}/mL"))
        results = draws.detected(rng, draws.count(rng), unit)
        body = _levels(rng, results, unit)
        if unit == "ug/m3" and chance(rng, 0.2):
            results = draws.in_several_units(rng, results)
        return {"results": results} | body

    def expect(self, body, answer):
        return profile_fields(body, answer) | {"workers": Absent("no workers given", flagged=False)}


class NonDetects:
    name = "group-profile (non-detects)"
    calculation = "group-profile"

    def draw(self, rng):
        unit = one_of(rng, ("ug/m3", "mg/m3", "[ppm]", "{fibers}/mL"))
        results = draws.censored(rng, draws.count(rng), unit)
        return {"results": results} | _levels(rng, results, unit)

    def expect(self, body, answer):
        return profile_fields(body, answer)

    def confirm(self, body):
        """The libraries' own fits of the same results."""
        _, results, _ = read(body)
        logs = LogResults.of(results)
        if len(set(logs.values)) > 1 and not logs.exact.all():
            mu, sigma, _ = likelihood.fit(logs)
            rough = likelihood.fit_by_scipy(logs)
            assert abs(rough[0] - mu) < 1e-3 * sigma and abs(rough[1] / sigma - 1.0) < 1e-3, (mu, sigma, rough)
        parts = non_detects.split(results)
        if parts and len(set(parts[0])) > 1:
            ours, theirs = non_detects.order_statistics(*parts), non_detects.order_statistics_by_statsmodels(*parts)
            if theirs is not None:
                assert abs(ours.mean() - theirs.mean()) < 1e-9 and abs(ours.std() - theirs.std()) < 1e-9


class Workers:
    name = "group-profile (workers)"
    calculation = "group-profile"

    def draw(self, rng):
        n, unit, size = draws.count(rng), one_of(rng, ("ug/m3", "mg/m3")), draws.scale(rng)
        labels = [f"W-{int(rng.integers(max(1, int(n * rng.uniform(0.1, 1.0)))))}" for _ in range(n)]
        if chance(rng, 0.3) and n > 3:
            each = one_of(rng, [k for k in range(2, n) if n % k == 0] or [n])
            labels = [f"W-{at // each}" for at in range(n)]
        between, within = rng.uniform(0.0, 1.5), rng.uniform(0.1, 1.2)
        centre = {label: between * rng.standard_normal() for label in labels}
        values = [
            draws.digits(size * math.exp(centre[label] + within * rng.standard_normal()), one_of(rng, (2, 3, 5)))
            for label in labels
        ]
        results = [draws.quantity(rng, value, unit) for value in values]
        if chance(rng, 0.1):
            results[0] = draws.quantity(rng, values[0], unit, "<")
        return {"results": results, "workers": labels}

    def expect(self, body, _):
        fields = {"posterior": Free("compared in an area of its own"), "n": Word(len(body["results"]))}
        _, results, _ = read(body)
        values, labels = [one.lower for one in results], body["workers"]
        if not all(one.detected for one in results) or not 1 < len(set(labels)) < len(labels):
            return fields | {"workers": Absent("a non-detect, one worker, or no worker with two results")}
        if len(set(values)) == 1:
            return fields | {"workers": Free("all results are equal")}
        logs = [math.log(value) for value in values]
        parts = worker_variance.grouped(logs, labels)
        within, between = worker_variance.analysis_of_variance(*parts)
        if within < 1e-20:
            return fields | {"workers": Free("every worker's results are equal")}
        total, cut = within + abs(between), max(between, 0.0)
        # A difference of mean squares, and the flat top of a likelihood: relative to the whole variance.
        loss, flat = 1e-11 * total, 1e-7 * total
        reml = worker_variance.restricted_maximum(*parts)
        return fields | {
            "workers.within": Number(within, absolute=loss),
            "workers.between": Number(cut, absolute=loss),
            "workers.between_untruncated": Number(between, absolute=loss),
            "workers.intraclass_correlation": Number(cut / (cut + within), absolute=1e-11),
            "workers.reml_within": Number(float(reml[0]), 1e-7, absolute=flat),
            "workers.reml_between": Number(float(reml[1]), 1e-7, absolute=flat),
        }

    def confirm(self, body):
        """statsmodels' mixed model on the same results; it only creeps towards a between variance of zero."""
        _, results, _ = read(body)
        labels, values = body["workers"], [one.lower for one in results]
        if not all(one.detected for one in results) or not 1 < len(set(labels)) < len(labels) or len(set(values)) < 3:
            return
        logs = [math.log(value) for value in values]
        parts = worker_variance.grouped(logs, labels)
        within, between = worker_variance.restricted_maximum(*parts)
        theirs = worker_variance.by_statsmodels(logs, labels)
        if parts[2] > 1e-12 and between > 0.02 * within and theirs is not None:
            scale = sum((y - sum(logs) / len(logs)) ** 2 for y in logs) / len(logs)
            assert abs(theirs[0] * scale / within - 1.0) < 2e-3, (within, theirs, scale)
            assert abs(theirs[1] * scale / between - 1.0) < 2e-2, (between, theirs, scale)


AREAS = [PlainResults(), NonDetects(), Workers()]
