"""Asks the service, works every answer out anew, compares. See `run` beside this file."""

import argparse
import concurrent.futures
import json
import os
import sys
import time
import zlib

import numpy as np

from . import air, control_effect, dose, group_profile, posterior_profile, sample_plan, self_test, shift, ventilation
from .comparison import Fault, Refused, Tally, compare, read
from .service import Service

AREAS = [
    area
    for module in (air, shift, group_profile, posterior_profile, control_effect, ventilation, dose, sample_plan)
    for area in module.AREAS
]
SHOWN = 3  # faulty inputs printed in full, for each area
ROUNDING = 6e-12  # answers have 12 significant digits
CONFIRMED_EACH = 15  # every so many inputs a library's own, coarser routine confirms ours where there is one


def arguments():
    parser = argparse.ArgumentParser(prog="tests/second_opinion/run")
    parser.add_argument("--binary", help="the doseward program")
    parser.add_argument("--self-test", action="store_true", help="the second opinion against the worked examples")
    parser.add_argument("--area", help="only areas whose name begins so: " + ", ".join(area.name for area in AREAS))
    parser.add_argument("--seed", type=int, default=689, help="of the random inputs (689)")
    parser.add_argument("--only", type=int, help="only the input with this number")
    parser.add_argument("--inputs", type=int, default=300, help="inputs in each area (300)")
    return parser.parse_args()


def draw(area, seed, at):
    """The input with this number, whatever else is drawn."""
    return area.draw(np.random.default_rng([seed, zlib.crc32(area.name.encode()), at]))


def judge(area, body, reply, tally):
    """Everything that is wrong with one answer."""
    status, text = reply
    try:
        answer = read(text)
        expectation = area.expect(body, answer if status == 200 else {})
        if isinstance(expectation, Refused):
            tally.refused += 1
            return [] if status == 422 else [f"status {status}, expected 422: {expectation.reason}"]
        if status != 200:
            return [f"status {status}: {text[:600]}"]
        return compare(expectation, answer, tally)
    except Fault as fault:
        return [f"the answer {fault}"]
    except Exception as error:  # the input must be seen whatever went wrong
        return [f"the second opinion itself failed: {error!r}"]


def check(area, connection, options):
    """Checks one area; gives what was compared."""
    tally = Tally()
    numbers = [options.only] if options.only is not None else range(options.inputs)
    bodies = {at: draw(area, options.seed, at) for at in numbers}
    # One connection asks ahead while the answers are worked out anew.
    with concurrent.futures.ThreadPoolExecutor(1) as asking:
        replies = {at: asking.submit(connection.calculate, area.calculation, body) for at, body in bodies.items()}
        for at, body in bodies.items():
            if replies[at].result()[0] == 404:
                asking.shutdown(cancel_futures=True)
                tally.faults.append((at, body, [f"there is no calculation {area.calculation}"], ""))
                break
            tally.inputs += 1
            faults = judge(area, body, replies[at].result(), tally)
            if hasattr(area, "confirm") and (at % CONFIRMED_EACH == 0 or options.only is not None):
                try:
                    area.confirm(body)
                except Exception as error:
                    faults.append(f"a library does not confirm the second opinion: {error!r}")
            if faults:
                tally.faults.append((at, body, faults, replies[at].result()[1]))
    return tally


def check_apart(name, connection, options):
    """Checks the area of this name in a process of its own; gives the report and whether something is faulty."""
    area = next(area for area in AREAS if area.name == name)
    start = time.monotonic()
    tally = check(area, connection, options)
    return report(area, tally, time.monotonic() - start, options), bool(tally.faults)


def report(area, tally, seconds, options):
    """One line for the area, then its faults in full."""
    lines = []
    worst = sorted(tally.worst.items(), key=lambda one: -one[1])
    above = [f"{name} {distance:.0e}" for name, distance in worst if distance > ROUNDING]
    shown = ", ".join(above + [f"{len(worst) - len(above)} fields at most {ROUNDING:.0e}"])
    refused = f", {tally.refused} refused as expected" if tally.refused else ""
    word = f"{len(tally.faults)} FAULTY" if tally.faults else "ok"
    lines.append(f"{area.name}: {word}, {tally.inputs} inputs, {tally.figures} figures{refused}, {seconds:.1f} s; "
                 f"worst relative difference: {shown}")
    if tally.beyond:
        lines.append(f"  not in the contract, not compared: {', '.join(sorted(tally.beyond))}")
    for at, body, faults, text in tally.faults[:SHOWN]:
        again = f"tests/second_opinion/run --area '{area.name}' --seed {options.seed} --only {at}"
        lines += [f"  input {at} (again: {again})", *(f"    {fault}" for fault in faults)]
        lines.append(f"    request: POST /api/v1/calculations/{area.calculation} {json.dumps(body)}")
        lines.append(f"    answer: {text[:2000]}")
    if len(tally.faults) > SHOWN:
        lines.append(f"  and {len(tally.faults) - SHOWN} more: inputs {[at for at, *_ in tally.faults[SHOWN:]][:30]}")
    return "\n".join(lines)


def main():
    options = arguments()
    areas = [area for area in AREAS if area.name.startswith(options.area or "")]
    if not areas:
        sys.exit(f"there is no area {options.area}; there are: {', '.join(area.name for area in AREAS)}")
    began = time.monotonic()
    faulty = 0
    if options.only is None and (options.self_test or options.area is None):
        faulty += self_test.run()
    if not options.self_test:
        # A process for each processor; the longest areas first, so that none is left over at the end.
        longest = sorted(areas, key=lambda area: not area.name.endswith(("(posterior)", "(non-detects)")))
        with Service(options.binary) as service, concurrent.futures.ProcessPoolExecutor(os.cpu_count()) as pool:
            checks = [pool.submit(check_apart, area.name, service.connection(), options) for area in longest]
            for done in concurrent.futures.as_completed(checks):
                text, is_faulty = done.result()
                print(text, flush=True)
                faulty += is_faulty
            print(f"{'FAULTY' if faulty else 'agreed'}, {time.monotonic() - began:.0f} s")
    return 1 if faulty else 0


if __name__ == "__main__":
    sys.exit(main())
