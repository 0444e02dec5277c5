"""What rework and first assembly get wrong: reversed parts, exchanged pins, wrong values, misplaced jumpers."""

from __future__ import annotations

from collections.abc import Iterator

from seqsim.circuit import Circuit
from seqsim.faults.cautions import off_caution
from seqsim.faults.fault import Fault, Kind, Patches
from seqsim.faults.priors import WEIGHTS
from seqsim.network import SetGate

WORDS = {"÷": "/"}
"""Other ways to write a name."""


def misfits(circuit: Circuit) -> Iterator[Fault]:
    """Yield the parts that may have been fitted wrongly; priors are relative to a film resistor's failures."""
    weight, caution = WEIGHTS[Kind.MISFIT], off_caution(circuit)
    for part in circuit.parts.values():
        modes = part.misfits()
        total = sum(mode.share for mode in modes)
        for mode in modes:
            name = f"{part.name}:{mode.name}"
            also = tuple(name.replace(sign, other) for sign, other in WORDS.items() if sign in name)
            yield Fault(
                name, part.name, frozenset({part.name}), Kind.MISFIT, mode.patches, mode.severity,
                weight.relative * mode.share / total, weight.source, mode.confirm, mode.repair, caution, also,
            )  # fmt: skip
    yield from _jumpers(circuit)


def _jumpers(circuit: Circuit) -> Iterator[Fault]:
    """Yield each fitted jumper in the place of each open one that shares a net with it."""
    weight, caution = WEIGHTS[Kind.MISFIT], off_caution(circuit)
    closed = {part.name: getattr(part, "closed", False) for part in circuit.parts.values() if part.kind == "jumper"}
    for name, fitted in closed.items():
        near = [other for other, there in closed.items() if fitted and not there and _touch(circuit, name, other)]
        for other in near:
            yield Fault(
                f"{name}:in place of {other}", name, frozenset({name, other}), Kind.MISFIT,
                _moved(name, other), None, weight.relative / len(near), weight.source,
                f"look whether the jumper sits on {name}, as the drawing has it, or on {other}",
                f"move the jumper from {other} to {name}", caution,
            )  # fmt: skip


def _moved(name: str, other: str) -> Patches:
    patches = SetGate(f"{name}:closed", on=False), SetGate(f"{other}:closed", on=True)
    return lambda _: patches


def _touch(circuit: Circuit, first: str, second: str) -> bool:
    return bool(set(circuit.parts[first].pins.values()) & set(circuit.parts[second].pins.values()))
