"""Failure modes that many families share: a short, a leak, a property that has gone."""

from __future__ import annotations

from collections.abc import Sequence

from seqsim.network import Bridge, Disable, Exchange, Turn
from seqsim.parts.part import JUDGED, Mode, Part, Severity, Source
from seqsim.quantity import Unit

SHORT = Severity("ohms", Unit.OHM, 0.1, 100.0)
"""A short through a damaged junction or dielectric: our judgement."""

HARD_SHORT = Severity("ohms", Unit.OHM, 0.1, 10.0)
LEAK = Severity("ohms", Unit.OHM, 1e3, 1e6)
"""A leak inside a part: our judgement."""


def between(
    part: Part, name: str, share: float, source: Source, pins: tuple[str, str], severity: Severity = SHORT
) -> Mode:
    """Return the mode in which two pins of a part conduct that should not."""
    first, second = (part.pin(pin) for pin in pins)
    reads = "a few ohms" if severity.high <= SHORT.high else "far less than a good part"
    return Mode(
        name, share, source, lambda ohms: (Bridge(first, second, 1 / ohms, part.name),),
        f"measure {first} to {second} with power off in both directions: it reads {reads}",
        f"replace {part.name}", severity,
    )  # fmt: skip


def gone(
    part: Part, name: str, share: float, source: Source, confirm: str, roles: tuple[str, ...] | None = None
) -> Mode:
    """Return the mode in which a part, or the given roles of it, no longer conducts."""
    return Mode(
        name, share, source, lambda _: (Disable(part.name, roles),), confirm, f"replace {part.name}"
    )  # fmt: skip


def turned(
    part: Part, name: str, share: float, source: Source, confirm: str, knob: str, severity: Severity,
    *, down: bool = False,
) -> Mode:  # fmt: skip
    """Return the mode in which a knob of a part stands away from its neutral, by a factor or a shift.

    ``down`` divides by the severity, where it would otherwise multiply or shift.
    """
    return Mode(
        name, share, source, lambda at: (Turn(part.name, knob, 1 / at if down else at),), confirm,
        f"replace {part.name}", severity,
    )  # fmt: skip


def exchanged(part: Part, first: str, second: str, name: str = "") -> Mode:
    """Return the mistake of fitting a part with two of its pins in each other's place."""
    return Mode(
        name or f"{first}-{second} exchanged", 1.0, JUDGED, lambda _: (Exchange(part.pin(first), part.pin(second)),),
        f"with power off, compare the marking and the pin order of {part.name} with its data sheet and the drawing, "
        f"and test its junctions at the pads of {first} and {second}",
        f"fit {part.name} the right way round; replace it if it was powered like this",
    )  # fmt: skip


def turned_round(part: Part, pairs: Sequence[tuple[str, str]]) -> Mode:
    """Return the mistake of fitting a part turned by half a turn, so that these pins take each other's places."""
    patches = tuple(Exchange(part.pin(first), part.pin(second)) for first, second in pairs)
    return Mode(
        "turned round", 1.0, JUDGED, lambda _: patches,
        f"with power off, look for the mark of pin 1 of {part.name} and compare it with the board and the drawing",
        f"fit {part.name} the right way round; replace it if it was powered like this",
    )  # fmt: skip
