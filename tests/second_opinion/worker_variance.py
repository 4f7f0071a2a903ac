"""Variance of logarithms between and within workers.

Sources: Searle, Casella and McCulloch, Variance Components, 1992 (analysis of variance of unbalanced data, restricted
maximum likelihood), Rappaport 1991 (workers in an exposure group). The restricted likelihood is profiled over the
within variance and maximised over the ratio of the variances; statsmodels confirms it on a part of the inputs.
"""

import math
import warnings
from collections import defaultdict

import numpy as np
import pandas
from scipy import optimize
from statsmodels.regression.mixed_linear_model import MixedLM


def grouped(logs, labels):
    """Count, mean and sum of squares within, by worker."""
    by_worker = defaultdict(list)
    for y, label in zip(logs, labels):
        by_worker[label].append(y)
    counts = np.array([len(values) for values in by_worker.values()], float)
    means = np.array([math.fsum(values) / len(values) for values in by_worker.values()])
    within = math.fsum((y - mean) ** 2 for values, mean in zip(by_worker.values(), means) for y in values)
    return counts, means, within


def analysis_of_variance(counts, means, within):
    """The within variance and the between one before it is cut at zero."""
    n, k = counts.sum(), len(counts)
    mean = counts @ means / n
    between_square = counts @ (means - mean) ** 2 / (k - 1)
    within_square = within / (n - k)
    effective = (n - counts @ counts / n) / (k - 1)
    return within_square, (between_square - within_square) / effective


def restricted(counts, means, within, ratio):
    """-2 x the profiled restricted log-likelihood (a constant apart), its slope, and the within variance."""
    weights = counts / (1.0 + ratio * counts)
    mean = weights @ means / weights.sum()
    squares = within + weights @ (means - mean) ** 2
    degrees = counts.sum() - 1
    value = degrees * math.log(squares) + np.log1p(ratio * counts).sum() + math.log(weights.sum())
    slope = weights.sum() - weights @ weights / weights.sum() - degrees * (weights**2 @ (means - mean) ** 2) / squares
    return value, slope, squares / degrees


def restricted_maximum(counts, means, within):
    """The within and between variance of the highest restricted likelihood."""
    ratios = np.concatenate([[0.0], 10.0 ** np.linspace(-6, 8, 141)])
    heights = [restricted(counts, means, within, ratio)[0] for ratio in ratios]
    at = int(np.argmin(heights))
    low, high = ratios[max(at - 1, 0)], ratios[min(at + 1, len(ratios) - 1)]
    slope = lambda ratio: restricted(counts, means, within, ratio)[1]
    if at == 0 and slope(0.0) >= 0.0:
        best = 0.0
    else:
        best = optimize.brentq(slope, low, high, xtol=1e-300, rtol=1e-14)
    variance = restricted(counts, means, within, best)[2]
    return variance, best * variance


def by_statsmodels(logs, labels):
    """The same by a mixed model with a random intercept; None where that does not converge."""
    logs = (np.asarray(logs) - np.mean(logs)) / np.std(logs)
    frame = pandas.DataFrame({"y": logs, "worker": labels, "one": 1.0})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitted = MixedLM(frame["y"], frame[["one"]], groups=frame["worker"]).fit(reml=True, gtol=1e-10, maxiter=500)
    return (float(fitted.scale), float(np.asarray(fitted.cov_re)[0, 0])) if fitted.converged else None
