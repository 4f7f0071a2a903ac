"""The same figures with NumPy and SciPy, as a script would compute them.

Reads one JSON request a line and answers with one: {"seconds": CPU time, "values": one list a group}. Reading, writing and
the making of arrays are not timed.
"""

import json
import sys
import time

import numpy as np
from scipy import optimize, special, stats

SHARES = np.array([0.01, 0.1, 0.5, 1.0])
Z95 = stats.norm.ppf(0.95)
GM_OF_LIMIT = (0.0005, 5.0)
GSD = (1.05, 4.0)


def limits(groups):
    """Upper 95 % limit of the 95th percentile, and upper 95 % limit of the exceedance fraction."""
    groups = [(np.array(group["logs"]), group["ln_limit"]) for group in groups]
    start = time.process_time()
    n = np.array([len(logs) for logs, _ in groups], dtype=float)
    mean = np.array([logs.mean() for logs, _ in groups])
    deviation = np.array([logs.std(ddof=1) for logs, _ in groups])
    factor = stats.nct.ppf(0.95, n - 1, Z95 * np.sqrt(n)) / np.sqrt(n)
    upper = np.exp(mean + factor * deviation)
    values = []
    for (_, ln_limit), n, mean, deviation, upper in zip(groups, n, mean, deviation, upper):
        t = (ln_limit - mean) / deviation * np.sqrt(n)
        # The answer is near the lower third; further out nct.cdf is sometimes no number.
        width = np.sqrt(1 + t * t / (2 * (n - 1)))
        shift = optimize.brentq(lambda d: stats.nct.cdf(t, n - 1, d) - 0.95, t - 3 * width, t)
        values.append([upper, stats.norm.sf(shift / np.sqrt(n))])
    return time.process_time() - start, [[float(x) for x in pair] for pair in values]


def sufficient(group):
    """Count, mean and sum of squares of detected logarithms; bounds with their counts."""
    detected = np.array(group["detected"])
    mean = detected.mean() if len(detected) else 0.0
    bounds, counts = np.unique(np.array(group["below"]), return_counts=True)
    return len(detected), mean, ((detected - mean) ** 2).sum(), bounds, counts


def ln_likelihood(facts, mu, sigma):
    count, mean, squares, bounds, counts = facts
    value = -count * np.log(sigma) - 0.5 * (squares + count * (mean - mu) ** 2) / sigma**2
    for bound, number in zip(bounds, counts):
        value = value + number * special.log_ndtr((bound - mu) / sigma)
    return value


def prior_box(limit):
    return np.log(np.array(GM_OF_LIMIT) * limit), np.log(np.array(GSD))


def grid(groups):
    """Rating bands from a grid of 200 x 200 cells over the prior's box."""
    start = time.process_time()
    values = []
    for group in groups:
        facts = sufficient(group)
        (mu_low, mu_high), (sigma_low, sigma_high) = prior_box(group["limit"])
        middle = (np.arange(200) + 0.5) / 200
        mu = (mu_low + middle * (mu_high - mu_low))[None, :]
        sigma = (sigma_low + middle * (sigma_high - sigma_low))[:, None]
        value = ln_likelihood(facts, mu, sigma)
        weight = np.exp(value - value.max())
        band = np.searchsorted(np.log(SHARES * group["limit"]), mu + Z95 * sigma)
        bands = np.bincount(band.ravel(), weights=weight.ravel(), minlength=5)
        values.append(bands / bands.sum())
    return time.process_time() - start, [list(map(float, bands)) for bands in values]


def fine(groups):
    """The same bands to ten digits: Gauss-Legendre along sigma, and along mu between the edges of the bands."""
    start = time.process_time()
    node, share = np.polynomial.legendre.leggauss(32)
    values = []
    for group in groups:
        facts = sufficient(group)
        (mu_low, mu_high), (sigma_low, sigma_high) = prior_box(group["limit"])
        edges = np.linspace(sigma_low, sigma_high, 13)
        half = 0.5 * np.diff(edges)[:, None]
        sigma = (0.5 * (edges[1:] + edges[:-1])[:, None] + half * node).ravel()
        along_sigma = (half * share).ravel()
        rows, highest = [], -np.inf
        for s in sigma:
            cuts = np.clip(np.log(SHARES * group["limit"]) - Z95 * s, mu_low, mu_high)
            ends = np.concatenate([[mu_low], cuts, [mu_high]])
            pieces = np.linspace(ends[:-1], ends[1:], 41, axis=1)
            width = 0.5 * np.diff(pieces, axis=1)[:, :, None]
            mu = 0.5 * (pieces[:, 1:] + pieces[:, :-1])[:, :, None] + width * node
            value = ln_likelihood(facts, mu, s)
            rows.append((value, width * share))
            highest = max(highest, value.max())
        bands = sum(
            w * (np.exp(value - highest) * weight).sum(axis=(1, 2)) for w, (value, weight) in zip(along_sigma, rows)
        )
        values.append(bands / bands.sum())
    return time.process_time() - start, [list(map(float, bands)) for bands in values]


TASKS = {"limits": limits, "grid": grid, "fine": fine}

for line in sys.stdin:
    request = json.loads(line)
    seconds, values = TASKS[request["task"]](request["groups"])
    print(json.dumps({"seconds": seconds, "values": values}), flush=True)
