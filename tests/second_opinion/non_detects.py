"""Ranks and substitution for results below several limits.

Sources: Helsel and Cohn 1988 (plotting positions for several limits, detected values kept); Helsel, Statistics for
Censored Environmental Data, 2nd edition 2012 (Kaplan-Meier); Hornung and Reed 1990 (substitution).
"""

import math

import numpy as np
import pandas
from scipy import stats
from statsmodels.imputation import ros


def split(results):
    """Detected values and limits of non-detects; None with an overloaded result or a range above zero."""
    if any(not (one.detected or one.below) for one in results):
        return None
    return [one.lower for one in results if one.detected], [one.upper for one in results if one.below]


def moments(values):
    """Geometric mean, geometric standard deviation (n - 1; None for one value) and plain mean."""
    logs = [math.log(value) for value in values]
    mean = math.fsum(logs) / len(logs)
    squares = math.fsum((y - mean) ** 2 for y in logs)
    deviation = math.exp(math.sqrt(squares / (len(logs) - 1))) if len(logs) > 1 else None
    return math.exp(mean), deviation, math.fsum(values) / len(values)


def substituted(detected, limits, divisor):
    return moments(detected + [limit / divisor for limit in limits])


def kaplan_meier_mean(detected, limits):
    """Down through the detected values: at risk is every result whose value or limit is at most the value."""
    everything, below, mean = np.array(detected + limits), 1.0, 0.0
    for value in sorted(set(detected), reverse=True):
        here = detected.count(value) / int((everything <= value).sum())
        mean += value * below * here
        below *= 1.0 - here
    return mean + below * min(limits) if limits else mean


def plotting_positions(detected, limits):
    """Probabilities of the detected values (ascending) and of the non-detects (in the order of their limits)."""
    values, bounds = np.sort(detected), np.sort(limits)
    starts = np.unique(bounds)
    if not len(starts) or values[0] < starts[0]:
        starts = np.concatenate([[0.0], starts])
    ends = np.append(starts[1:], np.inf)
    exceeding = np.zeros(len(starts) + 1)
    positions, censored = {}, []
    for j in range(len(starts) - 1, -1, -1):
        above = int(((values >= starts[j]) & (values < ends[j])).sum())
        below = int((values < starts[j]).sum() + (bounds <= starts[j]).sum())
        exceeding[j] = exceeding[j + 1] + (above / (above + below) * (1.0 - exceeding[j + 1]) if above else 0.0)
        first = int((values < starts[j]).sum())
        for rank in range(1, above + 1):
            gap = exceeding[j] - exceeding[j + 1]
            positions[first + rank - 1] = (1.0 - exceeding[j]) + gap * rank / (above + 1)
        same = int((bounds == starts[j]).sum())
        censored += [(1.0 - exceeding[j]) * rank / (same + 1) for rank in range(1, same + 1)]
    return np.array([positions[at] for at in range(len(values))]), np.array(censored)


def order_statistics(detected, limits):
    """Logarithms of detected values and of the imputed ones; None with fewer than two different detected values."""
    if len(set(detected)) < 2:
        return None
    logs = np.log(np.sort(detected))
    if not limits:
        return logs
    seen, unseen = plotting_positions(detected, limits)
    line = stats.linregress(stats.norm.ppf(seen), logs)
    return np.concatenate([logs, line.intercept + line.slope * stats.norm.ppf(unseen)])


def order_statistics_by_statsmodels(detected, limits):
    """The same from statsmodels; None where it drops limits above the largest detected value."""
    if not limits or max(limits) > max(detected):
        return None
    frame = pandas.DataFrame({
        "value": np.array(detected + limits) / detected[0],
        "below": [False] * len(detected) + [True] * len(limits),
    })
    filled = ros.impute_ros("value", "below", df=frame, min_uncensored=2, max_fraction_censored=1.0, as_array=True)
    return np.log(np.asarray(filled, float)) + math.log(detected[0])
