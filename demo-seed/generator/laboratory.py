"""The laboratories' files: reports for an event, their revisions, and the acceptance of results."""

from datetime import date, timedelta

from .methods import ACCREDITATION, COLUMNS, READOUTS, WRITTEN_AS


class Laboratory:
    """Turns the filters of events into reports."""

    def __init__(self, ledger, random):
        self.ledger, self.random = ledger, random
        self._report_numbers = {}

    def report(self, file, event, split=(), quantity="mass", delay=None, overrides=None):
        """Sends one report for each laboratory of the event; returns them as (laboratory, report number, received).

        Agents named in `split` come in a second part. `overrides` changes rows: (sample, agent) -> columns.
        """
        sent = []
        for laboratory in sorted({caught.kit.laboratory for caught in event.filters}):
            filters = [caught for caught in event.filters if caught.kit.laboratory == laboratory]
            last = date.fromisoformat(event.last_day())
            received = last + timedelta(days=delay or self.random.randint(11, 19))
            number = self._number(laboratory, received.year)
            agents = sorted({agent for caught in filters for agent in caught.micrograms})
            parts = [[a for a in agents if a not in split], [a for a in agents if a in split]]
            for part, chosen in enumerate((p for p in parts if p), start=1):
                rows = [self._row(laboratory, caught, agent, received, quantity, overrides or {})
                        for caught in filters for agent in chosen if agent in caught.micrograms]
                self.send(file, event.site, laboratory, number, received, rows, part=part if all(parts) else None)
            sent.append((laboratory, number, received))
        return sent

    def send(self, file, site, laboratory, number, received, rows, part=None, revision=None):
        """Sends rows (column -> text) as one file."""
        tail = (f"-p{part}" if part else "") + (f"-r{revision}" if revision else "")
        path = f"laboratory/{site}/{number}{tail}.csv"
        columns = [c for c in COLUMNS[laboratory] if c not in ("replaces", "estimated") or any(row.get(c) for row in rows)]
        self.ledger.laboratory_file(path, [columns] + [[row.get(c, "") for c in columns] for row in rows])
        query = {"report_number": number, "part": part, "revision": revision, "laboratory": laboratory,
                 "accreditation": ACCREDITATION[laboratory], "received_on": received.isoformat()}
        query = {key: str(value) for key, value in query.items() if value is not None}
        self.ledger.step(file, "coordinator", f"/sites/@site:{site}/lab-reports", None,
                         f"report:{number}{tail}", query, path)

    def row(self, laboratory, caught, agent, analysed, **columns):
        """One row of a report as the laboratory would write it."""
        told = READOUTS[agent]
        limit = columns.pop("reporting_limit", told.reporting_limit)
        amount = caught.micrograms[agent] / told.micrograms
        below = round(amount, told.decimals) < float(limit)
        return {
            "sample_number": caught.number, "agent": WRITTEN_AS.get((laboratory, agent), agent), "quantity": "mass",
            "comparator": "<" if below else "", "value": limit if below else _digits(amount, told.decimals),
            "unit": told.unit, "reporting_limit": limit, "detection_limit": told.detection_limit,
            "blank_corrected": "no", "analysed_on": analysed.isoformat(), **columns,
        }

    def _row(self, laboratory, caught, agent, received, quantity, overrides):
        analysed = min(caught.day + timedelta(days=9), received - timedelta(days=1))
        row = self.row(laboratory, caught, agent, analysed)
        if quantity == "concentration" and not caught.blank:
            row.update(_as_concentration(row, caught))
        row.update(caught.changes.get(agent, {}))
        row.update(overrides.get((caught.number, agent), {}))
        return row

    def _number(self, laboratory, year):
        initial = laboratory[0]
        self._report_numbers[initial, year] = self._report_numbers.get((initial, year), self.random.randint(100, 400)) + self.random.randint(3, 40)
        return f"{initial}{year}-{self._report_numbers[initial, year]:04}"


def _digits(amount, decimals):
    """Three significant digits at most, as a laboratory prints them, with the trailing zeros."""
    whole = len(str(int(amount))) if amount >= 1 else 0
    return f"{amount:.{max(0, min(decimals, 3 - whole))}f}" if amount >= 1 else f"{amount:.{decimals}f}"


def _as_concentration(row, caught):
    """A row as micrograms per cubic metre, to three digits."""
    def per_cubic_metre(text):
        return f"{float(f'{float(text) * 1000 / caught.litres:.3g}'):g}"

    return {"quantity": "concentration", "unit": "ug/m3", "value": per_cubic_metre(row["value"]),
            "reporting_limit": per_cubic_metre(row["reporting_limit"]),
            "detection_limit": per_cubic_metre(row["detection_limit"])}


def accept(ledger, file, site, numbers, reason):
    """Accepts all results of the samples."""
    for number in numbers:
        ledger.step(file, "hygienist", f"/samples/@sample:{site}:{number}/acceptance", {"reason": reason})
