"""Whether every request could be taken as it stands."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from .reading import AGENTS, code_of, day, name_of

FIELDS = {
    "sites": "code name time_zone rule_set",
    "monitoring-options": "agent_code option from",
    "holidays": "date name",
    "groups": "code title job_classification work_area shift_pattern",
    "agents": "agent_code from source",
    "conditions": "agent_code kind from source",
    "changes": "from kind description may_raise",
    "tasks": "code title group_id usual_minutes_per_shift shifts_per_week",
    "controls": "code title kind form assigned_protection_factor target_reduction_percent",
    "control-periods": "control_id from to",
    "workers": "employee_number given_name family_name employer relation job_title hired_on left_on",
    "employments": "employer employee_number relation from",
    "earlier-exposures": "employer agent_code from to days_per_year mean source",
    "assignments": "group_id from to shifts_per_week hours_per_shift job_title respirator_control_id respirator_worn_share",
    "worked-days": "date group_id hours",
    "absences": "from to",
    "sampling-events": "reference purpose sampled_by shift_minutes shifts conditions samples",
    "lab-reports": "report_number part revision laboratory accreditation received_on",
    "record-requests": "received_on from what",
    "medical-grounds": "kind trigger_id on agent_code",
    "direct-readings": "instrument calibrated_on position location group_id task_id shift_date control_ids_running unit readings",
}
SAMPLE_FIELDS = set(
    "number position shift_date agent_codes covers duplicate_of sampler_kind outcome group_id task_id worker_id runs "
    "flow_before flow_after medium medium_lot method fraction pump calibrator calibrated_on location materials arc_minutes "
    "job_title ppe_worn control_ids_running representative on_site_results note".split())
HYGIENIST_ONLY = {"groups", "agents", "conditions", "changes", "tasks", "controls", "control-periods", "monitoring-options", "holidays"}
PHYSICIAN_ONLY = {"medical-grounds"}
TODAY = date(2026, 11, 25)


def check(registry):
    """Notes every fault."""
    _fields_and_roles(registry)
    _natural_keys(registry)
    _shifts(registry)
    _people(registry)
    busy = {}
    for sample in registry.samples.values():
        _sample(registry, sample, busy)


def _fields_and_roles(registry):
    for kind, records in registry.made.items():
        for record in records:
            strange = {key for key in record if not key.startswith("_")} - set(FIELDS[kind].split())
            if strange:
                registry.fault(record["_at"], f"{kind}: unknown fields {sorted(strange)}")
            if kind in HYGIENIST_ONLY and record["_as"] != "hygienist":
                registry.fault(record["_at"], f"{kind} is a hygienist's")
            if (kind in PHYSICIAN_ONLY) != (record["_as"] == "physician"):
                registry.fault(record["_at"], f"{kind}: the physician enters grounds, and nothing else")
            if record.get("received_on", "") > TODAY.isoformat() and kind == "record-requests" or record.get("on", "") > TODAY.isoformat():
                registry.fault(record["_at"], "lies in the future")
            if record.get("to") and record["to"] <= record["from"]:
                registry.fault(record["_at"], "ends before it begins")


def _natural_keys(registry):
    keys = [("group", g["code"]) for g in registry.all("groups")]
    keys += [("task", t["code"]) for t in registry.all("tasks")] + [("control", c["code"]) for c in registry.all("controls")]
    keys += [(w["employer"], w["employee_number"]) for w in registry.all("workers") + registry.all("employments")]
    keys += [("event", e["_parent"], e["reference"]) for e in registry.all("sampling-events")]
    keys += [(r["laboratory"], r["report_number"], r.get("part"), r.get("revision")) for r in registry.all("lab-reports")]
    for key in {key for key in keys if keys.count(key) > 1}:
        registry.fault("natural keys", f"{key} is used twice")


def employed(registry, worker, on):
    """Whether a worker has an employment on a date."""
    first = registry.known[worker]
    spans = [(first["hired_on"], first.get("left_on"))]
    spans += [(e["from"], None) for e in registry.all("employments") if e["_parent"] == worker]
    return any(day(start) <= on and (last is None or on <= day(last)) for start, last in spans)


def assigned(registry, worker, group, on):
    """Whether a worker is assigned to a group on a date and not away."""
    inside = any(a["_parent"] == worker and code_of(a["group_id"]) == group and day(a["from"]) <= on
                 and (not a.get("to") or on < day(a["to"])) for a in registry.all("assignments"))
    away = any(a["_parent"] == worker and day(a["from"]) <= on < day(a["to"]) for a in registry.all("absences"))
    return inside and not away


def _shifts(registry):
    for event in registry.all("sampling-events"):
        stated = [(s["worker_id"], s["shift_date"]) for s in event.get("shifts", [])]
        if len(stated) != len(set(stated)):
            registry.fault(event["_at"], "a shift is stated twice")
        if not set(stated) <= {(s.get("worker_id"), s["shift_date"]) for s in event["samples"]}:
            registry.fault(event["_at"], "a shift is stated for somebody not sampled in it")
        if event["_as"] != "coordinator" or not event["samples"]:
            registry.fault(event["_at"], "an event without samples")


def _people(registry):
    for told in registry.all("assignments"):
        last = day(told["to"]) - timedelta(days=1) if told.get("to") else TODAY
        if not (employed(registry, told["_parent"], day(told["from"])) and employed(registry, told["_parent"], last)):
            registry.fault(told["_at"], "assigned while not employed")
        for other in registry.all("assignments"):
            same = other is not told and other["_parent"] == told["_parent"] and other["group_id"] == told["group_id"]
            if same and told["from"] < other.get("to", "9999") and other["from"] < told.get("to", "9999"):
                registry.fault(told["_at"], "assigned twice to one group")
    for told in registry.all("worked-days"):
        if not assigned(registry, told["_parent"], code_of(told["group_id"]), day(told["date"])):
            registry.fault(told["_at"], "a recorded day without assignment")
    for told in registry.all("absences"):
        if not employed(registry, told["_parent"], day(told["from"])):
            registry.fault(told["_at"], "away while not employed")


def _sample(registry, sample, busy):
    where, site = sample["_name"], registry.known[f"site:{sample['_site']}"]
    strange = {key for key in sample if not key.startswith("_")} - SAMPLE_FIELDS
    if strange or not set(sample["agent_codes"]) <= AGENTS:
        registry.fault(where, f"unknown fields {sorted(strange)} or agents")
    on = day(sample["shift_date"])
    if on > TODAY:
        registry.fault(where, "lies in the future")
    if sample["position"] == "field_blank":
        if set(sample) & {"worker_id", "runs"}:
            registry.fault(where, "a blank has neither worker nor runs")
        return
    group = code_of(sample["group_id"])
    for reference in [sample["group_id"], sample.get("task_id"), *sample.get("control_ids_running", [])]:
        if reference and not code_of(reference).startswith(sample["_site"]):
            registry.fault(where, f"{reference} is of another site")
    if "task_id" in sample and code_of(registry.known[name_of(sample["task_id"])]["group_id"]) != group:
        registry.fault(where, "its task is of another group")
    if (sample["position"] == "breathing_zone") != ("worker_id" in sample):
        registry.fault(where, "a worker belongs to the breathing zone, and only there")
    if "worker_id" in sample and not (assigned(registry, name_of(sample["worker_id"]), group, on)
                                      and employed(registry, name_of(sample["worker_id"]), on)):
        registry.fault(where, "the worker is not there on that day")
    if "calibrated_on" in sample and not 0 <= (on - day(sample["calibrated_on"])).days <= 365:
        registry.fault(where, "calibrator overdue")
    _runs(registry, sample, ZoneInfo(site["time_zone"]), busy)


def _runs(registry, sample, zone, busy):
    where, on = sample["_name"], day(sample["shift_date"])
    first = datetime(on.year, on.month, on.day, tzinfo=zone)
    utc = ZoneInfo("UTC")
    window = first.astimezone(utc), first.astimezone(utc) + timedelta(hours=36)
    for run in sample["runs"]:
        start = datetime.fromisoformat(run["start"])
        end = datetime.fromisoformat(run.get("end", run["start"]))
        for told in (start, end):
            if told.astimezone(zone).utcoffset() != told.utcoffset():
                registry.fault(where, f"{told} has not the site's offset")
        if not (window[0] <= start and end <= window[1]) or ("end" in run and end <= start):
            registry.fault(where, "a run outside its shift")
        keys = [("pump", sample["pump"])]
        if sample.get("covers") not in ("short_term", "duplicate") and "worker_id" in sample:
            keys += [(sample["worker_id"], agent) for agent in sample["agent_codes"]]
        for key in keys:
            for other_start, other_end, other in busy.get(key, []):
                if start < other_end and other_start < end and other != where:
                    registry.fault(where, f"overlaps {other} of {key}")
            busy.setdefault(key, []).append((start, end, where))
