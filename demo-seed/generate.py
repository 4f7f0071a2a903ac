#!/usr/bin/env python3
"""Writes the demonstration employer: `python3 demo-seed/generate.py`.

Everything is invented. The seed is fixed, so every run writes the same bytes.
"""

from pathlib import Path
from random import Random

from generator import episodes, founding, office, people, routine, trials
from generator.bench import Bench
from generator.laboratory import Laboratory
from generator.ledger import Ledger

SEED = "Quillfeather Ropeways 2026-11"


def build():
    """All requests and laboratory files of the demonstration."""
    ledger = Ledger()
    founding.found(ledger)
    force = people.staff(ledger, _chance("people"))
    bench = Bench(ledger, force, _chance("sampling"))
    laboratory = Laboratory(ledger, _chance("laboratory"))
    for _, happening in sorted(_happenings(bench, laboratory), key=lambda told: told[0]):
        happening()
    office.requests_and_grounds(ledger)
    return ledger


def _happenings(bench, laboratory):
    """Every sampling event with its first day, so that they are sent in time order."""
    for start, site, reference, season in routine.rounds():
        yield (start.isoformat(), reference), lambda told=(start, site, reference, season): routine.sample_round(bench, laboratory, *told)
    for trial in trials.WHOLE_SHIFT:
        yield (min(trial.off + trial.on), trial.reference), lambda told=trial: trials.run_whole_shift(bench, laboratory, told)
    yield ("2025-03-11", ""), lambda: trials.run_needle_gun(bench, laboratory)
    yield ("2023-08-08", ""), lambda: trials.run_jig_arm(bench, laboratory)
    yield ("2024-01-16", ""), lambda: trials.run_saw_hood(bench)
    yield ("2023-03-07", ""), lambda: trials.run_filter_unit(bench, laboratory)
    yield ("2023-03-22", ""), lambda: episodes.particle_counts(bench)
    yield ("2024-10-15", ""), lambda: episodes.confirming_round(bench, laboratory)
    yield ("2025-11-01", ""), lambda: episodes.night_of_the_clock_change(bench, laboratory)
    yield ("2023-09-19", ""), lambda: episodes.too_coarse(bench, laboratory)
    yield ("2022-07-19", ""), lambda: episodes.short_terms(bench, laboratory)
    yield ("2023-08-22", ""), lambda: episodes.complaint(bench, laboratory)


def _chance(area):
    """A source of chance of its own for each area, so that one area's edits leave the others as they were."""
    return Random(f"{SEED}: {area}")


if __name__ == "__main__":
    build().write(Path(__file__).resolve().parent)
