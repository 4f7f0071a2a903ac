"""What the tour promises, reckoned from the files: each story gives (promise, holds, what was found)."""

import re
from datetime import date, datetime, timedelta

from . import reckoning, statistics
from .reading import code_of, day


def all_stories(registry):
    """Every story in the order of the tour."""
    yield from (story(registry) for story in (
        sufficient, insufficient, breathing_zone_only, room_unchanged, failed, with_non_detects, filter_unit, undecided, arc_time, standing_changed,
        two_sites, gap, contractor, night, coarse, drift, odd_days, reports_put_right, tour_names, size))


def _trial(registry, reference, control, agent, position="breathing_zone"):
    without, with_, samples = reckoning.trial_values(registry, reference, control, agent, position)
    paired = set(without) == set(with_) and len(without) >= 3
    if paired:
        interval = statistics.ratio_paired([(without[key], with_[key]) for key in without])
    else:
        interval = statistics.ratio_welch(list(without.values()), list(with_.values()))
    target = registry.known[f"control:{control}"].get("target_reduction_percent", 50)
    words = f"{'paired' if paired else 'Welch'}, n {len(without)}/{len(with_)}, ratio {interval[0]:.3f} ({interval[1]:.3f} to {interval[2]:.3f})"
    return interval, statistics.verdict(interval, target), list(with_.values()), confounders(samples), words


def confounders(samples):
    """Words for what differs between the states, by the rules for verdicts."""
    off, on = samples[False], samples[True]
    found = []
    for word, key in (("tasks", "task_id"), ("materials", "materials"), ("workers", "worker_id"), ("locations", "location")):
        if {s.get(key) for s in off} != {s.get(key) for s in on}:
            found.append(word)
    minutes = [sum(map(reckoning.minutes, side)) / len(side) for side in (off, on)]
    if max(minutes) / min(minutes) > 1.2:
        found.append("sampled_minutes")
    if all("arc_minutes" in s for s in off + on):
        per_hour = [sum(s["arc_minutes"] for s in side) / sum(map(reckoning.minutes, side)) for side in (off, on)]
        if max(per_hour) / min(per_hour) > 1.2:
            found.append("arc_time")
    dates = [sorted({s["shift_date"] for s in side}) for side in (off, on)]
    if min(map(len, dates)) < 3:
        found.append("few_dates")
    clock = [[datetime.fromisoformat(s["runs"][0]["start"]).time() for s in side] for side in (off, on)]
    for one, other in (dates, dates[::-1], clock, clock[::-1]):
        if max(one) < min(other):
            found.append("order_in_time")
    return found


def sufficient(registry):
    interval, verdict, with_, odd, words = _trial(registry, "ALD-2024-T1", "ALD-C01", "chromium_vi")
    above = statistics.probability_p95_above(with_, 2.5)
    holds = verdict == "lowered" and above < 0.005 and not odd
    return "lowered and sufficient (ALD-C01)", holds, (
        f"{verdict}; {words}; 95th percentile {statistics.percentile_95(with_):.2f}, P(above 2.5) {above:.4f}; {odd}")


def insufficient(registry):
    interval, verdict, with_, odd, words = _trial(registry, "COL-2025-T1", "COL-C01", "lead")
    projected = [value * 300 / 480 for value in with_]
    above = statistics.probability_p95_above(projected, 50)
    holds = verdict == "lowered" and interval[2] < 0.1 and above > 0.99 and not odd
    return "lowered by more than nine tenths, still insufficient (COL-C01)", holds, (
        f"{verdict}; {words}; projected 95th percentile {statistics.percentile_95(projected):.0f}, P(above 50) {above:.4f}; {odd}")


def breathing_zone_only(registry):
    _, verdict, _, odd, words = _trial(registry, "ALD-2023-T1", "ALD-C02", "chromium_vi")
    return "helps at the breathing zone (ALD-C02)", verdict == "lowered" and not odd, f"{verdict}; {words}; {odd}"


def room_unchanged(registry):
    _, verdict, _, odd, words = _trial(registry, "ALD-2023-T1", "ALD-C02", "chromium_vi", "area")
    return "does nothing for the room (ALD-C02)", verdict == "no_difference_shown" and not odd, f"{verdict}; {words}; {odd}"


def with_non_detects(registry):
    _, verdict, _, odd, words = _trial(registry, "BRK-2023-T1", "BRK-C03", "silica_respirable")
    below = sum(row["comparator"] == "<" for (name, _), row in registry.results.items()
                if registry.samples[name]["_event"]["reference"] == "BRK-2023-T1" and registry.samples[name]["position"] != "field_blank")
    holds = verdict == "lowered" and below >= 1 and not odd
    return "lowered, some below the reporting limit (BRK-C03)", holds, f"{verdict} with limits in place of values; {words}; {below} below; {odd}"


def filter_unit(registry):
    sides = {position: {} for position in ("inlet", "outlet")}
    for sample in registry.samples.values():
        if sample["_event"]["reference"] == "ALD-2023-T2" and sample["position"] in sides:
            sides[sample["position"]][sample["shift_date"]] = reckoning.concentration(registry, sample, "chromium_vi")[1]
    pairs = [(sides["inlet"][on], sides["outlet"][on]) for on in sides["inlet"]]
    through = statistics.ratio_paired(pairs)
    return "filter unit before and behind (ALD-C06)", len(pairs) >= 3 and through[2] < 0.1, (
        f"penetration {through[0]:.3f} ({through[1]:.3f} to {through[2]:.3f}), {len(pairs)} pairs")


def failed(registry):
    _, verdict, _, odd, words = _trial(registry, "BRK-2022-T1", "BRK-C02", "silica_respirable")
    return "failed (BRK-C02)", verdict == "no_difference_shown" and not odd, f"{verdict}; {words}; {odd}"


def undecided(registry):
    _, verdict, _, odd, words = _trial(registry, "COL-2026-T1", "COL-C03", "chromium_vi")
    return "still undecided (COL-C03)", verdict == "undecided" and not odd, f"{verdict}; {words}; {odd}"


def arc_time(registry):
    _, verdict, _, odd, words = _trial(registry, "ALD-2025-T1", "ALD-C05", "chromium_vi")
    return "confounded by welding time (ALD-C05)", odd == ["arc_time"], f"{verdict}; {words}; {odd}"


def standing_changed(registry):
    changes = reckoning.standings(registry, "ALD-WELD", "chromium_vi")
    words = [told[1] for told in changes]
    holds = words[-1] == "below" and "above_limit" in words and words.count("below") == 1 and changes[-1][0] > "2024-09-02"
    return "standing changed when a control came (ALD-WELD)", holds, str(changes)


def standing_on(changes, on):
    """The standing of a date."""
    told = [word for start, word, _ in changes if start <= on.isoformat()]
    return told[-1] if told else None


def days_at_or_above(registry, worker, agent):
    """Assigned dates while the group stood at or above the action level, by site, five shifts a week from Monday."""
    days = {}
    for told in registry.all("assignments"):
        if told["_parent"] != worker:
            continue
        group = code_of(told["group_id"])
        changes = reckoning.standings(registry, group, agent)
        on, end = day(told["from"]), day(told["to"]) if told.get("to") else date(2026, 11, 26)
        while on < end:
            if on.weekday() < told["shifts_per_week"] and standing_on(changes, on) in ("at_or_above_action_level", "above_limit"):
                days.setdefault(group.split("-")[0], []).append(on)
            on += timedelta(days=1)
    return days


def worst_year(days):
    """The most days in any twelve months."""
    return max((sum(first <= other < first.replace(year=first.year + 1) for other in days) for first in days), default=0)


def two_sites(registry):
    days = days_at_or_above(registry, "worker:QR-1201", "chromium_vi")
    alone = {site: worst_year(told) for site, told in days.items()}
    together = worst_year([on for told in days.values() for on in told])
    holds = len(alone) == 2 and max(alone.values()) < 30 <= together
    return "30 days only with two sites together (QR-1201)", holds, f"{alone}, together {together}"


def gap(registry):
    spans = sorted((a["from"], a.get("to")) for a in registry.all("assignments") if a["_parent"] == "worker:QR-1202")
    return "a worker with a gap (QR-1202)", len(spans) == 2 and spans[0][1] < spans[1][0], str(spans)


def contractor(registry):
    first = registry.known["worker:LW-12"]
    again = [e for e in registry.all("employments") if e["_parent"] == "worker:LW-12"]
    holds = first["relation"] == "contractor" and len(again) == 1 and again[0]["relation"] == "own"
    return "a contractor who became an employee (LW-12, QR-1203)", holds, (
        f"{first['employer']} to {first['left_on']}, {again[0]['employer']} from {again[0]['from']}")


def night(registry):
    crossing = [s for s in registry.samples.values() if any(r["start"][:10] != r.get("end", r["start"])[:10] for r in s.get("runs", []))]
    clocks = [s["_name"] for s in crossing if s["runs"][0]["start"][-6:] != s["runs"][0]["end"][-6:]]
    return "night shifts, one over the clock change", len(crossing) > 10 and len(clocks) == 3, f"{len(crossing)} samples over midnight, {clocks}"


def coarse(registry):
    told = [a for (_, on, g), a in reckoning.shift_averages(registry, "chromium_vi").items() if a["event"]["reference"] == "ALD-2023-Q"]
    holds = len(told) == 1 and told[0]["lower"] == 0 and told[0]["upper"] >= 2.5
    return "a non-detect too coarse to tell (ALD-2023-Q)", holds, f"< {told[0]['upper']:.2f} against 2.5"


def drift(registry):
    found = {s["_name"]: round(reckoning.flow_change(s), 1) for s in registry.samples.values()
             if "flow_after" in s and abs(reckoning.flow_change(s)) > 5}
    return "pumps that drifted", len(found) >= 1, str(found)


def odd_days(registry):
    outcomes = sorted((s["outcome"], s["position"]) for s in registry.samples.values() if "outcome" in s)
    holds = {"pump_failed", "lost", "damaged", "contaminated"} <= {word for word, _ in outcomes}
    return "a failed pump, a lost blank, damaged filters", holds, str(outcomes)


def reports_put_right(registry):
    revised = [name for name in registry.known if name.startswith("first:")]
    again = [name for name in registry.known if name.startswith("reanalysed:")]
    parts = sorted({r["report_number"] for r in registry.all("lab-reports") if r.get("part")})
    return "a revised report, a reanalysis, parts", len(revised) == 2 and len(again) == 1 and bool(parts), f"{revised}, {again}, parts {parts}"


def tour_names(registry):
    text = (registry.root / "TOUR.md").read_text(encoding="utf-8")
    known = {record.get(key) for kind in ("sites", "groups", "tasks", "controls", "workers", "employments", "sampling-events")
             for record in registry.all(kind) for key in ("code", "reference", "employee_number")}
    codes = set(re.findall(r"`([A-Z]{2,3}-[A-Z0-9-]+|[A-Z]{3})`", text))
    missing = sorted(codes - known)
    numbers = set(re.findall(r"`([A-Z]{3}) (\d\d-\d{4})`", text))
    missing += [" ".join(told) for told in sorted(numbers) if "sample:" + ":".join(told) not in registry.samples]
    reports = set(re.findall(r"report ([HPS]\d{4}-\d{4})", text)) - {r["report_number"] for r in registry.all("lab-reports")}
    return "everything the tour names exists", not missing and not reports, f"{len(codes)} codes, {len(numbers)} samples; missing {missing + sorted(reports)}"


def size(registry):
    blanks = sum(s["position"] == "field_blank" for s in registry.samples.values())
    with_results = {name for name, _ in registry.results} - {s["_name"] for s in registry.samples.values() if s["position"] == "field_blank"}
    below = sum(row["comparator"] == "<" for (name, _), row in registry.results.items() if registry.samples[name]["position"] != "field_blank")
    counts = {kind: len(registry.all(kind)) for kind in (
        "sites", "workers", "assignments", "groups", "tasks", "controls", "sampling-events", "lab-reports", "direct-readings")}
    agents = sorted({agent for _, agent in registry.results})
    counts |= {"samples": len(registry.samples), "of them blanks": blanks, "results": len(registry.results), "below their limit": below,
               "accepted samples": len(registry.accepted), "of": len(with_results), "requests": registry.requests}
    holds = counts["workers"] >= 100 and counts["samples"] >= 800 and counts["groups"] >= 12 and counts["tasks"] >= 25 and counts["controls"] >= 15
    return "size", holds and len(registry.accepted) > len(with_results) / 2, f"{counts}; {agents}"
