#!/usr/bin/env python3
"""Reads the demonstration files back and verifies what the tour promises: `python3 demo-seed/check.py`."""

import sys
from pathlib import Path

from checker import validity
from checker.reading import Registry
from checker.stories import all_stories


def main():
    """Prints a PASS or FAIL line for each promise; exit code 1 when one fails."""
    registry = Registry(Path(__file__).resolve().parent)
    validity.check(registry)
    lines = [("every request is valid", not registry.faults, "; ".join(registry.faults[:12]) or "no fault found")]
    lines += list(all_stories(registry))
    for promise, holds, found in lines:
        print(f"{'PASS' if holds else 'FAIL'}  {promise}: {found}")
    return 0 if all(holds for _, holds, _ in lines) else 1


if __name__ == "__main__":
    sys.exit(main())
