"""Control trials: the same work with and without a control, days interleaved.

Deviations are drawn by chance and then set to the mean and spread that the trial is meant to show, so that a verdict
does not hang on the luck of a draw. All figures are invented.
"""

from dataclasses import dataclass
from math import exp, sqrt

from .clock import day
from .laboratory import accept
from .routine import file_of


@dataclass(frozen=True)
class Trial:
    """Whole-shift samples, one state a day."""

    reference: str
    site: str
    group: str
    task: str
    control: str
    kit: str
    agent: str
    without: float
    ratio: float
    spread: float
    workers: int
    off: list
    on: list
    others: tuple = ()
    minutes: int = 430
    materials: str = "304L stainless, 3 mm"
    arc_without: int | None = None
    arc_with: int | None = None
    conditions: str = "Days with and without the control alternate; same people, same product."
    accepted: bool = True


WHOLE_SHIFT = [
    Trial("ALD-2024-T1", "ALD", "ALD-WELD", "ALD-T01", "ALD-C01", "cr", "chromium_vi", 5.2, 0.105, 0.40, 4,
          ["2024-06-11", "2024-06-20", "2024-06-25"], ["2024-06-13", "2024-06-18", "2024-06-27"],
          arc_without=176, arc_with=176),
    Trial("BRK-2022-T1", "BRK", "BRK-KNO", "BRK-T01", "BRK-C02", "silica", "silica_respirable", 60, 0.97, 0.46, 4,
          ["2022-06-06", "2022-06-09", "2022-06-14", "2022-06-16"],
          ["2022-06-07", "2022-06-08", "2022-06-13", "2022-06-17"], materials="green sand, grey iron",
          conditions="Canopy fan switched off on every other day; same castings, same people."),
    Trial("BRK-2023-T1", "BRK", "BRK-FET", "BRK-T03", "BRK-C03", "silica", "silica_respirable", 40, 0.2, 0.5, 3,
          ["2023-06-06", "2023-06-13", "2023-06-15"], ["2023-06-08", "2023-06-09", "2023-06-16"],
          materials="grey iron, resin sand"),
    Trial("COL-2026-T1", "COL", "COL-REP", "COL-T03", "COL-C03", "cr", "chromium_vi", 4.4, 0.55, 0.55, 1,
          ["2026-09-15", "2026-09-22", "2026-09-24"], ["2026-09-17", "2026-09-18", "2026-09-25"],
          materials="316L stainless hangers", arc_without=150, arc_with=150, accepted=False,
          conditions="First days with the bench on loan; more days are to follow."),
    Trial("ALD-2025-T1", "ALD", "ALD-BRKT", "ALD-T06", "ALD-C05", "cr", "chromium_vi", 4.6, 0.5, 0.36, 2,
          ["2025-02-11", "2025-02-18", "2025-02-25"], ["2025-02-13", "2025-02-20", "2025-02-26"],
          arc_without=196, arc_with=118,
          conditions="Large brackets had to be welded outside the booth, so the booth saw the small ones: less arc time."),
]


def run_whole_shift(bench, laboratory, trial):
    """One trial of whole shifts."""
    event = bench.event(trial.site, trial.reference, purpose=["control_trial"], conditions=trial.conditions)
    dates = sorted(trial.off + trial.on)
    crew = _crew(bench, trial.group, dates, trial.workers)
    deviations = {state: iter(standardised(bench.random, len(days) * trial.workers, trial.spread))
                  for state, days in (("off", trial.off), ("on", trial.on))}
    for text in dates:
        state = "on" if text in trial.on else "off"
        for worker in crew:
            level = trial.without * (trial.ratio if state == "on" else 1) * exp(next(deviations[state]))
            arc = trial.arc_with if state == "on" else trial.arc_without
            more = {"arc_minutes": arc + bench.random.randint(-6, 6)} if arc else {}
            running = [*trial.others, *([trial.control] if state == "on" else [])]
            event.air(trial.kit, trial.group, day(text), {trial.agent: level}, worker,
                      minutes=trial.minutes + bench.random.randint(-5, 5), running=running, task=trial.task,
                      materials=trial.materials, **more)
    event.blank(trial.kit, day(dates[-1]))
    event.blank(trial.kit, day(dates[0]))
    _finish(bench, laboratory, event, dates, trial.accepted)
    return event


def run_needle_gun(bench, laboratory):
    """Lead paint removal: each worker has both states on each day, so the trial is paired."""
    event = bench.event("COL", "COL-2025-T1", purpose=["control_trial"],
                        conditions="Half of each frame with the plain gun, half with the shrouded one; order changes daily.")
    dates = ["2025-03-11", "2025-03-13", "2025-03-18", "2025-03-20"]
    crew = _crew(bench, "COL-STRIP", dates, 3)
    differences = iter(standardised(bench.random, 12, 0.45))
    for index, text in enumerate(dates):
        for worker in crew:
            common, apart = 2400 * exp(bench.random.gauss(0, 0.35)), next(differences)
            for place, start in enumerate((725, 1125)):
                on = (place + index) % 2 == 0
                level = common * (0.058 * exp(apart) if on else 1)
                event.air("lead", "COL-STRIP", day(text), {"lead": level}, worker, start=start,
                          minutes=110 + bench.random.randint(-3, 3), running=["COL-C01"] if on else [],
                          task="COL-T01", covers="task", materials="red lead primer on mild steel",
                          ppe_worn="supplied-air respirator")
    event.blank("lead", day(dates[-1]))
    _finish(bench, laboratory, event, dates, True)
    return event


def run_jig_arm(bench, laboratory):
    """Half a shift in each state: it helps the tacker and leaves the hall as it is."""
    event = bench.event("ALD", "ALD-2023-T1", purpose=["control_trial"],
                        conditions="Arm swung away for half of each shift; its filtered air goes back to hall 2.")
    dates = ["2023-08-08", "2023-08-09", "2023-08-10", "2023-08-15", "2023-08-16", "2023-08-17", "2023-08-22", "2023-08-23"]
    crew = _crew(bench, "ALD-FIT", dates, 2)
    personal = iter(standardised(bench.random, 16, 0.42))
    room = iter(standardised(bench.random, 8, 0.24))
    for index, text in enumerate(dates):
        places = [(worker, 3.6 * exp(bench.random.gauss(0, 0.3)), 0.36 * exp(next(personal))) for worker in crew]
        places.append((None, 0.62 * exp(bench.random.gauss(0, 0.25)), 1.02 * exp(next(room))))
        for worker, common, ratio in places:
            for half, start in enumerate((645, 1045)):
                on = (half + index + index // 2) % 2 == 0
                more = {} if worker else {"position": "area", "location": "pillar C4, hall 2"}
                event.air("cr_short", "ALD-FIT", day(text), {"chromium_vi": common * (ratio if on else 1)}, worker,
                          start=start, minutes=205 + bench.random.randint(-3, 3), running=["ALD-C02"] if on else [],
                          task="ALD-T04", covers="task", materials="304L stainless, 3 mm",
                          arc_minutes=62 + bench.random.randint(-4, 4), **more)
    for _ in range(2):
        event.blank("cr_short", day(dates[-1]))
    _finish(bench, laboratory, event, dates, True)
    return event


def run_saw_hood(bench):
    """Noise at the cut-off saw with the lined hood open and shut."""
    event = bench.event("ALD", "ALD-2024-T0", purpose=["control_trial"], conditions="Hood open and shut by turns of a day.")
    off, on = ["2024-01-16", "2024-01-23", "2024-01-25"], ["2024-01-18", "2024-01-19", "2024-01-26"]
    crew = _crew(bench, "ALD-GRD", sorted(off + on), 2)
    deviations = {state: iter(standardised(bench.random, 6, 1.4)) for state in ("off", "on")}
    for text in sorted(off + on):
        state = "on" if text in on else "off"
        for worker in crew:
            level = 92.5 - (4.5 if state == "on" else 0) + next(deviations[state])
            event.dose("ALD-GRD", day(text), level, worker, running=["ALD-C07"] if state == "on" else [],
                       task="ALD-T11", materials="stainless tube")
    event.close(file_of(day(off[0])))
    accept(bench.ledger, file_of(day(off[0])), "ALD", event.instruments, "dosimeters checked before and after")
    return event


def run_filter_unit(bench, laboratory):
    """Simultaneous samples before and behind filter unit F2 in the cutting duct."""
    event = bench.event("ALD", "ALD-2023-T2", purpose=["other"], conditions="Duct samples before and behind filter unit F2.")
    dates = ["2023-03-07", "2023-03-09", "2023-03-14", "2023-03-16"]
    for text in dates:
        inlet = 14 * exp(bench.random.gauss(0, 0.3))
        for position, location, share in (("inlet", "duct D2, before filter F2", 1.0), ("outlet", "duct D2, behind filter F2", 0.035)):
            level = inlet * share * exp(bench.random.gauss(0, 0.2))
            event.air("cr_short", "ALD-PLM", day(text), {"chromium_vi": level}, start=700, minutes=210,
                      running=["ALD-C04", "ALD-C06"], task="ALD-T08", position=position, location=location)
    event.blank("cr_short", day(dates[-1]))
    _finish(bench, laboratory, event, dates, True)
    return event


def standardised(random, count, spread):
    """Chance deviations with mean 0 and standard deviation (n - 1) exactly `spread`."""
    drawn = [random.gauss(0, 1) for _ in range(count)]
    mean = sum(drawn) / count
    size = sqrt(sum((x - mean) ** 2 for x in drawn) / (count - 1))
    return [(x - mean) / size * spread for x in drawn]


def _crew(bench, group, dates, count):
    """People of the group who were there on every date."""
    always = [w for w in bench.force.workers if all(w.in_group(group, day(text)) for text in dates)]
    assert len(always) >= count, f"{group} has too few people for the trial"
    return always[:count]


def _finish(bench, laboratory, event, dates, accepted):
    file = file_of(day(dates[0]))
    event.close(file)
    laboratory.report(file, event)
    if accepted:
        accept(bench.ledger, file, event.site, [f.number for f in event.filters if not f.blank], "trial sheet and laboratory report agree")
