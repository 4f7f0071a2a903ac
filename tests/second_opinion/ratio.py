"""The ratio of two geometric means: t on logarithms, and profile likelihood with non-detects.

Sources: Welch 1947 and Student 1908 through `scipy.stats`; Cox and Hinkley, Theoretical Statistics, 1974 (profile
likelihood); Barndorff-Nielsen and Cox, Inference and Asymptotics, 1994 (signed root of the likelihood ratio).
"""

import math
import warnings
from dataclasses import dataclass

import numpy as np
import pandas
from lifelines import LogNormalAFTFitter
from scipy import optimize, special, stats

from .likelihood import LogResults, fit, log_likelihood

CHI_SQUARED_95 = float(stats.chi2.ppf(0.95, 1))
FURTHEST = 700.0


@dataclass
class Contrast:
    """ln ratio with its standard error and degrees of freedom; no error without spread."""

    ln_ratio: float
    error: float
    degrees: float
    limits: tuple
    p_value: float | None

    def below(self, x):
        return float(stats.t.cdf((x - self.ln_ratio) / self.error, self.degrees))


def contrast(without, with_, paired):
    """Student's or Welch's t on the logarithms of plain values."""
    y0, y1 = np.log(without), np.log(with_)
    if paired:
        difference = y1 - y0
        ln_ratio = math.fsum(difference) / len(difference)
        # Equal ratios of decimals differ in the last place of a double.
        if np.ptp(difference) < 1e-11:
            return Contrast(ln_ratio, 0.0, len(difference) - 1, (None, None), None)
        test = stats.ttest_1samp(difference, 0.0)
    else:
        ln_ratio = math.fsum(y1) / len(y1) - math.fsum(y0) / len(y0)
        if len(set(without)) == len(set(with_)) == 1:
            return Contrast(ln_ratio, 0.0, len(y0) + len(y1) - 2, (None, None), None)
        with warnings.catch_warnings():
            # One side without spread is an ordinary case of Welch's formula.
            warnings.simplefilter("ignore")
            test = stats.ttest_ind(y1, y0, equal_var=False)
    limits = test.confidence_interval(0.95)
    error = float(limits.high - limits.low) / (2.0 * float(stats.t.ppf(0.975, test.df)))
    return Contrast(ln_ratio, error, float(test.df), (float(limits.low), float(limits.high)), float(test.pvalue))


def pair_ratios(without, with_):
    """ln(with/without) of pairs, a bound on either side leaving a bound."""
    return LogResults(with_.lower - without.upper, with_.upper - without.lower)


class RatioLikelihood:
    """The profile likelihood of the log ratio, one common deviation (or that of the pairs' log ratios)."""

    def __init__(self, sides=None, ratios=None):
        self.sides, self.ratios = sides, ratios
        self.peak = self.highest = self.sigma = None

    @staticmethod
    def paired(ratios):
        best = fit(ratios)
        if best is None:
            return None
        this = RatioLikelihood(ratios=ratios)
        this.peak, this.sigma, this.highest = best
        return this

    @staticmethod
    def unpaired(without, with_):
        """None where the common deviation cannot be told."""
        both = without.with_(with_)
        if not both.exact.any() or (without.one_value_fits() and with_.one_value_fits()):
            return None
        this = RatioLikelihood(sides=(without, with_))
        runs = without.unbounded(), with_.unbounded()
        if any(runs):
            # The side that runs off adds nothing: the highest likelihood is that of the other one alone.
            best = fit(with_ if runs[0] else without)
            if all(runs) or best is None:
                return None
            this.peak = -runs[0] * math.inf if runs[0] else runs[1] * math.inf
            this.sigma, this.highest = best[1], best[2]
            return this
        start = float(with_.finite_ends().mean() - without.finite_ends().mean())
        pooled = fit(without.with_(with_.moved(-start)))
        solved = optimize.root(lambda at: this._slopes(*at), [pooled[0], start, math.log(pooled[1])], tol=1e-14)
        this.peak = float(solved.x[1])
        # A slope of zero is also far away, where everything is flat: then the top is sought along the profile.
        if np.abs(solved.fun).max() > 1e-7 or this.at(this.peak) < pooled[2]:
            this.peak = this._top(start, pooled[1])
        _, this.sigma, this.highest = fit(without.with_(with_.moved(-this.peak)))
        return this

    def _top(self, start, step):
        """Where the profile's slope, that of the side with the control at the refitted mean, is zero."""
        def slope(ratio):
            mu, sigma, _ = fit(self.sides[0].with_(self.sides[1].moved(-ratio)))
            return log_likelihood(self.sides[1], mu + ratio, math.log(sigma))[1][0]

        direction = 1.0 if slope(start) > 0.0 else -1.0
        inner, outer = start, start + direction * step
        while slope(outer) * direction > 0.0:
            inner, step = outer, step * 1.6
            outer += direction * step
        return optimize.brentq(slope, *sorted((inner, outer)), xtol=1e-13, rtol=1e-14)

    def _slopes(self, mu, ratio, ln_sigma):
        """Derivatives by mu, log ratio (both in units of sigma) and ln sigma."""
        _, one = log_likelihood(self.sides[0], mu, ln_sigma)
        _, two = log_likelihood(self.sides[1], mu + ratio, ln_sigma)
        sigma = math.exp(ln_sigma)
        return np.array([(one[0] + two[0]) * sigma, two[0] * sigma, one[1] + two[1]])

    def at(self, ratio):
        """The highest log-likelihood with the log ratio held."""
        if self.ratios is not None:
            return fit(self.ratios, ratio_fixed=ratio)[2]
        return fit(self.sides[0].with_(self.sides[1].moved(-ratio)))[2]

    def deviance(self, ratio):
        return max(2.0 * (self.highest - self.at(ratio)), 0.0)

    def limit(self, side):
        """The end of the 95 % interval on that side (-1 or 1); None where the likelihood never falls so far."""
        excess = lambda ratio: self.deviance(ratio) - CHI_SQUARED_95
        if math.isinf(self.peak):
            if (self.peak > 0.0) == (side > 0):
                return None
            start = float(self.sides[1].finite_ends().mean() - self.sides[0].finite_ends().mean())
            # Towards the far peak until inside, or away from it until outside.
            direction = side if excess(start) < 0.0 else -side
        else:
            start, direction = self.peak, side
            if self.sides is not None and (solved := self._limit_by_root(side)) is not None:
                return solved
        step, inner, outer = self.sigma, start, start + direction * self.sigma
        while (excess(outer) < 0.0) == (direction == side):
            inner, step = outer, step * 1.6
            outer += direction * step
            if abs(outer - start) > FURTHEST:
                return None
        return optimize.brentq(excess, *sorted((inner, outer)), xtol=1e-12, rtol=1e-14)

    def _limit_by_root(self, side):
        """Solves for mu, log ratio and ln sigma at once; None where that leads elsewhere."""
        spread = 2.0 * self.sigma * math.sqrt(1.0 / len(self.sides[0]) + 1.0 / len(self.sides[1]))
        start = self.peak + side * spread
        held = fit(self.sides[0].with_(self.sides[1].moved(-start)))

        def equations(at):
            mu, ratio, ln_sigma = at
            slopes = self._slopes(mu, ratio, ln_sigma)
            value = log_likelihood(self.sides[0], mu, ln_sigma)[0] + log_likelihood(
                self.sides[1], mu + ratio, ln_sigma)[0]
            return [slopes[0], slopes[2], 2.0 * (self.highest - value) - CHI_SQUARED_95]

        with np.errstate(all="ignore"):
            try:
                solved = optimize.root(equations, [held[0], start, math.log(held[1])], tol=1e-13)
            except (OverflowError, FloatingPointError):
                return None
        found = float(solved.x[1])
        good = np.abs(solved.fun).max() < 1e-8 and (found - self.peak) * side > 0.0
        return found if good else None

    def below(self, x):
        """The probability that the log ratio is below x, by the signed root."""
        root = math.sqrt(self.deviance(x))
        return float(special.ndtr(root if x >= self.peak else -root))

    def p_value(self):
        return float(2.0 * special.ndtr(-math.sqrt(self.deviance(0.0))))


def by_lifelines(without, with_):
    """The log ratio by a log-normal regression on left-censored results (4 to 5 digits)."""
    both, scale = without.with_(with_), float(without.finite_ends().mean())
    frame = pandas.DataFrame({
        "value": np.exp(both.upper - scale),
        "detected": both.exact,
        "with": [0.0] * len(without) + [1.0] * len(with_),
    })
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = LogNormalAFTFitter().fit_left_censoring(frame, duration_col="value", event_col="detected")
    return float(model.params_.loc[("mu_", "with")]), math.exp(float(model.params_.loc[("sigma_", "Intercept")]))
