"""Log-normal statistics of plain values, with exact limits.

Sources: Finney 1941 (unbiased mean); Land 1971 (exact limits of the mean); Hahn and Meeker, Statistical Intervals,
1991 (percentile limits and limits of the share above a level by the non-central t); Shapiro and Wilk 1965.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy import optimize, special, stats

Z_95 = float(stats.norm.ppf(0.95))
NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)
LARGEST_LN = math.log(1.7976931348623157e308)


def panels(edges):
    """Gauss-Legendre nodes and weights on the intervals between ascending edges."""
    edges = np.unique(np.asarray(edges, float))
    centre, half = 0.5 * (edges[1:] + edges[:-1]), 0.5 * np.diff(edges)
    return (centre[:, None] + half[:, None] * NODES).ravel(), (half[:, None] * WEIGHTS).ravel()


@dataclass(frozen=True)
class LogMoments:
    """Count, mean and standard deviation (n - 1) of natural logarithms."""

    n: int
    mean: float
    sd: float
    relative_sd_error: float

    @staticmethod
    def of(values):
        """From plain values; None where they are fewer than two or all equal."""
        if len(set(values)) < 2:
            return None
        logs = [math.log(value) for value in values]
        mean = math.fsum(logs) / len(logs)
        sd = math.sqrt(math.fsum((y - mean) ** 2 for y in logs) / (len(logs) - 1))
        # A logarithm is rounded to half a unit in its last place: that much of the deviation is uncertain.
        return LogMoments(len(logs), mean, sd, 4e-16 * (1.0 + max(map(abs, logs))) / sd)

    def unbiased_mean(self):
        argument = (self.n - 1) ** 2 * self.sd**2 / (4.0 * self.n)
        return math.exp(self.mean) * float(special.hyp0f1(0.5 * (self.n - 1), argument))

    def distance(self, limit):
        return (math.log(limit) - self.mean) / self.sd


@lru_cache(maxsize=None)
def tolerance_factor(n, confidence, coverage=0.95):
    """K of a percentile, the 95th: ln limit = mean + K s."""
    root = math.sqrt(n)
    return float(stats.nct.ppf(confidence, n - 1, float(stats.norm.ppf(coverage)) * root)) / root


def noncentral_t_cdf(t, degrees, shift):
    """P(T <= t), integrated over s = chi / sqrt(degrees): T <= t when a normal deviate is below t s - shift.

    `scipy.special.nctdtr` gives the same where it converges, which the self-test checks; far from the data, where
    the shift exceeds about 38, it does not.
    """
    low = math.sqrt(stats.chi2.ppf(1e-19, degrees) / degrees)
    high = math.sqrt(stats.chi2.isf(1e-19, degrees) / degrees)
    edges = np.linspace(low, high, 13)
    if t != 0.0:
        turn = shift / t + np.array([-9, -5, -3, -1.5, 0, 1.5, 3, 5, 9]) / abs(t)
        edges = np.concatenate([edges, turn[(turn > low) & (turn < high)]])
    s, weights = panels(edges)
    density = np.exp((degrees - 1) * np.log(s) - 0.5 * degrees * s * s + 0.5 * (degrees - 1))
    weights = weights * density
    return float(weights @ special.ndtr(t * s - shift) / weights.sum())


def exceedance_limit(moments, limit, confidence):
    """The share e above `limit` with F(k sqrt n; n - 1, z_(1-e) sqrt n) = confidence."""
    root, k = math.sqrt(moments.n), moments.distance(limit)

    def excess(z):
        value = float(special.nctdtr(moments.n - 1, z * root, k * root))
        if not math.isfinite(value) or max(abs(z), abs(k)) * root > 30.0:
            value = noncentral_t_cdf(k * root, moments.n - 1, z * root)
        return value - confidence

    # Beyond 39 deviations a normal tail is zero in a double.
    if excess(39.0) >= 0.0:
        return 0.0
    if excess(-39.0) <= 0.0:
        return 1.0
    # Outward from the point estimate.
    low = high = min(max(k, -39.0), 39.0)
    step = 0.5 / root
    while excess(low) < 0.0:
        low, step = max(low - step, -39.0), step * 2.0
    step = 0.5 / root
    while excess(high) > 0.0:
        high, step = min(high + step, 39.0), step * 2.0
    z = optimize.brentq(excess, low, high, xtol=1e-13, rtol=1e-14) if low < high else low
    return float(special.ndtr(-z))


def land_probability(moments, m):
    """P(U <= u) when the mean of the distribution is exp(m).

    The density (1 - u^2)^((n-3)/2) exp(-sqrt(n) R u / 2) is integrated over x, u = tanh x, where it is smooth.
    """
    n = moments.n
    spread, offset = math.sqrt(n - 1) * moments.sd, math.sqrt(n) * (moments.mean - m)
    slope = 0.5 * math.sqrt(n) * math.hypot(spread, offset)
    at = math.asinh(offset / spread)
    # The highest point solves (n-1) t + slope (1 - t^2) = 0, t = tanh x; 1 + t is written without cancellation.
    root = math.hypot(n - 1, 2.0 * slope)
    above_minus_one = ((n - 1) + (n - 1) ** 2 / (root + 2.0 * slope)) / ((n - 1) + root)
    peak = 0.5 * math.log(above_minus_one / (2.0 - above_minus_one))
    reach = 45.0 / (n - 1) + 9.0 / math.sqrt(n - 1)
    shape = lambda x: -(n - 1) * _ln_cosh(x) - 2.0 * slope * special.expit(2.0 * x)
    highest = shape(peak)
    low, high = min(peak - reach, at - 1.0), max(peak + reach, at + 1.0)
    # Panels two deviations wide: with two values the density falls like exp(-exp(-x)) on one side.
    inner = np.linspace(peak - reach, peak + reach, int(reach * math.sqrt(n - 1)) + 2)
    parts = []
    for start, end in ((low, at), (at, high)):
        x, weights = panels(np.concatenate([[start, end], inner[(inner > start) & (inner < end)]]))
        parts.append(float(weights @ np.exp(shape(x) - highest)))
    return parts[0] / (parts[0] + parts[1])


def _ln_cosh(x):
    return np.abs(x) + np.log1p(np.exp(-2.0 * np.abs(x))) - math.log(2.0)


def land_ln_limit(moments, probability):
    """The logarithm of Land's limit: `probability` 0.05 for the upper one, 0.95 for the lower; None beyond 2000."""
    centre = moments.mean + 0.5 * moments.sd**2
    excess = lambda m: land_probability(moments, m) - probability
    sign = 1.0 if excess(centre) > 0.0 else -1.0
    step, inner = moments.sd / math.sqrt(moments.n), centre
    outer = centre + sign * step
    while excess(outer) * sign > 0.0:
        inner, step = outer, step * 2.0
        outer += sign * step
        if abs(outer) > 2000.0 + abs(centre):
            return None
    low, high = sorted((inner, outer))
    return optimize.brentq(excess, low, high, xtol=1e-13, rtol=1e-14)


def shapiro_wilk(values):
    """W and its probability of the logarithms, which are brought to mean 0 and deviation 1 first."""
    logs = np.log(values)
    fit = stats.shapiro((logs - logs.mean()) / logs.std())
    return float(fit.statistic), float(fit.pvalue)
