"""The second opinion itself, against the worked examples with their own tolerances, and against finer or other means.

The examples' units differ from the contract's; their numbers are what counts.
"""

import contextlib
import datetime
import json
import math
import pathlib

import numpy as np
from scipy import integrate, special, stats

from . import air, dose, group_profile, likelihood, lognormal, non_detects, posterior, ratio, shift, ventilation
from . import sample_plan, worker_variance
from .comparison import Absent, Amount, Fault, Number, Tally, Word, compare, difference, read
from .control_effect import verdict
from .units import Known, molar_volume

EXAMPLES = pathlib.Path(__file__).parent.parent / "reference" / "worked-examples.json"
RUN_ONCE = {}


def values(field):
    return field["value"] if isinstance(field, dict) else field


def plain(numbers):
    return [Known(x, x) for x in numbers]


def bounds(field):
    """Values and non-detects of an example."""
    return [Known(0.0, x) if below else Known(x, x) for x, below in zip(values(field[0]), field[1])]


def example_a(case, i):
    if case == "A-02":
        flow = air.mean_flow(values(i["flow_before"]), values(i["flow_after"]))
        return {"mean_flow": flow, "air_volume": flow * values(i["sampling_time"])}
    if case == "A-04":
        blanks = plain(values(i["field_blank_masses"]))
        net = air.net_mass(Known(*[values(i["mass_on_filter"])] * 2), blanks, None).lower
        in_ug = 1000.0 * net / (values(i["mean_flow"]) * values(i["sampling_time"]))
        return {"blank_corrected_mass": net, "concentration": in_ug}
    if case == "A-05":
        state = lambda kind: {
            "pressure": {"value": values(i[f"{kind}_pressure"]), "unit": "mm[Hg]"},
            "temperature": {"value": values(i[f"{kind}_temperature"]), "unit": "K"},
        }
        reading = values(i["rotameter_reading"])
        rotameter = {"calibrated_at": state("calibration"), "used_at": state("ambient")}
        return {"actual_flow": air.mean_flow(reading, reading, rotameter)}
    if case == "A-06":
        return {"mg_per_m3": [
            ppm * mass / molar_volume({}) for ppm, mass in zip(values(i["ppm"]), values(i["molecular_weight"]))
        ]}
    room = {"temperature": {"value": values(i["temperature"]), "unit": "Cel"},
            "pressure": {"value": values(i["pressure"]), "unit": "mm[Hg]"}}
    return {"ppm": values(i["concentration"]) * molar_volume(room) / values(i["molecular_weight"])}


def example_b(case, i):
    if case == "B-05":
        segment = [{"concentration": {"value": values(i["sampled_concentration"]), "unit": "ug/m3"},
                    "minutes": values(i["sampled_time"])}]
        rest = values(i["shift"]) - values(i["sampled_time"])
        background = {"concentration": {"value": values(i["measured_background"]), "unit": "ug/m3"}}
        twa = lambda how: shift.eight_hour_twa(segment, "ug/m3", rest, how)[0].lower
        return {"twa_unsampled_zero": twa("zero"), "twa_unsampled_same": twa("as_sampled"),
                "twa_unsampled_background": twa(background)}
    if case == "B-02":
        shares = [Known(c / limit, c / limit) for c, limit in zip(values(i["concentration"]), values(i["limit"]))]
        return {"equivalent_exposure": shift.mixture(shares, [None])[0].lower}
    if case == "B-04":
        factor = shift.FACTORS["brief_scala_daily"](values(i["hours_per_day"]))
        return {"reduction_factor": factor, "adjusted_limit": factor * values(i["limit"])}
    if case == "B-06":
        return {"daily_factor": shift.FACTORS["equal_dose_daily"](values(i["hours_per_day"])),
                "weekly_factor": shift.FACTORS["equal_dose_weekly"](values(i["hours_per_week"]))}
    return {"weekly_factor": shift.FACTORS["brief_scala_weekly"](values(i["hours_per_week"])),
            "daily_factor": [shift.FACTORS["brief_scala_daily"](h) for h in values(i["hours_per_day"])]}


def example_c(case, i):
    words = {"above_limit": "violation", "possibly_above_limit": "possible overexposure",
             "not_above_limit": "compliance"}
    if case == "C-06":
        count = lambda n: sample_plan.workers_to_sample(n, values(i["confidence"]), values(i["top_fraction"]))
        return {"sample_size_exact": [count(n) for n in values(i["group_size"])]}
    if case == "C-04":
        shares = [Known(c / limit, c / limit) for c, limit in zip(values(i["concentration"]), values(i["limit"]))]
        total, error = shift.mixture(shares, values(i["sae"]))
        return {"equivalent_exposure": total.lower, "mixture_sae": error, "control_limit": 1.0 + error}
    if case == "C-02":
        share, lower, _, word = shift.severity(
            values(i["concentration"]), values(i["duration"]), values(i["limit"]), values(i["sae"])
        )
        return {"severity": share, "lcl_exact": lower, "classification": words[word]}
    share, lower, upper, word = shift.severity([values(i["result"])], [1], values(i["limit"]), values(i["sae"]))
    return {"severity": share, "lcl": lower, "ucl": upper, "classification": words[word]}


def example_d(case, i):
    if case == "D-06":
        limit = values(i["limit"])
        word = lambda one: group_profile.preliminary(plain(one["results"]), limit)
        return {"verdict": [word(one).replace("_d", " d").replace("_c", "-c") for one in i["cases"]]}
    if case in ("D-04", "D-05"):
        confidence, coverage = values(i["confidence"]), values(i["coverage"])
        return {"K": [lognormal.tolerance_factor(n, confidence, coverage) for n in values(i["n"])]}
    if case == "D-11":
        h = lambda m: (lognormal.land_ln_limit(m, 0.05) - 0.5 * m.sd**2) * math.sqrt(m.n - 1) / m.sd
        pairs = zip(values(i["n"]), values(i["sd_of_logs"]))
        return {"H_95_upper": [h(lognormal.LogMoments(n, 0.0, sd, 0.0)) for n, sd in pairs]}
    data = values(i["data"])
    m = lognormal.LogMoments.of(data)
    upper = lambda confidence: math.exp(m.mean + lognormal.tolerance_factor(m.n, confidence) * m.sd)
    found = {"mean_of_logs": m.mean, "sd_of_logs": m.sd, "gm": math.exp(m.mean), "gsd": math.exp(m.sd),
             "utl_95_95": upper(0.95), "utl_95_70": upper(0.70), "mean_mvue": m.unbiased_mean(),
             "land_ucl_95_one_sided": math.exp(lognormal.land_ln_limit(m, 0.05)),
             "land_lcl_95_one_sided": math.exp(lognormal.land_ln_limit(m, 0.95))}
    for w, p in (("shapiro_wilk_W_logs", "shapiro_wilk_p_logs"), ("W_logs", "p_logs")):
        found[w], found[p] = lognormal.shapiro_wilk(data)
    if case == "D-08":
        limit = values(i["limit"])
        found |= {"exceedance_point": float(special.ndtr(-m.distance(limit))),
                  "exceedance_upper_95": lognormal.exceedance_limit(m, limit, 0.95),
                  "exceedance_lower_95": lognormal.exceedance_limit(m, limit, 0.05)}
    return found


def example_e(case, i):
    results = bounds((i["value_or_detection_limit"], i["non_detect"]))
    mu, sigma, height = likelihood.fit(likelihood.LogResults.of(results))
    detected, limits = non_detects.split(results)
    logs = non_detects.order_statistics(detected, limits)
    half, root = (non_detects.substituted(detected, limits, by) for by in (2.0, math.sqrt(2.0)))
    if case == "E-01":
        return {"mean_of_logs": mu, "sd_of_logs": sigma, "log_likelihood_of_logs": height,
                "percentile_95": math.exp(mu + lognormal.Z_95 * sigma)}
    if case == "E-02":
        return {"mean_raw": non_detects.kaplan_meier_mean(detected, limits)}
    if case == "E-03":
        return {"mean_of_logs": logs.mean(), "sd_of_logs": logs.std(ddof=1)}
    if case == "E-05":
        return {"gm_LOD_over_2": half[0], "gsd_LOD_over_2": half[1], "mean_LOD_over_2": half[2],
                "gm_LOD_over_sqrt2": root[0], "gsd_LOD_over_sqrt2": root[1], "mean_LOD_over_sqrt2": root[2]}
    return {"mle_gm": math.exp(mu), "mle_gsd": math.exp(sigma), "ros_gm": math.exp(logs.mean()),
            "ros_gsd": math.exp(logs.std(ddof=1))}


def example_f(case, i):
    raw = case == "F-01"
    sets = i["groups"] if raw else i["workers"]
    pairs = [(x if raw else math.log(x), at) for at, one in enumerate(sets) for x in one["values"]]
    parts = worker_variance.grouped(*zip(*pairs))
    within, between = worker_variance.analysis_of_variance(*parts)
    reml = worker_variance.restricted_maximum(*parts)
    found = {"variance_within": within, "variance_between_untruncated": between,
             "variance_between": max(between, 0.0)}
    return found if case == "F-03" else found | {"reml_variance_within": reml[0], "reml_variance_between": reml[1]}


def example_g(_, i):
    logs = likelihood.LogResults.of(bounds((i["value_or_detection_limit"], i["non_detect"])))
    prior, limit = i["prior"], values(i["limit"])
    box = posterior.Box(*(values(prior[end]) for end in ("gm_min", "gm_max", "gsd_min", "gsd_max")))
    post = posterior.Posterior(logs, box, limit)
    return {"posterior_band_probability": list(post.rating_probabilities(limit)),
            "posterior_median_of_95th_percentile": post.percentile_95(0.5),
            "upper_95_credible_limit_of_95th_percentile": post.percentile_95(0.95),
            "posterior_mean_exceedance_fraction": post.mean_exceedance(limit)}


def example_h(case, i):
    if case == "H-06":
        slope = ventilation.decay(values(i["time"]), values(i["count"]), values(i["background"]))
        return {"ach_regression": -60.0 * slope, "half_life": -math.log(2.0) / slope}
    if case == "H-09":
        without, with_ = (
            likelihood.LogResults.of(bounds((i[side]["value_or_detection_limit"], i[side]["non_detect"])))
            for side in ("before", "after")
        )
        found = ratio.RatioLikelihood.unpaired(without, with_)
        return {"ln_ratio": found.peak, "common_sd_of_logs": found.sigma,
                "profile_likelihood_95_ratio": [math.exp(found.limit(side)) for side in (-1, 1)]}
    found = ratio.contrast(values(i["before"]), values(i["after"]), case != "H-02")
    lower, upper = map(math.exp, found.limits)
    words = {("lowered", "met"): "reduction shown and target met", ("undecided", "unsettled"): "no reduction shown"}
    return {"ratio_after_to_before": math.exp(found.ln_ratio), "ratio_lower_95": lower, "ratio_upper_95": upper,
            "p_two_sided": found.p_value, "verdict": words[verdict(lower, upper, 0.5)]}


def example_i(case, i):
    minutes = [60.0 * hours for hours in values(i["duration"])]
    if case == "I-05":
        level = dose.noise_dose(values(i["level"]), minutes, "niosh")
        return {"dose": level[0], "twa": level[1]}
    found = {}
    for threshold, criterion in ((80, "osha_action_level"), (90, "osha_limit")):
        level = dose.noise_dose(values(i["level"]), minutes, criterion)
        found |= {f"dose_threshold_{threshold}": level[0], f"twa_threshold_{threshold}": level[1]}
    return found


def example_j(case, i):
    if case == "J-02":
        date = datetime.date.fromisoformat
        RUN_ONCE["jobs"] = [
            (date(job["start"]), date(job["end_exclusive"]), values(job["mean_concentration"]), 1.0)
            for job in i["jobs"]
        ]
        total, years = dose.cumulative(RUN_ONCE["jobs"])
        return {"cumulative": total, "duration": years, "average_intensity": total / years}
    reference = datetime.date.fromisoformat(values(i["reference_date"]))
    return {"lagged_cumulative": dose.cumulative(RUN_ONCE["jobs"], reference, int(values(i["lag"])))[0]}


EXAMPLES_BY_AREA = {
    "A": (example_a, ("A-02", "A-04", "A-05", "A-06", "A-07")),
    "B": (example_b, ("B-02", "B-04", "B-05", "B-06", "B-09")),
    "C": (example_c, ("C-01", "C-02", "C-04", "C-06")),
    "D": (example_d, ("D-01", "D-02", "D-04", "D-05", "D-06", "D-07", "D-08", "D-09", "D-11")),
    "E": (example_e, ("E-01", "E-02", "E-03", "E-05", "E-07")),
    "F": (example_f, ("F-01", "F-02", "F-03")),
    "G": (example_g, ("G-01", "G-02", "G-03", "G-04")),
    "H": (example_h, ("H-01", "H-02", "H-06", "H-07", "H-09")),
    "I": (example_i, ("I-02", "I-05")),
    "J": (example_j, ("J-02", "J-03")),
}


def agree(found, expected):
    """Judges a value, a word or a list by the example's own tolerance."""
    if isinstance(expected["value"], list):
        for one, other in zip(found, expected["value"], strict=True):
            agree(one, expected | {"value": other})
        return
    tolerance = expected["tolerance"]
    if tolerance["kind"] == "exact":
        if found != expected["value"]:
            raise Fault(f"is {found!r}, expected {expected['value']!r}")
        return
    relative = tolerance["value"] if tolerance["kind"] == "relative" else 0.0
    absolute = tolerance["value"] if tolerance["kind"] == "absolute" else 1e-9 * (abs(expected["value"]) < 1e-12)
    difference(float(found), expected["value"], relative, absolute)


def other_means():
    """The same figures by other means; gives what disagrees."""
    rng = np.random.default_rng(1)
    for _ in range(200):
        degrees, t, shifted = int(rng.integers(1, 60)), rng.uniform(-20, 29), rng.uniform(-20, 29)
        by_scipy = float(special.nctdtr(degrees, shifted, t))
        if math.isfinite(by_scipy) and abs(lognormal.noncentral_t_cdf(t, degrees, shifted) - by_scipy) > 1e-11:
            yield f"non-central t at {t}, {degrees}, {shifted}"
    m = lognormal.LogMoments(7, 0.3, 0.8, 0.0)
    for mean in (0.2, 0.6, 1.5):
        offset = math.sqrt(m.n) * (m.mean - mean)
        radius = math.hypot(math.sqrt(m.n - 1) * m.sd, offset)
        density = lambda u, slope=0.5 * math.sqrt(m.n) * radius: (1 - u * u) ** (0.5 * (m.n - 3)) * math.exp(-slope * u)
        below, whole = (integrate.quad(density, -1, to, epsabs=0, epsrel=1e-12)[0] for to in (offset / radius, 1.0))
        if abs(below / whole - lognormal.land_probability(m, mean)) > 1e-10:
            yield f"Land's distribution at {mean}"
    logs = likelihood.LogResults([-math.inf, 0.0, 0.4, -0.5], [0.2, 0.0, 0.4, 0.1])
    box = posterior.Box(0.01, 30.0, 1.05, 4.0)
    coarse, fine = posterior.Posterior(logs, box, 5.0), posterior.Posterior(logs, box, 5.0, mesh=(90, 10))
    for name in ("percentile_95", "arithmetic_mean"):
        for p in (0.05, 0.5, 0.95):
            if abs(getattr(coarse, name)(p) / getattr(fine, name)(p) - 1.0) > 2e-6:
                yield f"posterior {name} at {p} on a finer mesh"
    grid_mu, grid_sigma = np.meshgrid(
        np.linspace(box.low, box.high, 1601), np.linspace(box.narrow, box.wide, 801), indexing="ij"
    )
    weight = np.prod([
        special.ndtr((high - grid_mu) / grid_sigma) - special.ndtr((low - grid_mu) / grid_sigma) if low < high
        else stats.norm.pdf(high, grid_mu, grid_sigma) for low, high in zip(logs.lower, logs.upper)
    ], axis=0)
    share = float((weight * (grid_mu + lognormal.Z_95 * grid_sigma < math.log(5.0))).sum() / weight.sum())
    if abs(share - coarse.percentile_below(math.log(5.0))) > 1e-3:
        yield f"posterior probability {share} on a plain grid"
    # The ratio of two sides: every pair of grid points of one sigma, the diagonal counting half.
    other = likelihood.LogResults([-math.inf, -1.6], [-0.7, -1.6])
    sigmas, mus = np.linspace(box.narrow, box.wide, 201)[:, None], np.linspace(box.low, box.high, 1601)
    heights = [posterior.ln_density(side, mus + 0.0 * sigmas, sigmas[:, 0])[0] for side in (logs, other)]
    one, two = (np.exp(height - height.max()) for height in heights)
    below = float((one * (two.cumsum(1) - 0.5 * two)).sum() / (one.sum(1) * two.sum(1)).sum())
    if abs(below - posterior.RatioPosterior(logs, other, box).below(0.0)) > 1e-3:
        yield f"posterior probability {below} of a ratio on a plain grid"


def overlooked():
    """Wrong answers that the comparison would let pass; there must be none."""
    expected = {"mean": Number(2.0, unit="mg/m3"), "level": Amount(0.0, 3.0, "ug/m3"), "limit": Absent("not asked"),
                "word": Word("met"), "count": Word(3)}
    right = {"mean": 2000.0, "unit": "ug/m3", "level": {"comparator": "<", "value": 3.0, "unit": "ug/m3"},
             "word": "met", "count": 3, "flags": ["why"]}
    wrong = [
        {"mean": 2.0}, {"mean": 2000.0001}, {"mean": "2000"}, {"unit": "[ppm]"}, {"limit": 1.0}, {"word": "not_met"},
        {"count": 3.0}, {"count": True}, {"flags": []}, {"level": {"value": 3.0, "unit": "ug/m3"}},
        {"level": {"comparator": "<", "value": "3.0", "unit": "ug/m3"}}, {"level": 3.0}, {"level": {}},
    ]
    if faults := compare(expected, right, Tally()):
        yield f"a right answer: {faults}"
    for change in wrong:
        if not compare(expected, right | change, Tally()):
            yield f"the wrong answer {change}"
    for text in ('{"x": NaN}', '{"x": -Infinity}', '{"x": 1e999}', '{"x": null}', '{"x": 1'):
        with contextlib.suppress(Fault):
            read(text)
            yield f"the text {text}"


def run():
    """Checks everything; gives how many examples or checks failed."""
    cases = {case["id"]: case for case in json.loads(EXAMPLES.read_text(encoding="utf-8"))["cases"]}
    failed = figures = examples = 0
    for function, names in EXAMPLES_BY_AREA.values():
        for name in names:
            case, examples = cases[name], examples + 1
            found = function(name, case["inputs"])
            for field in found.keys() & case["expected"].keys():
                figures += 1
                try:
                    agree(found[field], case["expected"][field])
                except Fault as fault:
                    failed += 1
                    print(f"self-test {name} {field}: {fault}")
            if not found.keys() & case["expected"].keys():
                failed += 1
                print(f"self-test {name}: nothing was compared")
    for disagreement in other_means():
        failed += 1
        print(f"self-test: other means disagree about {disagreement}")
    for passed in overlooked():
        failed += 1
        print(f"self-test: the comparison misjudges {passed}")
    print(f"self-test: {'FAULTY' if failed else 'ok'}, {examples} worked examples, {figures} figures")
    return failed
