"""The posterior by quadrature: ln GM and ln GSD uniform on a box, the likelihood with all its bounds.

For every ln GSD the density in ln GM is integrated piecewise (Gauss-Legendre panels over exactly the part of the box
where it is not negligible) into a function, its distribution; whatever is asked is then a one-dimensional integral
over ln GSD. The approach is that of Hewett, Logan, Mulhausen, Ramachandran and Banerjee 2006 (rating bands), the
quadrature our own. Figures are good to about 1e-7, which the self-test checks on a finer mesh.
"""

import copy
import math

import numpy as np
from numpy.polynomial import legendre
from scipy import optimize, special

from .likelihood import ln_probability
from .lognormal import Z_95

BANDS = (0.01, 0.1, 0.5, 1.0)
NEGLIGIBLE = 38.0  # e^-38 is below the rounding of a sum
POINTS = 12
NODES, WEIGHTS = legendre.leggauss(POINTS)
SHORT = legendre.leggauss(6)
# From values at the nodes to Legendre coefficients of their integral from -1.
_TO_SERIES = np.array([(2 * k + 1) / 2 * legendre.legval(NODES, [0] * k + [1]) * WEIGHTS for k in range(POINTS)])
_INTEGRATE = np.array([legendre.legint(np.eye(POINTS)[k], lbnd=-1) if k else [1.0, 1.0] + [0.0] * (POINTS - 1)
                       for k in range(POINTS)], dtype=object)
_INTEGRATE = np.array([np.pad(np.asarray(row, float), (0, POINTS + 1 - len(row))) for row in _INTEGRATE])
TO_INTEGRAL, TO_VALUES = _TO_SERIES.T @ _INTEGRATE, _TO_SERIES.T


class Box:
    """Where ln GM and ln GSD may lie."""

    def __init__(self, gm_lower, gm_upper, gsd_lower, gsd_upper):
        self.low, self.high = math.log(gm_lower), math.log(gm_upper)
        self.narrow, self.wide = math.log(gsd_lower), math.log(gsd_upper)

    def ends(self, sigma):
        """The ends in ln GM for every sigma."""
        return np.full_like(sigma, self.low), np.full_like(sigma, self.high)

    def ln_measure(self, ln_sigma):
        """Uniform in ln GSD, seen from its own logarithm."""
        return ln_sigma

    def kinks(self, ln_level, sigmas_at):
        """The sigmas at which a level meets an edge of the box."""
        return [sigmas_at(ln_level - edge) for edge in (self.low, self.high)]


class Flat:
    """Everywhere, uniform in mu and ln sigma; needs two different detected values.

    Ends are set where nothing is left: below, exact values bring down the density like exp(-SS/2 sigma^2), above, they
    and ranges with two ends like sigma^-(n-1).
    """

    def __init__(self, results):
        values, ends = results.values, results.finite_ends()
        spread = float(values.std(ddof=1))
        self.narrow = 0.01 * spread
        held = len(values) + results.times[np.isfinite(results.bounds).all(axis=1)].sum()
        self.wide = max(spread, float(np.ptp(ends))) * math.exp(45.0 / (held - 1))
        self.middle, self.reach = float(ends.mean()), float(np.ptp(ends))

    def ends(self, sigma):
        return self.middle - self.reach - 40.0 * sigma, self.middle + self.reach + 40.0 * sigma

    def ln_measure(self, ln_sigma):
        return 0.0 * ln_sigma

    def kinks(self, *_):
        return []


def default_box(limit, largest):
    """GM 0.0005 to 5 times the limit, or 1e-4 to 1e4 times the largest value without one; GSD 1.05 to 4."""
    low, high = (0.0005 * limit, 5.0 * limit) if limit is not None else (1e-4 * largest, 1e4 * largest)
    return Box(low, high, 1.05, 4.0)


def ln_density(results, mu, sigma):
    """The log-likelihood at mu (any shape whose first axis is that of sigma), without constants, and its slope."""
    sigma = sigma.reshape((-1,) + (1,) * (mu.ndim - 1))
    n = len(results.values)
    value, slope = -n * np.log(sigma) + np.zeros_like(mu), np.zeros_like(mu)
    if n:
        mean = results.values.mean()
        squares = float(((results.values - mean) ** 2).sum())
        value -= 0.5 * (squares + n * (mu - mean) ** 2) / sigma**2
        slope += n * (mean - mu) / sigma**2
    for (low, high), times in zip(results.bounds, results.times):
        low, high = (low - mu) / sigma, (high - mu) / sigma
        ln_p = ln_probability(low, high)
        value += times * ln_p
        # Zero at an infinite end; far out, where the exponent has no digits left, the hazard of a tail.
        far = lambda end: np.log(np.maximum(np.abs(end), 1.0) * math.sqrt(2.0 * math.pi))
        at = lambda end: np.exp(np.where(np.abs(end) > 1e6, np.minimum(far(end), -0.5 * end**2 - ln_p),
                                         -0.5 * end**2 - ln_p))
        slope += times * (at(low) - at(high)) / (sigma * math.sqrt(2.0 * math.pi))
    return value, slope


class Conditional:
    """For each of several sigmas the distribution of mu on the box, up to its total mass."""

    def __init__(self, results, box, sigma, fineness):
        self.sigma, self.fineness = sigma, fineness
        self.start, self.end, self.top = self._support(results, box)
        self.length = self.end - self.start
        # Bounds fall off within a few sigmas of an end of the support, however long that is: each zone gets as many
        # panels as what lies between.
        self.zone = np.minimum(10.0 * sigma / self.length, 1.0 / 3.0)
        lengths = np.stack([self.zone, 1.0 - 2.0 * self.zone, self.zone], axis=1)
        lengths = np.repeat(lengths, fineness, axis=1) / fineness
        edges = np.cumsum(np.pad(lengths, ((0, 0), (1, 0))), axis=1)
        self.edges = self.start[:, None] + self.length[:, None] * edges
        at = edges[:, :-1, None] + lengths[..., None] * (0.5 + 0.5 * NODES)
        self.mu = self.start[:, None] + self.length[:, None] * at.reshape(len(sigma), -1)
        self.density = np.exp(ln_density(results, self.mu, sigma)[0] - self.top[:, None])
        shares = (0.5 * lengths[..., None] * WEIGHTS).reshape(len(sigma), -1)
        self.weights = self.length[:, None] * shares
        by_panel = (self.density * shares).reshape(*lengths.shape, POINTS)
        self.before = np.concatenate([np.zeros((len(sigma), 1)), by_panel.sum(2).cumsum(1)], axis=1)
        per_panel = self.density.reshape(*lengths.shape, POINTS)
        self.integral, self.values = 0.5 * lengths[..., None] * (per_panel @ TO_INTEGRAL), per_panel @ TO_VALUES
        # ln of the mass: the marginal of sigma.
        self.ln_mass = self.top + np.log(self.length * self.before[:, -1])

    def _support(self, results, box):
        """The ends between which the density is not negligible, by bisection: it has one top in mu.

        Near enough will do: the top is only what exponents are taken from, and an end lies a little outside.
        """
        sigma = self.sigma
        bottom, ceiling = box.ends(sigma)
        low, high = bottom.copy(), ceiling.copy()
        for _ in range(36):
            middle = 0.5 * (low + high)
            rising = ln_density(results, middle, sigma)[1] > 0.0
            low, high = np.where(rising, middle, low), np.where(rising, high, middle)
        mode = 0.5 * (low + high)
        top = ln_density(results, mode, sigma)[0]
        ends = []
        for edge in (bottom, ceiling):
            outside, inside = edge.copy(), mode.copy()
            whole = top - ln_density(results, outside, sigma)[0] < NEGLIGIBLE
            for _ in range(16):
                middle = 0.5 * (outside + inside)
                far = top - ln_density(results, middle, sigma)[0] > NEGLIGIBLE
                outside, inside = np.where(far, middle, outside), np.where(far, inside, middle)
            ends.append(np.where(whole, edge, outside))
        return ends[0], ends[1], top

    def _panel(self, mu):
        """The panel in which mu lies for its sigma (first axis), and where in it, from -1 to 1."""
        share = np.clip((mu - self.start[:, None]) / self.length[:, None], 0.0, 1.0)
        zone, k = self.zone[:, None], self.fineness
        position = np.where(
            share < zone, k * share / zone,
            np.where(share < 1.0 - zone, k + k * (share - zone) / (1.0 - 2.0 * zone), 3 * k - k * (1.0 - share) / zone),
        )
        panel = np.clip(position.astype(int), 0, 3 * k - 1)
        return np.arange(len(self.sigma))[:, None], panel, 2.0 * (position - panel) - 1.0

    def below(self, mu):
        """The mass below mu (two axes, sigma first), as a share of the whole mass of its sigma."""
        rows, panel, x = self._panel(mu)
        mass = self.before[rows, panel] + _legendre(self.integral[rows, panel], x)
        return np.clip(mass / self.before[:, -1:], 0.0, 1.0)

    def share_at(self, mu):
        """The density at mu (within the support), per share of the whole mass and of the length of the support."""
        rows, panel, x = self._panel(mu)
        return _legendre(self.values[rows, panel], x) / self.before[:, -1:]

    def value_above(self, ln_level):
        """The chance that a normal value about mu is above a level, for every sigma.

        Where mu may lie far beyond the value's own spread, integrated along that: in mu its tail would be a step.
        """
        direct = self.mean(lambda mu, sigma: special.ndtr((mu - ln_level) / sigma))
        far = self.length > 20.0 * self.sigma
        return np.where(far, self._value_above_by_z(ln_level), direct) if far.any() else direct

    def _value_above_by_z(self, ln_level):
        """The same in the value's z, between the z at which mu meets an end of its support."""
        sigma = self.sigma[:, None]
        mets = [np.clip((ln_level - end[:, None]) / sigma, -8.5, 8.5) for end in (self.start, self.end)]
        steps = np.broadcast_to(np.linspace(-8.5, 8.5, 18), (len(sigma), 18))
        edges = np.sort(np.concatenate([steps, *mets], axis=1), axis=1)
        nodes, weights = NODES, WEIGHTS
        gaps = np.diff(edges, axis=1)[..., None]
        z = (edges[:, :-1, None] + gaps * (0.5 + 0.5 * nodes)).reshape(len(edges), -1)
        shares = (gaps * 0.5 * weights).reshape(len(edges), -1)
        density = np.exp(-0.5 * z**2) / math.sqrt(2.0 * math.pi)
        return (shares * density * (1.0 - self.below(ln_level - sigma * z))).sum(1)

    def mean(self, of):
        """The mean of a function of mu for every sigma."""
        mass = self.density * self.weights
        return (of(self.mu, self.sigma[:, None]) * mass).sum(1) / mass.sum(1)


def _legendre(series, x):
    """A Legendre series with its own coefficients (last axis) at every point, by Clenshaw's recurrence."""
    one, two = np.zeros_like(x), np.zeros_like(x)
    for k in range(series.shape[-1] - 1, 0, -1):
        one, two = series[..., k] + (2 * k + 1) / (k + 1) * x * one - (k + 1) / (k + 2) * two, one
    return series[..., 0] + x * one - 0.5 * two


def sigma_range(ln_marginal, box):
    """The part of ln sigma where the marginal is not negligible, found by closing in on it."""
    low, high = math.log(box.narrow), math.log(box.wide)
    for _ in range(6):
        grid = np.linspace(low, high, 41)
        height = ln_marginal(np.exp(grid)) + box.ln_measure(grid)
        kept = np.flatnonzero(height > height.max() - NEGLIGIBLE)
        first, last = max(kept[0] - 1, 0), min(kept[-1] + 1, len(grid) - 1)
        done = last - first > 20
        low, high = grid[first], grid[last]
        if done:
            break
    return low, high


def sigma_mesh(low, high, panels, box, kinks=()):
    """Nodes and weights in sigma between two ln sigmas; panels end where an integrand has a kink."""
    inside = [math.log(sigma) for sigma in kinks if sigma > 0.0 and low < math.log(sigma) < high]
    edges = np.unique(np.concatenate([np.linspace(low, high, panels + 1), inside]))
    centre, half = 0.5 * (edges[1:] + edges[:-1]), 0.5 * np.diff(edges)
    nodes, weights = SHORT
    ln_sigma = (centre[:, None] + half[:, None] * nodes).ravel()
    return np.exp(ln_sigma), (half[:, None] * weights).ravel() * np.exp(box.ln_measure(ln_sigma))


def quantile(distribution, probability, low, high, within=1e-10):
    """Where a distribution reaches a probability."""
    return optimize.brentq(lambda at: distribution(at) - probability, low, high, xtol=within, rtol=1e-12, maxiter=2000)


class Posterior:
    """The posterior of one group's distribution."""

    def __init__(self, results, box, limit=None, mesh=(24, 4)):
        self.results, self.box, self.mesh = results, box, mesh
        coarse = lambda sigma: Conditional(results, box, sigma, 2).ln_mass
        self.range = sigma_range(coarse, box)
        kinks = [self._percentile_kinks(math.log(band * limit)) for band in BANDS] if limit is not None else []
        if not isinstance(box, Flat):
            # The edge of what presses on the upper face in GSD.
            kinks.append([box.wide - 0.02 * (box.wide - box.narrow)])
        self._integrate(sum(kinks, []))
        # What is asked as a quantile has its kinks where that lies: found on one mesh, then integrated on the next.
        for _ in range(2):
            if isinstance(box, Flat):
                # Far out in sigma the mean exp(sigma^2/2) passes a level almost at once: panels close to there.
                steep = math.sqrt(2.0 * max(self.ln_arithmetic_mean(0.95) - box.middle, 1e-3))
                self._integrate([steep * math.exp(step) for step in np.linspace(-0.4, 0.4, 33)])
                break
            levels = [self.ln_percentile_95(p) for p in (0.5, 0.95)]
            means = [self.ln_arithmetic_mean(p) for p in (0.05, 0.95)]
            further = [self._percentile_kinks(one) for one in levels] + [self._mean_kinks(one) for one in means]
            further = sum(further, [])
            if not any(self.range[0] < math.log(sigma) < self.range[1] for sigma in further if sigma > 0.0):
                break
            self._integrate(sum(kinks, []) + further)

    def tilted(self, power):
        """The same results under a prior with so many more powers of sigma to it."""
        other = copy.copy(self)
        share = self.share * self.sigma**power
        other.share = share / share.sum()
        return other

    def _integrate(self, kinks):
        sigma, weights = sigma_mesh(*self.range, self.mesh[0], self.box, kinks)
        self.given = Conditional(self.results, self.box, sigma, self.mesh[1])
        share = weights * np.exp(self.given.ln_mass - self.given.ln_mass.max())
        self.sigma, self.share = sigma, share / share.sum()

    def _percentile_kinks(self, ln_level):
        return self.box.kinks(ln_level, lambda over: over / Z_95)

    def _mean_kinks(self, ln_level):
        return self.box.kinks(ln_level, lambda over: math.sqrt(max(2.0 * over, 0.0)))

    def percentile_below(self, ln_level):
        """The probability that the 95th percentile is below a level."""
        return float(self.share @ self.given.below((ln_level - Z_95 * self.sigma)[:, None])[:, 0])

    def mean_below(self, ln_level):
        return float(self.share @ self.given.below((ln_level - 0.5 * self.sigma**2)[:, None])[:, 0])

    def rating_probabilities(self, limit):
        ends = [0.0] + [self.percentile_below(math.log(band * limit)) for band in BANDS] + [1.0]
        return np.diff(ends)

    def ln_percentile_95(self, probability):
        return self._quantile(self.percentile_below, probability, Z_95 * self.sigma)

    def percentile_95(self, probability):
        return math.exp(self.ln_percentile_95(probability))

    def ln_arithmetic_mean(self, probability):
        return self._quantile(self.mean_below, probability, 0.5 * self.sigma**2)

    def arithmetic_mean(self, probability):
        return math.exp(self.ln_arithmetic_mean(probability))

    def exceedance(self, limit, probability):
        """The share of days above the limit that is not passed with this probability."""
        below = lambda z: float(self.share @ self.given.below((math.log(limit) + z * self.sigma)[:, None])[:, 0])
        z = optimize.brentq(lambda z: below(z) - probability, -1e9, 1e9, xtol=1e-12, rtol=1e-14, maxiter=2000)
        return float(special.ndtr(z))

    def _quantile(self, below, probability, moved):
        low, high = (self.given.start + moved).min() - 1e-6, (self.given.end + moved).max() + 1e-6
        return quantile(below, probability, low, high)

    def near_upper_face(self):
        """The mass within 2 % of the box's width from the highest GM, and from the highest GSD."""
        box = self.box
        gm = box.high - 0.02 * (box.high - box.low)
        gsd = box.wide - 0.02 * (box.wide - box.narrow)
        above = 1.0 - self.given.below(np.full((len(self.sigma), 1), gm))[:, 0]
        return float(self.share @ above), float(self.share @ (self.sigma > gsd))

    def mean_of_arithmetic_mean(self):
        return float(self.share @ self.given.mean(lambda mu, sigma: np.exp(mu + 0.5 * sigma**2)))

    def mean_exceedance(self, limit):
        return float(self.share @ self.given.value_above(math.log(limit)))


class RatioPosterior:
    """The posterior of ln(GM with / GM without), both on one box, with one common ln GSD."""

    def __init__(self, without, with_, box, mesh=(8, 5)):
        self.box = box
        coarse = lambda sigma: sum(Conditional(side, box, sigma, 2).ln_mass for side in (without, with_))
        sigma, weights = sigma_mesh(*sigma_range(coarse, box), mesh[0], box)
        self.without, self.with_ = (Conditional(side, box, sigma, mesh[1]) for side in (without, with_))
        height = self.without.ln_mass + self.with_.ln_mass
        share = weights * np.exp(height - height.max())
        self.share = share / share.sum()
        mass = self.without.density * self.without.weights
        self.mass = mass / mass.sum(1, keepdims=True)
        self.reach = (self.with_.start - self.without.end).min(), (self.with_.end - self.without.start).max()

    def nearly_below(self, ln_ratio):
        """The probability that the log ratio is below a value, kinks at the edges of the box not minded."""
        return float(self.share @ (self.mass * self.with_.below(self.without.mu + ln_ratio)).sum(1))

    def below(self, ln_ratio):
        """The same, integrated between all the points where either side changes from one panel to the next."""
        start, end = self.without.start[:, None], self.without.end[:, None]
        others = np.clip(self.with_.edges - ln_ratio, start, end)
        edges = np.sort(np.concatenate([self.without.edges, others], axis=1), axis=1)
        nodes, weights = SHORT
        gaps = np.diff(edges, axis=1)[..., None]
        mu = (edges[:, :-1, None] + gaps * (0.5 + 0.5 * nodes)).reshape(len(edges), -1)
        shares = (gaps * 0.5 * weights).reshape(len(edges), -1) / self.without.length[:, None]
        total = (shares * self.without.share_at(mu) * self.with_.below(mu + ln_ratio)).sum(1)
        return float(self.share @ total)

    def quantile(self, probability):
        low, high = self.reach[0] - 1e-6, self.reach[1] + 1e-6
        near = quantile(self.nearly_below, probability, low, high, 1e-5)
        width = 1e-3
        while width < high - low:
            if self.below(near - width) < probability < self.below(near + width):
                return quantile(self.below, probability, near - width, near + width, 1e-8)
            width *= 8.0
        return quantile(self.below, probability, low, high, 1e-8)
