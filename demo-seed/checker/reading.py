"""Reads step files in order and resolves names, as a loader would."""

import csv
import json
import re
from datetime import date

NAMES_OF_AGENTS = {
    "18540-29-9": "chromium_vi", "14808-60-7": "silica_respirable",
    "Lead, inorganic (metal, inorganic compounds, lead soaps)": "lead",
}
AGENTS = {"chromium_vi", "lead", "silica_respirable", "noise", "manganese", "nickel_total", "welding_fume_total"}


class Registry:
    """Everything the steps create, by kind of path, with the faults found on the way."""

    def __init__(self, root):
        self.root = root
        self.faults = []
        self.known = {}
        self.made = {}
        self.requests = 0
        self.samples, self.results, self.accepted = {}, {}, set()
        for file in sorted((root / "steps").glob("*.jsonl")):
            for number, line in enumerate(file.read_text(encoding="utf-8").splitlines(), start=1):
                self._take(json.loads(line), f"{file.name}:{number}")

    def fault(self, where, what):
        """Notes a fault."""
        self.faults.append(f"{where}: {what}")

    def all(self, kind):
        """Bodies created under a path ending, in order; each carries its name, parent and place."""
        return self.made.get(kind, [])

    def _take(self, step, where):
        self.requests += 1
        parent = self._names(step["post"], where)
        for name in set(re.findall(r'"@([^"]+)"', json.dumps(step.get("body", {}), ensure_ascii=False))):
            self._must_know(name, where)
        kind = step["post"].rsplit("/", 1)[1]
        record = {"_name": step.get("name"), "_parent": parent, "_at": where, "_as": step["as"], **step.get("body", {})}
        if kind == "acceptance":
            self._accept(parent, where)
            return
        self.made.setdefault(kind, []).append(record)
        if step.get("name"):
            self._learn(step["name"], record, where)
        if kind == "sampling-events":
            self._samples(record, parent, where)
        if kind == "lab-reports":
            record.update(step["query"])
            self._rows(record, parent, step["csv"], where)

    def _names(self, path, where):
        names = re.findall(r"/@([^/]+)", path)
        for name in names:
            self._must_know(name, where)
        return names[0] if names else None

    def _must_know(self, name, where):
        if name not in self.known:
            self.fault(where, f"{name} is not known yet")

    def _learn(self, name, record, where):
        if name in self.known:
            self.fault(where, f"{name} is made twice")
        self.known[name] = record

    def _samples(self, event, site, where):
        code = site.split(":")[1]
        for sample in event["samples"]:
            name = f"sample:{code}:{sample['number']}"
            kept = {"_name": name, "_event": event, "_site": code, "_at": where, **sample}
            self._learn(name, kept, where)
            self.samples[name] = kept
            for told in sample.get("on_site_results", []):
                row = {"agent": "noise", "value": told["value"]["value"], "comparator": told["value"].get("comparator", ""),
                       "criterion": told["criterion"]}
                self.results[name, f"noise/{told['criterion']}"] = row

    def _rows(self, report, site, path, where):
        code = site.split(":")[1]
        text = (self.root / path).read_bytes().decode()
        for index, row in enumerate(csv.DictReader(text.splitlines())):
            at = f"{path}: row {index}"
            row["agent"] = NAMES_OF_AGENTS.get(row["agent"], row["agent"])
            name = f"sample:{code}:{row['sample_number']}"
            if name not in self.samples:
                self.fault(at, f"{name} is not known")
                continue
            if row["agent"] not in self.samples[name]["agent_codes"]:
                self.fault(at, f"{row['agent']} was not asked for")
            if date.fromisoformat(self.samples[name]["shift_date"]) >= date.fromisoformat(report["received_on"]):
                self.fault(at, "received before it was sampled")
            self._row(name, row, at)

    def _row(self, name, row, at):
        key = (name, row["agent"])
        replaces = row.get("replaces", "")
        if (key in self.results) != bool(replaces):
            self.fault(at, "a second result must say what it replaces, a first one must not")
        if not row["comparator"] and not row.get("estimated") and float(row["value"]) < float(row["reporting_limit"]):
            self.fault(at, "below its own reporting limit without comparator")
        if replaces == "reanalysed":
            self.known[f"reanalysed:{name}"] = row
            return
        if replaces == "revised":
            self.known[f"first:{name}"] = self.results[key]
        self.results[key] = row

    def _accept(self, name, where):
        if not any(sample == name for sample, _ in self.results):
            self.fault(where, f"{name} has no result to accept")
        if name in self.accepted:
            self.fault(where, f"{name} is accepted twice")
        self.accepted.add(name)


def name_of(reference):
    """The name behind `@name`."""
    return reference[1:] if reference else None


def code_of(reference):
    """The code at the end of `@group:ALD-WELD`."""
    return reference.split(":", 1)[1] if reference else None


def day(text):
    """A date."""
    return date.fromisoformat(text)
