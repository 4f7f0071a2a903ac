"""Single happenings: the confirming round, a night of clock change, coarse limits, a complaint, counters."""

from math import exp

from . import plant
from .clock import day, instant, later
from .laboratory import accept
from .ledger import at
from .routine import file_of


def confirming_round(bench, laboratory):
    """The first round of the frame welders with on-torch extraction; the autumn round confirms it."""
    event = bench.event("ALD", "ALD-2024-C", conditions="First round after on-torch extraction was fitted to all torches.")
    dates = ["2024-10-15", "2024-10-16"]
    for text in dates:
        for worker in bench.force.present("ALD-WELD", day(text))[:3]:
            level = 0.6 * exp(bench.random.gauss(0, 0.3))
            event.air("cr", "ALD-WELD", day(text), {"chromium_vi": level}, worker, minutes=432, running=["ALD-C01"])
    event.blank("cr", day(dates[1]))
    return _close(bench, laboratory, event)


def night_of_the_clock_change(bench, laboratory):
    """A night shift that begins in summer time and ends in standard time."""
    event = bench.event("ALD", "ALD-2025-N", conditions="Saturday night, extra shift; clocks went back at two.")
    on = day("2025-11-01")
    crew = bench.force.present("ALD-WELDN", on)
    seraphine = next(worker for worker in crew if worker.key == "QR-1206")
    for worker, level in zip([seraphine, *[w for w in crew if w is not seraphine][:2]], (4.4, 3.1, 5.6)):
        event.air("cr", "ALD-WELDN", on, {"chromium_vi": level}, worker, start=2205, minutes=455)
    event.blank("cr", on)
    return _close(bench, laboratory, event)


def too_coarse(bench, laboratory):
    """Two filters whose reporting limit lies above the action level in the air."""
    event = bench.event("ALD", "ALD-2023-Q", conditions="Repairs in the filter house. The extracts were diluted before analysis.")
    on = day("2023-09-19")
    worker = bench.force.present("ALD-MNT", on)[0]
    for start, minutes in ((645, 220), (1050, 215)):
        event.air("cr_slow", "ALD-MNT", on, {"chromium_vi": 0.4}, worker, start=start, minutes=minutes,
                  note="extract diluted for iron; reporting limit raised to 0.60 ug")
        event.filters[-1].changes["chromium_vi"] = {"comparator": "<", "value": "0.60", "reporting_limit": "0.60", "detection_limit": "0.20"}
    event.blank("cr_slow", on)
    return _close(bench, laboratory, event)


def short_terms(bench, laboratory):
    """Manganese against its ceiling on a day chosen for being bad, with a whole-shift sample beside."""
    event = bench.event("ALD", "ALD-2022-W", purpose=["worst_case"], conditions="Thick plate, table not cleared for a week.")
    on = day("2022-07-19")
    first, second = bench.force.present("ALD-PLM", on)[:2]
    running = plant.controls_running("ALD-PLM", on)
    event.air("cr", "ALD-PLM", on, {"chromium_vi": 3.2}, first, start=640, minutes=430, running=running)
    for worker in (first, second):
        for start in (815, 1100, 1330):
            level = 900 * exp(bench.random.gauss(0, 0.5))
            event.air("mn", "ALD-PLM", on, {"manganese": level}, worker, start=start, minutes=15, running=running,
                      covers="short_term", task="ALD-T09")
    event.blank("mn", on)
    return _close(bench, laboratory, event)


def complaint(bench, laboratory):
    """A complaint in the bearing shop: two days, one shift cut short, one sample in duplicate."""
    event = bench.event("BRK", "BRK-2023-K", purpose=["complaint"], conditions="Metal taste reported; slot hood found half blocked.")
    running = plant.controls_running("BRK-BEAR", day("2023-08-22"))
    crew = bench.force.present("BRK-BEAR", day("2023-08-22"))
    for worker, text, level in ((crew[0], "2023-08-22", 58), (crew[1], "2023-08-23", 47)):
        number = event.air("lead", "BRK-BEAR", day(text), {"lead": level}, worker, start=610, minutes=425, running=running)
    event.air("lead", "BRK-BEAR", day("2023-08-23"), {"lead": level * 1.06}, crew[1], start=610, minutes=425, running=running,
              covers="duplicate", duplicate_of=number, note="second train on the other shoulder")
    event.air("lead", "BRK-BEAR", day("2023-08-23"), {"lead": 41}, crew[2], start=610, minutes=250, running=running)
    event.shift(crew[2], "BRK-BEAR", day("2023-08-23"), 480,
                {"as": "zero", "reason": "sent to the drawing office when the pot was shut down"})
    event.blank("lead", day("2023-08-23"))
    return _close(bench, laboratory, event)


def particle_counts(bench):
    """Counters before and behind filter unit F2 on three days, and how fast hall 3 clears after cutting."""
    zone = plant.SITES["ALD"][1]
    for text in ("2023-03-07", "2023-03-09", "2023-03-14"):
        for position, location, level in (("inlet", "duct D2, before filter F2", 5.2e7), ("outlet", "duct D2, behind filter F2", 1.6e6)):
            values = [level * exp(bench.random.gauss(0, 0.12)) for _ in range(12)]
            _series(bench, text, instant(day(text), 1015, zone), 5, values, position, location, "ALD-T08")
    for text in ("2023-03-21", "2023-03-22"):
        values = [3.0e6 + 3.4e7 * exp(-0.09 * 3 * i) * exp(bench.random.gauss(0, 0.03)) for i in range(20)]
        _series(bench, text, instant(day(text), 1430, zone), 3, values, "area", "hall 3, north rail", "ALD-T08")


def _series(bench, text, start, step, values, position, location, task):
    readings = [{"at": later(start, step * i).isoformat(), "value": float(f"{value:.3g}")} for i, value in enumerate(values)]
    body = {"instrument": "particle counter 2", "calibrated_on": "2022-11-30", "position": position, "location": location,
            "group_id": at("group:ALD-PLM"), "task_id": at(f"task:{task}"), "shift_date": text,
            "control_ids_running": [at("control:ALD-C04"), at("control:ALD-C06")], "unit": "/m3", "readings": readings}
    bench.ledger.step(file_of(day(text)), "coordinator", "/sites/@site:ALD/direct-readings", body,
                      f"readings:{text}:{position}")


def _close(bench, laboratory, event):
    file = file_of(day(event.last_day()))
    event.close(file)
    laboratory.report(file, event)
    accept(bench.ledger, file, event.site, [f.number for f in event.filters if not f.blank], "field sheet and laboratory report agree")
    return event
