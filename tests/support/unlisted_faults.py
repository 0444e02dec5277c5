"""Faults that the list lacks: a bridge to a far net, a part fitted wrongly, two unrelated faults at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from seqsim.circuit import Circuit
from seqsim.diagnosis.hypotheses import Hypothesis
from seqsim.faults import Fault, every_fault
from seqsim.faults.together import can_meet
from seqsim.network import Bridge, Move, Patch
from seqsim.parts.part import Severity
from seqsim.quantity import Unit

CONTACT = Severity("ohms", Unit.OHM, 1.0, 1e4)
"""Resistance of a bridge: solder, a whisker, dirt (our judgement)."""
SORTS = ("far bridge", "wrong part", "two faults")


@dataclass(frozen=True)
class Broken:
    """What is broken on a board: patches, the places where it is, and the listed faults that it consists of."""

    sort: str
    name: str
    patches: tuple[Patch, ...]
    places: frozenset[str]
    parts: tuple[str, ...] = ()


class Unlisted:
    """Draws faults of one circuit that no hypothesis of a fresh board's list describes."""

    def __init__(self, circuit: Circuit, listed: Sequence[Hypothesis]) -> None:
        known = {each.name for each in listed}
        grounds = {*circuit.grounds, *(supply.net for supply in circuit.supplies.values()), *circuit.rails}
        nets = [net for net, pins in circuit.nets().items() if net not in grounds and len(pins) > 1]
        on = {name: frozenset(part.pins.values()) for name, part in circuit.parts.items()}
        self.far = [
            (a, b) for k, a in enumerate(nets) for b in nets[k + 1 :] if not any({a, b} <= each for each in on.values())
        ]
        self.wrong = [fault for fault in every_fault(circuit) if fault.name not in known]
        self.single = [each.fault for each in listed if each.fault is not None]
        self.share = np.array([fault.prior for fault in self.single])
        self.touching = on
        self.stiff = grounds

    def draw(self, sort: str, random: np.random.Generator) -> Broken | None:
        """Return a fault of a sort, or None where a circuit has none."""
        match sort:
            case "far bridge":
                if not self.far:
                    return None
                a, b = self.far[int(random.integers(len(self.far)))]
                ohms = _drawn(CONTACT, random)
                return Broken(sort, f"{a} to {b}, {ohms:.3g} ohm", (Bridge(a, b, 1 / ohms),), frozenset({a, b}))
            case "wrong part":
                if not self.wrong:
                    return None
                return self._one(sort, self.wrong[int(random.integers(len(self.wrong)))], random)
            case "two faults":
                return self._two(random)
        message = f"no such sort: {sort}"
        raise ValueError(message)

    def _one(self, sort: str, fault: Fault, random: np.random.Generator) -> Broken:
        at = 1.0 if fault.severity is None else _drawn(fault.severity, random)
        return Broken(sort, f"{fault.name} at {at:.3g}", fault.patches(at), fault.places)

    def _two(self, random: np.random.Generator) -> Broken:
        """Return two listed faults, drawn by their priors, whose places have no net in common but supplied ones."""
        while True:
            one, two = (
                self.single[int(k)]
                for k in random.choice(len(self.single), 2, replace=False, p=self.share / self.share.sum())
            )
            if can_meet([one, two]) and not self._near(one) & self._near(two):
                break
        patches: list[Patch] = []
        for fault in (one, two):
            patches += fault.patches(1.0 if fault.severity is None else _drawn(fault.severity, random))
        patches.sort(key=lambda patch: not isinstance(patch, Move))
        return Broken(
            "two faults", f"{one.name} and {two.name}", tuple(patches), one.places | two.places, (one.name, two.name)
        )

    def _near(self, fault: Fault) -> frozenset[str]:
        nets = {net for place in fault.places for net in self.touching.get(place, frozenset({place}))}
        return frozenset(nets - self.stiff) | fault.places


def _drawn(severity: Severity, random: np.random.Generator) -> float:
    return float(random.choice(severity.points(501)))
