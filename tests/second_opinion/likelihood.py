"""Maximum likelihood of log-normal results of which some are only bounds.

The likelihood is the product of phi((y - mu)/sigma)/sigma over detected values and of
Phi((upper - mu)/sigma) - Phi((lower - mu)/sigma) over bounds and ranges (Helsel, Statistics for Censored
Environmental Data, 2nd edition 2012). It is written out here; `scipy.stats.CensoredData` and lifelines, whose
optimisers stop at 4 to 5 digits, confirm it on a part of the inputs. The gradient is solved for zero afterwards.
"""

import math

import numpy as np
from scipy import optimize, special, stats

LN_SQRT_TWO_PI = 0.5 * math.log(2.0 * math.pi)


class LogResults:
    """Natural logarithms of results, as far as they are known."""

    def __init__(self, lower, upper):
        self.lower, self.upper = np.asarray(lower, float), np.asarray(upper, float)
        self.exact = self.lower == self.upper
        self.values = self.lower[self.exact]
        # Bounds that are the same count with their multiplicity.
        pairs = np.stack([self.lower[~self.exact], self.upper[~self.exact]], axis=1)
        self.bounds, self.times = np.unique(pairs, axis=0, return_counts=True) if len(pairs) else (pairs, np.zeros(0))

    @staticmethod
    def of(results):
        ln = lambda value: math.log(value) if value > 0.0 else -math.inf
        return LogResults([ln(one.lower) for one in results], [ln(one.upper) for one in results])

    def __len__(self):
        return len(self.lower)

    def moved(self, by):
        return LogResults(self.lower + by, self.upper + by)

    def with_(self, other):
        return LogResults(np.concatenate([self.lower, other.lower]), np.concatenate([self.upper, other.upper]))

    def finite_ends(self):
        """One finite number for every result that has one: the middle of a range, the end of a bound."""
        low, high = np.isfinite(self.lower), np.isfinite(self.upper)
        both = low & high
        return np.concatenate([0.5 * (self.lower[both] + self.upper[both]),
                               self.lower[low & ~high], self.upper[high & ~low]])

    def one_value_fits(self):
        return self.lower.max() <= self.upper.min()

    def unbounded(self):
        """-1 or 1 where the mean may run off to that side without the likelihood falling, else 0."""
        if np.all(np.isneginf(self.lower)):
            return -1
        return 1 if np.all(np.isposinf(self.upper)) else 0


def ln_probability(low, high):
    """ln(Phi(high) - Phi(low)), keeping its digits in both tails."""
    mirror = low > 0.0
    low, high = np.where(mirror, -high, low), np.where(mirror, -low, high)
    ln_high, ln_low = special.log_ndtr(high), special.log_ndtr(low)
    with np.errstate(invalid="ignore", divide="ignore"):
        wide = ln_high + np.log1p(-np.exp(ln_low - ln_high))
        # A difference with no digits left is the density times the width.
        narrow = np.log(high - low) - 0.125 * (high + low) ** 2 - LN_SQRT_TWO_PI
    return np.where(high - low < 1e-7, narrow, wide)


def log_likelihood(results, mu, ln_sigma):
    """The log-likelihood with its derivatives by mu and ln sigma."""
    sigma = math.exp(ln_sigma)
    z = (results.values - mu) / sigma
    value = float(-0.5 * z @ z) - len(z) * (ln_sigma + LN_SQRT_TWO_PI)
    by_mu, by_sigma = float(z.sum()) / sigma, float(z @ z) - len(z)
    if len(results.bounds):
        low, high = ((results.bounds - mu) / sigma).T
        ln_p = ln_probability(low, high)
        # Zero at an infinite end.
        at_low, at_high = (np.exp(-0.5 * end**2 - LN_SQRT_TWO_PI - ln_p) for end in (low, high))
        finite = lambda end: np.where(np.isfinite(end), end, 0.0)
        value += float(results.times @ ln_p)
        by_mu -= float(results.times @ (at_high - at_low)) / sigma
        by_sigma -= float(results.times @ (finite(high) * at_high - finite(low) * at_low))
    return value, np.array([by_mu, by_sigma])


def fit(results, ratio_fixed=None):
    """mu, sigma and the log-likelihood at its maximum; with `ratio_fixed` mu is that and only sigma is sought.

    None where there is no maximum: no detected value, or one value that fits every result.
    """
    if not results.exact.any() or results.one_value_fits():
        return None
    ends = results.finite_ends()
    centre, spread = float(ends.mean()), float(ends.std()) or 1.0
    if ratio_fixed is not None:
        spread = max(spread, 0.1 * abs(centre - ratio_fixed))
        slope = lambda ln_sigma: log_likelihood(results, ratio_fixed, ln_sigma)[1][1]
        low = high = math.log(spread)
        while slope(low) < 0.0:
            low -= 0.7
        while slope(high) > 0.0:
            high += 0.7
        ln_sigma = optimize.brentq(slope, low, high, xtol=1e-14, rtol=1e-14)
        return ratio_fixed, math.exp(ln_sigma), log_likelihood(results, ratio_fixed, ln_sigma)[0]
    # In units of the spread about the centre, so that any scale gives the same search.
    scaled = LogResults((results.lower - centre) / spread, (results.upper - centre) / spread)

    def downhill(at):
        value, slope = log_likelihood(scaled, *at)
        return -value, -slope

    rough = optimize.minimize(downhill, [0.0, 0.0], jac=True, method="BFGS", options={"gtol": 1e-6, "maxiter": 500})
    exact = optimize.root(lambda at: downhill(at)[1], rough.x, method="hybr", tol=1e-14)
    at = exact.x if downhill(exact.x)[0] <= rough.fun + 1e-9 * max(1.0, abs(rough.fun)) else rough.x
    return centre + spread * at[0], spread * math.exp(at[1]), \
        log_likelihood(scaled, *at)[0] - int(results.exact.sum()) * math.log(spread)


def fit_by_scipy(results):
    """The same by `scipy.stats.norm.fit` on censored data (4 to 5 digits)."""
    low, high = results.lower[~results.exact], results.upper[~results.exact]
    data = stats.CensoredData(
        uncensored=results.values,
        left=high[np.isneginf(low)],
        right=low[np.isposinf(high)],
        interval=np.stack([low, high], axis=1)[np.isfinite(low) & np.isfinite(high)],
    )
    mu, sigma = stats.norm.fit(data)
    return float(mu), float(sigma)
