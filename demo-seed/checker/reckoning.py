"""Concentrations, shift averages, verdict values and standings, by plain arithmetic."""

from datetime import date, datetime, timedelta

from .reading import code_of, day

LEVELS = {"chromium_vi": (2.5, 5.0), "lead": (30.0, 50.0), "silica_respirable": (25.0, 50.0)}
PROTECTIVE = ("respirator", "other_protective_equipment")
UP = {"below": 0, "at_or_above_action_level": 1, "above_limit": 2}


def minutes(sample):
    """Sampled minutes, from instants."""
    return sum((datetime.fromisoformat(r["end"]) - datetime.fromisoformat(r["start"])).total_seconds() / 60 for r in sample["runs"])


def litres(sample):
    """Sampled volume at the mean flow."""
    return (float(sample["flow_before"]["value"]) + float(sample["flow_after"]["value"])) / 2 * minutes(sample)


def flow_change(sample):
    """Flow change in per cent."""
    before, after = float(sample["flow_before"]["value"]), float(sample["flow_after"]["value"])
    return 100 * (after - before) / before


def concentration(registry, sample, agent):
    """(lower, upper) in ug/m3 over the sampled time, blank-corrected where the laboratory had not done so."""
    row = registry.results.get((sample["_name"], agent))
    if row is None or sample.get("outcome"):
        return None
    size = {"mg": 1000.0}.get(row["unit"], 1.0)
    value = float(row["value"]) * size
    if row["quantity"] == "concentration":
        return (0.0, value) if row["comparator"] == "<" else (value, value)
    per = 1000 / litres(sample)
    if row.get("estimated"):
        return float(row["detection_limit"]) * size * per, float(row["reporting_limit"]) * size * per
    if row["comparator"] == "<":
        return 0.0, value * per
    if row["blank_corrected"] == "no":
        value -= blank_mass(registry, sample, agent)
        limit = float(row["reporting_limit"]) * size
        if value < limit:
            return 0.0, limit * per
    return value * per, value * per


def blank_mass(registry, sample, agent):
    """Mean of the valid field blanks of the event with the same medium and lot; below the limit counts zero."""
    masses = []
    for other in sample["_event"]["samples"]:
        same = all(other.get(key) == sample.get(key) for key in ("medium", "medium_lot"))
        if other["position"] == "field_blank" and same and not other.get("outcome"):
            row = registry.results[f"sample:{sample['_site']}:{other['number']}", agent]
            masses.append(0.0 if row["comparator"] else float(row["value"]) * {"mg": 1000.0}.get(row["unit"], 1.0))
    return sum(masses) / len(masses) if masses else 0.0


def shift_averages(registry, agent):
    """Eight-hour averages of breathing-zone samples: one entry a worker, date and group."""
    shifts = {}
    for sample in registry.samples.values():
        usable = sample["position"] == "breathing_zone" and sample.get("covers", "shift") in ("shift", "task")
        if not usable or agent not in sample["agent_codes"] or not sample.get("representative", True):
            continue
        told = concentration(registry, sample, agent)
        if told:
            key = (code_of(sample["worker_id"]), sample["shift_date"], code_of(sample["group_id"]))
            shifts.setdefault(key, []).append((sample, told))
    return {key: _average(samples) for key, samples in shifts.items()}


def _average(samples):
    sampled = sum(minutes(s) for s, _ in samples)
    event = samples[0][0]["_event"]
    stated = next((s for s in event.get("shifts", []) if s["worker_id"] == samples[0][0]["worker_id"]
                   and s["shift_date"] == samples[0][0]["shift_date"]), {})
    shift = stated.get("shift_minutes", event["shift_minutes"])
    lower, upper = (sum(minutes(s) * told[side] for s, told in samples) for side in (0, 1))
    zero = stated.get("unsampled", {}).get("as") == "zero"
    part = sampled < 0.75 * shift and not zero
    factor = 1.0 if zero else shift / sampled
    return {"lower": lower * (1.0 if part else factor) / 480, "upper": upper * factor / 480, "part": part,
            "event": event, "samples": [s for s, _ in samples]}


def cut_dates(registry, group):
    """Dates on which an era of the group begins."""
    kinds = {c["_name"]: c["kind"] for c in registry.all("controls")}
    tasks = {t["_name"] for t in registry.all("tasks") if code_of(t["group_id"]) == group}
    dates = {c["from"] for c in registry.all("changes") if c["_parent"] == f"group:{group}"}
    for period in registry.all("control-periods"):
        if period["_parent"] in tasks and kinds[period["control_id"][1:]] not in PROTECTIVE:
            dates |= {period["from"], period.get("to")} - {None}
    return sorted(dates)


def standings(registry, group, agent):
    """Changes of standing as (effective from, standing, event), by the rules of rounds and eras."""
    action, limit = LEVELS[agent]
    cuts = cut_dates(registry, group)
    changes, standing, floor, waiting, era = [], None, None, None, None
    for when, event, value, settled, may_lower in rounds(registry, group, agent):
        now_era = max([c for c in cuts if c <= when], default=date.min.isoformat())
        if now_era != era:
            era, floor, waiting = now_era, None, None
        word = "above_limit" if value > limit else "at_or_above_action_level" if value >= action else "below" if settled else None
        if word is None:
            waiting = None
            continue
        if standing is None or UP[word] > UP[standing]:
            changes.append((floor or era, word, event["reference"]))
            standing, waiting = word, None
        elif word == "below":
            if not may_lower:
                continue
            floor = (day(when) + timedelta(days=1)).isoformat()
            if standing != "below" and waiting and (day(when) - day(waiting)).days >= 7:
                changes.append((when, "below", event["reference"]))
                standing = "below"
            waiting = when
        else:
            waiting = None
    return changes


def rounds(registry, group, agent):
    """Rounds of a group in time order: date, event, highest value, whether all are settled below, whether it may lower."""
    action = LEVELS[agent][0]
    by_event = {}
    for (_, on, g), average in shift_averages(registry, agent).items():
        if g == group and (not average["part"] or average["lower"] >= action):
            by_event.setdefault(average["event"]["reference"], []).append((on, average))
    found = []
    for members in by_event.values():
        event = members[0][1]["event"]
        samples = [s for _, a in members for s in a["samples"]]
        accepted = all(s["_name"] in registry.accepted for s in samples)
        clean = all(abs(flow_change(s)) <= 5 for s in samples)
        trial = "control_trial" in event.get("purpose", [])
        settled = all(a["upper"] < action for _, a in members)
        found.append((max(on for on, _ in members), event, max(a["lower"] for _, a in members), settled,
                      accepted and clean and not trial))
    return sorted(found, key=lambda told: told[0])


def trial_values(registry, reference, control, agent, position="breathing_zone"):
    """One value for each worker (or place), date and state: ({key: value} without, the same with, samples by state)."""
    sums, samples = {}, {False: [], True: []}
    for sample in registry.samples.values():
        if sample["_event"]["reference"] != reference or sample["position"] != position:
            continue
        state = f"@control:{control}" in sample["control_ids_running"]
        lower, upper = concentration(registry, sample, agent)
        key = (state, sample.get("worker_id") or sample["location"], sample["shift_date"])
        total = sums.setdefault(key, [0.0, 0.0, False])
        total[0] += upper * minutes(sample)
        total[1] += minutes(sample)
        total[2] |= lower != upper
        samples[state].append(sample)
    sides = ({}, {})
    for (state, who, on), (amount, time, _) in sums.items():
        sides[state][who, on] = amount / time
    return sides[0], sides[1], samples
