"""Requests that found the employer: sites, groups, tasks, controls and their dated facts."""

from . import plant
from .ledger import at


def found(ledger):
    """Adds the founding requests in the order in which they must be made."""
    _sites(ledger)
    _groups(ledger)
    _tasks_and_controls(ledger)


def _sites(ledger):
    file = "01-sites.jsonl"
    for code, (name, zone) in plant.SITES.items():
        body = {"code": code, "name": name, "time_zone": zone, "rule_set": "us_general_industry"}
        ledger.step(file, "administrator", "/sites", body, f"site:{code}")
    for code in plant.SITES:
        path = f"/sites/@site:{code}"
        agents = sorted({a for g, told in plant.GROUPS.items() if plant.site_of(g) == code for a in told[5]})
        regulated = [a for a in agents if a in ("chromium_vi", "lead", "silica_respirable")]
        for agent in regulated or agents[:1]:
            body = {"agent_code": agent, "option": "scheduled", "from": plant.SCHEDULED_SINCE}
            ledger.step(file, "hygienist", f"{path}/monitoring-options", body)
        for year in (2026,):
            for month_day, name in plant.HOLIDAYS:
                ledger.step(file, "hygienist", f"{path}/holidays", {"date": f"{year}-{month_day}", "name": name})


def _groups(ledger):
    file = "02-groups.jsonl"
    for code, (title, job, area, pattern, _, agents) in plant.GROUPS.items():
        body = {"code": code, "title": title, "job_classification": job, "work_area": area, "shift_pattern": pattern}
        ledger.step(file, "hygienist", f"/sites/@site:{plant.site_of(code)}/groups", body, f"group:{code}")
        for agent in agents:
            body = {"agent_code": agent, "from": plant.SCHEDULED_SINCE, "source": "hazard assessment 2020"}
            ledger.step(file, "hygienist", f"/groups/@group:{code}/agents", body)
    for group, agent, kind, start, source in plant.CONDITIONS:
        body = {"agent_code": agent, "kind": kind, "from": start, "source": source}
        ledger.step(file, "hygienist", f"/groups/@group:{group}/conditions", body)
    for group, start, kind, description, may_raise in plant.CHANGES:
        body = {"from": start, "kind": kind, "description": description, "may_raise": may_raise}
        ledger.step(file, "hygienist", f"/groups/@group:{group}/changes", body)


def _tasks_and_controls(ledger):
    file = "03-tasks-and-controls.jsonl"
    for code, (title, group, minutes, shifts) in plant.TASKS.items():
        body = {"code": code, "title": title, "group_id": at(f"group:{group}"),
                "usual_minutes_per_shift": minutes, "shifts_per_week": shifts}
        ledger.step(file, "hygienist", f"/sites/@site:{plant.site_of(code)}/tasks", body, f"task:{code}")
    for code, (title, kind, form, factor, target) in plant.CONTROLS.items():
        body = {"code": code, "title": title, "kind": kind, "form": form,
                "assigned_protection_factor": factor, "target_reduction_percent": target}
        ledger.step(file, "hygienist", f"/sites/@site:{plant.site_of(code)}/controls", body, f"control:{code}")
    for task, control, start, end in plant.CONTROL_PERIODS:
        body = {"control_id": at(f"control:{control}"), "from": start, "to": end}
        ledger.step(file, "hygienist", f"/tasks/@task:{task}/control-periods", body)
