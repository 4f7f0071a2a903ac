"""Routine rounds: every site twice a year, six years long."""

from datetime import date
from math import exp, log

from . import corrections, plant
from .clock import monday, workdays
from .laboratory import accept

# group: kit, samples a round, geometric mean in ug/m3 by agent, geometric standard deviation, seasons
PLAN = {
    "ALD-WELD": [("cr", 4, {"chromium_vi": 5.4}, 1.5, "SA"), ("fume", 2, {"manganese": 90, "nickel_total": 22, "welding_fume_total": 1500}, 1.6, "A")],
    "ALD-WELDN": [("cr", 2, {"chromium_vi": 3.9}, 1.5, "SA"), ("mn", 1, {"manganese": 80}, 1.6, "A")],
    "ALD-FIT": [("cr", 3, {"chromium_vi": 3.3}, 1.45, "SA")],
    "ALD-BRKT": [("cr", 2, {"chromium_vi": 3.5}, 1.5, "SA")],
    "ALD-PLM": [("cr", 2, {"chromium_vi": 0.9}, 1.6, "SA"), ("fume", 2, {"manganese": 60, "nickel_total": 35, "welding_fume_total": 1100}, 1.7, "S")],
    "ALD-GRD": [("noise", 2, 90.0, 2.2, "SA"), ("fume", 1, {"manganese": 12, "nickel_total": 40, "welding_fume_total": 1900}, 1.6, "A")],
    "ALD-ASM": [("cr", 2, {"chromium_vi": 0.045}, 1.5, "SA"), ("noise", 1, 82.5, 2.5, "S")],
    "ALD-MNT": [("cr", 2, {"chromium_vi": 0.5}, 1.8, "S")],
    "BRK-KNO": [("silica", 3, {"silica_respirable": 62}, 1.55, "SA"), ("noise", 2, 93.0, 2.0, "A")],
    "BRK-FET": [("silica_22", 3, {"silica_respirable": 40}, 1.5, "SA"), ("noise", 2, 91.0, 2.0, "S")],
    "BRK-CORE": [("silica", 2, {"silica_respirable": 24}, 1.6, "SA")],
    "BRK-MOULD": [("silica_22", 3, {"silica_respirable": 6}, 1.7, "SA")],
    "BRK-MELT": [("silica", 2, {"silica_respirable": 7}, 1.7, "A"), ("noise", 2, 86.5, 2.0, "S")],
    "BRK-BEAR": [("lead", 3, {"lead": 24}, 1.6, "SA")],
    "COL-STRIP": [("lead", 3, {"lead": 620}, 1.8, "SA"), ("noise", 1, 91.5, 2.0, "S")],
    "COL-REP": [("cr", 3, {"chromium_vi": 4.2}, 1.5, "SA")],
    "COL-BLAST": [("lead", 2, {"lead": 33}, 1.7, "SA"), ("noise", 1, 92.0, 1.5, "A")],
    "COL-GRIP": [("noise", 2, 84.5, 2.2, "SA")],
    "SKE-RIG": [("noise", 3, 80.0, 2.5, "A")],
}

# From a date on, a group's exposure is this share of what the plan says (decibels are added).
EFFECTS = [
    ("ALD-WELD", "2024-09-02", 0.12, ("chromium_vi", "manganese", "nickel_total", "welding_fume_total")),
    ("ALD-PLM", "2025-01-13", 1.3, ("chromium_vi", "manganese", "nickel_total", "welding_fume_total")),
    ("ALD-GRD", "2024-03-04", -3.0, ("noise",)),
    ("BRK-FET", "2023-09-04", 0.3, ("silica_respirable",)),
    ("BRK-CORE", "2024-02-05", 0.55, ("silica_respirable",)),
    ("BRK-MOULD", "2021-06-01", 0.8, ("silica_respirable",)),
    ("COL-STRIP", "2025-05-05", 0.16, ("lead",)),
]

# site: (season, month, first possible day)
SEASONS = {
    "ALD": (("S", 5, 3), ("A", 11, 9)),
    "BRK": (("S", 3, 20), ("A", 10, 1)),
    "COL": (("S", 6, 10), ("A", 10, 20)),
    "SKE": (("A", 9, 5),),
}

# (event, group, kit, place in the round): what went wrong there
MISHAPS = {
    ("ALD-2022-S", "ALD-BRKT", "cr", 1): {"change": -8.9, "note": "pump found slow at the end"},
    ("ALD-2023-S", "ALD-PLM", "cr", 0): {"outcome": "pump_failed", "note": "pump stopped, battery; nothing to analyse"},
    ("BRK-2022-A", "BRK-MOULD", "silica_22", 1): {"outcome": "damaged", "note": "cassette cracked on the way to the laboratory"},
    ("COL-2024-S", "COL-STRIP", "lead", 2): {"change": -6.4},
    ("ALD-2025-S", "ALD-FIT", "cr", 2): {"representative": False, "note": "jig was down for half of the shift, swept the bay instead"},
    ("BRK-2025-S", "BRK-KNO", "silica", 2): {"outcome": "contaminated", "note": "cyclone was turned over, grit pot emptied onto the filter"},
}
ESTIMATED = {("ALD-2024-S", "ALD-ASM"): "0.021"}
LOST_BLANK = ("COL-2022-A", "lead")
DETECTED_BLANKS = {("COL-2023-A", "lead"): 0.9, ("ALD-2022-A", "cr"): 0.052}
TWO_PARTS = {"ALD-2023-S": ("manganese", "nickel_total", "welding_fume_total")}
CONCENTRATIONS = {"COL-2021-S"}
CONDITIONS = {
    "ALD-2021-S": "Hall doors open, warm; one welding line idle on the second day.",
    "BRK-2023-S": "Cold spell, doors shut, dust collector cleaned the week before.",
    "COL-2024-A": "Twice the usual number of cabins in the strip bay.",
    "ALD-2026-A": "Ordinary production.",
}
# Groups whose results are always accepted at once, since a standing hangs on them.
KEY_GROUPS = ("ALD-WELD", "ALD-FIT", "ALD-ASM", "COL-REP", "BRK-FET", "COL-STRIP")
NOT_ACCEPTED_FROM = "2026-04-15"


def rounds():
    """Site, reference, first Monday and season of every routine round, in time order."""
    found = []
    for site, seasons in SEASONS.items():
        for year in range(2020, 2027):
            for season, month, first in seasons:
                start = monday(year, month, first)
                late_enough = start >= date(2020, 11, 1)
                if late_enough and start <= date(2026, 11, 12) and (site != "SKE" or year in (2022, 2025)):
                    found.append((start, site, f"{site}-{year}-{season}", season))
    return sorted(found)


def file_of(on):
    """The step file of a date: one a year."""
    return f"{on.year - 2010:02}-{on.year}.jsonl"


def sample_round(bench, laboratory, start, site, reference, season):
    """One routine round of a site, its report and the acceptance of its results."""
    event = bench.event(site, reference, conditions=CONDITIONS.get(reference))
    days = workdays(start, 4)
    accepted = []
    used = set()
    for group in (g for g in PLAN if plant.site_of(g) == site):
        for kit, count, means, spread, seasons in PLAN[group]:
            if season not in seasons:
                continue
            for place in range(count):
                on = days[(place + len(used)) % len(days)]
                worker = _worker(bench, group, on, kit, used)
                if worker is None:
                    continue
                numbers = _sample(bench, event, group, kit, place, on, worker, means, spread)
                if group in KEY_GROUPS or bench.random.random() < 0.2:
                    accepted += numbers
    _blanks(event, days[-1])
    file = file_of(start)
    event.close(file)
    reported = _report(laboratory, file, event)
    if reported and start.isoformat() < NOT_ACCEPTED_FROM:
        usable = {f.number for f in event.filters} | set(event.instruments)
        accept(bench.ledger, file, site, [n for n in accepted if n in usable], "field sheet and laboratory report agree")
    return event


def _worker(bench, group, on, kit, used):
    """Somebody of the group, not yet wearing such a kit on that day."""
    present = [w for w in bench.force.present(group, on) if (w.key, on, kit) not in used]
    if not present:
        return None
    # A dosimeter or a second pump hangs on somebody else than the first, where there is somebody else.
    free = [w for w in present if not any((w.key, on) == taken[:2] for taken in used)] or present
    worker = bench.random.choice(free)
    used.add((worker.key, on, kit))
    return worker


def _sample(bench, event, group, kit, place, on, worker, means, spread):
    running = plant.controls_running(group, on) or None
    long_day = group in plant.LONG_SHIFTS
    minutes = bench.random.randint(520, 560) if long_day else bench.random.randint(405, 450)
    if long_day:
        event.shift(worker, group, on, 600)
    if kit == "noise":
        shift = sum(told for g, start, told, agents in EFFECTS if g == group and "noise" in agents and start <= on.isoformat())
        level = bench.random.gauss(means + shift, spread)
        return [event.dose(group, on, level, worker, minutes=minutes, running=running)]
    truth = _truth(bench, group, on, means, spread)
    mishap = dict(MISHAPS.get((event.reference, group, kit, place), {}))
    if kit == "cr" and group in ("ALD-WELD", "ALD-FIT") and place == 0 and not mishap:
        return _two_filters(bench, event, group, on, worker, truth, running)
    number = event.air(kit, group, on, truth, worker, minutes=minutes, running=running,
                       two_runs=bench.random.random() < 0.3, **mishap)
    if (event.reference, group) in ESTIMATED and place == 0:
        event.filters[-1].changes["chromium_vi"] = {"comparator": "", "value": ESTIMATED[event.reference, group], "estimated": "true"}
    return [number]


def _two_filters(bench, event, group, on, worker, truth, running):
    """The same pump train with a fresh filter after the meal; both filters are one day."""
    share = bench.random.uniform(0.85, 1.15)
    numbers = []
    for start, minutes, factor in ((645, 210, share), (1050, 215, 2 - share)):
        part = {agent: value * factor for agent, value in truth.items()}
        numbers.append(event.air("cr_short", group, on, part, worker, start=start, minutes=minutes, running=running))
    return numbers


def _truth(bench, group, on, means, spread):
    common = exp(bench.random.gauss(0, log(spread)))
    truth = {}
    for agent, mean in means.items():
        effect = 1.0
        for changed, start, share, agents in EFFECTS:
            if changed == group and agent in agents and start <= on.isoformat():
                effect *= share
        truth[agent] = mean * effect * common * exp(bench.random.gauss(0, 0.1))
    return truth


def _blanks(event, on):
    """One field blank of every medium and lot, two in autumn."""
    for kit in sorted(event.kits.values()):
        caught = DETECTED_BLANKS.get((event.reference, kit), 0.0)
        lost = "lost" if (event.reference, kit) == LOST_BLANK else None
        event.blank(kit, on, caught, lost)
        if event.reference.endswith("A") and not lost:
            event.blank(kit, on, caught * 0.9)


def _report(laboratory, file, event):
    """The reports of a round, with what was put right later; tells whether anything was reported."""
    wronged = corrections.forget_a_dilution(event) if event.reference == corrections.REVISED else []
    quantity = "concentration" if event.reference in CONCENTRATIONS else "mass"
    sent = laboratory.report(file, event, TWO_PARTS.get(event.reference, ()), quantity)
    if wronged:
        corrections.revise(laboratory, file, event, sent, wronged)
    if event.reference == corrections.REANALYSED:
        corrections.analyse_again(laboratory, file, event, sent)
    return bool(sent or event.instruments)
