"""What is expected of an answer, field by field, and how far the answer is from it.

An expectation maps paths (`percentile_95.upper_70`) to one of the classes below. The default tolerance of 1e-9 is
far above the rounding of answers to 12 significant digits and far below any wrong formula; a looser one stands with
its reason where it is stated.
"""

import json
import math
from dataclasses import dataclass, field

from .units import convert, dimension, known

EXACT = 1e-9


class Fault(Exception):
    """The answer is not what was expected."""


def difference(value, expected, relative, absolute=0.0):
    """The relative difference; a fault where it is beyond the tolerance."""
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise Fault(f"is {value!r}, no number")
    if value == expected or (math.isinf(expected) and math.isinf(value) and (value > 0) == (expected > 0)):
        return 0.0
    gap = abs(value - expected)
    if not gap <= max(relative * abs(expected), absolute):
        raise Fault(f"is {value!r}, expected {expected!r} (relative {relative:.1e}, absolute {absolute:.1e})")
    # Within an absolute tolerance a relative difference means nothing.
    return 0.0 if gap <= absolute else gap / abs(expected)


@dataclass(frozen=True)
class Number:
    """A bare number; with a unit, the number of a figure whose `unit` stands beside it."""

    value: float
    relative: float = EXACT
    absolute: float = 0.0
    unit: str | None = None

    def judge(self, got, beside):
        if self.unit is not None:
            given = beside.get("unit")
            if given is None or dimension(given) != dimension(self.unit):
                raise Fault(f"has the unit {given!r}, expected one like {self.unit}")
            got = convert(got, given, self.unit)
        return difference(got, self.value, self.relative, self.absolute)


@dataclass(frozen=True)
class Amount:
    """A quantity: what is known of it, in a unit (the answer may choose another of its dimension)."""

    lower: float
    upper: float
    unit: str
    relative: float = EXACT
    absolute: float = 0.0

    def judge(self, got, _):
        if not isinstance(got, dict) or "unit" not in got:
            raise Fault(f"is {got!r}, no quantity")
        if dimension(got["unit"]) != dimension(self.unit):
            raise Fault(f"has the unit {got['unit']}, expected one like {self.unit}")
        if self.lower == self.upper and "value" not in got:
            raise Fault(f"is {got!r}, expected a plain value")
        if any(isinstance(got.get(key), (str, bool)) for key in ("value", "lower", "upper")):
            raise Fault(f"is {got!r}, whose number is none")
        range_ = known(got, self.unit)
        return max(
            difference(range_.lower, self.lower, self.relative, self.absolute),
            difference(range_.upper, self.upper, self.relative, self.absolute),
        )


@dataclass(frozen=True)
class Quantile:
    """A quantile of a distribution by quadrature: near in value, or in the probability that it stands for.

    Where a distribution is flat its quantiles say little, and only the probability can be judged.
    """

    value: float
    probability: float
    distribution: object  # from a value in the unit to its probability
    relative: float
    within: float
    unit: str | None = None

    def judge(self, got, beside):
        try:
            return Number(self.value, self.relative, unit=self.unit).judge(got, beside)
        except Fault as fault:
            if isinstance(got, bool) or not isinstance(got, (int, float)) or got <= 0.0 or "unit" in str(fault):
                raise
            got = convert(got, beside["unit"], self.unit) if self.unit is not None else got
            stands_for = self.distribution(got)
            if abs(stands_for - self.probability) > self.within:
                stands = f"it stands for the probability {stands_for:.7f}, not {self.probability}"
                raise Fault(f"{fault}; {stands}") from None
        return 0.0


def plain(value, unit, relative=EXACT, absolute=0.0):
    """A quantity that is a plain value."""
    return Amount(value, value, unit, relative, absolute)


@dataclass(frozen=True)
class Word:
    """A word, a whole number or true or false: exactly this, or one of these."""

    allowed: tuple

    def __init__(self, *allowed):
        object.__setattr__(self, "allowed", allowed)

    def judge(self, got, _):
        if not any(type(got) is type(one) and got == one for one in self.allowed):
            raise Fault(f"is {got!r}, expected {' or '.join(map(repr, self.allowed))}")
        return 0.0


@dataclass(frozen=True)
class Absent:
    """A figure that cannot be computed, and why; a flag has to say so unless it is simply not asked for."""

    reason: str
    flagged: bool = True


@dataclass(frozen=True)
class Free:
    """A field that may be anything here, and why nothing is said of it."""

    reason: str


@dataclass(frozen=True)
class Perhaps:
    """A field that the service may leave out; where it stands, it is judged."""

    expected: object

    def judge(self, got, beside):
        return self.expected.judge(got, beside)


@dataclass(frozen=True)
class Refused:
    """The request breaks a rule: 422."""

    reason: str


@dataclass
class Tally:
    """What was compared in an area."""

    inputs: int = 0
    figures: int = 0
    refused: int = 0
    worst: dict = field(default_factory=dict)
    beyond: set = field(default_factory=set)
    faults: list = field(default_factory=list)


def read(text):
    """The answer as JSON; NaN, infinities and null are faults."""

    def refuse(word):
        raise Fault(f"holds {word}, which JSON does not know")

    def finite(digits):
        value = float(digits)
        if not math.isfinite(value):
            raise Fault(f"holds {digits}, which is no number")
        return value

    try:
        answer = json.loads(text, parse_constant=refuse, parse_float=finite)
    except json.JSONDecodeError as error:
        raise Fault(f"is no JSON: {error}") from error
    for path, value in leaves(answer):
        if value is None:
            raise Fault(f"{path} is null; what cannot be computed is absent")
    return answer


def leaves(value, path=""):
    """Every member that is no object, with its path."""
    if isinstance(value, dict):
        for key, member in value.items():
            yield from leaves(member, f"{path}.{key}" if path else key)
    else:
        yield path, value


def member(answer, path):
    """The member at a path (a number in it is a place in a list) with the object it stands in; or None."""
    beside, here = {}, answer
    for key in path.split("."):
        beside = here
        if isinstance(here, list) and key.isdigit() and int(key) < len(here):
            here = here[int(key)]
        elif isinstance(here, dict) and key in here:
            here = here[key]
        else:
            return None, {}
    return here, beside


def compare(expectation, answer, tally):
    """Compares an answer with what is expected; gives the faults."""
    faults = []
    flags = answer.get("flags")
    if not isinstance(flags, list):
        faults.append("flags: is not a list")
    for path, expected in expectation.items():
        got, beside = member(answer, path)
        if isinstance(expected, Free):
            continue
        if isinstance(expected, Absent):
            tally.figures += 1
            if got is not None:
                faults.append(f"{path}: is {got!r}, expected absent: {expected.reason}")
            elif expected.flagged and not flags:
                faults.append(f"{path}: is absent ({expected.reason}) and no flag says why")
            continue
        if got is None and isinstance(expected, Perhaps):
            continue
        if got is None:
            faults.append(f"{path}: is absent, expected {expected}")
            continue
        tally.figures += 1
        try:
            distance = expected.judge(got, beside if isinstance(beside, dict) else {})
        except (Fault, KeyError, ValueError, TypeError) as fault:
            faults.append(f"{path}: {fault}")
            continue
        name = ".".join(key for key in path.split(".") if not key.isdigit())
        tally.worst[name] = max(tally.worst.get(name, 0.0), distance)
    named = {".".join(path.split(".")[:depth]) for path in expectation for depth in range(1, path.count(".") + 2)}
    for path, _ in leaves(answer):
        if path.split(".")[0] in ("flags", "working") or path.split(".")[-1] in ("unit", "reported"):
            continue
        if path not in named and not any(path.startswith(f"{one}.") for one in expectation):
            tally.beyond.add(path)
    return faults
