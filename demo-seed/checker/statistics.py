"""Student's t from the incomplete beta function, and intervals on logarithms."""

from math import exp, lgamma, log, sqrt
from random import Random


def _continued_fraction(a, b, x):
    c, d = 1.0, 1.0 / (1.0 - (a + b) * x / (a + 1))
    total = d
    for m in range(1, 300):
        for step in (m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
                     -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1))):
            d = 1.0 / (1.0 + step * d)
            c = 1.0 + step / c
            total *= c * d
        if abs(c * d - 1.0) < 1e-14:
            break
    return total


def incomplete_beta(a, b, x):
    """The regularised incomplete beta function."""
    if x <= 0 or x >= 1:
        return float(x >= 1)
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log(x) + b * log(1 - x))
    if x < (a + 1) / (a + b + 2):
        return front * _continued_fraction(a, b, x) / a
    return 1 - front * _continued_fraction(b, a, 1 - x) / b


def t_quantile(p, df):
    """The quantile of Student's t, by bisection."""
    low, high = -200.0, 200.0
    for _ in range(200):
        middle = (low + high) / 2
        tail = incomplete_beta(df / 2, 0.5, df / (df + middle * middle)) / 2
        below = 1 - tail if middle > 0 else tail
        low, high = (middle, high) if below < p else (low, middle)
    return (low + high) / 2


def mean_and_spread(values):
    """Mean and standard deviation with n - 1."""
    mean = sum(values) / len(values)
    return mean, sqrt(sum((v - mean) ** 2 for v in values) / (len(values) - 1))


def ratio_paired(pairs):
    """With over without from pairs: estimate, lower and upper 95 %."""
    mean, spread = mean_and_spread([log(w / wo) for wo, w in pairs])
    half = t_quantile(0.975, len(pairs) - 1) * spread / sqrt(len(pairs))
    return exp(mean), exp(mean - half), exp(mean + half)


def ratio_welch(without, with_):
    """With over without from two samples by Welch's t on logarithms."""
    (m0, s0), (m1, s1) = (mean_and_spread([log(v) for v in side]) for side in (without, with_))
    v0, v1 = s0 * s0 / len(without), s1 * s1 / len(with_)
    df = (v0 + v1) ** 2 / (v0 ** 2 / (len(without) - 1) + v1 ** 2 / (len(with_) - 1))
    half = t_quantile(0.975, df) * sqrt(v0 + v1)
    return exp(m1 - m0), exp(m1 - m0 - half), exp(m1 - m0 + half)


def probability_p95_above(values, level):
    """Chance that the 95th percentile lies above a level, under the flat prior, by seeded draws."""
    random, n = Random("p95"), len(values)
    mean, spread = mean_and_spread([log(v) for v in values])
    above = 0
    for _ in range(20000):
        sigma = spread * sqrt((n - 1) / random.gammavariate((n - 1) / 2, 2))
        above += random.gauss(mean, sigma / sqrt(n)) + 1.6449 * sigma > log(level)
    return above / 20000


def percentile_95(values):
    """The point estimate of the 95th percentile."""
    mean, spread = mean_and_spread([log(v) for v in values])
    return exp(mean + 1.6449 * spread)


def verdict(interval, target_percent):
    """The word for the interval of with over without."""
    _, low, high = interval
    if high < 1:
        return "lowered"
    if low > 1:
        return "raised"
    return "undecided" if low <= 1 - target_percent / 100 else "no_difference_shown"
