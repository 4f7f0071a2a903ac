"""The people of the invented employer: employments, assignments, absences and recorded days."""

from datetime import date, timedelta

from . import plant
from .ledger import at, quantity
from .names import invented_names

WORKERS_FILE = "04-workers.jsonl"
ASSIGNMENTS_FILE = "05-assignments.jsonl"

# How many people a group has. The first half of each is there from the beginning to the end.
STRENGTH = {
    "ALD-WELD": 9, "ALD-WELDN": 5, "ALD-FIT": 6, "ALD-BRKT": 5, "ALD-PLM": 5, "ALD-GRD": 6, "ALD-ASM": 9, "ALD-MNT": 4,
    "BRK-KNO": 7, "BRK-FET": 6, "BRK-CORE": 5, "BRK-MOULD": 5, "BRK-MELT": 5, "BRK-BEAR": 5,
    "COL-STRIP": 6, "COL-REP": 5, "COL-BLAST": 4, "COL-GRIP": 5, "SKE-RIG": 4,
}
AGENCY = "Pellmark Staffing"
CONTRACTOR = "Larkspur Weld Services"


class Worker:
    """A person with what the sampling needs to know: where assigned when, and when away."""

    def __init__(self, key):
        self.key = key
        self.assignments = []
        self.absences = []

    def in_group(self, group, on):
        """Whether assigned to the group, and not away, on a date."""
        assigned = any(g == group and start <= on and (end is None or on < end) for g, start, end in self.assignments)
        return assigned and not any(start <= on < end for start, end in self.absences)


class Workforce:
    """Everyone, in the order of entry."""

    def __init__(self, ledger, random):
        self.ledger, self.random = ledger, random
        self.workers = []
        self._next_number = 1000

    def hire(self, given, family, job, hired, left=None, relation=None, employer=plant.EMPLOYER, number=None):
        """Enters a person with the first employment."""
        if number is None:
            self._next_number += 1
            number = f"QR-{self._next_number}"
        worker = Worker(number)
        self.workers.append(worker)
        body = {"employee_number": number, "given_name": given, "family_name": family, "employer": employer,
                "relation": relation, "job_title": job, "hired_on": hired.isoformat(),
                "left_on": left.isoformat() if left else None}
        self.ledger.step(WORKERS_FILE, "coordinator", "/workers", body, f"worker:{number}")
        return worker

    def employ_again(self, worker, number, start):
        """A further employment, with the employer itself."""
        body = {"employer": plant.EMPLOYER, "employee_number": number, "relation": "own", "from": start.isoformat()}
        self.ledger.step(WORKERS_FILE, "coordinator", f"/workers/@worker:{worker.key}/employments", body)

    def assign(self, worker, group, start, end=None, respirator=None, worn=None):
        """Assigns to a group from a date, up to the first day no longer."""
        worker.assignments.append((group, start, end))
        shifts, hours = plant.LONG_SHIFTS.get(group, (5, 8))
        body = {"group_id": at(f"group:{group}"), "from": start.isoformat(), "to": end.isoformat() if end else None,
                "shifts_per_week": shifts, "hours_per_shift": hours, "job_title": plant.GROUPS[group][1],
                "respirator_control_id": at(f"control:{respirator}") if respirator else None,
                "respirator_worn_share": worn}
        self.ledger.step(ASSIGNMENTS_FILE, "coordinator", f"/workers/@worker:{worker.key}/assignments", body)

    def away(self, worker, start, end):
        """An absence from `start` up to the first day back."""
        worker.absences.append((start, end))
        body = {"from": start.isoformat(), "to": end.isoformat()}
        self.ledger.step(ASSIGNMENTS_FILE, "coordinator", f"/workers/@worker:{worker.key}/absences", body)

    def present(self, group, on):
        """Everyone in the group on a date."""
        return [worker for worker in self.workers if worker.in_group(group, on)]


def staff(ledger, random):
    """Enters everyone and returns the workforce."""
    force = Workforce(ledger, random)
    names = iter(invented_names(random, sum(STRENGTH.values())))
    for group, strength in STRENGTH.items():
        for place in range(strength):
            _ordinary(force, group, next(names), permanent=place < (strength + 1) // 2)
    _people_of_the_tour(force)
    return force


def _ordinary(force, group, name, permanent):
    random, job = force.random, plant.GROUPS[group][1]
    respirator, worn = {"COL-STRIP": ("COL-C04", 0.9), "ALD-WELDN": ("ALD-C08", 0.8)}.get(group, (None, None))
    if permanent:
        hired = date(random.randint(2014, 2019), random.randint(1, 12), random.randint(1, 28))
        worker = force.hire(*name, job, hired)
        force.assign(worker, group, hired, None, respirator, worn)
        return
    hired = date(random.randint(2018, 2024), random.randint(1, 12), random.randint(1, 28))
    left = hired + timedelta(days=random.randint(500, 2000)) if random.random() < 0.3 else None
    if left and left > date(2026, 10, 31):
        left = None
    agency = random.random() < 0.12
    worker = force.hire(*name, job, hired, left, "agency" if agency else None,
                        AGENCY if agency else plant.EMPLOYER,
                        f"PM-{300 + len(force.workers)}" if agency else None)
    end = left + timedelta(days=1) if left else None
    force.assign(worker, group, hired, end, respirator, worn)
    if random.random() < 0.25 and not left:
        start = date(2025, random.randint(1, 12), random.randint(1, 28))
        force.away(worker, start, start + timedelta(days=random.randint(4, 40)))


def _people_of_the_tour(force):
    _days_of_two_sites(force)
    _gap(force)
    _contractor_who_became_an_employee(force)
    _left_and_came_back(force)
    _night_welder(force)


def _days_of_two_sites(force):
    worker = force.hire("Ilario", "Fenwright", "Assembler", date(2024, 3, 4), number="QR-1201")
    for group, start, end in (
        ("ALD-ASM", date(2024, 3, 4), date(2026, 1, 5)),
        ("ALD-FIT", date(2026, 1, 5), date(2026, 2, 2)),
        ("ALD-ASM", date(2026, 2, 2), date(2026, 6, 1)),
        ("COL-REP", date(2026, 6, 1), date(2026, 6, 29)),
        ("ALD-ASM", date(2026, 6, 29), None),
    ):
        force.assign(worker, group, start, end)


def _gap(force):
    worker = force.hire("Wenona", "Castlebrook", "Welder", date(2019, 4, 1), number="QR-1202")
    force.assign(worker, "ALD-WELD", date(2019, 4, 1), date(2022, 9, 1))
    force.assign(worker, "COL-REP", date(2023, 6, 5))
    _earlier(force, worker, "Tollard Boatyard", "2014-05-01", "2019-04-01", 180, "4.0")


def _contractor_who_became_an_employee(force):
    worker = force.hire("Dagfinn", "Orlebar", "Welder", date(2021, 3, 1), date(2023, 6, 30),
                        "contractor", CONTRACTOR, "LW-12")
    force.employ_again(worker, "QR-1203", date(2023, 7, 1))
    force.assign(worker, "ALD-BRKT", date(2021, 3, 1), date(2023, 7, 1))
    force.assign(worker, "ALD-BRKT", date(2023, 7, 1))


def _left_and_came_back(force):
    worker = force.hire("Mirela", "Hartsong", "Caster", date(2018, 2, 5), date(2022, 3, 31), number="QR-1204")
    force.employ_again(worker, "QR-1205", date(2024, 2, 1))
    force.assign(worker, "BRK-BEAR", date(2018, 2, 5), date(2022, 4, 1))
    force.assign(worker, "BRK-BEAR", date(2024, 2, 1))
    _earlier(force, worker, "Corrigal Printworks", "2011-09-01", "2018-01-01", 220, "15")


def _night_welder(force):
    worker = force.hire("Seraphine", "Duskett", "Welder", date(2017, 8, 14), number="QR-1206")
    force.assign(worker, "ALD-WELDN", date(2017, 8, 14), None, "ALD-C08", 0.8)
    for on in ("2026-03-02", "2026-03-03", "2026-03-04", "2026-03-05", "2026-03-06", "2026-03-07"):
        body = {"date": on, "group_id": at("group:ALD-WELDN"), "hours": 8}
        force.ledger.step(ASSIGNMENTS_FILE, "coordinator", f"/workers/@worker:{worker.key}/worked-days", body)
    force.away(worker, date(2026, 7, 13), date(2026, 7, 27))


def _earlier(force, worker, employer, start, end, days, mean):
    agent = "lead" if employer == "Corrigal Printworks" else "chromium_vi"
    body = {"employer": employer, "agent_code": agent, "from": start, "to": end, "days_per_year": days,
            "mean": quantity(mean, "ug/m3"), "source": "worker's own account at hiring, employer's letter on file"}
    force.ledger.step(WORKERS_FILE, "coordinator", f"/workers/@worker:{worker.key}/earlier-exposures", body)
