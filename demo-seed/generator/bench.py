"""The sampling bench: events, their samples, the pumps that are free, and what the filters caught."""

from dataclasses import dataclass, field
from datetime import date

from . import plant
from .clock import instant, later, minutes_between
from .ledger import at, quantity
from .methods import KITS

# Pumps and dosimeters of each site, numbered through the employer.
PUMPS = {"ALD": range(1, 31), "BRK": range(31, 56), "COL": range(56, 76), "SKE": range(76, 80)}
CALIBRATORS = {"ALD": "calibrator 1", "BRK": "calibrator 2", "COL": "calibrator 3", "SKE": "calibrator 3"}


@dataclass
class Filter:
    """What one sampled filter holds: true micrograms by agent."""

    number: str
    kit: object
    micrograms: dict
    minutes: int = 0
    litres: float = 0.0
    day: date | None = None
    blank: bool = False
    changes: dict = field(default_factory=dict)


class Event:
    """One sampling event in the making; `close` sends it."""

    def __init__(self, bench, site, reference, **head):
        self.bench, self.site, self.reference, self.head = bench, site, reference, head
        self.zone = plant.SITES[site][1]
        self.samples, self.filters, self.shifts, self.instruments = [], [], [], []
        self.kits = {}

    def air(self, kit_name, group, on, truth, worker=None, start=None, minutes=None, running=None, **more):
        """One pumped sample; `truth` gives micrograms per cubic metre by agent over the sampled time.

        `change` is the flow change of the pump in per cent, `outcome` other than valid loses the filter, `two_runs`
        stops the pump for a meal of thirty minutes in the middle.
        """
        kit = KITS[kit_name]
        change, outcome = more.pop("change", None), more.pop("outcome", None)
        starts = self._start(group, on, start)
        two_runs = more.pop("two_runs", False)
        runs, end = self._runs(starts, minutes, two_runs)
        before = self.bench.flow(kit.flow)
        after = f"{float(before) * (1 + (self.bench.flow_change() if change is None else change) / 100):.3f}"
        number = self._number(on)
        self.kits.setdefault(self._lot(kit, on), kit_name)
        sample = {
            "number": number, "position": more.pop("position", "breathing_zone"), "shift_date": on.isoformat(),
            "agent_codes": list(more.pop("agents", kit.agents)), "outcome": outcome, "group_id": at(f"group:{group}"),
            "worker_id": at(f"worker:{worker.key}") if worker else None,
            "job_title": plant.GROUPS[group][1] if worker else None, "runs": runs,
            "flow_before": quantity(before, "L/min"), "flow_after": quantity(after, "L/min"),
            "medium": kit.medium, "medium_lot": self._lot(kit, on), "method": kit.method, "fraction": kit.fraction,
            "pump": self.bench.pump(self.site, starts, end), "calibrator": CALIBRATORS[self.site],
            "calibrated_on": _calibrated(on),
            "control_ids_running": None if running is None else [at(f"control:{code}") for code in running],
        }
        sample.update(_linked(more))
        if outcome == "pump_failed":
            del sample["flow_after"], runs[-1]["end"]
        self._keep(sample)
        if outcome is None:
            litres = (float(before) + float(after)) / 2 * minutes
            caught = {agent: truth[agent] * litres / 1000 for agent in sample["agent_codes"]}
            self.filters.append(Filter(number, kit, caught, minutes, litres, on))
        return number

    def dose(self, group, on, level, worker, start=None, minutes=450, running=None, **more):
        """One dosimeter; `level` is the eight-hour level with the 80 dB threshold."""
        starts = self._start(group, on, start)
        number = self._number(on)
        limit_level = level - 0.4 - max(0.0, 93 - level) * 0.35
        sample = {
            "number": number, "position": "breathing_zone", "shift_date": on.isoformat(), "agent_codes": ["noise"],
            "sampler_kind": "dosimeter", "group_id": at(f"group:{group}"), "worker_id": at(f"worker:{worker.key}"),
            "job_title": plant.GROUPS[group][1], "runs": self._runs(starts, minutes, False)[0],
            "pump": f"dosimeter {self.bench.pump(self.site, starts, later(starts, minutes))[-2:]}",
            "calibrator": "sound calibrator 1", "calibrated_on": _calibrated(on),
            "control_ids_running": None if running is None else [at(f"control:{code}") for code in running],
            "on_site_results": [_level(level, "osha_action_level"), _level(limit_level, "osha_limit")],
        }
        sample.update(_linked(more))
        self._keep(sample)
        self.instruments.append(number)
        return number

    def blank(self, kit_name, on, micrograms=0.0, outcome=None):
        """One field blank, of the same medium and lot."""
        kit = KITS[kit_name]
        number = self._number(on)
        self._keep({"number": number, "position": "field_blank", "shift_date": on.isoformat(),
                    "agent_codes": list(kit.agents), "medium": kit.medium, "medium_lot": self._lot(kit, on),
                    "method": kit.method, "outcome": outcome})
        if outcome is None:
            caught = {agent: micrograms for agent in kit.agents}
            self.filters.append(Filter(number, kit, caught, day=on, blank=True))
        return number

    def shift(self, worker, group, on, minutes, unsampled=None):
        """States a worker's shift where it differs from the event's."""
        told = {"worker_id": at(f"worker:{worker.key}"), "shift_date": on.isoformat(),
                "group_id": at(f"group:{group}"), "shift_minutes": minutes}
        self.shifts.append({**told, "unsampled": unsampled} if unsampled else told)

    def close(self, file):
        """Sends the event with all its samples."""
        body = {"reference": self.reference, "purpose": self.head.get("purpose"),
                "sampled_by": self.head["sampled_by"], "shift_minutes": 480, "shifts": self.shifts or None,
                "conditions": self.head.get("conditions"), "samples": self.samples}
        self.bench.ledger.step(file, "coordinator", f"/sites/@site:{self.site}/sampling-events", body,
                               f"event:{self.reference}")
        self.bench.events.append(self)

    def last_day(self):
        """The latest shift date among the samples."""
        return max(sample["shift_date"] for sample in self.samples)

    def _keep(self, sample):
        self.samples.append({key: value for key, value in sample.items() if value is not None})

    def _start(self, group, on, start):
        return instant(on, plant.GROUPS[group][4] + 10 + 5 * self.bench.random.randint(0, 3) if start is None else start, self.zone)

    def _runs(self, starts, minutes, two_runs):
        if not two_runs:
            end = later(starts, minutes)
            return [_run(starts, end)], end
        half = minutes // 2
        pause = later(starts, half)
        again = later(pause, 30)
        end = later(again, minutes - half)
        assert minutes_between(starts, pause) + minutes_between(again, end) == minutes
        return [_run(starts, pause), _run(again, end)], end

    def _number(self, on):
        return self.bench.next_number(self.site, on.year)

    def _lot(self, kit, on):
        return f"{kit.medium.split()[0]}-{on.year % 100}{'A' if on.month < 7 else 'B'}{'-W' if 'preweighed' in kit.medium else ''}"


class Bench:
    """What the events share: the pumps, the numbers, the chance."""

    def __init__(self, ledger, force, random):
        self.ledger, self.force, self.random = ledger, force, random
        self.events = []
        self._busy, self._numbers = {}, {}

    def event(self, site, reference, **head):
        """Begins an event."""
        head.setdefault("sampled_by", self.random.choice(("Maren Thistlewood", "Joaquim Abaravale", "Calder Fell Hygiene, for the employer")))
        return Event(self, site, reference, **head)

    def next_number(self, site, year):
        """The next sample number of a site's year."""
        self._numbers[site, year] = self._numbers.get((site, year), 0) + 1
        return f"{year % 100}-{self._numbers[site, year]:04}"

    def pump(self, site, start, end):
        """A pump that is free from start to end."""
        for pump in self.random.sample(PUMPS[site], len(PUMPS[site])):
            taken = self._busy.setdefault(pump, [])
            if all(end <= other_start or other_end <= start for other_start, other_end in taken):
                taken.append((start, end))
                return f"pump {pump:02}"
        raise RuntimeError(f"no free pump at {site}")

    def flow(self, nominal):
        """A flow before sampling, near the nominal one."""
        return f"{nominal * self.random.uniform(0.985, 1.02):.3f}"

    def flow_change(self):
        """An ordinary flow change over a shift in per cent, well within five."""
        return max(-4.0, min(2.5, self.random.gauss(-0.8, 1.1)))


def _run(start, end):
    return {"start": start.isoformat(), "end": end.isoformat()}


def _calibrated(on):
    months = (date(on.year, 7, 15), date(on.year, 1, 15), date(on.year - 1, 7, 15))
    return next(told for told in months if told <= on).isoformat()


def _level(level, criterion):
    value = quantity("80", "dB[A]", "<") if level < 80 else quantity(f"{level:.1f}", "dB[A]")
    return {"agent_code": "noise", "value": value, "criterion": criterion}


def _linked(more):
    if "task" in more:
        more["task_id"] = at(f"task:{more.pop('task')}")
    return more
